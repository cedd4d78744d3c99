"""From a scenario to a problem: grid, mesh, what the bed is made of, boundaries, initial state, physical checks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pilesim.balances.bed import Bed, Properties
from pilesim.balances.heat import stored_enthalpies, temperatures_of
from pilesim.balances.outside import Exchange, Outside, air_before, air_density, exchange_over, start_air
from pilesim.balances.outside_edges import close_drifted, meet_outside
from pilesim.balances.physics import FULL, Physics, run_record
from pilesim.balances.skin import Skin
from pilesim.balances.surface import EdgeArrays, half_edges
from pilesim.base.constants import CONSTANTS, constant_record
from pilesim.base.errors import ScenarioError
from pilesim.inputs.laws import chosen_constants
from pilesim.inputs.polygon import mix_halves
from pilesim.inputs.records import BaseLayer, Cover, Mix, Turn
from pilesim.inputs.scenario import Scenario
from pilesim.matter import bed as laws
from pilesim.matter.atmosphere import standard_pressure
from pilesim.matter.ground import steady_profile
from pilesim.matter.mix import settled_mix
from pilesim.matter.mixed_in import with_cover_mixed_in
from pilesim.matter.weather import Air
from pilesim.section.distance import distance_from_line
from pilesim.section.grid import BASE, COVER, GROUND, MIX, SectionGrid, full_section, section_grid
from pilesim.section.operators import Mesh, build_mesh
from pilesim.section.uncovered import cover_mixed_in, cover_taken_away

NO_GRAVITY = {"gravity": 0.0, "drainage_velocity": 0.0}  # a slab has neither draught nor drainage
GROUND_EDGES = frozenset({"ground_surface", "ground_bottom", "ground_side"})


@dataclass(frozen=True, slots=True)
class Problem:
    """All that the solver needs, built once per run. Node arrays have count + 1 entries.

    Attributes
    ----------
    temperature, water, oxygen, activity : arrays
        Initial [K], [kg m-1], [1], [1].
    substrate : (count + 1, 3) array
        Initial pools [kg m-1].
    record, properties
        Constants, options and site values for the kernels; initial arrays, which in reduced physics stay.
    floor_length, pile_volume, norm_volume, ground_capacity : arrays
        Floor that drains [m]; mix, cover and base volume, and volume that weighs in error norms [m2]; heat capacity of the
        ground's share of each node [J K-1 m-1].
    water_of_mix : float
        Water of the mix as built, before shared nodes even it out [kg m-1].
    outside : Outside or None
        Air that changes; without it `edges` hold for the whole run, with it they are those of the start.
    turns, surface_density, start_air
        In order of time; dry matter of the mix where nothing weighs on it [kg m-3]; air at the start.
    uncovered : Problem or None
        Where a turn leaves the cover off: what the pile would be, built without it.
    numbers : (count + 1,) int or None
        Of an uncovered problem: number that each node had in the problem with the cover.
    """

    grid: SectionGrid
    mesh: Mesh
    physics: Physics
    record: np.record
    edges: EdgeArrays
    bed: Bed
    temperature: np.ndarray
    water: np.ndarray
    oxygen: np.ndarray
    substrate: np.ndarray
    properties: Properties
    floor_length: np.ndarray
    pile_volume: np.ndarray
    norm_volume: np.ndarray
    ground_capacity: np.ndarray
    activity: np.ndarray
    water_of_mix: float = 0.0
    outside: Outside | None = None
    turns: tuple[Turn, ...] = ()
    surface_density: float = 0.0
    start_air: Air | None = None
    uncovered: Problem | None = None
    numbers: np.ndarray | None = None

    def stored_enthalpy(self, temperature: np.ndarray, water: np.ndarray) -> np.ndarray:
        """Enthalpy [J m-1] at `temperature` [K] with `water` [kg m-1]."""
        out = np.empty_like(water)
        stored_enthalpies(temperature, water, self.bed.ground_water, self.bed.dry_capacity, out, self.record)
        return out

    def temperature_of(self, stored: np.ndarray, water: np.ndarray) -> np.ndarray:
        """Temperature [K] at which the nodes with `water` [kg m-1] store `stored` [J m-1]."""
        out = np.empty_like(water)
        temperatures_of(stored, water, self.bed.ground_water, self.bed.dry_capacity, out, self.record)
        return out

    def on_built(self, values: np.ndarray, nothing: float = 0.0) -> np.ndarray:
        """Values of the nodes, (count + 1,), at the numbers of the problem as built; `nothing` where no node is left."""
        if self.numbers is None:
            return values
        out = np.full(self.numbers[-1] + 1, nothing)
        out[self.numbers[: values.size]] = values
        return out


def crest_width(scenario: Scenario) -> float:
    """Width of the crest of the mix [m], from the side slope when that is given."""
    pile = scenario.pile
    if pile.shape in ("ridge", "polygon"):
        return 0.0
    if pile.shape not in ("trapezoid", "round"):
        return pile.base_width
    if pile.crest_width is not None:
        return pile.crest_width
    assert pile.side_slope is not None
    return max(pile.base_width - 2.0 * pile.height / float(np.tan(pile.side_slope)), 0.0)


def ground_depth(duration: float) -> float:
    """Depth of ground [m] that a run of `duration` [s] needs."""
    long = duration > CONSTANTS["ground_long_run"].value * (1.0 + 1e-9)
    return CONSTANTS["ground_depth_long" if long else "ground_depth"].value


def scenario_grid(scenario: Scenario, refinement: int) -> SectionGrid:
    """Section grid of a scenario; refinement 2 is the run's own grid, 1 its coarse partner."""
    pile = scenario.pile
    full = pile.section == "full"

    def half(points: np.ndarray | None, rows: int = 0) -> SectionGrid:
        return section_grid(
            shape=pile.shape, base_width=pile.base_width, height=pile.height, crest_width=crest_width(scenario),
            cover_thickness=scenario.cover.thickness, base_thickness=scenario.base_layer.thickness,
            base_edge=scenario.base_layer.edge, cell=scenario.run.cell, refinement=refinement,
            ground_depth=ground_depth(scenario.run.duration), ground_width=CONSTANTS["ground_width"].value,
            points=points, rows=rows,
        )

    if pile.outline is None:
        grid = half(None)
        return full_section(grid) if full else grid
    right, left = mix_halves(pile.outline, full)
    if not full:
        return half(right)
    rows = max(grid.cj - grid.jb for grid in (half(right), half(left))) // refinement
    return full_section(half(right, rows), half(left, rows))


