"""How the window of the cover moves with cold, altitude and thickness, and the designs that the trade would call good
(kind: behaviour).

Directions and wide bands on cells of 20 cm. "Common practice, no source" marks a fact of the trade that we hold without
a publication; "prototype" what an earlier model of our own showed. "Planted" names the fault under which a check was
seen to fail.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from pilesim.inputs.scenario import load
from pilesim.show.screen import print_comparison
from pilesim.study.compare import compare
from pilesim.study.table import rows
from pilesim.study.window import best_leakance

PERMEABILITIES = ("1e-10 m2", "2e-10 m2", "4e-10 m2", "8e-10 m2", "1.6e-9 m2")
SEA, HIGH = "0 m", "2900 m"
THICKNESSES = (0.1, 0.2, 0.3)


@pytest.fixture(scope="module")
def best(pile):
    """`best(air, elevation)`: the leakance [m] that minimises the worse of the anaerobic share on day 14 and the share
    that missed the rule by day 30, by the tool's own function."""
    def find(air, elevation):
        runs = [pile(**{"weather.air_temperature": air, "site.elevation": elevation, "cover.permeability": value})
                for value in PERMEABILITIES]
        names = "cover_leakance", "cold_edge_fraction", "anaerobic_fraction_day_14"
        leakance, cold, starved = (np.array([float(run.measures[name]) for run in runs]) for name in names)
        value, _, at_edge = best_leakance(leakance, cold, starved)
        assert not at_edge, "the best cover must lie inside the sweep"
        return value

    return find


def test_colder_air_asks_for_a_tighter_cover(best):
    """Cold air draws harder, so the oxygen comes through a tighter cover and a leaky one blows the edges cold: the best
    leakance falls from 20 to 0, -20 and -35 degC.

    Direction by prototype (4e-9, 2e-9, 1-2e-9, 1e-9 m) and derivation; seen 3.4e-9, 1.9e-9, 1.0e-9, 0.9e-9 m here and,
    once by hand on cells of 10 cm, 3.5e-9, 2.7e-9, 1.4e-9, 0.85e-9 m. The last step is small on 20 cm, so only its sign
    is asked; halving over the whole span. Planted: air of 10 degC whatever is given.
    """
    found = [best(air, SEA) for air in ("20 degC", "0 degC", "-20 degC", "-35 degC")]
    assert found[0] > 1.2 * found[1] and found[1] > 1.2 * found[2] and found[2] > found[3]
    assert found[0] > 2.0 * found[3]


@pytest.mark.parametrize("air", ["20 degC", "0 degC", "-35 degC"])
def test_thin_air_asks_for_a_leakier_cover(best, air):
    """At 2,900 m less dry gas is drawn and each cubic metre holds less oxygen: the best cover is leakier, by half at
    least. Prototype: about double; seen 1.9, 2.7 and 1.9 times here, 2.4, 2.0 and 2.1 times once by hand on cells of
    10 cm. Planted: pressure of sea level everywhere.
    """
    assert best(air, HIGH) > 1.3 * best(air, SEA)


def leakances_held(pile, air, leakance, cell, thicknesses=THICKNESSES):
    return [pile(**{"weather.air_temperature": air, "run.cell": cell, "cover.thickness": f"{thick} m",
                    "cover.permeability": f"{leakance * thick:.6g} m2"}) for thick in thicknesses]


def test_at_one_leakance_thickness_hardly_matters_in_mild_air(pile):
    """What draws is the leakance; at 2.5e-9 m and 10 degC covers of 0.1, 0.2 and 0.3 m leave the same cold edges within
    0.03 of the mix and the same mean temperature within 5 K on days 14 and 30 (prototype: hardly matters; seen 0.01,
    0.7 and 2.3 K). Planted: permeability held instead of leakance.
    """
    runs = leakances_held(pile, "10 degC", 2.5e-9, "20 cm")
    assert np.ptp([float(run.measures["cold_edge_fraction"]) for run in runs]) < 0.03
    for day in (14, 30):
        assert np.ptp([run.mean_temperature(day) for run in runs]) < 5.0


