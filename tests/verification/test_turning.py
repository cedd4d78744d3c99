"""Turning: what it conserves, what the air takes, and parcels against the closed forms of exposure under turning."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pilesim.assess.exposure import dose
from pilesim.assess.parcels import Places, follow, parcels_of
from pilesim.assess.shares import mix_pieces
from pilesim.balances.physics import FULL, run_record
from pilesim.build import build
from pilesim.inputs.scenario import Turn, load
from pilesim.matter.moist_air import activity_of_air, moist_enthalpy, vapour_ratio
from pilesim.section.grid import COVER, MIX
from pilesim.solver.march import DAY, HEAT_TOTALS, march
from pilesim.solver.nodes import TOTALS
from pilesim.solver.step import Controls
from pilesim.solver.turning import _layer_to_air, move_of, turned

TURNS = (Turn(2 * DAY, "throughout", 1.0, 20.0, 0.0), Turn(2 * DAY, "throughout", 0.4, 0.0, 1.0),
         Turn(2 * DAY, "outside in", 1.0, 20.0, 0.0), Turn(2 * DAY, "outside in", 0.7, 5.0, 0.5))
CLOSED = 1e-9  # relative: what the issue of turning asks; round-off is near 1e-15


@pytest.fixture(scope="module", params=("warm", "frozen outside"))
def standing(request):
    """A covered pile on its second day, by marching; `frozen outside` has ice in its cover and skin."""
    changes = {"run.cell": "20 cm", "run.duration": "2 day"}
    if request.param == "frozen outside":
        changes |= {"weather.air_temperature": "-25 degC", "start.temperature": "2 degC"}
    problem = build(load("reference_pile").with_(**changes), 1)
    stepper, state, _ = march(problem, 2 * DAY, Controls(), lambda stepper, moment: None)
    return problem, stepper, state


@pytest.mark.parametrize("turn", TURNS, ids=lambda turn: f"{turn.mixing} {turn.share:g}")
def test_all_but_the_stated_losses_is_conserved(standing, turn):
    """Dry matter, ash, each pool, water and enthalpy of the section before and after, against the loss that is returned.

    Planted: the target of the spread off by a thousandth; the enthalpy of the cover left where it was while its water moves;
    the vapour taken twice; the heat added instead of taken.
    """
    problem, stepper, state = standing
    new, lost = turned(stepper.problem, problem, state, turn)
    old = stepper.problem
    for before, after in (
        (old.bed.organic.sum(axis=1), new.bed.organic.sum(axis=1)), (old.bed.ash.sum(axis=1), new.bed.ash.sum(axis=1)),
        (state.substrate.sum(axis=0), new.substrate.sum(axis=0)),
        (old.bed.pool_start.sum(axis=0), new.bed.pool_start.sum(axis=0)),
        (old.bed.dry_capacity.sum(), new.bed.dry_capacity.sum()), (state.water.sum(), new.water.sum() + lost.water),
    ):
        assert np.allclose(before, after, rtol=CLOSED, atol=0.0)
    touched = (problem.mesh.volume[MIX] > 0.0) | (problem.mesh.volume[COVER] > 0.0)  # others carry the solver's defect on
    scale = np.abs(state.stored[touched]).sum()
    stored = new.stored_enthalpy(new.temperature, new.water)[touched].sum()
    assert abs(stored - (state.stored[touched].sum() - lost.heat)) < CLOSED * scale
    assert (new.temperature[~touched] == state.temperature[~touched]).all()
    assert lost.gained.sum() == pytest.approx(-lost.heat, abs=CLOSED * scale)
    assert (new.water >= 0.0).all() and (new.substrate >= 0.0).all()
    if turn.air_exchanged == 0.0:
        assert lost.heat == lost.water == 0.0
    else:
        assert lost.heat > 0.0


def test_a_whole_turn_makes_the_mix_alike(standing):
    """After mixing throughout, every node of mix alone has the same pools per dry matter, water per dry matter and
    temperature, and the density of building is back. Planted: the pools left in
    place."""
    problem, stepper, state = standing
    new, _ = turned(stepper.problem, problem, state, TURNS[0])
    alone = (problem.mesh.volume[MIX] > 0.0) & (problem.mesh.volume[[0, 2, 3, 4]].sum(axis=0) == 0.0)
    dry = (new.bed.organic + new.bed.ash)[MIX, alone]
    for values in (new.substrate[alone, 0] / dry, new.water[alone] / dry):
        assert np.ptp(values) < CLOSED * np.abs(values).max()
    assert np.ptp(new.temperature[alone]) < 0.01  # the defect that the iteration left in the stored enthalpy stays in place
    assert np.allclose(dry, (problem.bed.organic + problem.bed.ash)[MIX, alone], rtol=1e-12)


def test_outside_in_changes_outside_with_inside():
    """What lay within the outer tenth of the mass comes to lie within the inner tenth, and the other way round.
    Planted: layers not reversed."""
    problem = build(load("reference_pile").with_(**{"run.cell": "10 cm"}), 2)
    nodes = np.flatnonzero(problem.mesh.volume[MIX] > 0.0)
    move = move_of(problem, problem, TURNS[2], nodes)
    dry = (problem.bed.organic + problem.bed.ash)[MIX, nodes]
    into = move.gather @ move.spread
    assert np.allclose(into.sum(axis=1), 1.0, rtol=1e-12)
    assert np.allclose(dry @ into, dry, rtol=1e-12)
    order = np.argsort(move.gather @ np.arange(move.gather.shape[1])[::-1], kind="stable")
    outer, inner = order[: nodes.size // 10], order[-nodes.size // 10:]
    assert into[np.ix_(outer, inner)].sum() > 0.5 * outer.size
    assert into[np.ix_(outer, outer)].sum() < 1e-9


def test_loosening_takes_the_compaction_away():
    """All of it: a whole turn gives every node the mean density of the mix. Planted: the share of compaction
    kept instead."""
    problem = build(load("reference_pile").with_(**{"run.cell": "20 cm"}), 2)
    _, state, _ = march(problem, 3600.0, Controls(), lambda stepper, moment: None)
    new, _ = turned(problem, problem, state, Turn(3600.0, "throughout", 1.0, 0.0, 1.0))
    own = problem.mesh.volume[MIX] > 0.0
    density = (new.bed.organic + new.bed.ash)[MIX, own] / problem.mesh.volume[MIX, own]
    assert np.ptp(density) < 1e-9 * density.max()


@pytest.mark.parametrize("pressure", (101325.0, 75000.0))
@pytest.mark.parametrize("start, outside", ((65.0, -10.0), (45.0, 20.0), (5.0, 30.0)))
def test_what_the_air_takes(pressure, start, outside):
    """Moist material and air of 70 percent come to one temperature, saturated: enthalpy of the air by CoolProp's humid air
    (Herrmann et al. 2009, real gas). To 1 percent of the heat: ideal gas, and our saturation pressure, differ by less.

    Planted: the air leaving with seven tenths of the vapour.
    """
    humid = pytest.importorskip("CoolProp.HumidAirProp").HAPropsSI
    record = run_record(FULL, pressure=pressure, ambient_density=1.2, oxygen_demand=1.0, respiratory_quotient=1.0)
    water, dry, capacity, gas = 60.0, 40.0, 60.0e3, 800.0
    zero = 273.15
    held = (capacity + record.water_heat_capacity * water) * start
    activity = activity_of_air(zero + outside, 0.7, record)
    ratio = vapour_ratio(zero + outside, activity, record)[0]
    heat, taken = _layer_to_air(held, water, capacity, dry, gas, ratio, moist_enthalpy(zero + outside, ratio, record), record)
    end = (held - heat) / (capacity + record.water_heat_capacity * (water - taken))
    dry_air = gas * record.dry_air_molar_mass
    after = humid("Hda", "T", zero + end, "P", pressure, "R", 1.0)
    relative = 0.7 * (1.0 if outside >= 0.0 else humid_over_water(humid, zero + outside, pressure))
    before = humid("Hda", "T", zero + outside, "P", pressure, "R", relative)
    expected = dry_air * (after - before)
    gained = dry_air * (humid("W", "T", zero + end, "P", pressure, "R", 1.0)
                        - humid("W", "T", zero + outside, "P", pressure, "R", relative))
    assert heat == pytest.approx(expected, rel=0.01, abs=2000.0)
    assert taken == pytest.approx(gained, rel=0.01, abs=2e-3)


def humid_over_water(humid, temperature, pressure):
    """CoolProp's relative humidity is over ice below 0 degC, ours over water: WMO's ratio of the two saturations is the
    ratio of the pressures by Magnus (over water) and CoolProp (over ice)."""
    degrees = temperature - 273.15
    over_water = 611.2 * np.exp(17.62 * degrees / (243.12 + degrees))
    return over_water / humid("P_w", "T", temperature, "P", pressure, "R", 1.0)


def test_a_turned_run_keeps_its_budgets():
    """Heat and water budgets of a run with two turns close as those of a standing one: what the turns give away is part of
    them. Planted: the losses not written to the tally."""
    scenario = load("reference_pile").with_(**{"run.cell": "20 cm", "run.duration": "4 day"})
    scenario = dataclasses.replace(scenario, turns=(Turn(DAY, "throughout", 1.0, 20.0, 0.0), Turn(3 * DAY, "outside in", 0.5,
                                                                                                 20.0, 0.2)))
    problem, moments = build(scenario, 1), []
    _, state, tally = march(problem, 4 * DAY, Controls(), lambda stepper, moment: moments.append(moment))
    gained = (state.stored - problem.stored_enthalpy(problem.temperature, problem.water)).sum()
    entered = sum(tally.inputs[TOTALS.index(name)] for name in HEAT_TOTALS)
    assert gained == pytest.approx(entered, abs=1e-9 * np.abs(state.stored).sum())
    turns = [moment for moment in moments if moment.step == pytest.approx(problem.record.turn_time)]
    assert [round(moment.before.time / DAY, 9) for moment in turns] == [1.0, 3.0]
    assert all(a.after.time == b.before.time for a, b in pairwise(moments))


# ------------------------------------------------------------------------------------------------- parcels
def line_of_places(count, cold):
    """Places in one line; the outer share `cold` of them stays at 20 degC, the rest at 55."""
    depth = (np.arange(count) + 0.5) / count
    empty = np.zeros((count, 4), dtype=int)
    places = Places(empty, empty.astype(float), depth, (depth < cold).astype(int), np.column_stack([depth, depth]))
    return places, np.where(depth < cold, 293.15, 328.15)


def survivors(turns, count, cold, reduction, seed=1):
    """Mean survival when a period in the hot zone leaves 10**-reduction, with a turn after each period but the last."""
    places, level = line_of_places(count, cold)
    period = 3 * DAY
    times = np.concatenate([[k * period + 60.0 * (k > 0), (k + 1) * period] for k in range(len(turns) + 1)])
    parcels = follow(places, times, np.tile(level, (times.size, 1)), turns, seed)
    hot = dose(times, parcels.temperatures, np.array([323.15, 333.15]), np.full(2, reduction / period))
    return float(np.mean(10.0**-hot))


@settings(max_examples=25, deadline=None)
@given(cold=st.floats(0.05, 0.6), reduction=st.floats(0.1, 1.5), count=st.integers(1, 5))
def test_random_mixing_converges_to_the_closed_form(cold, reduction, count):
    """S = [f + (1 - f) s]^(N + 1) for N turns, cold zone f and survival s of a period in the hot zone (the product of
    independent periods: exact mathematics). 8000 parcels: within 5 standard errors of their mean, and the seconds of the
    turns themselves. Planted: the turns left out."""
    turns = tuple(Turn((k + 1) * 3 * DAY, "throughout", 1.0, 0.0, 0.0) for k in range(count))
    f, s = round(8000 * cold) / 8000, 10.0**-reduction
    closed = (f + (1.0 - f) * s) ** (count + 1)
    spread = (f + (1.0 - f) * s**2) ** (count + 1) - closed**2
    assert abs(survivors(turns, 8000, f, reduction) - closed) < 5.0 * np.sqrt(max(spread, 0.0) / 8000) + 2e-3 * closed


@pytest.mark.parametrize("share", (0.25, 0.6))
def test_partial_mixing_follows_its_chain(share):
    """Two zones as a Markov chain: a parcel stays with 1 - p and goes anywhere with p; the vector of survival by zone is
    carried exactly (exact mathematics). Planted: parcels that are not chosen move too."""
    cold, reduction, count = 0.3, 0.5, 4
    turns = tuple(Turn((k + 1) * 3 * DAY, "throughout", share, 0.0, 0.0) for k in range(count))
    here = np.array([cold, 1.0 - cold])
    alive = here * np.array([1.0, 10.0**-reduction])
    for _ in range(count):
        alive = ((1.0 - share) * alive + share * alive.sum() * here) * np.array([1.0, 10.0**-reduction])
    found = np.mean([survivors(turns, 20000, cold, reduction, seed) for seed in range(4)])
    assert found == pytest.approx(float(alive.sum()), rel=0.02)  # 80,000 parcels: a standard error of 0.4 percent


def test_outside_in_lets_every_parcel_be_hot_once():
    """A cold half, one exchange: each parcel is hot for exactly one of two periods, so S = s. At random it is
    [0.5 + 0.5 s]^2, more. Planted: outside in done at random."""
    turn = Turn(3 * DAY, "outside in", 1.0, 0.0, 0.0)
    assert survivors((turn,), 4000, 0.5, 1.0) == pytest.approx(0.1, rel=1e-3)
    random = survivors((Turn(3 * DAY, "throughout", 1.0, 0.0, 0.0),), 4000, 0.5, 1.0)
    assert random == pytest.approx(0.3025, rel=0.05)


def test_every_place_holds_one_parcel_after_any_turn():
    """A turn moves parcels, it makes none. Planted: places drawn with replacement."""
    places, _ = line_of_places(500, 0.2)
    times = np.array([0.0, 1.0, 2.0, 3.0]) * DAY
    marks = np.tile(np.arange(500.0), (4, 1))
    for mixing in ("throughout", "outside in"):
        found = follow(places, times, marks, (Turn(DAY, mixing, 0.7, 0.0, 0.0),))
        assert (np.sort(found.temperatures[-1]) == np.arange(500.0)).all()
        assert (found.temperatures[1] == np.arange(500.0)).all()
        assert (found.temperatures[2] != np.arange(500.0)).mean() == pytest.approx(0.7, abs=0.05)


def test_parcels_of_a_standing_pile_are_its_places():
    """Their mean temperature is that of the mix, to what 4000 places resolve. Planted: triangles weighed alike."""
    problem = build(load("cold_high_pile").with_(**{"run.cell": "10 cm"}), 2)
    pieces = mix_pieces(problem)
    nodes = np.unique(pieces.quad_nodes)
    field = problem.mesh.z[nodes] + problem.mesh.x[nodes]
    parcels = parcels_of(problem, pieces, nodes, np.array([0.0, 1.0]), np.tile(field, (2, 1)), ())
    exact = float(pieces.node_weight[nodes] @ field)
    assert parcels.temperatures[0].mean() == pytest.approx(exact, abs=4.0 * field.std() / np.sqrt(4000))
    assert problem.mesh.volume[COVER].sum() > 0.0
