"""Weather of a file in a run: sun, sky, wind, rain, snow and frozen feed, on tiny invented files.

"Planted" names the fault under which a check was seen to fail.
"""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from pilesim.build import build, edges_over
from pilesim.inputs.scenario import load
from pilesim.solver.march import DAY, budget_errors, march
from pilesim.solver.nodes import TOTALS
from pilesim.solver.passes import Fields, run_flow
from pilesim.solver.step import Controls, fields_of

COLUMNS = {"air_temperature": "K", "relative_humidity": "1", "wind_speed": "m/s", "wind_direction": "deg",
           "global_sun": "W/m2", "sky_longwave": "W/m2", "rain": "kg/m2/s", "snowfall": "kg/m2/s"}
QUIET = {"air_temperature": 268.15, "relative_humidity": 0.8, "wind_speed": 2.0, "global_sun": 0.0,
         "sky_longwave": 5.670374419e-8 * 268.15**4, "rain": 0.0, "snowfall": 0.0}
SMALL = {"run.cell": "20 cm", "run.duration": "12 day"}


def file_of(tmp_path, days: int = 16, **columns) -> str:
    """An invented winter from 1 December 2025 on; numbers, or functions of the hours since."""
    path = tmp_path / "weather.csv"
    values = QUIET | columns
    lines = ["# latitude: 45 deg", "# elevation: 0 m", "time," + ",".join(f"{name} [{COLUMNS[name]}]" for name in values)]
    for k in range(24 * days):
        row = (f"{value(k) if callable(value) else value:.8g}" for value in values.values())
        lines.append(f"{datetime.datetime(2025, 12, 1) + datetime.timedelta(hours=k):%Y-%m-%d %H:%M}," + ",".join(row))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


def run_of(scenario, refinement: int = 1):
    """Problem, stepper, last state and tally of a run."""
    problem = build(scenario, refinement)
    stepper, state, tally = march(problem, scenario.run.duration, Controls(), lambda stepper, moment: None)
    return problem, stepper, state, tally


def piles(path: str, name: str = "reference_pile", **changes):
    return load(name).with_(**{**SMALL, "weather.path": path, "start.date": "2025-12-01", **changes})


def test_a_steady_file_is_constant_weather(tmp_path):
    """A file whose air stands still under a sky as warm as the air gives the temperatures of constant weather.

    Tolerance 0.1 K in the mix: radiation is linear about the air in constant weather, about the surface in changing one;
    wind at the top of the pile is 0.73 of that at 10 m (FAO56's profile). Planted: sky longwave halved in exchange_over.
    """
    _, _, of_file, _ = run_of(piles(file_of(tmp_path)))
    from pilesim.matter.wind import wind_at_height
    from pilesim.verify.record import outer_record

    wind = 2.0 * float(wind_at_height(1.0, 10.0, 2.4, outer_record()))
    steady = load("reference_pile").with_(**SMALL, **{
        "weather.air_temperature": "-5 degC", "weather.relative_humidity": 0.8, "weather.wind_speed": f"{wind} m/s"})
    problem, _, constant, _ = run_of(steady)
    mix = problem.mesh.volume[1] > 0.0
    assert of_file.temperature[mix] == pytest.approx(constant.temperature[mix], abs=0.1)


@pytest.fixture(scope="module")
def snowed(tmp_path_factory):
    """An active and a dead pile, covered, under five days of snow and a week of frost."""
    path = file_of(tmp_path_factory.mktemp("snow"), snowfall=lambda k: 1.5e-4 if k < 120 else 0.0)
    dead = {"mix.fast_fraction": 0.0, "mix.slow_fraction": 0.0, "cover.slow_fraction": 0.0, "start.temperature": "-5 degC"}
    warm = {"start.temperature": "40 degC", "pile.side_slope": "40 deg"}
    return {name: run_of(piles(path, **changes)) for name, changes in (
        ("active", warm), ("dead", {"pile.side_slope": "40 deg", **dead}))}


def by_height(problem, skin):
    """Snow of the pile's own pieces, highest first [kg m-2]; and their heights [m]."""
    pieces = problem.outside.pieces
    own = np.flatnonzero(pieces.is_pile)
    order = own[np.argsort(-problem.mesh.z[pieces.node[own]])]
    return skin.ice[order], problem.mesh.z[pieces.node[order]]


