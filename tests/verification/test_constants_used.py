"""Every record of the registry matters: moved by 1 %, some output moves. No formula hides a number of its own.

Outputs are looked for in the order of their cost: the scenario that leaves its keys to the defaults, the grid, the recipe,
sentences at their limits, and short runs of four piles chosen so that frost, drainage, condensation, wind, seeding and
drying out all occur.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from types import SimpleNamespace

import numpy as np
import pytest
from system.malformed import GOOD

from pilesim.assess.dataset import make_dataset
from pilesim.assess.errors import numerical_errors
from pilesim.assess.hygiene import coli_reductions, sludge_dose
from pilesim.assess.measures import MEASURES, Values
from pilesim.assess.recipe import judgements
from pilesim.balances.physics import FULL, plain_record, run_record
from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.surface_constants import SURFACE_ROWS
from pilesim.build import build, scenario_grid
from pilesim.inputs import library
from pilesim.inputs.scenario import Turn, from_text, load
from pilesim.matter.mix import derive, free_air_space
from pilesim.matter.moist_air import vapour_ratio
from pilesim.matter.weather import air_line
from pilesim.show.findings import hot_and_aerobic
from pilesim.show.mix_text import mix_csv
from pilesim.show.screen import verdict
from pilesim.show.sheet_words import _moisture
from pilesim.show.widths_text import conclusion
from pilesim.show.window import common_covers
from pilesim.study.run import messages, observed_run

STEPS = (1.01, 0.99)
ABOVE = 1.005       # between a limit and the limit moved
HUSKS = """
[mix]
ingredients = ["1 m3 of husks", "1 m3 of dairy manure"]
[feedstock.husks]
moisture = 0.3
nitrogen = 0.01
lignin = 0.2
volatile_solids = 0.9
bulk_density = "150 kg/m3"
particle_size = "2 mm"
compaction = "0.1 1/m"
fast_fraction = 0.1
fast_rate = "0.1 1/day"
slow_rate = "0.01 1/day"
oxygen_demand = "1.3 kg/kg"
respiratory_quotient = 1
"""


def defaults():
    """A scenario that leaves everything it may to the defaults."""
    return [repr(from_text(GOOD, "bare")), repr(from_text(GOOD + "[[event]]\ntime = '5 day'", "turned"))]


def grids():
    """Grids of a short run, of one on the border of the long ones, and of a long one."""
    out = []
    for days in ("30 day", "90.5 day", "200 day"):
        grid = scenario_grid(from_text(GOOD, "bare").with_(**{"run.duration": days, "run.cell": "0.25 m"}), 1)
        out.append(np.nansum(grid.x) + 7.0 * np.nansum(grid.z))
    return out


def recipes():
    """The recipe of own feedstocks and the library's: every property and judgement."""
    mix = from_text(GOOD + HUSKS, "husks").mix
    derived = derive(mix)
    used = derived.used
    filled = (1.0 - free_air_space(used.bulk_density, used.moisture, used.volatile_solids)) / used.bulk_density
    tightest = (1.0 - ABOVE * ORIGINAL["smallest_air_filled_porosity"].value) / filled
    try:
        derive(dataclasses.replace(mix, bulk_density=tightest))
        fits = "a bed with hardly any air in it is accepted"
    except ScenarioError as why:
        fits = str(why)
    return [fits, mix_csv(derived, mix, 2.0, None), *judgements(derived, 2.0)]


def _rows():
    """Made-up designs whose shares stand just above each limit of the closing sentences."""
    limits = {name: constant.value * ABOVE for name, constant in ORIGINAL.items()}
    base = {"status": "ok", "cold_edge_fraction": 0.0, "anaerobic_fraction_day_14": 0.0, "share_above_55C_day_14": 1.0}
    return [base | {"cold_edge_fraction": limits["acceptable_cold_edge_share"]},
            base | {"anaerobic_fraction_day_14": limits["acceptable_anaerobic_share"]},
            base | {"share_above_55C_day_14": limits["hot_share_day_14"]},
            base | {"anaerobic_fraction_day_14": limits["aerobic_day_14_anaerobic_share"]}]


def sentences():
    """Verdicts, findings, cautions and pictures' words where a limit lies just below what is judged."""
    attrs = {"rule_temperature_degC": 55.0, "rule_duration_days": 3.0, "anaerobic_oxygen_percent": 5.0}
    named = [row | {"key": str(number)} for number, row in enumerate(_rows())]
    out = [*verdict(named, ["key"], attrs), *hot_and_aerobic(named, lambda row: row["key"], ", ".join, attrs)]
    limits = {name: constant.value * ABOVE for name, constant in ORIGINAL.items()}
    scenario = from_text(GOOD, "bare").with_(**{"mix.permeability": f"{limits['plume_permeability']!r} m2",
                                                "pile.base_width": "8 m"})
    watch = SimpleNamespace(series={"capped_share": [limits["capped_share_caution"]]})
    tally = SimpleNamespace(oxygen_unfinished=0, steps=1, cover_off=None)
    out += messages(scenario, watch, tally, {"budget_error_oxygen": np.array(limits["oxygen_budget_caution"])})
    out.append(_moisture((limits["lowest_mix_moisture"], 0.0)))
    out.append(repr(common_covers({})))
    near = limits["trade_base_width"] * 1.05
    from unit.test_widths import made_up

    out += conclusion([made_up(near / 2, 5.0), made_up(near, 20.0)], "metric")
    return out