def build(scenario: Scenario, refinement: int = 2, physics: Physics = FULL) -> Problem:
    """Problem of a scenario.

    Raises
    ------
    ScenarioError
        Where the outline or the bed is physically impossible.
    """
    scenario = replace(scenario, mix=settled_mix(scenario.mix))
    physics = replace(physics, constants={**chosen_constants(scenario.laws), **physics.constants})
    if scenario.pile.shape == "slab":
        physics = replace(physics, constants={**physics.constants, **NO_GRAVITY})
    problem = _on_grid(scenario, scenario_grid(scenario, refinement), physics)
    off = next((turn.cover for turn in scenario.turns if turn.cover != "put back"), None)
    return problem if off is None else replace(problem, uncovered=_uncovered(scenario, problem, off))


def _uncovered(scenario: Scenario, built: Problem, off: str) -> Problem:
    """The problem without its cover, which a turn has mixed in or taken away: on the same vertices, as if built so."""
    if off == "taken away":
        bare = replace(scenario, cover=replace(scenario.cover, thickness=0.0))
        problem = _on_grid(bare, cover_taken_away(built.grid), built.physics)
    else:
        grid = cover_mixed_in(built.grid)
        mesh, mix = build_mesh(grid), settled_mix(scenario.mix)
        own = mesh.quad_material == MIX
        room = mesh.quarter_volume[own] * (1.0 + mix.compaction * _depth(scenario, grid, mesh)[own])
        masses = [float((built.bed.organic + built.bed.ash)[number].sum()) / (1.0 - layer.moisture)
                  for number, layer in ((MIX, mix), (COVER, scenario.cover))]
        mixed = with_cover_mixed_in(mix, scenario.cover, (masses[0], masses[1]), float(room.sum()), built.record)
        try:
            problem = _on_grid(replace(scenario, mix=mixed), grid, built.physics)
        except ScenarioError as why:
            raise ScenarioError("event.cover", "'mixed in'", "a mix with free air space left everywhere",
                                "With the cover in it, solids and water fill it whole; have it taken away.") from why
    number = built.mesh.node_at(built.grid.x.shape)
    return replace(problem, numbers=np.append(number[problem.mesh.row, problem.mesh.column], built.mesh.count))


