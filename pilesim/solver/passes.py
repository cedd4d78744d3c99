"""The three parts of a pass over a time step, each one compiled call: coefficients and stages, gas flow, oxygen.

Handing arrays from Python to a kernel costs more than many a loop over them; so the sequence itself is compiled.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.heat import apparent_heat_capacity
from pilesim.base.compiled import compiled, compiled_part
from pilesim.section.operators import gather_stencil
from pilesim.solver.flow import advection_stencil, flow_order, gas_lifts, gas_mobilities, quad_means, solve_flow
from pilesim.solver.nodes import Stage, coupling_defect, pore_gas, solve_stage
from pilesim.solver.oxygen import solve_oxygen
from pilesim.solver.properties import bed_properties, full_uptake, gas_state, grow_activity


class Quads(NamedTuple):
    """The mesh and the numbering of its unknowns, as kernels take them."""

    z: np.ndarray  # m
    nodes: np.ndarray  # (quads, 4)
    pairs: np.ndarray  # (quads, 6)
    flow_pairs: np.ndarray  # (quads, 6), of gas
    flow_form: np.ndarray  # (quads, 10)
    material: np.ndarray  # (quads,)
    every: np.ndarray  # numbers of all quads
    permeable: np.ndarray  # numbers of those that gas passes
    unknown: np.ndarray  # number of each node's pressure, -1 where it is given
    pressure: np.ndarray  # Pa
    band: np.ndarray
    factored: np.ndarray
    right: np.ndarray
    number: np.ndarray  # row of each pile node in the oxygen band
    oxygen_band: np.ndarray
    oxygen_right: np.ndarray
    oxygen_age: np.ndarray  # (1,) int
    oxygen_share: np.ndarray  # (1,)


class Fields(NamedTuple):
    """The arrays of a state, in the order of :class:`pilesim.model.State`."""

    stored: np.ndarray
    temperature: np.ndarray
    water: np.ndarray
    substrate: np.ndarray
    oxygen: np.ndarray
    composition: np.ndarray
    east: np.ndarray
    north: np.ndarray
    outflow: np.ndarray
    activity: np.ndarray


class Held(NamedTuple):
    """What one moment hands to the next step: properties gathered on quads, and rate factors."""

    conduction: np.ndarray  # (quads,)
    diffusion: np.ndarray
    capillary: np.ndarray
    environment: np.ndarray  # (count + 1, 3), oxygen included
    respiration: np.ndarray  # mol s-1 m-1, oxygen taken up
    node_dry_mass: np.ndarray
    growth: np.ndarray  # limits of the growth of the activity, oxygen included


class Room(NamedTuple):
    """Work space over count + 1 nodes, or quads."""

    order: np.ndarray  # (pile_count,) uint32, upstream nodes first, of the latest flow
    back: np.ndarray  # the same from behind
    degree: np.ndarray  # int
    saturation: np.ndarray
    potential: np.ndarray
    mid_ratio: np.ndarray
    mid_enthalpy: np.ndarray
    mobility: np.ndarray
    lift: np.ndarray
    defect: np.ndarray  # K, what the flow assumed did to temperature
    warming: np.ndarray  # K, what respiration assumed did
    conductance: np.ndarray  # (quads,)
    coefficient: np.ndarray  # (quads,)
    oxygen_diffusion: np.ndarray  # (count + 1, 8)
    oxygen_total: np.ndarray
    storage: np.ndarray
    none: np.ndarray  # zeros
    plenty: np.ndarray  # infinity
    ones: np.ndarray
    mid_east: np.ndarray  # mol s-1 m-1, flow assumed at mid-step
    mid_north: np.ndarray
    mid_outflow: np.ndarray
    source: np.ndarray  # mol s-1 m-1, gas that respiration makes
    corrected: np.ndarray  # (2,)


@compiled_part
def _copy(source: Any, target: Any) -> None:
    a, b = source.reshape(-1), target.reshape(-1)
    for i in range(b.size):
        b[i] = a[i]


@compiled_part
def _ahead(now: Any, before: Any, ratio: float, scale: float, out: Any) -> None:
    """Extrapolate non-negative coefficients, kept between half and twice their present value, times `scale`."""
    a, b, c = now.reshape(-1), before.reshape(-1), out.reshape(-1)
    for i in range(c.size):
        c[i] = scale * min(max(a[i] + ratio * (a[i] - b[i]), 0.5 * a[i]), 2.0 * a[i])


@compiled_part
def mid_step_terms(quads: Any, room: Any, held: Any, before: Any, ratio: float, terms: Any, capillary: Any,
                   capillary_total: Any, steady: bool, c: Any) -> None:
    """Coefficients at mid-step, `ratio` of the last step ahead of now, written to `terms` and `capillary`.

    `steady` says that conductances are those of the last call.
    """
    _ahead(held.environment, before.environment, ratio, 1.0, terms.environment)
    _ahead(held.growth, before.growth, ratio, 1.0, terms.growth)
    _copy(held.node_dry_mass, terms.dry_mass)
    if steady:
        return
    k = room.coefficient
    _ahead(held.conduction, before.conduction, ratio, 1.0, k)
    gather_stencil(quads.nodes, quads.pairs, k, terms.conduction, terms.conduction_total)
    if c.moist > 0.0:
        _ahead(held.diffusion, before.diffusion, ratio, c.vapour_diffusivity_ratio, k)
        gather_stencil(quads.nodes, quads.pairs, k, terms.vapour, terms.vapour_total)
        _ahead(held.capillary, before.capillary, ratio, 1.0, k)
        gather_stencil(quads.nodes, quads.pairs, k, capillary, capillary_total)
        for n in range(capillary.shape[0]):
            for d in range(8):
                capillary[n, d] = max(capillary[n, d], 0.0)  # a negative weight of a skewed cell would drain a dry node


@compiled_part
def _add(base: Any, rate: Any, step: float, out: Any) -> None:
    """out = base + step rate."""
    a, b, c = base.reshape(-1), rate.reshape(-1), out.reshape(-1)
    for i in range(c.size):
        c[i] = a[i] + step * b[i]


@compiled_part
def _guess(now: Any, last: Any, share: float, least: float, out: Any) -> None:
    """out = now + share (now - last), at least `least` of now where that is not negative."""
    for n in range(out.size):
        out[n] = max(now[n] + share * (now[n] - last[n]), least * now[n])


@compiled_part
def run_stages(frame: Any, room: Any, terms: Any, capillary: Any, pore_volume: Any, now: Any, last: Any,
               mid: Any, first: Any, second: Any, edges: Any, rates: Any, new: Any, gamma: float, dt: float,
               dt_last: float, again: bool, limit: float, worst_share: float, most: int, c: Any) -> Any:
    """Both stages of a pass over the flow `mid`; the new moment without flow and oxygen is written to `new`.

    Parameters
    ----------
    again : bool
        The stages hold iterates of an earlier pass over this step: start from them.
    limit, worst_share : float
        Sweeps stop at this change of temperature [K] (see :func:`pilesim.solver.nodes.sweep`).

    Returns
    -------
    tuple
        Sweeps used, and the least water of a pile node [kg m-1].
    """
    pile_count = room.order.size
    early, late = rates
    east, north, outflow = mid
    inflow = terms.inflow
    for n in range(inflow.size):
        inflow[n] = max(-outflow[n], 0.0)
    middle = room.potential  # borrowed until the stages need it
    if again:
        for n in range(middle.size):
            middle[n] = 0.5 * (now.temperature[n] + second.temperature[n])
    else:
        _guess(now.temperature, last.temperature, 0.5 * dt / dt_last, 0.0, middle)
        _guess(now.temperature, last.temperature, gamma * dt / dt_last, 0.0, first.temperature)
        _guess(now.water, last.water, gamma * dt / dt_last, 0.1, first.water)
    carried, companion, made = room.mid_enthalpy, room.mid_enthalpy, room.plenty
    pore_gas(middle, now.water, terms.dry_mass, pile_count, room.mid_ratio, carried, c)
    if c.moist > 0.0:
        # at an inlet only diffusion feeds the vapour of the face; dry gas takes its heat from the bed, without limit
        companion, made = room.mid_ratio, room.none
    advection_stencil(frame.neighbours, frame.upstream, frame.stretches, east, north, outflow, carried, companion,
                      terms.vapour, made, edges.enthalpy_in, pile_count, terms.advection, terms.advection_total)
    step = gamma * dt
    first = Stage(first.temperature, first.water, first.ratio, first.enthalpy, now.stored, now.water, now.substrate,
                  first.liquid_water, first.liquid_heat)
    sweeps = solve_stage(room.order, room.back, frame, terms, capillary, pore_volume, first, edges, outflow, step, dt, limit,
                         worst_share, most, not again, room.saturation, room.potential, early, c)
    if not again:
        _guess(first.temperature, now.temperature, 1.0 / gamma - 1.0, 0.0, second.temperature)
        _guess(first.water, now.water, 1.0 / gamma - 1.0, 0.1, second.water)
    _add(now.stored, early.stored, (1.0 - gamma) * dt, second.stored_from)
    _add(now.water, early.water, (1.0 - gamma) * dt, second.water_from)
    _add(now.substrate, early.burnt, -(1.0 - gamma) * dt, second.substrate_from)
    sweeps += solve_stage(room.order, room.back, frame, terms, capillary, pore_volume, second, edges, outflow, step, dt,
                          limit, worst_share, most, not again, room.saturation, room.potential, late, c)
    _add(second.stored_from, late.stored, step, new.stored)
    _add(second.water_from, late.water, step, new.water)
    _add(second.substrate_from, late.burnt, -step, new.substrate)
    _copy(second.temperature, new.temperature)
    _copy(now.activity, new.activity)
    grow_activity(now.activity, terms.growth, first.temperature, second.temperature, gamma, dt, pile_count, new.activity,
                  c)
    least = np.inf
    for n in range(pile_count):
        least = min(least, new.water[n])
    return sweeps, least


@compiled
def run_flow(quads: Any, room: Any, fields: Any, props: Any, is_open: Any, source: Any, renew: bool, c: Any) -> None:
    """Gas flow of a moment from its temperature and composition, written to its `east`, `north` and `outflow`.

    Without `renew` it meets the same resistance as in the last call: later passes of a step change the temperature by
    hundredths of a kelvin, which buoyancy feels and viscosity does not.
    """
    if renew:
        gas_mobilities(fields.temperature, props.activity, room.order.size, room.mobility, c)
        quad_means(quads.permeable, quads.nodes, quads.material, props.permeability, room.mobility, room.conductance)
    gas_lifts(fields.temperature, props.activity, fields.composition, room.order.size, room.lift, c)
    solve_flow(quads.permeable, quads.nodes, quads.flow_pairs, quads.flow_form, room.conductance, room.lift, quads.z,
               quads.unknown, quads.pressure, source, is_open, quads.band, quads.factored, quads.right, fields.east,
               fields.north, fields.outflow)


@compiled_part
def _turned(now: Any, new: Any, assumed: Any, out: Any) -> None:
    """How far the mean of both moments is from what was assumed."""
    for n in range(out.size):
        out[n] = 0.5 * (now[n] + new[n]) - assumed[n]


@compiled_part
def follow_flow(quads: Any, frame: Any, room: Any, second: Any, edges: Any, bed: Any, props: Any, now: Any, mid: Any,
                new: Any, source: Any, dt: float, again: bool, live_bed: bool, limit: float, c: Any) -> float:
    """Flow of the new moment, and what the flow that the stages assumed did wrong [K, rms]; `mid` is moved half way.

    A first pass takes the properties of a `live_bed` at the new moment: later ones (`again`) change water and decay too
    little. Below `limit` [K] the assumed flow is left as it is.
    """
    pile_count = room.order.size
    if live_bed and not again:
        bed_properties(new.temperature, new.water, new.substrate, new.activity, pile_count, bed, props, c)
    run_flow(quads, room, new, props, edges.is_open, source, not again, c)
    east, north, outflow = mid
    defect, weight = room.defect, frame.weight
    to_east, to_north, out = room.mobility, room.lift, room.storage  # borrowed: the flow is solved, oxygen not yet
    _turned(now.east, new.east, east, to_east)
    _turned(now.north, new.north, north, to_north)
    _turned(now.outflow, new.outflow, outflow, out)
    coupling_defect(frame.neighbours, to_east, to_north, out, second.enthalpy, edges.enthalpy_in, edges.is_open,
                    pile_count, defect)
    size = 0.0
    temperature, water, ground_water, dry_capacity = new.temperature, new.water, bed.ground_water, bed.dry_capacity
    for n in range(pile_count):
        capacity = apparent_heat_capacity(temperature[n], water[n], ground_water[n], dry_capacity[n], c)
        defect[n] *= dt / max(capacity, 1e-9)
        size += weight[n] * defect[n] * defect[n]
    size = np.sqrt(size)
    if size > limit:
        _add(east, to_east, 0.5, east)
        _add(north, to_north, 0.5, north)
        _add(outflow, out, 0.5, outflow)
    return size


@compiled
def diffuse_oxygen(quads: Any, room: Any, props: Any, diffusion: Any) -> None:
    """Conductances of oxygen diffusion: `diffusion` of the quads, and gathered at the nodes."""
    quad_means(quads.permeable, quads.nodes, quads.material, props.diffusivity, props.gas_diffusivity, diffusion)
    gather_stencil(quads.nodes, quads.pairs, diffusion, room.oxygen_diffusion, room.oxygen_total)


@compiled
def hold(quads: Any, room: Any, props: Any, factor: Any, steady: bool, held: Any) -> None:
    """What the next step needs of this moment, with the oxygen `factor`; diffusion is there, `steady` conductances too."""
    if not steady:
        quad_means(quads.every, quads.nodes, quads.material, props.conductivity, room.ones, held.conduction)
        quad_means(quads.permeable, quads.nodes, quads.material, props.capillary, room.ones, held.capillary)
    environment, growth = props.environment, props.growth
    held_environment, respiration, held_growth = held.environment, held.respiration, held.growth
    for n in range(factor.size):
        for pool in range(3):
            held_environment[n, pool] = environment[n, pool] * factor[n]
        respiration[n] = props.uptake[n] * factor[n]
        held_growth[n] = growth[n] * factor[n]
    _copy(props.node_dry_mass, held.node_dry_mass)


@compiled_part
def settle_oxygen(quads: Any, frame: Any, room: Any, props: Any, terms: Any, now: Any, last: Any, new: Any, edges: Any,
                  dt: float, dt_last: float, start: bool, again: bool, reaction_tolerance: float, balance_tolerance: float,
                  most: int, steady: bool, held: Any, c: Any) -> Any:
    """Oxygen of the new moment and what it hands on; `terms` are those of oxygen, over this work space.

    `start` says that there is no moment before `now`, `again` that `new` holds the oxygen of an earlier pass over this step.

    Returns
    -------
    tuple
        Sweeps used (-1: unfinished), oxygen supplied and used at the end, and stored, mean of the step [mol s-1 m-1].
    """
    pile_count = room.order.size
    if not again:
        gas_state(new.temperature, pile_count, props, c)
        if not steady:
            diffuse_oxygen(quads, room, props, held.diffusion)
    full_uptake(new.temperature, new.substrate, pile_count, props, c)
    storage, previous, amount, oxygen = room.storage, terms.previous, props.gas_amount, new.oxygen
    before, earlier = now.oxygen, last.oxygen
    w = 0.0 if start else dt / dt_last  # backward differences of second order; of first order in the first step
    lead = (1.0 + 2.0 * w) / (1.0 + w)
    for n in range(storage.size):
        storage[n] = c.store_oxygen * amount[n] * lead / dt
        foreseen = ((1.0 + w) * before[n] - w * w / (1.0 + w) * earlier[n]) / lead
        # a front would ask for less than nothing, and a trace below nothing (see `node_oxygen`) must not grow
        previous[n] = min(max(foreseen, 0.5 * before[n]), 2.0 * before[n]) if before[n] > 0.0 else before[n]
    if not again:
        _guess(now.oxygen, last.oxygen, dt / dt_last, 0.0, oxygen)
        for n in range(oxygen.size):
            oxygen[n] = min(max(oxygen[n], 0.0), 1.0)
    flow_order(frame.neighbours, new.east, new.north, pile_count, room.order, room.degree)
    for i in range(pile_count):
        room.back[i] = room.order[pile_count - 1 - i]
    factor = np.zeros(oxygen.size)
    used, supplied, burnt = solve_oxygen(
        room.order, frame.neighbours, frame.upstream, frame.stretches, frame.reach, new.east, new.north, new.outflow, terms,
        edges, quads.number, quads.oxygen_band, quads.oxygen_right, quads.oxygen_age, quads.oxygen_share, reaction_tolerance,
        balance_tolerance, most, oxygen, factor)
    stored = 0.0
    for n in range(pile_count):
        stored += c.store_oxygen * amount[n] * (oxygen[n] - before[n]) / dt
    hold(quads, room, props, factor, steady, held)
    return used, supplied, burnt, stored


@compiled_part
def relax_composition(frame: Any, now: Any, new: Any, dt: float, share: float, c: Any) -> float:
    """Move the composition that the gas density feels by `share` of the way to what the oxygen of both moments makes it.

    It follows oxygen with the relaxation time; exact for oxygen linear in time over the step.

    Returns
    -------
    float
        How far it was away, rms over the mix [1]; 0 where density does not feel it.
    """
    if c.composition_in_density <= 0.0:
        return 0.0
    steps = dt / c.composition_relaxation_time
    passed = -np.expm1(-steps)
    late = 1.0 - passed / steps
    early = passed - late
    before, first, last, composition, weight = now.composition, now.oxygen, new.oxygen, new.composition, frame.weight
    total = 0.0
    for n in range(composition.size):
        aim = (1.0 - passed) * before[n] + early * first[n] + late * last[n]
        gap = min(max(aim, 0.0), c.ambient_oxygen) - composition[n]
        composition[n] += share * gap
        total += weight[n] * gap * gap
    return np.sqrt(total)
