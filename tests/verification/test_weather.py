"""Outside air in time: the monthly climate against its own definition, and step means against fine steps.

"Exact" marks what follows from the definition alone. "Planted" names the fault under which a check was seen to fail.
"""

from __future__ import annotations

import datetime
from dataclasses import replace
from itertools import pairwise

import numpy as np
import psychrolib
import pytest

from pilesim.balances.surface import EdgeArrays
from pilesim.base.constants import constant_record
from pilesim.build import build, edges_over
from pilesim.inputs.records import ColdSnap, MonthlyWeather
from pilesim.inputs.scenario import load
from pilesim.matter.weather import MONTH_DAYS, AirLine, air_line, day_of_year, mid_month_values, through_the_year
from pilesim.solver.march import DAY, march
from pilesim.solver.step import Controls
from pilesim.study.run import simulate

MEANS = np.array([-4.0, -2, 3, 8, 13, 18, 21, 20, 15, 9, 2, -3]) + 273.15
NEW_YEAR = datetime.date(2026, 1, 1)


@pytest.fixture(scope="module")
def constants():
    return constant_record()


def climate(span: float = 0.0, snap: ColdSnap | None = None, humidity: float = 0.6) -> MonthlyWeather:
    return MonthlyWeather("monthly", tuple(MEANS), (humidity,) * 12, (2.0,) * 12, (span,) * 12, snap)


def test_lines_between_mid_months_keep_the_monthly_means(constants):
    """Exact: the mean of each month is the one given, to the spacing of the line, with the daily cycle on top.

    Tolerance 0.001 K: the kinks at the middles of the months lie on the line's points, round-off remains; the ends of a
    month are whole days. Planted: mid-month values taken as the means themselves (July 0.5 K too cold).
    """
    line = air_line(climate(span=12.0), NEW_YEAR, 365 * DAY, constants)
    ends = np.concatenate([[0], np.cumsum(MONTH_DAYS)]) * DAY
    means = [line.mean(a, b).temperature for a, b in pairwise(ends)]
    assert means == pytest.approx(list(MEANS), abs=1e-3)


def test_constant_means_give_a_constant_year():
    """Exact. Planted: shares of a border that do not sum to one."""
    assert mid_month_values(np.full(12, 7.0)) == pytest.approx(np.full(12, 7.0), rel=1e-13)
    days = np.linspace(0.0, 800.0, 999)
    assert through_the_year(days, np.full(12, 7.0)) == pytest.approx(np.full(999, 7.0), rel=1e-13)


def test_day_of_year_counts_like_the_calendar():
    """Every day of a year without a leap day, against the standard library; 29 February counts as 1 March."""
    for number in range(365):
        date = NEW_YEAR + datetime.timedelta(days=number)
        assert day_of_year(date) == date.timetuple().tm_yday - 1
    assert day_of_year(datetime.date(2028, 2, 29)) == day_of_year(datetime.date(2028, 3, 1))


def test_day_is_warmest_at_three_and_coldest_twelve_hours_before(constants):
    """Definition: 15:00 and 03:00 apart by the daily range. Planted: the cycle reversed; hours counted from noon.

    Tolerance 0.1 K: the season moves by 0.03 K in half a day.
    """
    line = air_line(climate(span=12.0), datetime.date(2026, 1, 16), 2 * DAY, constants)
    one_day = line.values[: int(DAY / line.time[1]), 0]
    assert line.time[np.argmax(one_day)] / 3600.0 == pytest.approx(15.0, abs=0.5)
    assert line.time[np.argmin(one_day)] / 3600.0 == pytest.approx(3.0, abs=0.5)
    assert np.ptp(one_day) == pytest.approx(12.0, abs=0.1)


