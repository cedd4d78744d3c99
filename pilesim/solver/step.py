"""One time step: SDIRK2 on enthalpy, water and substrate; flow and oxygen once per pass.

Coefficients are extrapolated to mid-step. Flow extrapolated alone is unstable where the heat wave crosses a cell
within a step, and gas that thins where oxygen is spent closes a loop with it; so the mid-step flow and the composition of
the gas are corrected with under-relaxation and the stages are redone while it still matters. The final update is in flux
form: budgets close to round-off whatever the iteration left, and what it left (the defect) is carried into the next step and
reported.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

import numpy as np

from pilesim.balances.bed import Properties
from pilesim.balances.outside import Exchange
from pilesim.balances.skin import Skin, room_for_water, skin_after
from pilesim.balances.surface import EdgeArrays
from pilesim.base.compiled import entry
from pilesim.build import Problem, edges_over
from pilesim.model import State
from pilesim.section.operators import gather_stencil
from pilesim.solver import nodes, passes, properties
from pilesim.solver.flow import plan_flow, stretch_ratios
from pilesim.solver.iteration import Found, Limits, iterate
from pilesim.solver.nodes import TOTALS, Frame, Rates
from pilesim.solver.oxygen import OxygenTerms, oxygen_budget
from pilesim.solver.passes import Fields, Held, Quads, Room

GAMMA = 1.0 - 1.0 / np.sqrt(2.0)  # exact: L-stable SDIRK2


ROUND_OFF = 1e-12  # of a unit conductance: what is left of the diagonal ones of a rectangle
THIRD_DIFFERENCE = 0.24  # of dt^3 times the third divided difference is the error of a step of SDIRK2
_AT = {name: place for place, name in enumerate(TOTALS)}
_ARRAYS = attrgetter(*Fields._fields)


@dataclass(frozen=True, slots=True)
class Controls:
    """Numerical tolerances; not physics.

    Attributes
    ----------
    tolerance : float
        Local error per step, rms over the mix [K].
    sweep_tolerance : float
        Gauss-Seidel stops at this share of what a step may err (see :func:`pilesim.solver.coupling.allowance`).
    worst_share : float
        And when the largest change of any node is below that divided by this.
    largest_step, smallest_step, first_step : float
        [s].
    fixed_step : float
        When positive, every step has this length [s] (order studies).
    passes : int
        Most passes over the stages in one step.
    correction_threshold : float
        The flow is corrected while its defect exceeds this share of what a step may err.
    composition_tolerance : float
        A first pass will do if the composition of the gas came out as foreseen within this mole fraction, rms [1].
    reaction_tolerance, balance_tolerance : float
        Stopping rule of the oxygen solve [1].
    """

    tolerance: float = 0.015
    sweep_tolerance: float = 0.4
    worst_share: float = 0.01
    largest_step: float = 6 * 3600.0
    smallest_step: float = 300.0
    first_step: float = 300.0
    fixed_step: float = 0.0
    passes: int = 4
    correction_threshold: float = 0.4
    most_sweeps: int = 40
    composition_tolerance: float = 1e-3
    reaction_tolerance: float = 3e-4
    balance_tolerance: float = 3e-4
    most_oxygen_sweeps: int = 100


@dataclass(slots=True)
class Outcome:
    """Result of one attempted step: the new state, what crossed the edges, and how well it converged."""

    state: State
    held: Held
    totals: np.ndarray  # mean rates over the step, order of TOTALS
    oxygen_totals: tuple[float, float, float]  # supplied and used at the end of the step, stored as its mean [mol s-1 m-1]
    found: Found
    negative_water: bool
    skin: Skin | None = None


@dataclass(slots=True)
class Stepper:
    """Work space and operations of one run."""

    problem: Problem
    controls: Controls
    plan: Quads
    props: Properties
    frame: Frame
    room: Room
    terms: nodes.Terms
    oxygen_terms: OxygenTerms
    capillary: np.ndarray  # (count + 1, 8)
    capillary_total: np.ndarray
    stages: tuple[nodes.Stage, nodes.Stage]
    rates: tuple[Rates, Rates]
    limits: Limits
    record: np.record  # the problem's, with the ambient density of the end of the latest step
    constants: tuple[np.ndarray, np.ndarray]  # (1,) each: the problem's record, and `record`
    oxygen_per_substrate: float  # mol kg-1
    steady: bool  # conductances never change
    skin: Skin | None  # snow and water on the outer surface; None in weather that does not change
    gathered: bool = False
    enter: Callable[..., Any] | None = None  # the compiled step; its arrays have the same types throughout a run


def make_stepper(problem: Problem, controls: Controls) -> Stepper:
    """Allocate the work space of a run."""
    mesh, n1, quads = problem.mesh, problem.mesh.count + 1, problem.mesh.quad_material.size
    props = Properties(*(array.copy() for array in problem.properties))
    weight = problem.norm_volume / problem.norm_volume.sum()
    unit = np.zeros((n1, 8))
    corners = mesh.quad_nodes.astype(np.uint32)
    gather_stencil(corners, mesh.quad_pairs, np.where(mesh.quad_material < 4, 1.0, 0.0), unit, np.zeros(n1))
    drop = unit * (mesh.z[:, None] - mesh.z[mesh.neighbours])
    plan = plan_flow(mesh, problem.edges)
    places = Quads(mesh.z, corners, mesh.quad_pairs, mesh.flow_pairs, mesh.flow_form,
                   mesh.quad_material, np.arange(quads), plan.quads, plan.unknown, plan.pressure, plan.band, plan.factored,
                   plan.right, plan.number, plan.oxygen_band, plan.oxygen_right, plan.oxygen_age,
                   plan.oxygen_share)
    reach = 8 if np.abs(unit[:, 4:]).max() > ROUND_OFF * unit.max() else 4
    frame = Frame(mesh.neighbours, mesh.upstream, stretch_ratios(mesh), reach, drop, problem.floor_length,
                  problem.pile_volume, weight)

    def node() -> np.ndarray:
        return np.zeros(n1)

    downstream, upstream = (np.arange(mesh.pile_count, dtype=np.uint32) for _ in range(2))
    room = Room(downstream, upstream, np.zeros(n1, dtype=np.int64), node(), node(), node(), node(), node(), node(), node(),
                node(), np.zeros(quads), np.zeros(quads), np.zeros((n1, 8)), node(), node(), node(), np.full(n1, np.inf),
                np.ones(n1), node(), node(), node(), node(), np.zeros(2))
    terms = nodes.Terms(np.zeros((n1, 8)), node(), np.zeros((n1, 8)), node(), np.zeros((n1, 8)), node(), node(),
                        np.zeros((n1, 3)), node(), problem.bed.dry_capacity, problem.bed.ground_water, node())
    oxygen = OxygenTerms(room.oxygen_diffusion, room.oxygen_total, props.uptake, props.half, room.storage, node())
    first, second = (nodes.Stage(node(), node(), node(), node(), node(), node(), np.zeros((n1, 3)), node(), node())
                     for _ in range(2))
    early, late = (Rates(node(), node(), np.zeros((n1, 3)), np.zeros(len(TOTALS))) for _ in range(2))
    steady = problem.physics.constant_density and not problem.physics.live_bed
    constants = np.array([problem.record]), np.array([problem.record])
    record = constants[1].view(np.recarray)[0]
    return Stepper(problem, controls, places, props, frame, room, terms, oxygen, np.zeros((n1, 8)), node(),
                   (first, second), (early, late), _limits(controls), record, constants,
                   record.oxygen_demand / record.oxygen_molar_mass, steady,
                   None if problem.outside is None else problem.outside.bare())


def _limits(controls: Controls) -> Limits:
    tolerance = controls.tolerance
    return Limits(tolerance, controls.sweep_tolerance * tolerance, controls.worst_share,
                  controls.correction_threshold * tolerance, controls.composition_tolerance, controls.reaction_tolerance,
                  controls.balance_tolerance, controls.passes, controls.most_sweeps, controls.most_oxygen_sweeps)


def begin(stepper: Stepper, time: float = 0.0) -> tuple[State, Held, tuple[float, float, float]]:
    """State at the start, or after a turn at `time` [s]: the gas as the problem says, the flow that follows, and the oxygen
    budget rates."""
    p, props, pile_count = stepper.problem, stepper.props, stepper.problem.mesh.pile_count
    n1 = p.mesh.count + 1
    state = State(time, p.stored_enthalpy(p.temperature, p.water), p.temperature.copy(), p.water.copy(),
                  p.substrate.copy(), p.oxygen.copy(), p.oxygen.copy(), np.zeros(n1), np.zeros(n1), np.zeros(n1),
                  p.activity.copy())
    edges, exchange = edges_over(p, stepper.record, time, time, state.temperature, np.zeros(n1), stepper.skin)
    _press(stepper, exchange)
    if p.physics.live_bed:
        properties.bed_properties(state.temperature, state.water, state.substrate, state.activity, pile_count, p.bed, props,
                                  p.record)
    properties.gas_state(state.temperature, pile_count, props, p.record)
    properties.full_uptake(state.temperature, state.substrate, pile_count, props, p.record)
    passes.run_flow(stepper.plan, stepper.room, fields_of(state), props, edges.is_open, stepper.room.none, True,
                    stepper.record)
    held = blank_held(stepper)
    passes.diffuse_oxygen(stepper.plan, stepper.room, props, held.diffusion)
    factor = np.zeros(n1)
    rates = oxygen_budget(pile_count, stepper.oxygen_terms, edges, state.outflow, state.oxygen, factor)
    passes.hold(stepper.plan, stepper.room, props, factor, False, held)
    return state, held, rates[:3]


def fields_of(state: State) -> Fields:
    """The arrays of a state, as kernels take them."""
    return Fields(*_ARRAYS(state))


def blank_held(stepper: Stepper, like: Held | None = None) -> Held:
    """Room for what a moment hands on; steady conductances are taken over from `like`."""
    n1, quads = stepper.problem.mesh.count + 1, stepper.plan.material.size
    if like is not None and stepper.steady:
        conduction, diffusion, capillary = like.conduction, like.diffusion, like.capillary
    else:
        conduction, diffusion, capillary = np.zeros(quads), np.zeros(quads), np.zeros(quads)
    return Held(conduction, diffusion, capillary, np.empty((n1, 3)), np.empty(n1), np.empty(n1), np.empty(n1))


def attempt(stepper: Stepper, state: State, held: Held, before: tuple[State, Held, float], older: list[State],
            dt: float) -> Outcome:
    """Try one step of length `dt` [s] from `state`.

    Parameters
    ----------
    before : tuple
        Previous state, what it held, and the length of the step between; the state itself at the start.
    older : list of State
        Accepted moments before `state`, newest first, for the third divided difference.
    """
    p, c = stepper.problem, stepper.problem.record
    # air outside: its mean over the step for heat and water, over half a step each way for flow and oxygen at the end
    bare = stepper.skin is None
    begins = state.temperature, None if bare else room_for_water(state.water, stepper.props.pore_volume, c), stepper.skin
    edges, exchange = edges_over(p, stepper.record, state.time, state.time + dt, *begins)
    edges_at_end, later = edges_over(p, stepper.record, state.time + 0.5 * dt, state.time + 1.5 * dt, *begins)
    _press(stepper, later)
    new = State(state.time + dt, *map(np.empty_like, _ARRAYS(state)))
    new_held = blank_held(stepper, held)
    totals = np.zeros(len(TOTALS))
    values = arguments(stepper, state, held, before, older, dt, (edges, edges_at_end), new, new_held, totals)
    found = Found(*(stepper.enter or iterate)(*values))
    if stepper.enter is None:
        stepper.enter = entry(iterate, values)
    stepper.gathered = True
    if found.least_water < 0.0:
        return Outcome(new, held, totals, (0.0, 0.0, 0.0), found, True)
    skin = _carry_skin(stepper, exchange, stepper.room.mid_outflow, dt, totals)
    return Outcome(new, new_held, totals, (found.supplied, found.used, found.stored), found, False, skin)


def arguments(stepper: Stepper, state: State, held: Held, before: tuple[State, Held, float], older: list[State], dt: float,
              edges: tuple[EdgeArrays, EdgeArrays], new: State, new_held: Held, totals: np.ndarray) -> tuple[Any, ...]:
    """What :func:`pilesim.solver.iteration.iterate` takes, in its order; `edges` of the step, and at its end."""
    p, (last, held_last, dt_last) = stepper.problem, before
    moments = [state, *older[:2]]
    return (stepper.plan, stepper.frame, stepper.room, p.bed, stepper.props, stepper.terms, stepper.oxygen_terms,
            stepper.capillary, stepper.capillary_total, *stepper.stages, stepper.rates, *edges, held, held_last,
            fields_of(state), fields_of(last), fields_of(new), new_held, totals,
            tuple(moments[min(i, len(moments) - 1)].temperature for i in range(3)), _third_difference([new, *moments], dt),
            p.temperature, GAMMA, dt, dt_last, last is state, p.physics.live_bed, stepper.steady, stepper.gathered,
            stepper.limits, *stepper.constants)


def _press(stepper: Stepper, exchange: Exchange | None) -> None:
    """Hold the pressure of a changing wind at the openings."""
    if exchange is not None:
        is_open = exchange.edges.is_open
        stepper.plan.pressure[is_open] = exchange.edges.pressure[is_open]


def _carry_skin(stepper: Stepper, exchange: Exchange | None, outflow: np.ndarray, dt: float,
                totals: np.ndarray) -> Skin | None:
    """The skin after the step; takes rain apart from vapour in `totals`, where the kernels have put it."""
    outside, c = stepper.problem.outside, stepper.problem.record
    if exchange is None or outside is None or stepper.skin is None:
        return None
    vapour_heat = c.vapour_diffusion_enthalpy * exchange.rain
    for name, change in (("rain", exchange.rain), ("vapour_film", -exchange.rain), ("vapour_film_heat", -vapour_heat),
                         ("rain_heat", exchange.rain_heat), ("air_film", vapour_heat - exchange.rain_heat)):
        totals[_AT[name]] += change
    pieces, sky = outside.pieces, exchange.sky
    early, late = (stage.temperature[pieces.node] for stage in stepper.stages)
    leaving = np.where(pieces.breathes, np.maximum(outflow[pieces.node], 0.0) / pieces.area, 0.0)
    skin = Skin(*(array.copy() for array in stepper.skin))
    skin_after(stepper.skin, exchange.cast, (1.0 - GAMMA) * early + GAMMA * late, leaving,
               stepper.props.activity[pieces.node], pieces.slope, exchange.air.temperature, 0.0 if sky is None else sky.rain,
               0.0 if sky is None else sky.snowfall, dt, skin, outside.constants, stepper.problem.record)
    return skin


def _third_difference(moments: list[State], dt: float) -> tuple[float, ...]:
    """Weights of four moments, newest first, that make the third divided difference an error [1]; zeros for fewer."""
    if len(moments) < 4:
        return (0.0, 0.0, 0.0, 0.0)
    a, b, c, d = (moment.time for moment in moments)
    whole = THIRD_DIFFERENCE * dt**3
    return (whole / ((a - b) * (a - c) * (a - d)), whole / ((b - a) * (b - c) * (b - d)),
            whole / ((c - a) * (c - b) * (c - d)), whole / ((d - a) * (d - b) * (d - c)))