def test_at_one_leakance_thickness_pays_in_deep_frost(pile):
    """At -35 degC and a leakance that suits it (1e-9 m) insulation pays: from 0.1 to 0.3 m the cold-edge share falls by
    more than the numerical errors of both, on cells of 5 cm with a partner of 10 cm; the second tenth of a metre brings
    less than the first. Prototype: pays up to about 0.3 m. Seen 0.171, 0.110, 0.088 and, at 0.4 m, 0.080, within 0.012;
    on cells of 10 cm the error of 0.04 hides the first step. Planted: cover that conducts as wet sand does.
    """
    coarse = leakances_held(pile, "-35 degC", 1e-9, "10 cm")
    fine = leakances_held(pile, "-35 degC", 1e-9, "5 cm", (0.1, 0.3))
    partner, cold = (np.array([float(run.measures["cold_edge_fraction"]) for run in runs]) for runs in (coarse, fine))
    error = np.abs(cold - partner[[0, 2]])
    assert cold[0] - cold[1] > error.sum()
    assert 0.0 < partner[1] - partner[2] < partner[0] - partner[1]


@pytest.fixture(scope="module", params=[("0 m", "10 degC"), ("2900 m", "-35 degC")], ids=["mild", "high and cold"])
def designs(request):
    """Comparison of cover permeabilities under 0.2 m of cover on a base of 6 m, as `pilesim compare` makes it."""
    elevation, air = request.param
    scenario = load("reference_pile").with_(**{
        "pile.base_width": "6 m", "site.elevation": elevation, "weather.air_temperature": air, "run.cell": "20 cm"})
    return compare(scenario, {"cover.permeability": ["2e-10 m2", "4e-10 m2", "6e-10 m2", "8e-10 m2"]}, workers=2)


def test_hot_and_aerobic_designs_are_found_and_named_with_their_toe(designs, capsys):
    """A pile up to about 6 m wide under 0.15 to 0.23 m of coarse compost runs mostly above 55 degC, typically at 65 to
    71, also at 2,900 m and -35 degC (common practice, no source). The tool finds such designs: at least 0.6 of the mix
    above 55 degC on day 14, at most 0.2 anaerobic; and its screen names them, the leakance they need, and that the toe
    is not among it.

    What the model says beside the trade: the window is narrow (of four covers within a factor of four, two); at -35
    degC most of the toe never meets the rule, and the mean on day 14 is 54 to 58 degC, the core some 64, not 65 to 71.
    Cells of 10 cm, once by hand: the same two covers at -35 degC (0.69, 0.68 above 55 degC; 0.15, 0.02 anaerobic); in
    mild air 6e-10 m2 just misses (0.24 anaerobic), so the window begins leakier than on these coarse cells.
    Planted: rate of the fast pool a third (nothing found in the cold); the line left out of the screen.
    """
    limits = 0.6, 0.2
    found = [row for row in rows(designs) if row["share_above_55C_day_14"] >= limits[0]
             and row["anaerobic_fraction_day_14"] <= limits[1]]
    assert 0 < len(found) < designs["status"].size
    assert all(65.0 < row["peak_temperature"] < 72.5 for row in found)
    assert all(row["cold_edge_fraction_by_zone_toe"] > 0.2 for row in found)
    print_comparison(designs, "metric")
    line, = (text for text in capsys.readouterr().out.splitlines() if text.startswith("Hot and aerobic on day 14"))
    key, = json.loads(designs.attrs["vary"])
    assert all(f"{key} {row[key]}" in line for row in found) and line.count(key) == len(found)
    leakances = sorted(row["cover_leakance"] for row in found)
    assert f"cover leakance of {leakances[0]:.3g}" in line and f"{leakances[-1]:.3g} m:" in line
    assert "The toe is not among it" in line