def test_snow_melts_at_the_crest_first_and_can_persist_at_the_toe(snowed):
    """Heat and warm gas leave an active pile through the crest: no snow there, and snow at the toe, the coldest place.

    The fall of 65 kg m-2 (36 on a flank of 40 degrees, by EN 1991-1-3's shares) brings both within reach. Planted: the
    heat from below left out of skin_after where gas leaves (the warmth of the gas alone is not decisive).
    """
    problem, stepper, _, _ = snowed["active"]
    ice, height = by_height(problem, stepper.skin)
    assert ice[0] < 1.0
    assert ice[-1] > 5.0
    assert ice[height > 0.8 * height.max()].mean() < 0.3 * ice[height < 0.2 * height.max()].mean()


def test_a_dead_pile_keeps_its_snow(snowed):
    """Nothing melts in frost without heat from below: what fell and stayed is there, on crest and ground alike.

    Fall x time x cosine x the share that stays, exact but for the hour before the build. Planted: values taken as of
    the hour that begins at their label.
    """
    problem, stepper, _, _ = snowed["dead"]
    pieces, skin = problem.outside.pieces, stepper.skin
    fallen = 1.5e-4 * 119 * 3600.0     # the hour with the first label ended as the pile was built
    flat = pieces.slope == 0.0
    assert skin.ice[flat & ~pieces.is_pile] == pytest.approx(fallen, rel=1e-6)
    on_crest = skin.ice[flat & pieces.is_pile]
    assert on_crest.size and on_crest == pytest.approx(fallen, rel=1e-6)
    assert skin.film.max() == 0.0


def test_snow_insulates(snowed, tmp_path):
    """Ground under snow stays warmer than bare ground in the same frost. Planted: snow without resistance."""
    problem, _, state, _ = snowed["dead"]
    bare = run_of(piles(file_of(tmp_path), **{"start.temperature": "-5 degC", "mix.fast_fraction": 0.0,
                                              "mix.slow_fraction": 0.0, "cover.slow_fraction": 0.0,
                                              "pile.side_slope": "40 deg"}))
    ground = problem.outside.pieces.node[~problem.outside.pieces.is_pile]
    far = ground[np.argmax(problem.mesh.x[ground])]
    assert state.temperature[far] > bare[2].temperature[far] + 1.0


def test_budgets_close_in_rain_snow_and_thaw(tmp_path):
    """Heat and water close to 1e-9 of throughput with rain taken up, snow and thaw; some rain is taken up.

    Planted: rain left in the total of the vapour film as well.
    """
    path = file_of(tmp_path, air_temperature=lambda k: 273.15 + 6.0 * np.sin(k / 20.0),
                   rain=lambda k: 2e-4 if k % 50 < 10 else 0.0, snowfall=lambda k: 1e-4 if k % 70 > 55 else 0.0,
                   global_sun=lambda k: max(0.0, 300.0 * np.sin(2.0 * np.pi * (k % 24 - 6) / 24.0)))
    problem, _, state, tally = run_of(piles(path))
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    errors = budget_errors(start, state, tally)
    assert errors["heat"] < 1e-9 and errors["water"] < 1e-9 and errors["oxygen"] < 1e-3
    assert tally.inputs[TOTALS.index("rain")] > 10.0


def test_rain_brings_its_own_warmth_and_no_more(tmp_path):
    """Exact: what rain adds to the heat that arrives is its water's, c_w (T - 0 degC), though it rides in the vapour's film.

    Planted: the latent heat of that vapour left in.
    """
    warm = {"air_temperature": 283.15}
    found = []
    for rain in (0.0, 3e-4):
        problem = build(piles(file_of(tmp_path, rain=rain, **warm)), 1)
        nodes = np.full(problem.mesh.count + 1, 285.0)
        skin = problem.outside.bare()
        edges, exchange = edges_over(problem, problem.record.copy(), 7200.0, 10800.0, nodes, np.full_like(nodes, 1e3), skin)
        c = problem.record
        found.append((edges.film_heat + c.vapour_diffusion_enthalpy * edges.gas_film_vapour, edges.gas_film_vapour, exchange))
    (dry, dry_water, _), (wet, wet_water, exchange) = found
    assert exchange.rain > 0.0
    assert (wet_water - dry_water).sum() == pytest.approx(exchange.rain, rel=1e-9)
    expected = c.water_heat_capacity * 10.0 * (wet_water - dry_water)
    assert wet - dry == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_gas_rises_in_the_air_of_the_moment(tmp_path):
    """Air that warms by 20 K in four days: the flow of the last moment is the one of its own temperatures in the air of then.

    Tolerance 1 %: viscosity is of the first pass of the step. Planted: ambient density of the start of the run, which draws
    two fifths more.
    """
    scenario = piles(file_of(tmp_path, wind_speed=0.5, air_temperature=lambda hour: 263.15 + 20.0 * min(hour / 96.0, 1.0)),
                     **{"run.duration": "4 day"})
    problem, stepper, state, _ = run_of(scenario)
    nodes = state.temperature
    edges, _ = edges_over(problem, stepper.record, state.time, state.time, nodes, np.full_like(nodes, 1e3), stepper.skin)
    again = Fields(*(np.array(array) for array in fields_of(state)))
    run_flow(stepper.plan, stepper.room, again, stepper.props, edges.is_open, stepper.room.source, True, stepper.record)
    assert np.maximum(-again.outflow, 0.0).sum() == pytest.approx(np.maximum(-state.outflow, 0.0).sum(), rel=0.01)


