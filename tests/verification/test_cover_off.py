"""A cover that a turn leaves off: what is conserved, what leaves with it, and that the pile is then one without a cover."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from verification.corners import corner_jacobians

from pilesim.base.constants import constant_record
from pilesim.build import build, empty_properties
from pilesim.inputs.records import Cover
from pilesim.inputs.scenario import Turn, load
from pilesim.matter.mix import free_air_space, particle_size, permeability, settled_mix
from pilesim.matter.mixed_in import with_cover_mixed_in
from pilesim.section.grid import COVER, GROUND, MIX, NONE, edge_length, section_grid
from pilesim.section.uncovered import cover_mixed_in, cover_taken_away
from pilesim.solver.march import DAY, HEAT_TOTALS, WATER_TOTALS, budget_errors, march
from pilesim.solver.nodes import TOTALS
from pilesim.solver.properties import bed_properties
from pilesim.solver.step import Controls
from pilesim.solver.turning import turned
from pilesim.solver.uncover import skin_left, uncover
from pilesim.verify.shapes import CASES

FATES = ("mixed in", "taken away")
CLOSED = 1e-9  # relative: what is asked of a turn; round-off is near 1e-15
GONE = 0.02  # K: the defect that the iteration leaves in the stored enthalpy, as in test_turning


def covered(fate, day=2.0, name="reference_pile", **changes):
    scenario = load(name).with_(**{"run.cell": "20 cm", "run.duration": "3 day", **changes})
    return dataclasses.replace(scenario, turns=(Turn(day * DAY, "throughout", 1.0, 20.0, 0.0, fate),))


def quiet(stepper, moment):
    """Nobody looks."""


@pytest.fixture(scope="module", params=[(fate, weather) for fate in FATES for weather in ("warm", "frozen outside")],
                ids=lambda p: " ".join(p))
def stood(request):
    """A covered pile on its second day, by marching; `frozen outside` has ice in its cover."""
    fate, weather = request.param
    changes = {"start.seeding": "mixed"}
    if weather != "warm":
        changes = {"weather.air_temperature": "-25 degC", "start.temperature": "2 degC"}
    problem = build(covered(fate, **changes), 1)
    stepper, state, _ = march(problem, 2 * DAY, Controls(), quiet)  # the turn would come at the end
    return fate, weather, problem, stepper.problem, state, uncover(stepper.problem, state, fate)


def solids(problem, state):
    """Organic matter, ash, each pool now and as it was, heat capacity of solids and ground, of the whole section."""
    return np.array([problem.bed.organic.sum(), problem.bed.ash.sum(), *state.substrate.sum(axis=0),
                     *problem.bed.pool_start.sum(axis=0), problem.bed.dry_capacity.sum()])


def test_what_leaves_and_what_stays_is_all_there_was(stood):
    """Mixed in, nothing leaves. Taken away, what leaves is the cover: its solids as built, its own pool, and the water and
    enthalpy that are returned; these lie between those of nodes of cover alone and of all cover at its warmest.

    Planted, each seen to fail: the cover's water left on shared nodes; its heat capacity left; its pool left; its enthalpy
    not returned; the ground under it keeping its water; mixed in, ash of the cover forgotten.
    """
    fate, weather, _, old, state, (new, left, off) = stood
    before, after = solids(old, state), solids(new, left)
    gone = np.zeros_like(before)
    if fate == "taken away":
        own = old.bed.organic[COVER].sum(), old.bed.ash[COVER].sum()
        c = old.record
        gone[:] = [*own, 0, 0, state.substrate[:, 2].sum(), 0, 0, old.bed.pool_start[:, 2].sum(),
                   own[0] * c.organic_heat_capacity + own[1] * c.ash_heat_capacity]
        lost = old.bed.pool_start[:, 2].sum() - state.substrate[:, 2].sum()
        assert off.dry == pytest.approx(sum(own) - lost, rel=CLOSED)
    else:
        assert off.heat == 0.0 and off.gone == (0.0, 0.0) and off.added == (off.dry, off.water)
    assert np.allclose(before, after + gone, rtol=CLOSED, atol=0.0)
    assert state.water.sum() == pytest.approx(left.water.sum() + off.gone[1], rel=CLOSED)
    scale = np.abs(state.stored).sum()
    assert abs(state.stored.sum() - left.stored.sum() - off.heat) < CLOSED * scale
    kept = new.numbers
    assert (left.temperature == state.temperature[kept]).all()
    found = new.temperature_of(left.stored, left.water)[:-1]
    assert np.abs(found - state.temperature[kept][:-1]).max() < GONE
    assert (left.water >= 0.0).all() and (left.water[new.mesh.pile_count:] == 0.0).all()
    if fate == "taken away" and weather == "warm":
        alone = old.mesh.volume[[MIX, 3, GROUND]].sum(axis=0) == 0.0
        own = np.flatnonzero(alone[:-1])
        dropped = np.setdiff1d(np.arange(old.mesh.count), kept)
        assert np.array_equal(own, dropped)
        c, warmth = old.record, state.temperature - 273.15
        covering = old.bed.organic[COVER], old.bed.ash[COVER]
        per_node = covering[0] * c.organic_heat_capacity + covering[1] * c.ash_heat_capacity
        least = float(((per_node + c.water_heat_capacity * state.water) * warmth)[own].sum())
        whole = float((per_node * warmth).sum() + c.water_heat_capacity * off.water * warmth[covering[0] > 0].max())
        assert least < off.heat < whole


@pytest.mark.parametrize("loosening", (0.0, 0.4))
def test_the_turn_after_it_conserves(stood, loosening):
    """Solids, pools, water and enthalpy through the turn of what is left, against what the air took; mixed in, the whole of
    the mix is alike then: pools, the cover's among them, water and microbes, of which the cover's were mature. Planted, each
    seen to fail: the cover's pool left where it lay; its microbes dead; the density of the covered pile as target."""
    fate, _, problem, old, state, (standing, left, _) = stood
    bare = problem.uncovered
    new, lost = turned(standing, bare, left, Turn(2 * DAY, "throughout", 1.0, 20.0, loosening, fate))
    as_state = dataclasses.replace(left, substrate=new.substrate)
    assert np.allclose(solids(standing, left), solids(new, as_state), rtol=CLOSED, atol=0.0)
    assert left.water.sum() == pytest.approx(new.water.sum() + lost.water, rel=CLOSED)
    touched = new.mesh.volume[MIX] > 0.0
    scale = np.abs(left.stored[touched]).sum()
    stored = new.stored_enthalpy(new.temperature, new.water)[touched].sum()
    assert abs(stored - (left.stored[touched].sum() - lost.heat)) < CLOSED * scale
    assert (new.bed.organic[COVER] == 0.0).all() and (new.bed.volume[COVER] == 0.0).all()
    alone = touched & (new.mesh.volume[[0, 2, 3, 4]].sum(axis=0) == 0.0)
    dry = (new.bed.organic + new.bed.ash)[MIX]
    columns = [new.substrate[alone, pool] / dry[alone] for pool in range(3)]
    for values in (*columns, new.water[alone] / dry[alone], new.activity[alone]):
        assert np.ptp(values) <= CLOSED * np.abs(values).max()
    assert (new.substrate[:, 2].sum() > 0.0) == (fate == "mixed in")
    mixed, covering = (old.bed.organic + old.bed.ash)[[MIX, COVER]] * np.array([[1.0], [fate == "mixed in"]])
    active = float((mixed * state.activity + covering).sum() / (mixed + covering).sum())
    assert np.allclose(new.activity[alone], active, rtol=CLOSED)
    if loosening == 0.0:
        built = (bare.bed.organic + bare.bed.ash)[MIX]
        assert np.allclose(dry[touched], built[touched], rtol=1e-9)


