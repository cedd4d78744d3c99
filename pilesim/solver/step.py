"""One time step: SDIRK2 on enthalpy, water and substrate; flow and oxygen once per pass and step.

Coefficients are extrapolated to mid-step. Flow extrapolated alone is unstable where the heat wave crosses a cell
within a step, so the mid-step flow is corrected with under-relaxation and the stages are redone while it still
matters. The final update is in flux form: budgets close to round-off whatever the iteration left, and what it left
(the defect) is carried into the next step and reported.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np

from pilesim.balances.bed import Properties
from pilesim.balances.heat import apparent_heat_capacities
from pilesim.balances.physics import plain_record
from pilesim.balances.surface import EdgeArrays
from pilesim.build import Problem, edges_over
from pilesim.model import State
from pilesim.section.operators import gather_stencil
from pilesim.solver import coupling, flow, nodes, oxygen, properties
from pilesim.solver.nodes import TOTALS, Frame, Rates

GAMMA = 1.0 - 1.0 / np.sqrt(2.0)  # exact: L-stable SDIRK2


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
    reaction_tolerance, balance_tolerance : float
        Stopping rule of the oxygen solve [1].
    """

    tolerance: float = 0.01
    sweep_tolerance: float = 0.2
    worst_share: float = 0.01
    largest_step: float = 6 * 3600.0
    smallest_step: float = 300.0
    first_step: float = 300.0
    fixed_step: float = 0.0
    passes: int = 4
    correction_threshold: float = 0.6
    most_sweeps: int = 40
    reaction_tolerance: float = 3e-5
    balance_tolerance: float = 1e-4
    most_oxygen_sweeps: int = 100


@dataclass(slots=True)
class Held:
    """What one moment hands to the next step: properties gathered on quads, and rate factors."""

    conduction: np.ndarray  # (quads,)
    diffusion: np.ndarray
    capillary: np.ndarray
    environment: np.ndarray  # (count + 1, 3), oxygen included
    respiration: np.ndarray  # mol s-1 m-1, oxygen taken up
    node_dry_mass: np.ndarray
    growth: np.ndarray  # limits of the growth of the activity, oxygen included


@dataclass(slots=True)
class Outcome:
    """Result of one attempted step: the new state, what crossed the edges, and how well it converged."""

    state: State
    held: Held
    totals: np.ndarray  # mean rates over the step, order of TOTALS
    oxygen_totals: np.ndarray  # supplied, used, stored at the end of the step [mol s-1 m-1]
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
    plan: flow.FlowPlan
    props: Properties
    frame: Frame
    ones: np.ndarray
    none: np.ndarray
    plenty: np.ndarray
    rates: tuple[Rates, Rates]
    scalars: SimpleNamespace
    record: np.record  # the problem's, with the ambient density of the end of the latest step
    work: dict[str, np.ndarray] = field(default_factory=dict)


def make_stepper(problem: Problem, controls: Controls) -> Stepper:
    """Allocate the work space of a run."""
    mesh, n1 = problem.mesh, problem.mesh.count + 1
    props = Properties(*(array.copy() for array in problem.properties))
    weight = problem.norm_volume / problem.norm_volume.sum()
    unit = np.zeros((n1, 8))
    gather_stencil(mesh.quad_nodes, mesh.quad_pairs, np.where(mesh.quad_material < 4, 1.0, 0.0), unit, np.zeros(n1))
    drop = unit * (mesh.z[:, None] - mesh.z[mesh.neighbours])
    names = ("mobility", "lift", "saturation", "potential", "defect", "mid_enthalpy", "mid_ratio", "conduction_total",
             "vapour_total", "capillary_total", "advection_total", "oxygen_total")
    work: dict[str, np.ndarray] = {name: np.zeros(n1) for name in names}
    work |= {name: np.zeros((n1, 8)) for name in ("conduction", "vapour", "capillary", "advection", "oxygen_diffusion")}
    work["order"] = np.arange(mesh.pile_count, dtype=np.uint32)
    work["corrected"] = np.zeros(2)
    work["warming"] = np.zeros(n1)
    work["degree"] = np.zeros(n1, dtype=np.int64)
    work["conductance"] = np.zeros(mesh.quad_material.size)
    reach = 4 if not unit[:, 4:].any() else 8
    frame = Frame(mesh.neighbours.astype(np.uint32), mesh.upstream.astype(np.uint32), reach, drop, problem.floor_length,
                  problem.pile_volume, weight)
    rates = tuple(Rates(np.zeros(n1), np.zeros(n1), np.zeros((n1, 3)), np.zeros(len(TOTALS))) for _ in range(2))
    return Stepper(problem, controls, flow.plan_flow(mesh, problem.edges), props, frame, np.ones(n1), np.zeros(n1),
                   np.full(n1, np.inf),
                   (rates[0], rates[1]), plain_record(problem.record), problem.record.copy(), work)