def test_wind_enters_the_windward_flank_and_turns_with_it(tmp_path):
    """Full section, flanks east and west: air enters more to windward; wind from the other side mirrors it.

    Tolerance 1 % of the intake for the mirror: steps differ. Planted: both flanks taken as facing the same way.
    """
    share = {}
    for name, direction in (("east", 90.0), ("west", 270.0)):
        path = file_of(tmp_path, wind_speed=6.0, wind_direction=direction)
        scenario = piles(path, **{"pile.section": "full", "site.slope_aspect": "90 deg", "run.duration": "2 day"})
        problem, _, state, _ = run_of(scenario)
        inflow = np.maximum(-state.outflow, 0.0)
        right = float(inflow[problem.mesh.x > 1e-9].sum())
        share[name] = right / float(inflow.sum())
    assert share["east"] > 0.65
    assert share["west"] == pytest.approx(1.0 - share["east"], abs=0.01)


def test_drifted_snow_closes_the_foot(tmp_path):
    """No air passes where snow has drifted; less enters in all. Planted: the drifted part left in the open surface."""
    intake = {}
    for height in ("0 m", "0.8 m"):
        scenario = piles(file_of(tmp_path), **{"weather.drift_height": height, "run.duration": "2 day"})
        problem, _, state, _ = run_of(scenario)
        low = (problem.mesh.z < 0.5) & (problem.mesh.volume[2] > 0.0)
        intake[height] = (float(np.abs(state.outflow[low]).sum()), float(np.maximum(-state.outflow, 0.0).sum()))
    assert intake["0.8 m"][0] == 0.0 < intake["0 m"][0]
    assert intake["0.8 m"][1] < 0.9 * intake["0 m"][1]


def test_the_sunny_flank_is_warmer(tmp_path):
    """A flank that faces south gains more sun than the one that faces north (45 degrees north, clear days of March).

    Planted: aspect and its opposite exchanged.
    """
    sun = {"global_sun": lambda k: max(0.0, 500.0 * np.sin(2.0 * np.pi * (k % 24 - 6) / 24.0))}
    scenario = piles(file_of(tmp_path, **sun), **{"pile.section": "full", "site.slope_aspect": "180 deg",
                                                 "run.duration": "3 day", "pile.side_slope": "40 deg"})
    problem, _, state, _ = run_of(scenario)
    mesh, cover = problem.mesh, problem.mesh.volume[2] > 0.0
    south, north = (float(state.temperature[cover & side & (mesh.z > 0.5)].mean()) for side in (mesh.x > 0.5, mesh.x < -0.5))
    assert south > north + 0.5


def test_frozen_feed_restarts_or_stays_frozen_by_its_ice():
    """Feed of 15 degC with snow in it, at -20 degC: warm enough to start with a tenth of its water as ice, frozen with half.

    By the heat of both: 15 K against 334 kJ/kg of ice; below 2 degC nothing degrades (the cardinal minimum). Planted: the
    ice's latent heat left out of the start (both restart).
    """
    means = {}
    for ice in (0.1, 0.5):
        scenario = load("reference_pile").with_(**SMALL, **{
            "weather.air_temperature": "-20 degC", "start.temperature": "15 degC", "start.ice": ice})
        _, stepper, state, _ = run_of(scenario)
        means[ice] = float(stepper.frame.weight @ state.temperature) - 273.15
        assert scenario.run.duration == 12 * DAY
    assert means[0.1] > 45.0
    assert means[0.5] < 2.0