@pytest.mark.parametrize("fate", FATES)
@pytest.mark.parametrize("name", ("reference_pile", "winter_standing"))
def test_a_run_keeps_its_budgets(fate, name):
    """Heat and water of a run whose cover comes off, and which is turned once more: what entered, less what left with the
    cover, is what is stored. The march starts anew on another mesh. Winter has sky, snow and frost. Planted, each seen to
    fail: the heat of the cover left out of the budget; its water left out."""
    scenario = covered(fate, 1.0, name)
    scenario = dataclasses.replace(scenario, turns=(*scenario.turns, Turn(2 * DAY, "outside in", 0.5, 20.0, 0.2)))
    problem, moments = build(scenario, 1), []
    _, state, tally = march(problem, 3 * DAY, Controls(), lambda stepper, moment: moments.append(moment))
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    off = tally.cover_off
    for ended, begun, names, gone in ((state.stored, start[0], HEAT_TOTALS, off.heat),
                                      (state.water, start[1], WATER_TOTALS, off.gone[1])):
        entered = sum(tally.inputs[TOTALS.index(total)] for total in names)
        assert ended.sum() - begun.sum() + gone == pytest.approx(entered, abs=CLOSED * np.abs(ended).sum())
    found = budget_errors(start, state, tally)
    assert found["heat"] < 1e-8 and found["water"] < 1e-8 and found["oxygen"] < 5e-3  # oxygen: what its sweeps leave
    turns = [moment for moment in moments if moment.step == pytest.approx(problem.record.turn_time)]
    assert [round(moment.before.time / DAY, 9) for moment in turns] == [1.0, 2.0]
    sizes = [moment.after.temperature.size for moment in moments]
    assert (len(set(sizes)) == 2) == (fate == "taken away")