def test_cold_snap_is_a_trapezoid_of_ramps(constants):
    """Exact: over a snap the mean drop is drop x (1 - ramp / duration), nothing before and after.

    Tolerance 1e-9 K: ramps begin on points of the line. Planted: ramps added outside the duration.
    """
    snap = ColdSnap(3 * DAY, 2 * DAY, 10.0)
    plain, cold = (air_line(climate(snap=s), NEW_YEAR, 10 * DAY, constants) for s in (None, snap))
    drop = plain.mean(3 * DAY, 5 * DAY).temperature - cold.mean(3 * DAY, 5 * DAY).temperature
    assert drop == pytest.approx(10.0 * (1.0 - 6 / 48), abs=1e-9)
    assert np.ptp((plain.values - cold.values)[:, 0]) == pytest.approx(10.0, abs=1e-9)
    outside = (plain.time <= 3 * DAY) | (plain.time >= 5 * DAY)
    assert (plain.values == cold.values)[outside].all()


def test_vapour_pressure_holds_through_the_day_and_saturates(constants):
    """Relative humidity of the afternoon against psychrolib at equal vapour pressure (ASHRAE Handbook, TO CHECK).

    July, 21 degC, 60 percent as the day's mean, 16 K range. Tolerance 0.5 percent: two saturation formulas and the
    season's slope within the day. A wet day saturates at night, never more. Planted: relative humidity held instead.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    july = datetime.date(2026, 7, 16)
    line = air_line(climate(span=16.0), july, DAY, constants)
    mean = line.mean(0.0, DAY).temperature - 273.15
    for hour in (9.0, 15.0, 21.0):
        air = line.mean(hour * 3600.0, hour * 3600.0)
        pressure = psychrolib.GetVapPresFromRelHum(mean, 0.6)
        expected = psychrolib.GetRelHumFromVapPres(air.temperature - 273.15, pressure)
        assert air.humidity == pytest.approx(expected, rel=5e-3)
    wet = air_line(climate(span=16.0, humidity=0.9), july, DAY, constants)
    humidity = np.array([wet.mean(t, t).humidity for t in wet.time[:96]])
    assert humidity.max() == pytest.approx(1.0, abs=1e-12) and humidity.min() < 0.7


def test_step_means_are_the_integral_of_the_line(constants):
    """Exact: against a sum over a hundred thousand points; and means of parts add up. Planted: the share not squared."""
    line = air_line(climate(span=12.0), NEW_YEAR, 2 * DAY, constants)
    for start, end in ((0.0, 1234.5), (4000.0, 47000.0), (80000.0, 80300.0)):
        fine = start + (end - start) * (np.arange(100_000) + 0.5) / 100_000
        assert line.mean(start, end).temperature == pytest.approx(float(line.temperature(fine).mean()), abs=1e-6)
    whole, first, rest = line.mean(0.0, 10000.0), line.mean(0.0, 3000.0), line.mean(3000.0, 10000.0)
    assert whole.temperature == pytest.approx(0.3 * first.temperature + 0.7 * rest.temperature, abs=1e-9)


def test_edges_rebuilt_for_the_air_are_those_gathered_from_the_start():
    """The two ways to the same boundary exchange agree at the start. Tolerance 1e-12: order of summation.

    With surfaces as warm as the air, about which constant weather takes radiation linear, and no latitude, so no sky.
    Planted: the ground's surface left out of the renewed film.
    """
    scenario = load("winter_start").with_(**{"run.cell": "25 cm"})
    problem = build(replace(scenario, site=replace(scenario.site, latitude=None)), 1)
    record = problem.record.copy()
    air = problem.outside.line.mean(0.0, 0.0).temperature
    nodes = np.full(problem.mesh.count + 1, air)
    renewed, _ = edges_over(problem, record, 0.0, 0.0, nodes, 0.0 * nodes, problem.outside.bare())
    assert record.ambient_density == pytest.approx(problem.record.ambient_density, rel=1e-13)
    for name in EdgeArrays._fields:
        assert getattr(renewed, name) == pytest.approx(getattr(problem.edges, name), rel=1e-12), name


class PointLine(AirLine):
    """The line read at one point of a step only, as a solver without step means would."""

    def mean(self, start, end):
        return super().mean(end, end)


def _history(problem, step: float, every: float) -> np.ndarray:
    kept: list[np.ndarray] = []

    def observe(stepper, moment):
        if abs(moment.after.time / every - round(moment.after.time / every)) < 1e-6:
            kept.append(moment.after.temperature.copy())

    march(problem, 10 * DAY, Controls(fixed_step=step), observe)
    return np.array(kept)


def _rms(problem, one: np.ndarray, other: np.ndarray) -> float:
    weight = problem.norm_volume / problem.norm_volume.sum()
    return float(np.sqrt(np.mean((one - other) ** 2 @ weight)))


def test_step_means_let_the_steps_be_long():
    """Fixed steps of 3 h against 15 min: rms over the mix, days 2 to 10, below 0.05 K; point sampling 3 times worse.

    A spent mix under 10 cm: in a burning one the steps of its ignition (4 K at 3 h, whatever the weather) would hide it.
    Seen: 0.017 K against 0.074 K; 0.05 K is the time error that a whole run may have. Planted: air taken at the end of
    each step (the second half of this test).
    """
    spent = dict.fromkeys(("mix.fast_fraction", "mix.slow_fraction", "cover.slow_fraction"), "0 percent")
    scenario = load("winter_start").with_(**spent, **{
        "run.cell": "25 cm", "run.duration": "10 day", "weather.cold_snap.start": "5 day", "weather.daily_range": "16 K",
        "cover.thickness": "10 cm", "start.temperature": "5 degC"})
    problem = build(scenario, 1)
    assert problem.outside is not None
    line = problem.outside.line
    points = replace(problem.outside, line=PointLine(line.time, line.values, line.integral, line.constants))
    fine, long, rough = (_history(p, step, 6 * 3600.0)[8:] for p, step in (
        (problem, 900.0), (problem, 3 * 3600.0), (replace(problem, outside=points), 3 * 3600.0)))
    assert len(fine) == len(long) == len(rough) == 33
    error = _rms(problem, long, fine)
    assert error < 0.05
    assert _rms(problem, rough, fine) > 3.0 * error


def test_free_steps_follow_the_weather_of_a_burning_pile():
    """Default tolerance against a fifth of it, ten days through ignition and a cold snap: rms over the mix below 0.05 K.

    0.05 K is the time error that a run may have, far below any error of the grid; seen 0.024 K. Planted: the tolerance
    of the first run ten times larger (0.17 K).
    """
    changes = {"run.cell": "25 cm", "run.duration": "10 day", "weather.cold_snap.start": "5 day"}
    problem = build(load("winter_start").with_(**changes), 1)
    ends = [march(problem, 10 * DAY, Controls(tolerance=t), lambda stepper, moment: None)[1].temperature
            for t in (0.006, 0.0012)]
    assert _rms(problem, ends[0], ends[1]) < 0.05


def test_history_holds_the_air_of_the_output_times():
    """The stored air temperature is the climate's at each output time, and swings with the day. Planted: its mean."""
    scenario = load("winter_start").with_(**{"run.cell": "40 cm", "run.duration": "2 day"})
    result = simulate(scenario)
    assert "cold snap begins after the end" in result.attrs["messages"]  # on day 16
    air = result["air_temperature"]
    assert air.attrs["units"] == "degC" and len(air) == 17
    line = build(scenario, 1).outside.line
    assert air.values == pytest.approx(line.temperature(air["time"].values * DAY) - 273.15, abs=1e-9)
    assert np.ptp(air.values) == pytest.approx(10.0, abs=0.5)


def test_ground_starts_between_the_month_and_the_deep():
    """Steady conduction, exact: straight from the mean of the month of building to the deep temperature.

    Planted: the air of the first moment, 3 K colder, as the ground's surface.
    """
    problem = build(load("winter_start").with_(**{"run.cell": "25 cm"}), 1)
    mesh = problem.mesh
    surface, deep = -4.0, 8.0
    depth = -mesh.z[mesh.pile_count:-1]
    expected = surface + (deep - surface) * depth / depth.max()
    assert problem.temperature[mesh.pile_count:-1] - 273.15 == pytest.approx(expected, abs=1e-9)