def test_small_frozen_feed_dies_where_large_restarts():
    """The same cold feed at -20 degC restarts in the reference pile, slowly, and freezes in one of a third its size.

    Of day 14: 19 degC and rising, and -12 degC. Planted: the cold of the ice counted twice (both freeze).
    """
    means = {}
    for width, height in (("1.6 m", "0.6 m"), ("5.2 m", "2 m")):
        scenario = load("reference_pile").with_(**{
            "run.cell": "10 cm", "run.duration": "14 day", "weather.air_temperature": "-20 degC", "pile.base_width": width,
            "pile.height": height, "start.temperature": "15 degC", "start.ice": 0.13, "cover.thickness": "10 cm"})
        _, stepper, state, _ = run_of(scenario)
        means[width] = float(stepper.frame.weight @ state.temperature) - 273.15
    assert means["1.6 m"] < -2.0
    assert means["5.2 m"] > 10.0


def test_bare_ground_by_day_and_night_against_scipy(tmp_path):
    """The ground far from a dead pile, four days of sun and clear sky, still air, against conduction by scipy.

    Independent: solve_ivp (LSODA) on 240 even cells to 3 m, full radiation law, 2.8 W m-2 K-1 of still air (Watmuff1977),
    albedo 0.2, emissivity 0.95 (Monteith2013), numbers typed here. Tolerance 0.6 K of a swing of 20 K and more at the
    surface: the run's ground has cells of 2.5 cm and takes steps of a quarter of an hour, whose mean the sun is. Planted: the
    ground's albedo as that of compost, and the sun an hour late.
    """
    from scipy.integrate import solve_ivp

    def sun(hour):
        return max(0.0, 500.0 * np.sin(2.0 * np.pi * (hour % 24 - 6.5) / 24.0))

    mild, sky = 288.15, 320.0
    path = file_of(tmp_path, air_temperature=mild, wind_speed=0.0, relative_humidity=0.5, sky_longwave=sky, global_sun=sun)
    scenario = piles(path, **{
        "mix.fast_fraction": 0.0, "mix.slow_fraction": 0.0, "cover.slow_fraction": 0.0, "start.temperature": "15 degC",
        "ground.deep_temperature": "15 degC", "run.duration": "4 day", "run.cell": "2.5 cm",
        "pile.base_width": "0.9 m", "pile.height": "0.3 m", "cover.thickness": "5 cm", "base_layer.thickness": "0 m"})
    problem = build(scenario, 2)
    pieces = problem.outside.pieces
    ground = pieces.node[~pieces.is_pile]
    far = ground[np.argmax(problem.mesh.x[ground])]
    seen = []
    march(problem, scenario.run.duration, Controls(largest_step=900.0), lambda stepper, moment: seen.append(
        (moment.after.time, moment.after.temperature[far])))
    time, got = np.array(seen).T

    cells, conductivity, capacity = 240, scenario.ground.conductivity, scenario.ground.heat_capacity
    size = 3.0 / cells

    def slope(t, temperature):
        flux = np.zeros(cells + 1)      # upwards negative, into the ground positive
        skin = temperature[0]
        for _ in range(20):     # of the surface, half a cell above the first value
            gain = 0.8 * sun(np.floor(t / 3600.0) + 1.0) + 0.95 * (sky - 5.670374419e-8 * skin**4) + 2.8 * (mild - skin)
            bend = 2.0 * conductivity / size + 4.0 * 0.95 * 5.670374419e-8 * skin**3 + 2.8
            skin += (gain - 2.0 * conductivity / size * (skin - temperature[0])) / bend
        flux[0] = 2.0 * conductivity / size * (skin - temperature[0])
        flux[1:-1] = conductivity / size * (temperature[:-1] - temperature[1:])
        flux[-1] = 2.0 * conductivity / size * (temperature[-1] - mild)
        surface[:] = [skin]
        return (flux[:-1] - flux[1:]) / (size * capacity)

    surface = [mild]
    solved = solve_ivp(slope, (0.0, 4 * DAY), np.full(cells, mild), method="LSODA", t_eval=np.arange(3600.0, 4 * DAY, 3600.0),
                       max_step=1800.0, rtol=1e-6)
    expected = []
    for t, temperature in zip(solved.t, solved.y.T, strict=True):
        slope(t - 1.0, temperature)
        expected.append(surface[0])
    assert np.ptp(expected) > 15.0
    assert np.interp(solved.t, time, got) == pytest.approx(np.array(expected), abs=0.6)
