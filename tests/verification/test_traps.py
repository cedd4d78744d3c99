"""Errors that leave every budget closed: each shortcut is taken on purpose and must show, the default must not.

The truth of each check is the same model with the shortcut's coupling resolved by small steps, so these are checks
against mathematics. "Seen" gives what was measured on 20 cm cells. The faults are planted by the tests themselves;
faults planted in the package beside them are named where a check was seen to fail.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from pilesim.assess.shares import MixPieces, mix_pieces, share_below
from pilesim.balances.physics import FULL, Physics
from pilesim.base.errors import StepFailed
from pilesim.build import Problem, build
from pilesim.inputs.scenario import load
from pilesim.model import State
from pilesim.solver.march import DAY, Tally, budget_errors, march
from pilesim.solver.step import Controls
from pilesim.study.run import observed_run

ROUND_OFF = 1e-8  # budgets of heat and water: room for 1e4 steps of round-off


@dataclass(frozen=True)
class Course:
    """A march: its moments (the start left out), last state, tally and budget errors."""

    problem: Problem
    pieces: MixPieces
    times: np.ndarray
    temperature: np.ndarray  # (moments, count + 1) K
    oxygen: np.ndarray
    state: State
    tally: Tally
    budgets: dict[str, float]
    imbalance: np.ndarray  # oxygen: |supply - uptake - storage| over uptake

    def mean_temperature(self, days: np.ndarray) -> np.ndarray:
        return np.interp(days * DAY, self.times, self.temperature @ self.pieces.node_weight)

    def anaerobic(self, days: np.ndarray) -> np.ndarray:
        shares = [share_below(oxygen, 0.05, self.pieces) for oxygen in self.oxygen]
        return np.interp(days * DAY, self.times, shares)

    def apart(self, other: Course) -> float:
        """Difference of the last temperatures, rms over the mix [K]."""
        weight = self.pieces.node_weight
        return float(np.sqrt(weight @ (self.state.temperature - other.state.temperature) ** 2))


def reference(cell: str = "20 cm", physics: Physics = FULL) -> Problem:
    return build(load("reference_pile").with_(**{"run.cell": cell}), 2, physics)


def at(problem: Problem, day: float) -> Problem:
    """The problem with the state that it has reached on a day as its start."""
    _, state, _ = march(problem, day * DAY, Controls(), lambda stepper, moment: None)
    return replace(problem, temperature=state.temperature, water=state.water, substrate=state.substrate,
                   oxygen=state.oxygen)


def oxygen_imbalance(stepper, moment, earlier) -> float:
    """Whole-pile oxygen balance at the end of one step, written out from its states and the `earlier` one before them.

    Storage by backward differences of second order over unequal steps (of first order in the first step), as textbooks have
    them; a node whose foreseen content the solver limits (see `settle_oxygen`) is limited here too.
    """
    edges, x, outflow = stepper.problem.edges, moment.after.oxygen, moment.after.outflow
    through = np.where(outflow < 0.0, outflow * edges.oxygen_in, outflow * x)
    supply = np.sum(edges.gas_film_oxygen - edges.gas_film * x) - np.sum(through[np.asarray(edges.is_open, bool)])
    w = 0.0 if earlier is None else moment.step / (moment.before.time - earlier.time)
    lead, now = (1.0 + 2.0 * w) / (1.0 + w), moment.before.oxygen
    old = now if earlier is None else earlier.oxygen
    foreseen = np.clip(((1.0 + w) * now - w * w / (1.0 + w) * old) / lead, 0.5 * now, 2.0 * np.maximum(now, 0.0))
    stored = np.sum(stepper.props.gas_amount * lead * (x - foreseen)) / moment.step
    used = moment.respiration.sum()
    return float(abs(supply - used - stored) / used)


def run(problem: Problem, days: float, controls: Controls) -> Course:
    moments: list[tuple[float, np.ndarray, np.ndarray, float]] = []

    seen = [None]

    def observe(stepper, moment) -> None:
        if moment.step > 0.0:
            after = moment.after
            moments.append((after.time, after.temperature, after.oxygen, oxygen_imbalance(stepper, moment, seen[0])))
            seen[0] = moment.before

    _, state, tally = march(problem, days * DAY, controls, observe)
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    times, temperature, oxygen, imbalance = (np.array(column) for column in zip(*moments, strict=True))
    return Course(problem, mix_pieces(problem), times, temperature, oxygen, state, tally,
                  budget_errors(start, state, tally), imbalance)


def closed(course: Course) -> bool:
    return course.budgets["heat"] < ROUND_OFF and course.budgets["water"] < ROUND_OFF


# --- 1: composition in the density -----------------------------------------------------------------------------------
SETTLED = {"tolerance": 1e-3, "passes": 12}  # passes go on until the flow is what was assumed: five a step here
AT_ONCE = {"composition_relaxation_time": 1.0}  # s: less than any step, so the density takes the last composition whole
DAYS = np.array([0.5, 1.0, 1.5, 2.0])


@pytest.fixture(scope="module")
def ignition() -> Course:
    """Two days with the composition taken at once, oxygen stored in the pores and steps of a minute: the truth."""
    return run(reference(physics=Physics(constants=AT_ONCE)), 2.0, Controls(fixed_step=60.0))


def test_relaxed_composition_is_near_the_truth(ignition):
    """The density follows the composition with a relaxation time of an hour, steps as they come: mean temperature
    within 0.3 K (seen 0.03), anaerobic share within 0.02 (seen 0.001), rms over the mix within 0.3 K (seen 0.1).

    Planted: relaxation time of a day.
    """
    course = run(reference(), 2.0, Controls())
    assert np.abs(course.mean_temperature(DAYS) - ignition.mean_temperature(DAYS)).max() < 0.3
    assert np.abs(course.anaerobic(DAYS) - ignition.anaerobic(DAYS)).max() < 0.02
    assert course.apart(ignition) < 0.3
    assert closed(course)


def test_composition_cannot_be_left_out(ignition):
    """Nor is it small: without the weight of spent oxygen the young pile is over 2 K too warm on day 2 (seen 4.5)."""
    course = run(reference(physics=Physics(composition_in_density=False)), 2.0, Controls())
    assert course.mean_temperature(DAYS)[-1] > ignition.mean_temperature(DAYS)[-1] + 2.0
    assert closed(course)


@pytest.mark.parametrize("step", [300.0, 1200.0])
def test_lagged_composition_is_wrong_at_any_step(ignition, step):
    """Oxygen without storage, the density taking its last composition whole: a loop whose gain does not fall with the
    step. In one pass, which lags it: rms over 1.5 K, with heat and water closed to round-off. Iterated with flow and oxygen
    in each step until they settle the same equations stay within 1 K of the truth (seen 0.94: the
    oxygen that the fresh pile stores is left out) and within 0.15 K (seen 0.105) of themselves at twice the step.
    """
    problem = reference(physics=Physics(store_oxygen=False, constants=AT_ONCE))
    lagged, iterated, longer = (run(problem, 2.0, controls) for controls in (
            Controls(fixed_step=step, passes=1), Controls(fixed_step=step, **SETTLED),
        Controls(fixed_step=2.0 * step, **SETTLED)))
    assert lagged.apart(ignition) > 1.5
    assert iterated.apart(ignition) < 1.0
    assert iterated.apart(longer) < 0.15
    assert closed(lagged) and closed(iterated)


# --- 2: flow extrapolated to mid-step --------------------------------------------------------------------------------
def test_flow_needs_its_corrector():
    """Long steps over a leaky base layer: where heat crosses a cell within a step, flow that is only extrapolated
    swings. Days 14 to 17 of the reference pile (base layer of 3e-7 m2), steps of three hours against 300 s: within
    0.1 K with the corrector, over 1 K in one pass or no number at all, both with heat and water closed.

    Planted: corrector of no weight; of the wrong sign.
    """
    problem = at(reference(), 14.0)
    truth = run(problem, 3.0, Controls(fixed_step=300.0))
    corrected = run(problem, 3.0, Controls(fixed_step=10800.0))
    assert corrected.apart(truth) < 0.1
    assert closed(corrected)
    try:
        bare = run(problem, 3.0, Controls(fixed_step=10800.0, passes=1))
    except StepFailed:  # it swings until there is no number left
        return
    assert bare.apart(truth) > 1.0 and closed(bare)


# --- 4: when the oxygen solve stops ----------------------------------------------------------------------------------
def test_oxygen_solve_must_stop_on_its_balance():
    """Late in a run oxygen lies far above its half saturation, so the reaction no longer feels it and says nothing
    about the solve. From day 17 supply, uptake and storage agree within the 3e-4 that the solve demands; stopped on
    the reaction alone they part by over five times that (seen 3e-3 to 7e-3). The budget of the run averages that out (below
    1e-3 in both): only single steps show it.

    Planted: a tenth of the demand.
    """
    problem, default = at(reference(), 17.0), Controls()
    demanded = run(problem, 7.0, default)
    alone = run(problem, 7.0, replace(default, balance_tolerance=np.inf))
    assert demanded.imbalance.max() < 1.01 * default.balance_tolerance
    assert alone.imbalance.max() > 5.0 * default.balance_tolerance
    assert closed(demanded) and closed(alone)


# --- 6: what water loss refers to ------------------------------------------------------------------------------------
def test_water_loss_refers_to_the_mix_after_sharing():
    """Nodes shared with cover or base layer even their water out at the start, which moves 2 percent of the mix's
    water over 20 cm cells at once. Loss counts from there: over an hour at 20 degC no more than a thousandth (an
    hour's share of 25 percent in 30 days is 0.0004).

    Planted: loss counted from the mix as built.
    """
    scenario = load("reference_pile").with_(**{"run.cell": "20 cm", "run.duration": "1 hour",
                                               "run.output_every": "1 hour"})
    problem = build(scenario, 2)
    (watch, _, _), measures = observed_run(scenario, problem, lambda share: None)
    assert watch.series["mix_water"][0] < 0.99 * problem.water_of_mix
    assert abs(float(measures["water_loss"])) < 1e-3


# --- what the iteration leaves ---------------------------------------------------------------------------------------
def test_closed_budgets_say_nothing_about_the_iteration():
    """The update in flux form closes heat and water whatever the sweeps left undone, and carries the rest into the
    next step. One pass of sweeps stopped a thousand times sooner: budgets as closed as before, but the reported
    defect passes the 0.05 K that a run is held to (seen 0.28 against 0.007, 10 cm cells; 0.03 with more passes).

    Planted: defect counted from the output temperature itself.
    """
    scenario = load("reference_pile")
    problem, default = build(scenario, 2), Controls()
    loose = replace(default, sweep_tolerance=1000.0 * default.sweep_tolerance, passes=1)
    for controls, hidden in ((default, False), (loose, True)):
        _, measures = observed_run(scenario, problem, lambda share: None, controls)
        assert measures["budget_error_heat"] < ROUND_OFF and measures["budget_error_water"] < ROUND_OFF
        assert (measures["iteration_defect_temperature"] > 0.05) == hidden