def test_what_was_cover_goes_on_decaying_in_the_mix():
    """Its own pool shrinks after the turn, and the dry matter of the mix is its solids as built less what all three pools
    have lost. Planted, each seen to fail: no rate for a cover's pool in the mix; what that pool loses not taken from it."""
    problem, moments = build(covered("mixed in", 1.0), 1), []
    stepper, state, _ = march(problem, 3 * DAY, Controls(), lambda stepper, moment: moments.append(moment))
    pools = [float(moment.after.substrate[:, 2].sum()) for moment in moments if moment.after.time > 1.01 * DAY]
    assert pools[-1] < pools[0] * (1.0 - 1e-4)
    bed, now = stepper.problem.bed, empty_properties(stepper.problem.mesh.count)
    bed_properties(state.temperature, state.water, state.substrate, state.activity, stepper.problem.mesh.pile_count, bed, now,
                   stepper.problem.record)
    whole = float((bed.organic + bed.ash)[MIX].sum() - (bed.pool_start - state.substrate).sum())
    assert float(now.dry_mass[MIX].sum()) == pytest.approx(whole, rel=1e-12)


@pytest.mark.parametrize("edge", ("closed", "open"))
def test_snow_goes_with_a_cover_that_is_taken_away(edge):
    """And stays on the ground beside, and on a base layer that reaches out from under the cover; what comes to light is bare.
    Planted, each seen to fail: skins matched by place in their tables; snow of the pile left hanging at its nodes."""
    built = build(covered("taken away", name="winter_standing", **{"base_layer.edge": edge}), 1)
    bare, was = built.uncovered, built.outside.pieces
    before = built.outside.bare()
    before.ice[:] = 1.0 + was.node + 1000.0 * was.is_pile
    after, now = skin_left(before, built.outside, bare), bare.outside.pieces
    number = bare.numbers[now.node]
    kept = after.ice > 0.0
    assert np.allclose(after.ice[kept], (1.0 + number + 1000.0 * now.is_pile)[kept])
    ground = set(was.node[~was.is_pile].tolist())
    assert [n in ground for n in number[~now.is_pile]] == kept[~now.is_pile].tolist()
    assert kept[~now.is_pile].any() and kept[~now.is_pile].all() == (edge == "open")  # no ground comes to light then
    assert kept[now.is_pile].any() == (edge == "open")