def begin(stepper: Stepper) -> tuple[State, Held, np.ndarray]:
    """State at the start: fresh gas everywhere, the flow that follows, and the oxygen budget rates."""
    p = stepper.problem
    n1 = p.mesh.count + 1
    state = State(0.0, p.stored_enthalpy(p.temperature, p.water), p.temperature.copy(), p.water.copy(),
                  p.substrate.copy(), p.oxygen.copy(), p.oxygen.copy(), np.zeros(n1), np.zeros(n1), np.zeros(n1),
                  p.activity.copy())
    edges = edges_over(p, stepper.record, 0.0, 0.0)
    _refresh(stepper, state)
    _flow(stepper, state, np.zeros(n1))
    terms = _oxygen_terms(stepper, np.zeros(n1), state.oxygen)
    factor = np.zeros(n1)
    rates = oxygen.oxygen_budget(p.mesh.pile_count, terms, edges, state.outflow, state.oxygen, factor)
    return state, _hold(stepper, factor), np.array(rates[:3])


def _refresh(stepper: Stepper, state: State) -> None:
    p = stepper.problem
    if p.physics.live_bed:
        properties.bed_properties(state.temperature, state.water, state.substrate, state.activity, p.mesh.pile_count,
                                  p.bed, stepper.props, p.record)
    properties.gas_state(state.temperature, state.substrate, p.mesh.pile_count, stepper.props, p.record)


def _flow(stepper: Stepper, state: State, source: np.ndarray) -> None:
    """Solve the gas flow of `state` in place."""
    p, work, plan = stepper.problem, stepper.work, stepper.plan
    mesh = p.mesh
    flow.gas_properties(state.temperature, stepper.props.activity, state.composition, mesh.pile_count,
                        work["mobility"], work["lift"], stepper.record)
    flow.quad_means(plan.quads, mesh.quad_nodes, mesh.quad_material, stepper.props.permeability, work["mobility"],
                    work["conductance"])
    flow.solve_flow(plan.quads, mesh.quad_nodes, mesh.quad_pairs, mesh.quad_form, work["conductance"], work["lift"],
                    mesh.z, plan.unknown, plan.pressure, source, p.edges.is_open, plan.band, plan.factored, plan.right, state.east,
                    state.north, state.outflow)


def _hold(stepper: Stepper, factor: np.ndarray) -> Held:
    """Gather the properties of the present moment on the quads."""
    mesh, props = stepper.problem.mesh, stepper.props
    size = mesh.quad_material.size
    conduction, diffusion, capillary = np.zeros(size), np.zeros(size), np.zeros(size)
    every = np.arange(size)
    flow.quad_means(every, mesh.quad_nodes, mesh.quad_material, props.conductivity, stepper.ones, conduction)
    flow.quad_means(stepper.plan.quads, mesh.quad_nodes, mesh.quad_material, props.diffusivity, props.gas_diffusivity,
                    diffusion)
    flow.quad_means(stepper.plan.quads, mesh.quad_nodes, mesh.quad_material, props.capillary, stepper.ones, capillary)
    return Held(conduction, diffusion, capillary, props.environment * factor[:, None], props.uptake * factor,
                props.node_dry_mass.copy(), props.growth * factor)


def _oxygen_terms(stepper: Stepper, storage: np.ndarray, previous: np.ndarray) -> oxygen.OxygenTerms:
    props, work, mesh = stepper.props, stepper.work, stepper.problem.mesh
    diffusion = np.zeros(mesh.quad_material.size)
    flow.quad_means(stepper.plan.quads, mesh.quad_nodes, mesh.quad_material, props.diffusivity, props.gas_diffusivity,
                    diffusion)
    gather_stencil(mesh.quad_nodes, mesh.quad_pairs, diffusion, work["oxygen_diffusion"], work["oxygen_total"])
    return oxygen.OxygenTerms(work["oxygen_diffusion"], work["oxygen_total"], props.uptake, props.half, storage,
                              previous)


