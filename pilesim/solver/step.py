"""One time step: SDIRK2 on enthalpy, water and substrate; flow and oxygen once per pass.

Coefficients are extrapolated to mid-step. Flow extrapolated alone is unstable where the heat wave crosses a cell
within a step, and gas that thins where oxygen is spent closes a loop with it; so the mid-step flow and the composition of
the gas are corrected with under-relaxation and the stages are redone while it still matters. The final update is in flux
form: budgets close to round-off whatever the iteration left, and what it left (the defect) is carried into the next step and
reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np

from pilesim.balances.bed import Properties
from pilesim.balances.physics import plain_record
from pilesim.build import Problem, edges_over
from pilesim.model import State
from pilesim.section.operators import gather_stencil
from pilesim.solver import coupling, nodes, passes, properties
from pilesim.solver.flow import plan_flow
from pilesim.solver.nodes import TOTALS, Frame, Rates
from pilesim.solver.oxygen import OxygenTerms, oxygen_budget
from pilesim.solver.passes import Fields, Held, Quads, Room

GAMMA = 1.0 - 1.0 / np.sqrt(2.0)  # exact: L-stable SDIRK2


COMPOSITION_SHARE = 0.6  # of what the new flow makes of composition that the next pass takes over: all of it would swing
_RESPIRATION_HEAT, _METABOLIC = TOTALS.index("respiration_heat"), TOTALS.index("metabolic")


@dataclass(frozen=True, slots=True)
class Controls:
    """Numerical tolerances; not physics.

    Attributes
    ----------
    tolerance : float
        Local error per step, rms over the mix [K].
    sweep_tolerance : float
        Gauss-Seidel stops at this share of `tolerance`.
    worst_share : float
        And when the largest change of any node is below that divided by this.
    largest_step, smallest_step, first_step : float
        [s].
    fixed_step : float
        When positive, every step has this length [s] (order studies).
    passes : int
        Most passes over the stages in one step.
    correction_threshold : float
        The flow is corrected while its defect exceeds this share of `tolerance`.
    composition_tolerance : float
        A first pass will do if the composition of the gas came out as foreseen within this mole fraction, rms [1].
    reaction_tolerance, balance_tolerance : float
        Stopping rule of the oxygen solve [1].
    """

    tolerance: float = 0.01
    sweep_tolerance: float = 0.15
    worst_share: float = 0.01
    largest_step: float = 6 * 3600.0
    smallest_step: float = 300.0
    first_step: float = 300.0
    fixed_step: float = 0.0
    passes: int = 4
    correction_threshold: float = 0.6
    most_sweeps: int = 40
    composition_tolerance: float = 1e-3
    reaction_tolerance: float = 3e-5
    balance_tolerance: float = 1e-4
    most_oxygen_sweeps: int = 100


@dataclass(slots=True)
class Outcome:
    """Result of one attempted step: the new state, what crossed the edges, and how well it converged."""

    state: State
    held: Held
    totals: np.ndarray  # mean rates over the step, order of TOTALS
    oxygen_totals: np.ndarray  # supplied and used at the end of the step, stored as its mean [mol s-1 m-1]
    error: float
    passes: int
    sweeps: int
    oxygen_sweeps: int
    negative_water: bool


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
    scalars: SimpleNamespace
    record: np.record  # the problem's, with the ambient density of the end of the latest step
    steady: bool  # conductances never change
    gathered: bool = False


def make_stepper(problem: Problem, controls: Controls) -> Stepper:
    """Allocate the work space of a run."""
    mesh, n1, quads = problem.mesh, problem.mesh.count + 1, problem.mesh.quad_material.size
    props = Properties(*(array.copy() for array in problem.properties))
    weight = problem.norm_volume / problem.norm_volume.sum()
    unit = np.zeros((n1, 8))
    gather_stencil(mesh.quad_nodes, mesh.quad_pairs, np.where(mesh.quad_material < 4, 1.0, 0.0), unit, np.zeros(n1))
    drop = unit * (mesh.z[:, None] - mesh.z[mesh.neighbours])
    plan = plan_flow(mesh, problem.edges)
    places = Quads(mesh.x, mesh.z, mesh.quad_nodes.astype(np.uint32), mesh.quad_pairs, mesh.quad_form, mesh.quad_material,
                   np.arange(quads), plan.quads, plan.unknown, plan.pressure, plan.band, plan.factored, plan.right,
                   plan.number, plan.oxygen_band, plan.oxygen_right, plan.oxygen_ready)
    frame = Frame(mesh.neighbours, mesh.upstream, 8 if unit[:, 4:].any() else 4, drop, problem.floor_length,
                  problem.pile_volume, weight)

    def node() -> np.ndarray:
        return np.zeros(n1)

    room = Room(np.arange(mesh.pile_count, dtype=np.uint32), np.zeros(n1, dtype=np.int64), node(), node(), node(), node(),
                node(), node(), node(), node(), np.zeros(quads), np.zeros(quads), np.zeros((n1, 8)), node(), node(), node(),
                np.full(n1, np.inf), np.ones(n1), np.zeros(2))
    terms = nodes.Terms(np.zeros((n1, 8)), node(), np.zeros((n1, 8)), node(), np.zeros((n1, 8)), node(), node(),
                        np.zeros((n1, 3)), node(), problem.bed.dry_capacity, problem.bed.ground_water, node())
    oxygen = OxygenTerms(room.oxygen_diffusion, room.oxygen_total, props.uptake, props.half, room.storage, node())
    first, second = (nodes.Stage(node(), node(), node(), node(), node(), node(), np.zeros((n1, 3)), node(), node())
                     for _ in range(2))
    early, late = (Rates(node(), node(), np.zeros((n1, 3)), np.zeros(len(TOTALS))) for _ in range(2))
    steady = problem.physics.constant_density and not problem.physics.live_bed
    return Stepper(problem, controls, places, props, frame, room, terms, oxygen, np.zeros((n1, 8)), node(),
                   (first, second), (early, late), plain_record(problem.record), problem.record.copy(), steady)


def begin(stepper: Stepper, time: float = 0.0) -> tuple[State, Held, np.ndarray]:
    """State at the start, or after a turn at `time` [s]: the gas as the problem says, the flow that follows, and the oxygen
    budget rates."""
    p, props, pile_count = stepper.problem, stepper.props, stepper.problem.mesh.pile_count
    n1 = p.mesh.count + 1
    state = State(time, p.stored_enthalpy(p.temperature, p.water), p.temperature.copy(), p.water.copy(),
                  p.substrate.copy(), p.oxygen.copy(), p.oxygen.copy(), np.zeros(n1), np.zeros(n1), np.zeros(n1),
                  p.activity.copy())
    edges = edges_over(p, stepper.record, time, time)
    if p.physics.live_bed:
        properties.bed_properties(state.temperature, state.water, state.substrate, state.activity, pile_count, p.bed, props,
                                  p.record)
    properties.gas_state(state.temperature, state.substrate, pile_count, props, p.record)
    passes.run_flow(stepper.plan, stepper.room, fields_of(state), props, edges.is_open, stepper.room.none, stepper.record)
    held = _blank_held(stepper)
    passes.diffuse_oxygen(stepper.plan, stepper.room, props, held.diffusion)
    factor = np.zeros(n1)
    rates = oxygen_budget(pile_count, stepper.oxygen_terms, edges, state.outflow, state.oxygen, factor)
    passes.hold(stepper.plan, stepper.room, props, factor, False, held)
    return state, held, np.array(rates[:3])


def fields_of(state: State) -> Fields:
    """The arrays of a state, as kernels take them."""
    return Fields(*(getattr(state, name) for name in Fields._fields))


def _blank_held(stepper: Stepper, like: Held | None = None) -> Held:
    """Room for what a moment hands on; steady conductances are taken over from `like`."""
    n1, quads = stepper.problem.mesh.count + 1, stepper.plan.material.size
    if like is not None and stepper.steady:
        conduction, diffusion, capillary = like.conduction, like.diffusion, like.capillary
    else:
        conduction, diffusion, capillary = np.zeros(quads), np.zeros(quads), np.zeros(quads)
    return Held(conduction, diffusion, capillary, np.zeros((n1, 3)), np.zeros(n1), np.zeros(n1), np.zeros(n1))


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
    p, controls, room, c = stepper.problem, stepper.controls, stepper.room, stepper.problem.record
    last, held_last, dt_last = before
    ratio = 0.5 * dt / dt_last
    # air outside: its mean over the step for heat and water, over half a step each way for flow and oxygen at the end
    edges = edges_over(p, stepper.record, state.time, state.time + dt)
    edges_at_end = edges_over(p, stepper.record, state.time + 0.5 * dt, state.time + 1.5 * dt)
    passes.mid_step_terms(stepper.plan, room, held, held_last, ratio, stepper.terms, stepper.capillary,
                          stepper.capillary_total, stepper.steady and stepper.gathered, c)
    stepper.gathered = True
    now, before_now = fields_of(state), fields_of(last)
    mid = tuple(a + ratio * (a - b) for a, b in zip((now.east, now.north, now.outflow),
                                                    (before_now.east, before_now.north, before_now.outflow), strict=True))
    new = State(state.time + dt, *(np.zeros_like(array) for array in now))
    fields = fields_of(new)
    fields.composition[:] = np.clip(now.composition + dt / dt_last * (now.composition - before_now.composition), 0.0,
                                    stepper.scalars.ambient_oxygen)
    source = -(1.0 - stepper.scalars.respiratory_quotient) * held.respiration
    goal, sweeps, oxygen_used = controls.correction_threshold * controls.tolerance, 0, 0
    for done in range(1, controls.passes + 1):
        used, least = passes.run_stages(
            stepper.plan, stepper.frame, room, stepper.terms, stepper.capillary, stepper.props.pore_volume, now, before_now,
            mid, *stepper.stages, edges, stepper.rates, fields, GAMMA, dt, dt_last, done > 1,
            controls.sweep_tolerance * controls.tolerance, controls.worst_share, controls.most_sweeps, c)
        sweeps += used
        if least < 0.0:
            return Outcome(new, held, stepper.rates[0].totals, np.zeros(3), np.inf, done, sweeps, 0, True)
        size = passes.follow_flow(
            stepper.plan, stepper.frame, room, stepper.stages[1], edges, p.bed, stepper.props, now, mid, fields, source, dt,
            done == 1 and p.physics.live_bed, goal if done < controls.passes else np.inf, stepper.record)
        new_held = _blank_held(stepper, held)
        oxygen_sweeps, *rates = passes.settle_oxygen(
            stepper.plan, stepper.frame, room, stepper.props, stepper.oxygen_terms, now, before_now, fields, edges_at_end, dt,
            dt_last, last is state, done > 1, controls.reaction_tolerance, controls.balance_tolerance,
            controls.most_oxygen_sweeps, stepper.steady, new_held, c)
        gap = passes.relax_composition(stepper.frame, now, fields, dt, COMPOSITION_SHARE, c)
        oxygen_used += abs(oxygen_sweeps)
        if size <= goal and (done > 1 or gap <= controls.composition_tolerance):
            break
    passes.relax_composition(stepper.frame, now, fields, dt, 1.0, c)
    totals = (1.0 - GAMMA) * stepper.rates[0].totals + GAMMA * stepper.rates[1].totals
    coupling.correct_respiration(
        stepper.terms.environment, held_last.environment, held.environment, new_held.environment, dt, dt_last,
        stepper.rates[0].burnt, stepper.rates[1].burnt, GAMMA, p.mesh.pile_count, p.bed, fields, room.warming,
        room.corrected, c)
    totals[_RESPIRATION_HEAT] += room.corrected[0]
    totals[_METABOLIC] += room.corrected[1]
    error = _error(stepper, [new, state, *older[:2]], dt)
    return Outcome(new, new_held, totals, np.array(rates), error, done, sweeps,
                   oxygen_used if oxygen_sweeps >= 0 else -oxygen_used, False)


def _error(stepper: Stepper, moments: list[State], dt: float) -> float:
    """Error estimate over the tolerance, from this moment and up to three before it, newest first."""
    shares = [0.0] * 4
    if len(moments) == 4:
        times = [moment.time for moment in moments]
        shares = [0.24 * dt**3 / float(np.prod([a - b for j, b in enumerate(times) if j != i]))
                  for i, a in enumerate(times)]
    temperatures = [moments[min(i, len(moments) - 1)].temperature for i in range(4)]
    return float(coupling.step_error(
        stepper.frame.weight, stepper.room.defect, stepper.room.warming, tuple(temperatures), tuple(shares),
        stepper.problem.temperature, stepper.problem.mesh.pile_count, stepper.controls.tolerance))
