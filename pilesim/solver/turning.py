"""Turning: the material of a pile comes to lie elsewhere in the same outline, and meets outdoor air on the way.

The grid stays. What moves with the material (dry matter, the pools in it, its heat capacity, water, enthalpy, microbes) is
carried by one linear operator whose rows sum to one, so each is conserved to round-off. The air that the material meets
leaves in equilibrium with it: its enthalpy and vapour are what the turn loses, and both are returned. Pores open anew where
water or density had closed them, as air space and permeability follow from what lies there; the gas in what was moved is
fresh. A cover is taken off, turned by itself and put back, unless it is off for good (`uncover`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pilesim.balances.heat import stored_enthalpy, temperature_of
from pilesim.build import Problem, empty_properties
from pilesim.inputs.records import Turn
from pilesim.matter import bed as laws
from pilesim.matter.moist_air import activity_of_air, dry_gas_concentration, moist_enthalpy, vapour_pressure, vapour_ratio
from pilesim.matter.weather import Air
from pilesim.model import State
from pilesim.section.distance import distance_from_line
from pilesim.section.grid import COVER, MIX
from pilesim.solver.properties import bed_properties

LAYERS = 20             # of equal mass, from the outside in: what is thrown from one is spread over its mirror image
_MOST_DRYING = 0.9      # of the water of what is moved: no more is given to the air
_HALVINGS = 60          # of a bracket of 200 K: to round-off


@dataclass(frozen=True, slots=True)
class Move:
    """Where material goes: `share` of what each node has is gathered in layers and spread again.

    Attributes
    ----------
    share : float
        [1].
    gather : (m, layers) float
        Part of what each node gives that goes into each layer; rows sum to one.
    spread : (layers, m) float
        Part of each layer that each node takes; rows sum to one.
    """

    share: float
    gather: np.ndarray
    spread: np.ndarray

    def carried(self, amount: np.ndarray) -> np.ndarray:
        """An amount of each node, (m,) or (m, k), after the move."""
        return (1.0 - self.share) * amount + self.spread.T @ self.moved(amount)

    def moved(self, amount: np.ndarray) -> np.ndarray:
        """What the layers gather, (layers,) or (layers, k)."""
        return self.share * (self.gather.T @ amount)


@dataclass(frozen=True, slots=True)
class Lost:
    """Heat [J m-1] and water [kg m-1] given to the air, and the enthalpy that each node gained, (count + 1,) [J m-1]."""

    heat: float
    water: float
    gained: np.ndarray


def turned(problem: Problem, as_built: Problem, state: State, turn: Turn) -> tuple[Problem, Lost]:
    """Problem that goes on after `turn`, starting from what `state` of `problem` becomes, and what the air took.

    Parameters
    ----------
    as_built : Problem
        That of the start of the run, whose density the turned pile has again.
    """
    mesh, bed, record = problem.mesh, problem.bed, problem.record
    now = empty_properties(mesh.count)
    bed_properties(state.temperature, state.water, state.substrate, state.activity, mesh.pile_count, bed, now, record)
    organic, ash, capacity = bed.organic.copy(), bed.ash.copy(), bed.dry_capacity.copy()
    pools, pool_start, water = state.substrate.copy(), bed.pool_start.copy(), state.water.copy()
    activity, oxygen, gained = state.activity.copy(), state.oxygen.copy(), np.zeros_like(water)
    heat = vapour = 0.0
    pools_of_mix = 2 if mesh.volume[COVER].any() else 3  # a cover that is mixed in brings its pool
    for material, own_pools in ((MIX, slice(0, pools_of_mix)), (COVER, slice(2, 3))):
        nodes = np.flatnonzero(mesh.volume[material] > 0.0)
        if nodes.size == 0:
            continue
        move = move_of(problem, as_built, turn, nodes) if material == MIX else _all_alike(mesh.volume[COVER, nodes])
        dry = bed.organic[material, nodes] + bed.ash[material, nodes]
        own = laws.dry_heat_capacity(bed.organic[material, nodes], bed.ash[material, nodes], record)
        held = _enthalpies(state.temperature[nodes], now.water[material, nodes], own, record)
        met = turn.air_exchanged * mesh.volume[material].sum()
        cooled, dried = _given_to_air(problem, state.time, move, held, now.water[material, nodes], own,
                                      now.dry_mass[material, nodes], met * dry / dry.sum())
        heat, vapour = heat + cooled.sum(), vapour + dried.sum()
        gained[nodes] += move.carried(held) - move.spread.T @ cooled - held
        water[nodes] += move.carried(now.water[material, nodes]) - move.spread.T @ dried - now.water[material, nodes]
        capacity[nodes] += move.carried(own) - own
        for array in (organic[material], ash[material]):
            array[nodes] = move.carried(array[nodes])
        for table in (pools, pool_start):
            table[nodes, own_pools] = move.carried(table[nodes, own_pools])
        if material == MIX:
            activity[nodes] = np.clip(move.carried(activity[nodes] * dry) / move.carried(dry), 0.0, 1.0)
        oxygen[nodes] += move.share * (record.ambient_oxygen - oxygen[nodes])
    touched = np.flatnonzero((mesh.volume[MIX] > 0.0) | (mesh.volume[COVER] > 0.0))
    temperature = state.temperature.copy()
    new_bed = bed._replace(organic=organic, ash=ash, dry_capacity=capacity, pool_start=pool_start)
    new = replace(problem, bed=new_bed, water=water, oxygen=oxygen, substrate=pools, activity=activity)
    temperature[touched] = new.temperature_of(state.stored + gained, water)[touched]
    return replace(new, temperature=temperature), Lost(float(heat), float(vapour), gained)


def depth_of(problem: Problem, x: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Distance [m] of places in the mix from its outside: its surface or its underside."""
    nearest, _ = distance_from_line(problem.grid.mix_surface, x, z)
    return np.minimum(nearest, np.maximum(z - problem.grid.mix_base, 0.0))