def _ahead(now: np.ndarray, before: np.ndarray, ratio: float) -> np.ndarray:
    """Extrapolate a non-negative coefficient, kept between half and twice its present value."""
    return np.clip(now + ratio * (now - before), 0.5 * now, 2.0 * now)


def _mid_step_terms(stepper: Stepper, held: Held, before: Held, ratio: float) -> nodes.Terms:
    p, work, mesh = stepper.problem, stepper.work, stepper.problem.mesh
    for name, now, old, scale in (
        ("conduction", held.conduction, before.conduction, 1.0),
        ("vapour", held.diffusion, before.diffusion, stepper.scalars.moist * stepper.scalars.vapour_diffusivity_ratio),
        ("capillary", held.capillary, before.capillary, 1.0),
    ):
        gather_stencil(mesh.quad_nodes, mesh.quad_pairs, scale * _ahead(now, old, ratio), work[name],
                       work[name + "_total"])
    np.maximum(work["capillary"], 0.0, out=work["capillary"])  # a negative weight of a skewed cell would drain a dry node
    return nodes.Terms(
        work["conduction"], work["conduction_total"], work["vapour"], work["vapour_total"], work["advection"],
        work["advection_total"], np.zeros(mesh.count + 1), _ahead(held.environment, before.environment, ratio),
        held.node_dry_mass, p.bed.dry_capacity, p.bed.ground_water, _ahead(held.growth, before.growth, ratio),
    )


def _stages(stepper: Stepper, state: State, terms: nodes.Terms, mid: State, guess1: tuple[np.ndarray, np.ndarray],
            guess2: tuple[np.ndarray, np.ndarray] | None, edges: EdgeArrays,
            dt: float) -> tuple[nodes.Stage, nodes.Stage, State, np.ndarray, int]:
    """Both stages over the mid-step flow; returns them, the new state without flow and oxygen, totals, sweeps."""
    p, work, controls = stepper.problem, stepper.work, stepper.controls
    n1, step, ahead = p.mesh.count + 1, GAMMA * dt, (1.0 - GAMMA) * dt
    k1, k2 = stepper.rates

    def solve(guess: tuple[np.ndarray, np.ndarray], stored: np.ndarray, water: np.ndarray, substrate: np.ndarray,
              rates: Rates) -> tuple[nodes.Stage, int]:
        blank = np.zeros((4, n1))
        stage = nodes.Stage(guess[0].copy(), guess[1].copy(), blank[0], blank[1], stored, water, substrate, blank[2],
                            blank[3])
        used = nodes.solve_stage(
            work["order"], stepper.frame, terms, work["capillary"], stepper.props.pore_volume, stage, edges,
            mid.outflow, p.mesh.count, step, dt, controls.sweep_tolerance * controls.tolerance, controls.worst_share,
            controls.most_sweeps,
            work["saturation"], work["potential"], rates, p.record)
        return stage, used

    first, sweeps = solve(guess1, state.stored, state.water, state.substrate, k1)
    if guess2 is None:
        guess2 = (state.temperature + (first.temperature - state.temperature) / GAMMA,
                  np.maximum(state.water + (first.water - state.water) / GAMMA, 0.1 * state.water))
    stored, water = state.stored + ahead * k1.stored, state.water + ahead * k1.water
    substrate = state.substrate - ahead * k1.burnt
    second, more = solve(guess2, stored, water, substrate, k2)
    new = State(state.time + dt, stored + step * k2.stored, second.temperature.copy(), water + step * k2.water,
                substrate - step * k2.burnt, state.oxygen, state.composition, mid.east, mid.north, mid.outflow,
                state.activity.copy())
    properties.grow_activity(state.activity, terms.growth, first.temperature, second.temperature, GAMMA, dt,
                             p.mesh.pile_count, new.activity, p.record)
    return first, second, new, (1.0 - GAMMA) * k1.totals + GAMMA * k2.totals, sweeps + more