def _on_grid(scenario: Scenario, grid: SectionGrid, physics: Physics) -> Problem:
    """Problem of a scenario on a grid; the laws and the shape are in `physics`."""
    mix = settled_mix(scenario.mix)
    mesh = build_mesh(grid, {MIX: mix.permeability_ratio})
    pressure = standard_pressure(scenario.site.elevation, constant_record(physics.constants))
    values = {"pressure": pressure, "oxygen_demand": mix.oxygen_demand,
              "respiratory_quotient": mix.respiratory_quotient}
    record = run_record(physics, ambient_density=1.0, **values)
    air, line = start_air(scenario, record)
    record = run_record(physics, ambient_density=air_density(air, record), **values)
    node = mesh.node_at(grid.x.shape)
    named_edges = dict(grid.edges)
    close_drifted(scenario, named_edges, node, mesh.z)
    if scenario.pile.shape == "column" and scenario.base_layer.edge == "open":
        j, right = grid.floor_row, grid.x.shape[1] - 1
        named_edges["floor_air"] = np.array([[[j, i], [j, i + 1]] for i in range(right)])
    edges, outside = meet_outside(scenario, air, line, named_edges, GROUND_EDGES, node, mesh.x, mesh.z, record,
                                  grid.axisymmetric)
    dry, wet = _masses(scenario, grid, mesh, record)
    bed = _bed(scenario, mesh, dry, record)
    water = wet.sum(axis=0)
    temperature = np.zeros(mesh.count + 1)  # set below
    oxygen = np.append(np.full(mesh.count, record.ambient_oxygen), 0.0)
    oxygen[mesh.pile_count:] = 0.0
    properties = empty_properties(mesh.count)
    properties.conductivity[GROUND] = scenario.ground.conductivity
    problem = assembled(grid, mesh, physics, record, edges, bed, temperature, water, oxygen, properties)
    ice = scenario.start.ice * wet[MIX]
    temperature = _shared_start(problem, scenario.start.temperature, ice, _start_temperature(scenario, mesh, record))
    return replace(problem, temperature=temperature, water_of_mix=float(wet[MIX].sum()), outside=outside,
                   turns=scenario.turns, surface_density=mix.bulk_density * (1.0 - mix.moisture), start_air=air,
                   activity=_start_activity(scenario.start.seeding, grid, mesh, record))


def outside_air(problem: Problem, scenario: Scenario, start: float, end: float) -> Air:
    """Mean of the air outside from `start` to `end` [s]; the value where they are equal."""
    if problem.outside is not None:
        return problem.outside.line.mean(start, end)
    return start_air(scenario, problem.record)[0]


def edges_over(problem: Problem, record: np.record, start: float, end: float, temperature: np.ndarray,
               room: np.ndarray | None, skin: Skin | None) -> tuple[EdgeArrays, Exchange | None]:
    """Boundary exchange with the mean weather from `start` to `end` [s]; sets the ambient density of `record` to match.

    `record` is the caller's own copy of the problem's; the rest as for :func:`pilesim.balances.outside.exchange_over`.
    The exchange is None, and so are `room` and the skin, where the weather does not change.
    """
    if problem.outside is None or room is None or skin is None:
        return problem.edges, None
    exchange = exchange_over(problem.outside, record, start, end, temperature, room, skin)
    return exchange.edges, exchange


def assembled(grid: SectionGrid, mesh: Mesh, physics: Physics, record: np.record, edges: EdgeArrays, bed: Bed,
             temperature: np.ndarray, water: np.ndarray, oxygen: np.ndarray, properties: Properties) -> Problem:
    floor = np.zeros(mesh.count + 1)
    bottom = (mesh.row[mesh.quad_nodes[:, 0]] == grid.floor_row) & (mesh.quad_material != GROUND)
    ends = mesh.quad_nodes[bottom][:, :2]
    length = np.abs(mesh.x[ends[:, 1]] - mesh.x[ends[:, 0]])
    np.add.at(floor, ends, np.stack(half_edges(mesh.x[ends], length, grid.axisymmetric), axis=1))
    pile_volume = mesh.volume[MIX] + mesh.volume[COVER] + mesh.volume[BASE]
    ground = bed.dry_capacity - laws.dry_heat_capacity(bed.organic.sum(axis=0), bed.ash.sum(axis=0), record)
    norm = mesh.volume[MIX] if mesh.volume[MIX].sum() > 0 else mesh.volume.sum(axis=0)
    return Problem(grid, mesh, physics, record, edges, bed, temperature, water, oxygen, bed.pool_start.copy(),
                   properties, floor, pile_volume, norm.copy(), np.where(mesh.volume[GROUND] > 0, ground, 0.0),
                   np.ones(mesh.count + 1))


