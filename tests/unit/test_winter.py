"""When to build in winter: start days, what varies, verdicts within errors, the smallest that passes; invented numbers."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest

from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import load
from pilesim.inputs.weather_files import read_weather
from pilesim.study.winter import (
    StartWeek,
    hardest,
    plan,
    smallest_passing,
    source_of,
    start_days,
    thinnest_passing,
    unknowns,
    verdict,
    write_years,
)


def week(day=(11, 1), width="4 m", cover="10 cm", failed=0, undecided=0, cold=0.05) -> StartWeek:
    return StartWeek(day, width, cover, 5, failed, undecided, 7.0, 12.0, cold, cold, 0.0)


def row(cold: float, error: float, days: float = 6.0) -> dict:
    return {"status": "ok", "errors_trusted": 1, "cold_edge_fraction": cold, "cold_edge_fraction_error": error,
            "days_to_55C_median": days}


def test_start_days_go_over_the_turn_of_the_year():
    """Every four weeks from December to February. Planted: the end taken in the year of the start (no day at all)."""
    assert start_days("12-01", "02-10", 4) == [(12, 1), (12, 29), (1, 26)]
    for wrong in (("13-01", "02-01", 1), ("12-01", "first", 1), ("12-01", "02-01", 0)):
        with pytest.raises(ScenarioError):
            start_days(*wrong)


def test_a_verdict_respects_the_error():
    """Limit 10 %: 5 +- 2 passes, 9 +- 2 is undecided, 13 +- 2 fails; never hot fails; a run that broke off is none.

    Planted: the value judged without its error.
    """
    assert verdict(row(0.05, 0.02)) == "passes"
    assert verdict(row(0.09, 0.02)) == verdict(row(0.11, 0.02)) == "undecided"
    assert verdict(row(0.13, 0.02)) == "fails"
    assert verdict(row(0.05, 0.02, math.nan)) == "fails"
    assert verdict(row(math.nan, math.nan) | {"status": "failed"}) == "no result"
    assert verdict(row(0.05, 0.02) | {"errors_trusted": 0}) == "undecided"


def test_smallest_and_thinnest_pass_in_every_year():
    """Planted: a design with undecided years taken as passing."""
    weeks = [week(failed=1), week(cover="20 cm", undecided=1), week(width="5 m", failed=2), week(width="5 m", cover="20 cm")]
    assert smallest_passing(weeks, (11, 1)) is weeks[3] is thinnest_passing(weeks, (11, 1), "5 m")
    assert thinnest_passing(weeks, (11, 1), "4 m") is None and smallest_passing(weeks, (1, 1)) is None
    assert hardest([week(cold=0.5), week(cold=0.12), week(cold=0.0)]).cold_worst == 0.12


def test_made_up_years_are_files_that_read_back(tmp_path):
    """The CSV holds the year that was made up: read again it has the same hours, and says that nobody measured it.

    Tolerance: six digits. Planted: cloud written as percent.
    """
    scenario = load("winter_plan")
    paths = write_years(scenario, 2, 1, tmp_path)
    first, second = (read_weather(path) for path in paths)
    assert "not measured" in paths[0].read_text().splitlines()[0]
    assert first.typical == second.typical and first.elevation == pytest.approx(1500.0)
    assert first.cloud.max() <= 1.0 and not np.allclose(first.air_temperature, second.air_temperature)
    assert first.air_temperature.size >= 8760 + 24 * 31     # a run of 30 days from the last day of December is covered
    assert first.air_temperature[8760] == first.air_temperature[0]
    vary = plan(scenario, [(12, 1)], ["4 m"], ["10 cm", "20 cm"], paths)
    assert [len(values) for values in vary.values()] == [2, 1, 1, 2]
    with pytest.raises(ScenarioError, match="monthly"):
        write_years(load("reference_pile"), 2, 1, tmp_path)


def test_each_year_of_a_file_is_a_case(tmp_path):
    """Two winters in one file: one start in each; a start that the file does not cover is refused.

    Planted: the first fitting year only.
    """
    path = tmp_path / "two.csv"
    lines = ["# latitude: 45 deg", "# elevation: 0 m",
             "time,air_temperature [degC],relative_humidity [percent],wind_speed [m/s]"]
    start = datetime.datetime(2023, 10, 1)
    lines += [f"{start + datetime.timedelta(hours=k):%Y-%m-%d %H:%M},-5,70,2" for k in range(24 * 500)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    scenario = load("reference_pile").with_(**{"weather.path": str(path), "start.date": "2023-11-01"})
    assert plan(scenario, [(11, 15)], ["4 m"], ["10 cm"], [])["start.date"] == ["2023-11-15", "2024-11-15"]
    assert "two.csv" in source_of(scenario, None, 1)
    with pytest.raises(ScenarioError, match="covers the run"):
        plan(scenario.with_(**{"run.duration": "300 day"}), [(6, 1)], ["4 m"], ["10 cm"], [])


def test_unknowns_are_taken_lower_and_higher():
    """Half and twice, temperatures 5 K; ice only where there is some. Planted: both ends the same."""
    for key, (low, high) in unknowns(load("built_frozen")).items():
        scenario = load("built_frozen")
        table, name = key.split(".")
        values = [getattr(getattr(scenario.with_(**{key: text}), table), name) for text in (low, high)]
        own = getattr(getattr(scenario, table), name)
        assert values[0] < own < values[1]
    assert "start.ice" in unknowns(load("built_frozen"))
    assert "start.ice" not in unknowns(load("reference_pile"))
