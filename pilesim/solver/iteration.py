"""All passes of one time step in one compiled call: handing arrays from Python to a kernel costs 0.3 us each, of 130."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.heat import temperature_of
from pilesim.base.compiled import compiled, compiled_part
from pilesim.solver.coupling import allowance, correct_respiration, step_error
from pilesim.solver.nodes import TOTALS
from pilesim.solver.passes import follow_flow, mid_step_terms, relax_composition, run_stages, settle_oxygen

_RESPIRATION_HEAT, _METABOLIC = TOTALS.index("respiration_heat"), TOTALS.index("metabolic")
COMPOSITION_SHARE = 0.6  # of what the new flow makes of composition that the next pass takes over: all of it would swing


class Limits(NamedTuple):
    """When sweeps and passes stop, of :class:`pilesim.solver.step.Controls`."""

    tolerance: float  # K, local error per step
    sweep: float  # K
    worst_share: float
    correction: float  # K
    composition: float
    reaction: float
    balance: float
    passes: int
    sweeps: int
    oxygen_sweeps: int


class Found(NamedTuple):
    """What an iterated step came to, beside its fields."""

    error: float  # over the tolerance; not a number where a temperature is none
    defect: float  # K2, mean square over the mix of what the iteration left
    passes: int
    sweeps: int
    oxygen_sweeps: int  # negative: unfinished
    supplied: float  # mol s-1 m-1, oxygen at the end of the step
    used: float
    stored: float  # mean of the step
    least_water: float  # kg m-1, of a pile node
    burnt: float  # kg m-1, substrate oxidised in the step


@compiled_part
def _foresee(now: Any, last: Any, mid: Any, new: Any, held: Any, source: Any, ratio: float, ambient: float,
             made: float) -> None:
    """Flow at mid-step and composition at its end by extrapolation, and the gas that respiration makes of nothing."""
    east, north, outflow, composition = now.east, now.north, now.outflow, now.composition
    east_last, north_last, outflow_last, composition_last = last.east, last.north, last.outflow, last.composition
    mid_east, mid_north, mid_outflow = mid
    ahead, respiration = new.composition, held.respiration
    for n in range(source.size):
        mid_east[n] = east[n] + ratio * (east[n] - east_last[n])
        mid_north[n] = north[n] + ratio * (north[n] - north_last[n])
        mid_outflow[n] = outflow[n] + ratio * (outflow[n] - outflow_last[n])
        ahead[n] = min(max(composition[n] + 2.0 * ratio * (composition[n] - composition_last[n]), 0.0), ambient)
        source[n] = made * respiration[n]


@compiled_part
def _defect(frame: Any, bed: Any, new: Any, c: Any) -> float:
    """Mean square over the mix of how far the temperature iterated to is from the one that the heat stored gives [K2]; not a
    number where any temperature is none."""
    weight, ground_water, dry_capacity = frame.weight, bed.ground_water, bed.dry_capacity
    stored, water, temperature = new.stored, new.water, new.temperature
    total = 0.0
    for n in range(weight.size):
        if weight[n] > 0.0:
            level = temperature_of(stored[n], water[n], ground_water[n], dry_capacity[n], c)
            total += weight[n] * (level - temperature[n]) ** 2
        else:
            total += 0.0 * temperature[n]  # nothing, unless that is no number
    return total


@compiled_part
def _burnt(now: Any, new: Any) -> float:
    """Substrate oxidised in the step [kg m-1]."""
    before, after = now.substrate, new.substrate
    total = 0.0
    for n in range(after.shape[0]):
        for pool in range(3):
            total += before[n, pool] - after[n, pool]
    return total


@compiled
def iterate(quads: Any, frame: Any, room: Any, bed: Any, props: Any, terms: Any, oxygen_terms: Any, capillary: Any,
            capillary_total: Any, first: Any, second: Any, rates: Any, edges: Any, edges_at_end: Any, held: Any,
            held_last: Any, now: Any, last: Any, new: Any, new_held: Any, totals: Any, older: Any, shares: Any, start: Any,
            gamma: float, dt: float, dt_last: float, is_first: bool, live_bed: bool, steady: bool, gathered: bool,
            limits: Any, constants: Any, constants_at_end: Any) -> Any:
    """Iterate a step of length `dt` [s] from `now`; its fields are written to `new`, what it hands on to `new_held`.

    Parameters
    ----------
    totals : (len(TOTALS),) array
        Overwritten, unless water runs short: mean rates of the step (see :data:`pilesim.solver.nodes.TOTALS`).
    older, shares : tuples
        Temperatures [K] of three moments, newest first, and weights of the third difference over them and the new one.
    start : (count + 1,) array
        Temperature at the start of the run [K].
    is_first : bool
        There is no moment before `now`.
    steady, gathered : bool
        Conductances never change; they are there from the last call.
    constants, constants_at_end : (1,) arrays of records
        The latter has the ambient density of the end of the step. A record handed over by itself costs Python 20 us: it
        spells out the type of each field.

    Returns
    -------
    tuple
        The fields of :class:`Found`: a kernel must not return a class, for an interrupt that arrives while Python makes one
        of its numbers ends in a crash.
    """
    c, late = constants[0], constants_at_end[0]
    ratio = 0.5 * dt / dt_last
    mid_step_terms(quads, room, held, held_last, ratio, terms, capillary, capillary_total, steady and gathered, c)
    mid = (room.mid_east, room.mid_north, room.mid_outflow)
    _foresee(now, last, mid, new, held, room.source, ratio, c.ambient_oxygen, c.respiratory_quotient - 1.0)
    share = allowance(frame.weight, now.temperature, start)
    sweeps, oxygen_used, finished = 0, 0, True
    supplied, burnt, stored, least = 0.0, 0.0, 0.0, 0.0
    done = 0
    while done < limits.passes:
        done += 1
        used, least = run_stages(frame, room, terms, capillary, props.pore_volume, now, last, mid, first, second,
                                 edges, rates, new, gamma, dt, dt_last, done > 1, share * limits.sweep, limits.worst_share,
                                 limits.sweeps, c)
        sweeps += used
        if least < 0.0:
            return np.inf, 0.0, done, sweeps, 0, 0.0, 0.0, 0.0, least, 0.0
        goal = share * limits.correction if done < limits.passes else np.inf
        size = follow_flow(quads, frame, room, second, edges, bed, props, now, mid, new, room.source, dt,
                           done > 1 or (steady and gathered), live_bed, goal, late)
        used, supplied, burnt, stored = settle_oxygen(
            quads, frame, room, props, oxygen_terms, now, last, new, edges_at_end, dt, dt_last, is_first, done > 1,
            limits.reaction, limits.balance, limits.oxygen_sweeps, steady, new_held, c)
        finished = used >= 0
        oxygen_used += abs(used)
        gap = relax_composition(frame, now, new, dt, COMPOSITION_SHARE, c)
        if size <= goal and (done > 1 or gap <= limits.composition):
            break
    relax_composition(frame, now, new, dt, 1.0, c)
    early_rates, late_rates = rates
    pile_count = room.order.size
    correct_respiration(terms.environment, held_last.environment, held.environment, new_held.environment, dt, dt_last,
                        early_rates.burnt, late_rates.burnt, gamma, pile_count, bed, new, room.warming, room.corrected, c)
    for k in range(totals.size):
        totals[k] = (1.0 - gamma) * early_rates.totals[k] + gamma * late_rates.totals[k]
    totals[_RESPIRATION_HEAT] += room.corrected[0]
    totals[_METABOLIC] += room.corrected[1]
    error = step_error(frame.weight, room.defect, room.warming, (new.temperature, older[0], older[1], older[2]), shares,
                       pile_count) / (limits.tolerance * allowance(frame.weight, new.temperature, start))
    defect = _defect(frame, bed, new, c)
    if not np.isfinite(defect):
        error = np.nan
    return (error, defect, done, sweeps, oxygen_used if finished else -oxygen_used, supplied, burnt, stored, least,
            _burnt(now, new))