def attempt(stepper: Stepper, state: State, held: Held, before: tuple[State, Held, float],
            older: list[tuple[float, np.ndarray]], dt: float) -> Outcome:
    """Try one step of length `dt` [s] from `state`.

    Parameters
    ----------
    before : tuple
        Previous state, what it held, and the length of the step between; the state itself at the start.
    older : list of (time, temperature)
        Accepted moments before `state`, newest last, for the third divided difference.
    """
    p, work, controls = stepper.problem, stepper.work, stepper.controls
    mesh = p.mesh
    last, held_last, dt_last = before
    ratio = 0.5 * dt / dt_last
    # air outside: its mean over the step for heat and water, over half a step each way for flow and oxygen at the end
    edges = edges_over(p, stepper.record, state.time, state.time + dt)
    edges_at_end = edges_over(p, stepper.record, state.time + 0.5 * dt, state.time + 1.5 * dt)
    terms = _mid_step_terms(stepper, held, held_last, ratio)
    mid = replace(state, east=state.east + ratio * (state.east - last.east),
                  north=state.north + ratio * (state.north - last.north),
                  outflow=state.outflow + ratio * (state.outflow - last.outflow))
    slope = (state.temperature - last.temperature) / dt_last
    water_slope = (state.water - last.water) / dt_last
    guess1 = (state.temperature + GAMMA * dt * slope,
              np.maximum(state.water + GAMMA * dt * water_slope, 0.1 * state.water))
    guess2 = None
    middle = state.temperature + 0.5 * dt * slope
    composition = _relaxed_composition(stepper, state, last, dt, dt_last)
    source = -(1.0 - stepper.scalars.respiratory_quotient) * held.respiration
    sweeps = 0
    for done in range(1, controls.passes + 1):
        np.maximum(-mid.outflow, 0.0, out=terms.inflow)
        flow.flow_order(stepper.frame.neighbours, mid.east, mid.north, mesh.pile_count, work["order"], work["degree"])
        carried = _carried(stepper, middle, state.water, terms)
        # at an inlet only diffusion feeds the vapour of the face; dry gas takes its heat from the bed, without limit
        companion, made = (work["mid_ratio"], stepper.none) if stepper.scalars.moist else (carried, stepper.plenty)
        flow.advection_stencil(stepper.frame.neighbours, stepper.frame.upstream, mesh.x, mesh.z, mid.east, mid.north, mid.outflow,
                               carried, companion, work["vapour"], made, edges.enthalpy_in, mesh.pile_count,
                               work["advection"], work["advection_total"])
        first, second, new, totals, used = _stages(stepper, state, terms, mid, guess1, guess2, edges, dt)
        sweeps += used
        new.composition = composition
        new.east, new.north, new.outflow = (np.zeros(mesh.count + 1) for _ in range(3))
        if new.water[: mesh.pile_count].min() < 0.0:
            return Outcome(new, held, totals, np.zeros(3), np.inf, done, sweeps, 0, True)
        if done == 1:  # later passes change water and decay too little to matter for the flow
            _refresh(stepper, new)
        _flow(stepper, new, source)
        change = [0.5 * (a + b) - m for a, b, m in zip(
            (state.east, state.north, state.outflow), (new.east, new.north, new.outflow),
            (mid.east, mid.north, mid.outflow), strict=True)]
        nodes.coupling_defect(stepper.frame.neighbours, *change, second, edges, _capacity(stepper, new), mesh.pile_count,
                              work["defect"])
        flow_defect = dt * work["defect"]
        size = np.sqrt(np.sum(stepper.frame.weight * flow_defect**2))
        if done == controls.passes or size <= controls.correction_threshold * controls.tolerance:
            break
        mid = replace(mid, east=mid.east + 0.5 * change[0], north=mid.north + 0.5 * change[1],
                      outflow=mid.outflow + 0.5 * change[2])
        guess1, guess2 = (first.temperature, first.water), (second.temperature, second.water)
        middle = 0.5 * (state.temperature + second.temperature)
    if done > 1:
        _refresh(stepper, new)
    rates, used_oxygen, factor = _solve_oxygen(stepper, state, last, new, edges_at_end, dt, dt_last)
    new_held = _hold(stepper, factor)
    coupling.correct_respiration(
        terms.environment, held_last.environment, held.environment, new_held.environment, (dt, dt_last),
        stepper.rates[0].burnt, stepper.rates[1].burnt, GAMMA, mesh.pile_count, (p.bed.ground_water, p.bed.dry_capacity),
        (new.temperature, new.stored, new.water, new.substrate), work["warming"], work["corrected"], p.record)
    totals[_RESPIRATION_HEAT] += work["corrected"][0]
    totals[_METABOLIC] += work["corrected"][1]
    error = _error(stepper, state, new, older, dt, flow_defect)
    return Outcome(new, new_held, totals, rates, error, done, sweeps, used_oxygen, False)