# ------------------------------------------------------------------------------------------------- the grid
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("edge", ("closed", "open"))
@pytest.mark.parametrize("refinement", (1, 2))
def test_the_bare_grid_has_the_outline_of_a_pile_without_cover(case, edge, refinement):
    """Against the grid built without one, on other vertices: areas of mix and base layer, length of what meets the air, of
    the floor of the section and of its axis. With an open base the layer under the cover stays and lies bare. To round-off.
    Planted, each seen to fail: edges between mix and cover not made surface; edges of the cover kept; ground under the cover
    closed."""
    values = {**CASES[case], "base_edge": edge}
    if values["cover_thickness"] == 0.0:
        pytest.skip("no cover")
    was = section_grid(**values, refinement=refinement)
    bare, plain = cover_taken_away(was), section_grid(**{**values, "cover_thickness": 0.0}, refinement=refinement)
    assert not (bare.material == COVER).any()
    assert bare.area_of(MIX) == pytest.approx(plain.area_of(MIX), rel=1e-12)
    assert edge_length(bare, "axis") == pytest.approx(edge_length(plain, "axis") - depth_change(bare, plain), rel=1e-12)
    if edge == "closed" or values["base_thickness"] == 0.0:
        assert bare.surface_length == pytest.approx(plain.surface_length, rel=1e-12)
        wider = toe(was) - toe(plain) if bare.floor_row > 0 else 0.0
        assert edge_length(bare, "ground_surface") == pytest.approx(edge_length(was, "ground_surface") + wider, rel=1e-12)
    else:
        assert bare.surface_length > plain.surface_length
    every_edge_lies_beside_one_cell(bare)
    assert np.isfinite(corner_jacobians(bare)[bare.material != NONE]).all()


def depth_change(one, other):
    """Difference in depth of the ground of two grids, which their graded rows may have [m]."""
    return float(np.nanmin(one.z) - np.nanmin(other.z)) if one.floor_row > 0 else 0.0


def toe(grid):
    """Where the pile meets the ground [m]."""
    pile = (grid.material != NONE) & (grid.material != GROUND)
    j, i = np.nonzero(pile)
    return float(np.nanmax(grid.x[grid.floor_row, i[j == max(grid.floor_row, 0)] + 1]))


def every_edge_lies_beside_one_cell(grid):
    """Named edges are the boundary of the cells, each once, but for those between pile and ground."""
    there = np.pad(grid.material != NONE, 1)
    count = 0
    for pairs in grid.edges.values():
        for first, second in pairs:
            j, i = np.minimum(first, second)
            below_or_left = there[j, i + 1] if first[0] == second[0] else there[j + 1, i]
            assert below_or_left != there[j + 1, i + 1]
            count += 1
    around = int(np.sum(there[1:] != there[:-1]) + np.sum(there[:, 1:] != there[:, :-1]))
    assert count == around


@pytest.mark.parametrize("case", CASES)
def test_mixed_in_the_outline_stays(case):
    """The mix has the area that mix and cover had. Planted: the cover's cells left as they are."""
    was = section_grid(**CASES[case])
    now = cover_mixed_in(was)
    assert now.area_of(MIX) == pytest.approx(was.area_of(MIX) + was.area_of(COVER), rel=1e-12)
    assert now.area_of(COVER) == 0.0 and (now.mix_surface == was.outer_surface).all()


@pytest.mark.parametrize("name, changes", (
    ("reference_pile", {}), ("round_heap", {}), ("uneven_flanks", {}), ("winter_standing", {"base_layer.edge": "open"}),
    ("reference_pile", {"pile.shape": "ellipse"}), ("reference_pile", {"mix.permeability_ratio": "3"})))
@pytest.mark.parametrize("fate", FATES)
def test_every_kind_of_pile_can_lose_its_cover(fate, name, changes):
    """Volumes, solids and water as built: those of mix and base layer, with the cover's where it is mixed in. To round-off.
    Planted: the volume of the cover not weighed with its density at depth."""
    problem = build(covered(fate, name=name, **changes), 1)
    bare, mixed = problem.uncovered, fate == "mixed in"
    for table, other in ((problem.mesh.volume, bare.mesh.volume), (problem.bed.organic, bare.bed.organic),
                         (problem.bed.ash, bare.bed.ash)):
        was, now = table.sum(axis=1), other.sum(axis=1)
        assert now[MIX] == pytest.approx(was[MIX] + was[COVER] * mixed, rel=1e-9)
        assert now[COVER] == 0.0 and np.allclose(now[3:], was[3:], rtol=1e-12)
    if mixed:
        assert bare.water.sum() == pytest.approx(problem.water.sum(), rel=1e-9)
    assert np.allclose(bare.mesh.x, problem.mesh.x[bare.numbers]) and np.allclose(bare.mesh.z, problem.mesh.z[bare.numbers])