def weather():
    """Hot air at the boiling limit, and a monthly climate with a cold snap."""
    record = run_record(FULL, pressure=7e4, ambient_density=1.2, oxygen_demand=1.0, respiratory_quotient=1.0)
    c = plain_record(record)
    out = [vapour_ratio(c.celsius_zero + 99.9, 1.0, record)[0]]
    scenario = load("winter_start").with_(**{f"weather.cold_snap.{key}": value for key, value in (
        ("start", "1 day"), ("duration", "2 day"), ("temperature_drop", "10 delta_degC"))})
    line = air_line(scenario.weather, scenario.start.date, 5.0 * 86400.0, c)
    return [*out, *line.values.sum(axis=0), float(np.abs(np.diff(line.values[:, 0])).sum())]


RUNS = {
    "frost": {"weather.air_temperature": "-25 degC", "start.temperature": "1 degC", "ground.deep_temperature": "1 degC",
              "start.seeding": "mixed", "base_layer.edge": "open", "site.elevation": "1500 m", "weather.wind_speed": "7 m/s"},
    "wet": {"mix.moisture": "68 %", "mix.bulk_density": "800 kg/m3", "mix.permeability": "1e-8 m2",
            "start.temperature": "45 degC", "start.seeding": "surface", "weather.relative_humidity": "40 %"},
    "hot": {"start.temperature": "57 degC", "mix.moisture": "40 %", "weather.air_temperature": "5 degC",
            "mix.permeability": "2e-7 m2", "cover.permeability": "1e-8 m2"},
}


def short_runs():
    """Ten hours of three piles, one after the other, until something moves."""
    for changes in RUNS.values():
        scenario = load("reference_pile").with_(
            **{"run.cell": "0.25 m", "run.duration": "10 hour", "run.output_every": "10 hour", **changes})
        if changes is RUNS["hot"]:
            scenario = dataclasses.replace(scenario, turns=(Turn(5 * 3600.0, "outside in", 0.8, 20.0, 0.3),))
        problem = build(scenario, 1)
        (watch, recorder, tally), values = observed_run(scenario, problem, lambda share: None)
        yield _fingerprint(problem, watch, recorder, tally, values)


def _fingerprint(problem, watch, recorder, tally, values: Values):
    data = make_dataset(problem, watch, recorder, tally, values, values, [], "0")
    numbers = [float(np.nansum(np.abs(data[name].values.astype(float)))) for name in sorted(map(str, data.data_vars))]
    return [*numbers, tally.steps]


def error_parts():
    """Errors of a made-up run on two grids."""
    fine = {name: np.full(5, 0.4) if name.endswith("_by_zone") else 0.4 for name in MEASURES}
    coarse = {name: np.asarray(value) + 0.01 for name, value in fine.items()}
    pieces = SimpleNamespace(zone_share=lambda: np.full(5, 0.2))
    watch = SimpleNamespace(pieces=pieces, times=[0.0, 13.0 * 86400.0, 15.0 * 86400.0],
                            series=defaultdict(lambda: [0.0, 0.3, 0.9]), daily_zone_oxygen=np.full((3, 5), 0.1))
    return [float(np.sum(value)) for value in numerical_errors(fine, coarse, (watch, watch)).values()]


def heat_treatment():
    """Doses of the sludge equation and of E. coli just above and far above the levels that their numbers set."""
    hour = np.array([0.0, 3600.0])
    out = [float(sludge_dose(hour, np.full((2, 1), 273.15 + degrees))[0]) for degrees in (50.5, 60.0, 80.0)]
    for degrees in (52.0, 57.0, 61.0):
        held = np.full((2, 1), 273.15 + degrees)
        out += [float(coli_reductions(0.2 * hour, held, shocked)[0]) for shocked in (False, True)]
    return [*out, float(coli_reductions(100.0 * hour, np.full((2, 1), 333.15))[0])]


CHEAP = (defaults, grids, recipes, sentences, weather, error_parts, heat_treatment)
ORIGINAL = dict(CONSTANTS)
WEATHER = frozenset(row[0] for row in SURFACE_ROWS)     # test_surface_constants.py moves them


@pytest.fixture(scope="module")
def unmoved():
    return {probe.__name__: probe() for probe in CHEAP} | {"runs": list(short_runs())}


def moved(monkeypatch, name, unmoved):
    """Whether some output differs with the constant `name` 1 % larger, or else 1 % smaller."""
    return any(_moved(monkeypatch, name, step, unmoved) for step in STEPS)


def _moved(monkeypatch, name, step, unmoved):
    constant = CONSTANTS[name]
    value = constant.value * step
    low, high = min(value, constant.low), max(value, constant.high)
    monkeypatch.setitem(CONSTANTS, name, dataclasses.replace(constant, value=value, low=low, high=high))
    library.cover_library.cache_clear()
    library.feedstock_library.cache_clear()
    try:
        if any(probe() != unmoved[probe.__name__] for probe in CHEAP):
            return True
        return any(numbers != before for numbers, before in zip(short_runs(), unmoved["runs"], strict=True))
    finally:
        monkeypatch.undo()
        library.cover_library.cache_clear()
        library.feedstock_library.cache_clear()


@pytest.mark.parametrize("name", [name for name in CONSTANTS if name not in WEATHER])
def test_a_moved_constant_moves_an_output(name, unmoved, monkeypatch):
    """Planted: 0.5 typed for `diffusion_total_porosity_exponent` in matter/bed.py: seen to fail."""
    assert moved(monkeypatch, name, unmoved)


def test_nothing_moved_moves_nothing(unmoved):
    """Else the test above could not fail: two runs of the same give the same numbers."""
    assert {probe.__name__: probe() for probe in CHEAP} | {"runs": list(short_runs())} == unmoved