def empty_properties(count: int) -> Properties:
    """Property arrays of a mesh, zero."""
    by_material = [np.zeros((5, count + 1)) for _ in range(6)]
    environment = np.zeros((count + 1, 3))
    rest = [np.zeros(count + 1) for _ in range(9)]
    arrays = (*by_material, rest[0], rest[1], environment, *rest[2:])
    return Properties._make(arrays)


def _start_temperature(scenario: Scenario, mesh: Mesh, record: np.record) -> np.ndarray:
    """Of the ground, steady from the air (the mean of the month of building, or before it) to deep down [K]."""
    return steady_profile(-mesh.z, CONSTANTS["ground_profile_depth"].value, air_before(scenario, record),
                          scenario.ground.deep_temperature)


def _shared_start(problem: Problem, pile: float, ice: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """Temperature [K] at which each node stores what its `pile` and `ground` parts bring [K], and `ice` [kg m-1] in the pile.

    The ice is part of the water and no warmer than where all water is frozen.

    A node on the floor has a share of both: given to either alone, the heat they start with would hang on the grid.
    """
    bed, water, part = problem.bed, problem.water, np.empty_like(problem.water)
    none, total = np.zeros_like(water), np.empty_like(water)
    stored_enthalpies(ground, none, bed.ground_water, problem.ground_capacity, total, problem.record)
    stored_enthalpies(np.full_like(water, pile), water, none, bed.dry_capacity - problem.ground_capacity, part,
                      problem.record)
    frozen = np.empty_like(water)
    coldest = problem.record.celsius_zero - problem.record.freezing_range
    for sign, temperature in ((1.0, min(pile, coldest)), (-1.0, pile)):
        stored_enthalpies(np.full_like(water, temperature), ice, none, none, frozen, problem.record)
        part = part + sign * frozen
    return problem.temperature_of(total + part, water)


def _start_activity(seeding: str, grid: SectionGrid, mesh: Mesh, record: np.record) -> np.ndarray:
    """Activity of the mix's microbes at the start [1], (count + 1,); 1 where a node has no mix.

    A quarter cell that the edge of the seeded layer cuts counts by its share inside, so the seed put in is the same
    on every grid.
    """
    activity = np.ones(mesh.count + 1)
    own = mesh.quad_material == MIX
    if seeding == "mature" or not own.any():
        return activity
    mixed = mesh.volume[MIX] > 0.0
    if seeding == "mixed":
        activity[mixed] = record.mixed_activity
        return activity
    x, z, volume = mesh.quarter_x[own], mesh.quarter_z[own], mesh.quarter_volume[own]
    depth, _ = distance_from_line(grid.mix_surface, x, z)
    size = np.sqrt(volume / (2.0 * np.pi * x) if grid.axisymmetric else volume)
    inside = np.clip(0.5 + (record.seeded_depth - depth) / size, 0.0, 1.0)
    seeded = np.zeros(mesh.count + 1)
    np.add.at(seeded, mesh.quad_nodes[own], inside * volume)
    share = seeded[mixed] / mesh.volume[MIX][mixed]
    activity[mixed] = share + (1.0 - share) * record.unseeded_activity
    return activity


def _split(material: Mix | Cover | BaseLayer, bulk: np.ndarray | float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Organic matter, ash and water [kg m-3] of wet bulk density `bulk` [kg m-3]."""
    wet = np.asarray(bulk, dtype=float)
    dry = wet * (1.0 - material.moisture)
    return dry * material.volatile_solids, dry * (1.0 - material.volatile_solids), wet * material.moisture


def _depth(scenario: Scenario, grid: SectionGrid, mesh: Mesh) -> np.ndarray:
    """Depth [m] of each quarter cell below the surface of the mix, (quads, 4); nothing weighs on a slab."""
    surface = grid.mix_surface[::-1]  # from the axis outwards
    top = np.interp(mesh.quarter_x, surface[:, 0], surface[:, 1])
    return np.maximum(top - mesh.quarter_z, 0.0) * (scenario.pile.shape != "slab")


def _masses(scenario: Scenario, grid: SectionGrid, mesh: Mesh,
            record: np.record) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Organic matter and ash, and water of each material at each node [kg m-1]; checks that it fits."""
    organic, ash, wet = (np.zeros((5, mesh.count + 1)) for _ in range(3))
    depth = _depth(scenario, grid, mesh)
    mix = settled_mix(scenario.mix)
    for number, where, material, compaction in (
        (MIX, "mix", mix, mix.compaction), (COVER, "cover", scenario.cover, 0.0),
        (BASE, "base_layer", scenario.base_layer, 0.0),
    ):
        own = mesh.quad_material == number
        if not own.any():
            continue
        bulk = material.bulk_density * (1.0 + compaction * depth[own])
        parts = _split(material, bulk)
        check_room(where, material, float(bulk.max()), record)
        for array, part in zip((organic, ash, wet), parts, strict=True):
            np.add.at(array[number], mesh.quad_nodes[own], part * mesh.quarter_volume[own])
    return (organic, ash), wet


def check_room(where: str, material: Mix | Cover | BaseLayer, bulk: float, record: Any) -> None:
    """Raise ScenarioError unless solids and water of `material` at its densest, `bulk` [kg m-3], leave some room."""
    organic, ash, water = (float(part) for part in _split(material, bulk))
    air = laws.total_porosity.py_func(organic, ash, record) - water / record.water_density
    if air < record.smallest_air_filled_porosity:
        raise ScenarioError(
            f"{where}.bulk_density", f"'{material.bulk_density:.4g} kg/m3' at {100 * material.moisture:.0f} percent moisture",
            "a bed with free air space left everywhere", f"At its densest ({bulk:.0f} kg/m3) solids and water fill it "
            f"whole; lower the bulk density, moisture or {where}.compaction" if where == "mix" else
            "Solids and water fill it whole; lower the bulk density or the moisture")


def _bed(scenario: Scenario, mesh: Mesh, dry: tuple[np.ndarray, np.ndarray], record: np.record) -> Bed:
    organic, ash = dry
    mix, cover, base = settled_mix(scenario.mix), scenario.cover, scenario.base_layer
    reference, permeability, follows, conductivity = (np.zeros(5) for _ in range(4))
    for number, material in ((MIX, mix), (COVER, cover), (BASE, base)):
        parts = _split(material, material.bulk_density)
        porosity = laws.total_porosity(parts[0], parts[1], record)
        reference[number] = porosity - parts[2] / record.water_density
        permeability[number] = material.permeability
        follows[number] = 0.0 if number == COVER and not cover.valve else 1.0
    conductivity[COVER] = cover.conductivity or 0.0
    conductivity[BASE] = base.conductivity or 0.0
    pools = np.zeros((mesh.count + 1, 3))
    pools[:, 0] = organic[MIX] * mix.fast_fraction
    pools[:, 1] = organic[MIX] * mix.slow_fraction
    pools[:, 2] = organic[COVER] * cover.slow_fraction
    capacity = laws.dry_heat_capacity(organic.sum(axis=0), ash.sum(axis=0), record)
    capacity = capacity + mesh.volume[GROUND] * scenario.ground.heat_capacity
    return Bed(mesh.volume, organic, ash, reference, permeability, follows, conductivity,
              np.array([mix.fast_rate, mix.slow_rate, cover.slow_rate]), pools, capacity,
               mesh.volume[GROUND] * record.ground_water)


def cover_conductivity(cover: Cover, record: np.record) -> float:
    """Thermal conductivity of the cover as built [W m-1 K-1], unfrozen and without vapour diffusion."""
    if cover.conductivity is not None:
        return cover.conductivity
    organic, ash, water = (float(part) for part in _split(cover, cover.bulk_density))
    porosity = laws.total_porosity(organic, ash, record)
    return float(laws.thermal_conductivity(porosity, water / (record.water_density * porosity), 0.0, record))