def test_a_slab_without_its_cover_is_a_slab_built_so():
    """The mix of a slab has the same vertices with and without a cover, so what follows a cover that is taken away must be,
    to round-off, what a bare slab does from the same state: one day, fixed steps. Planted: the bare face left closed."""
    slab = {"pile.shape": "slab", "base_layer.thickness": "0 m"}
    built = build(covered("taken away", **slab), 1)
    stepper, state, _ = march(built, DAY, Controls(), quiet)
    standing, left, _ = uncover(stepper.problem, state, "taken away")
    new, _ = turned(standing, built.uncovered, left, Turn(DAY, "throughout", 1.0, 20.0, 0.0, "taken away"))
    plain = build(dataclasses.replace(covered("taken away", **slab), turns=()).with_(**{"cover.thickness": "0 m"}), 1)
    assert plain.mesh.count == new.mesh.count and np.allclose(plain.mesh.x, new.mesh.x, rtol=1e-14)
    same = dataclasses.replace(plain, bed=plain.bed._replace(
        organic=new.bed.organic, ash=new.bed.ash, dry_capacity=new.bed.dry_capacity, pool_start=new.bed.pool_start),
        temperature=new.temperature, water=new.water, oxygen=new.oxygen, substrate=new.substrate, activity=new.activity)
    controls = Controls(fixed_step=1800.0)
    ends = [march(dataclasses.replace(problem, turns=()), DAY, controls, quiet)[1] for problem in (new, same)]
    assert np.abs(ends[0].temperature - ends[1].temperature).max() < 1e-9
    assert np.abs(ends[0].water - ends[1].water).max() < 1e-9
    assert np.abs(ends[0].temperature - new.temperature).max() > 1.0  # or nothing was tried


# ------------------------------------------------------------------------------------------------- the material
def test_a_cover_of_the_mix_s_own_material_changes_nothing():
    """Exact: mixed with itself a material stays what it is. Planted: sizes weighed by wet mass."""
    mix, c = settled_mix(load("reference_pile").mix), constant_record()
    like = Cover(0.2, mix.permeability, mix.bulk_density, mix.moisture, mix.volatile_solids, 0.0, 0.0, None, False)
    found = with_cover_mixed_in(mix, like, (300.0, 100.0), 400.0 / mix.bulk_density, c)
    for name in ("bulk_density", "moisture", "volatile_solids", "permeability"):
        assert getattr(found, name) == pytest.approx(getattr(mix, name), rel=1e-12)
    assert found.fast_fraction == pytest.approx(0.75 * mix.fast_fraction, rel=1e-12)  # the cover's pool is its own


def test_fines_rule_the_permeability():
    """Hand values: equal solid volumes of sizes d and d/10 make 2 / (1/d + 10/d) = 0.1818 d; size and permeability undo one
    another. Planted: sizes averaged, not their inverses."""
    c = constant_record()
    mix = dataclasses.replace(settled_mix(load("reference_pile").mix), compaction=0.0)
    air = free_air_space(mix.bulk_density, mix.moisture, mix.volatile_solids, c)
    size = particle_size(mix.permeability, air, c)
    assert permeability(size, air, c) == pytest.approx(mix.permeability, rel=1e-12)
    fine = Cover(0.2, permeability(0.1 * size, air, c), mix.bulk_density, mix.moisture, mix.volatile_solids, 0.0, 0.0, None,
                 False)
    found = with_cover_mixed_in(mix, fine, (100.0, 100.0), 200.0 / mix.bulk_density, c)
    assert found.permeability == pytest.approx(mix.permeability * (2.0 / 11.0) ** 2, rel=1e-12)