def _capacity(stepper: Stepper, state: State) -> np.ndarray:
    """Heat capacity of the nodes [J K-1 m-1], latent heat included while they freeze."""
    out = np.empty_like(state.water)
    bed = stepper.problem.bed
    apparent_heat_capacities(state.temperature, state.water, bed.ground_water, bed.dry_capacity, out,
                             stepper.problem.record)
    return np.maximum(out, 1e-9)


def _carried(stepper: Stepper, temperature: np.ndarray, water: np.ndarray, terms: nodes.Terms) -> np.ndarray:
    """Enthalpy of the gas at the middle of the step, the field on which the limiter ratio is built."""
    n1 = temperature.size
    blank = np.zeros(n1)
    stage = nodes.Stage(temperature, water, stepper.work["mid_ratio"], stepper.work["mid_enthalpy"], blank, blank,
                        np.zeros((n1, 3)), blank, blank)
    nodes.refresh_gas(stage, terms, stepper.problem.mesh.pile_count, stepper.problem.record)
    return stage.enthalpy


def _relaxed_composition(stepper: Stepper, state: State, last: State, dt: float, dt_last: float) -> np.ndarray:
    """Composition that the gas density feels; explicit, so that it closes no algebraic loop with the flow."""
    share = -np.expm1(-dt / stepper.scalars.composition_relaxation_time)
    target = state.oxygen + 0.5 * dt / dt_last * (state.oxygen - last.oxygen)
    return state.composition + share * (np.clip(target, 0.0, stepper.scalars.ambient_oxygen) - state.composition)


def _solve_oxygen(stepper: Stepper, state: State, last: State, new: State, edges: EdgeArrays, dt: float,
                  dt_last: float) -> tuple[np.ndarray, int, np.ndarray]:
    p, controls, work = stepper.problem, stepper.controls, stepper.work
    mesh = p.mesh
    storage = stepper.scalars.store_oxygen * stepper.props.gas_amount / dt
    terms = _oxygen_terms(stepper, storage, state.oxygen)
    new.oxygen = np.clip(state.oxygen + dt / dt_last * (state.oxygen - last.oxygen), 0.0, 1.0)
    factor = np.zeros(mesh.count + 1)
    flow.flow_order(stepper.frame.neighbours, new.east, new.north, mesh.pile_count, work["order"], work["degree"])
    used = oxygen.solve_oxygen(
        work["order"], stepper.frame.neighbours, stepper.frame.upstream, mesh.x, mesh.z, new.east, new.north, new.outflow, terms, edges,
        stepper.plan.number, stepper.plan.oxygen_band, stepper.plan.oxygen_right, stepper.plan.oxygen_ready,
        controls.reaction_tolerance, controls.balance_tolerance, controls.most_oxygen_sweeps, new.oxygen, factor)
    rates = oxygen.oxygen_budget(mesh.pile_count, terms, edges, new.outflow, new.oxygen, factor)
    return np.array(rates[:3]), used, factor


def _error(stepper: Stepper, state: State, new: State, older: list[tuple[float, np.ndarray]], dt: float,
           flow_defect: np.ndarray) -> float:
    """Error estimate over the tolerance: coupling extrapolation defect and third divided difference."""
    p, controls = stepper.problem, stepper.controls
    local = np.abs(flow_defect + stepper.work["warming"])
    if len(older) >= 2:
        local = local + 0.24 * dt**3 * np.abs(_third_difference(
            [new.time, state.time, *(t for t, _ in reversed(older[-2:]))],
            [new.temperature, state.temperature, *(a for _, a in reversed(older[-2:]))]))
    warmth = np.sqrt(np.sum(stepper.frame.weight * (new.temperature - p.temperature) ** 2))
    goal = controls.tolerance * min(1.0, 0.2 + warmth / 20.0)
    return float(np.sqrt(np.sum(stepper.frame.weight * local**2)) / goal)


def _third_difference(times: list[float], values: list[np.ndarray]) -> np.ndarray:
    table = list(values)
    for level in range(1, 4):
        table = [(table[k] - table[k + 1]) / (times[k] - times[k + level]) for k in range(len(table) - 1)]
    return table[0]