def move_of(problem: Problem, as_built: Problem, turn: Turn, nodes: np.ndarray) -> Move:
    """How `turn` moves the `nodes` of the mix of a problem that was built as `as_built`."""
    dry, built = ((p.bed.organic[MIX, nodes] + p.bed.ash[MIX, nodes]) for p in (problem, as_built))
    pressed = built - as_built.surface_density * problem.mesh.volume[MIX, nodes]
    target = built - turn.loosening * pressed
    target = target / target.sum()
    if turn.mixing == "throughout":
        return Move(turn.share, np.ones((nodes.size, 1)), target[None, :])
    order = np.argsort(depth_of(problem, problem.mesh.x[nodes], problem.mesh.z[nodes]), kind="stable")
    here, there = _in_layers(dry / dry.sum(), order), _in_layers(target, order)
    return Move(turn.share, here[:, ::-1] / here.sum(axis=1, keepdims=True), (there / there.sum(axis=0)).T)


def _in_layers(mass: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Mass of each node in each of the layers of equal mass, (m, layers), counted along `order`."""
    ends = np.cumsum(mass[order])
    ends = ends / ends[-1]
    starts = np.concatenate([[0.0], ends[:-1]])
    edges = np.linspace(0.0, 1.0, LAYERS + 1)
    part = np.minimum(ends[:, None], edges[1:]) - np.maximum(starts[:, None], edges[:-1])
    out = np.empty((mass.size, LAYERS))
    out[order] = np.maximum(part, 0.0)
    return out


def _all_alike(volume: np.ndarray) -> Move:
    return Move(1.0, np.ones((volume.size, 1)), (volume / volume.sum())[None, :])


def _enthalpies(temperature: np.ndarray, water: np.ndarray, capacity: np.ndarray, record: np.record) -> np.ndarray:
    return np.array([stored_enthalpy(t, w, 0.0, c, record)
                     for t, w, c in zip(temperature, water, capacity, strict=True)])


def _given_to_air(problem: Problem, time: float, move: Move, held: np.ndarray, water: np.ndarray, capacity: np.ndarray,
                  dry: np.ndarray, met: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Enthalpy [J m-1] and water [kg m-1] that each layer gives to the air it meets.

    Parameters
    ----------
    met : (m,) array
        Volume of outdoor air for the material of each node, were all of it moved [m2].
    """
    record, air = problem.record, _air(problem, time)
    activity = activity_of_air(air.temperature, air.humidity, record)
    amount = dry_gas_concentration(air.temperature, vapour_pressure(air.temperature, activity, record), record)
    ratio = vapour_ratio(air.temperature, activity, record)[0]
    brought = moist_enthalpy(air.temperature, ratio, record)
    layers = [move.moved(values) for values in (held, water, capacity, dry, met * amount)]
    out = np.array([_layer_to_air(float(h), float(w), float(c), float(d), float(g), ratio, brought, record)
                    for h, w, c, d, g in zip(*layers, strict=True)])
    return out[:, 0], out[:, 1]


def _air(problem: Problem, time: float) -> Air:
    if problem.outside is not None:
        return problem.outside.line.mean(time, time)
    assert problem.start_air is not None
    return problem.start_air


def _layer_to_air(held: float, water: float, capacity: float, dry: float, gas: float, ratio: float, brought: float,
                  record: np.record) -> tuple[float, float]:
    """Enthalpy [J] and water [kg] that material gives to `gas` [mol] of dry air, which it leaves in equilibrium."""
    wetness = laws.water_activity(water / dry, record)[0] if dry > 0.0 else 1.0

    def given(temperature: float) -> tuple[float, float]:
        full = vapour_ratio(temperature, wetness, record)[0]
        taken = min(gas * (full - ratio), _MOST_DRYING * water)
        return gas * (moist_enthalpy(temperature, ratio + taken / gas, record) - brought) if gas > 0.0 else 0.0, taken

    if gas <= 0.0:
        return 0.0, 0.0
    middle = temperature_of(held, water, 0.0, capacity, record)
    low, high = middle - 100.0, middle + 100.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        heat, taken = given(middle)
        if stored_enthalpy(middle, water - taken, 0.0, capacity, record) > held - heat:
            high = middle
        else:
            low = middle
    return given(middle)
