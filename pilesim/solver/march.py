"""March through time: step control and the budgets that every run keeps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pilesim.base.errors import StepFailed
from pilesim.build import Problem
from pilesim.inputs.records import Turn
from pilesim.model import State
from pilesim.solver.nodes import TOTALS
from pilesim.solver.step import Controls, Held, Outcome, Stepper, attempt, begin, make_stepper
from pilesim.solver.turning import turned
from pilesim.solver.uncover import CoverOff, skin_left, uncover

DAY = 86400.0
HEAT_TOTALS = ("air_film", "ground_film", "gas_enthalpy", "vapour_film_heat", "respiration_heat", "leachate_heat",
               "rain_heat")
WATER_TOTALS = ("gas_vapour", "vapour_film", "metabolic", "leachate", "rain")


@dataclass(slots=True)
class Tally:
    """Budgets of a run and how hard it was.

    Attributes
    ----------
    inputs : (len(TOTALS),) array
        Time integrals of what entered (and, for heat and water of respiration, was made), in J and kg per m.
    throughput : (len(TOTALS),) array
        Integrals of the absolute values.
    oxygen : tuple of float
        Oxygen supplied, used in the oxygen balance, stored [mol per m].
    oxygen_at_start : float
        Oxygen in the pores at the start [mol per m]; the floor of the throughput.
    oxygen_burnt : float
        Oxygen that the substrate consumed [mol per m].
    defect_squared : float
        Largest weighted mean square of stored against output temperature [K2].
    """

    inputs: np.ndarray
    throughput: np.ndarray
    oxygen: tuple[float, float, float]
    oxygen_at_start: float
    oxygen_burnt: float = 0.0
    defect_squared: float = 0.0
    steps: int = 0
    rejected: int = 0
    passes: int = 0
    sweeps: int = 0
    oxygen_sweeps: int = 0
    oxygen_unfinished: int = 0
    cover_off: CoverOff | None = None


@dataclass(frozen=True, slots=True)
class Moment:
    """One accepted step as an observer sees it; the start is a step of no length.

    Attributes
    ----------
    totals : (len(TOTALS),) array
        Mean rates over the step.
    respiration : (count + 1,) array
        Oxygen taken up at its end [mol s-1 m-1].
    """

    before: State
    after: State
    step: float
    totals: np.ndarray
    respiration: np.ndarray


def march(problem: Problem, duration: float, controls: Controls,
          observe: Callable[[Stepper, Moment], None]) -> tuple[Stepper, State, Tally]:
    """Run from the start to `duration` [s]; `observe` sees every accepted step.

    Raises
    ------
    StepFailed
        When no acceptable step is found.
    """
    stepper = make_stepper(problem, controls)
    state, held, oxygen_rates = begin(stepper)
    previous: tuple[State, Held, float] = (state, held, controls.fixed_step or controls.first_step)
    tally = Tally(np.zeros(len(TOTALS)), np.zeros(len(TOTALS)), (0.0, 0.0, 0.0),
                  float(stepper.props.gas_amount @ state.oxygen))
    observe(stepper, Moment(state, state, 0.0, np.zeros(len(TOTALS)), held.respiration))
    older: list[State] = []
    step = controls.fixed_step or controls.first_step
    tries = 0
    due = [turn for turn in problem.turns if turn.time < duration - 2.0 * problem.record.turn_time]
    while state.time < duration * (1.0 - 1e-12):
        if due and state.time >= due[0].time * (1.0 - 1e-12):
            turn = due.pop(0)
            as_built = problem.uncovered if problem.uncovered and (tally.cover_off or turn.cover != "put back") else problem
            stepper, state, held, oxygen_rates, step = _turn(stepper, as_built, state, turn, tally, observe)
            previous, older = (state, held, step), []
            continue
        left = (due[0].time if due else duration) - state.time
        step = min(step, left) if controls.fixed_step else _land(step, left)
        outcome = attempt(stepper, state, held, previous, older, step)
        if _refused(outcome, step, controls):
            tally.rejected += 1
            tries += 1
            if tries > 30 or not np.isfinite(outcome.state.temperature).all():
                raise StepFailed(
                    f"no acceptable time step at day {state.time / DAY:.3f} (step {step:.3g} s, {tries} tries); "
                    "try a coarser or finer run.cell, and check extreme values in the scenario")
            step *= max(0.4, 0.85 * outcome.found.error ** (-1 / 3)) if np.isfinite(outcome.found.error) else 0.4
            continue
        tries = 0
        stepper.skin = outcome.skin
        _count(tally, stepper.oxygen_per_substrate, outcome, oxygen_rates, step)
        observe(stepper, Moment(state, outcome.state, step, outcome.totals, outcome.held.respiration))
        older = [state, *older[:2]]
        previous = (state, held, step)
        state, held, oxygen_rates = outcome.state, outcome.held, outcome.oxygen_totals
        step = controls.fixed_step or _next_step(step, outcome, controls)
    return stepper, state, tally


def _turn(stepper: Stepper, as_built: Problem, state: State, turn: Turn, tally: Tally,
          observe: Callable[[Stepper, Moment], None]) -> tuple[Stepper, State, Held, tuple[float, float, float], float]:
    """Turn the pile: a step of its own length, in which heat and water go to the air with the gas. A cover that comes off
    does so before it, in no time; the step starts from what is left."""
    standing, skin = stepper.problem, stepper.skin  # snow lies on what the turn leaves outside
    if turn.cover != "put back":
        standing, state, tally.cover_off = uncover(stepper.problem, state, turn.cover)
        skin = skin_left(skin, stepper.problem.outside, standing)
    new, lost = turned(standing, as_built, state, turn)
    step = float(standing.record.turn_time)
    after = make_stepper(new, stepper.controls)
    after.skin = skin
    begun, held, oxygen_rates = begin(after, state.time + step)
    begun.stored[:] = state.stored + lost.gained
    totals = np.zeros(len(TOTALS))
    totals[TOTALS.index("gas_enthalpy")] = -lost.heat / step
    totals[TOTALS.index("gas_vapour")] = -lost.water / step
    tally.inputs += step * totals
    tally.throughput += step * np.abs(totals)
    tally.oxygen_at_start += float(after.props.gas_amount @ begun.oxygen)
    observe(after, Moment(state, begun, step, totals, held.respiration))
    return after, begun, held, oxygen_rates, stepper.controls.fixed_step or stepper.controls.first_step


def _land(step: float, left: float) -> float:
    """Shorten a step so that the run ends on time without a tiny last one."""
    if step >= left:
        return left
    return 0.5 * left if step > 0.6 * left else step


def _refused(outcome: Outcome, step: float, controls: Controls) -> bool:
    if math.isnan(outcome.found.error) or outcome.negative_water:
        return True
    return not controls.fixed_step and outcome.found.error > 1.5 and step > controls.smallest_step


def _next_step(step: float, outcome: Outcome, controls: Controls) -> float:
    factor = min(max(0.85 * max(outcome.found.error, 1e-6) ** (-1 / 3), 0.4), 2.0)
    return min(max(step * factor, controls.smallest_step), controls.largest_step)


def _count(tally: Tally, oxygen_per_substrate: float, outcome: Outcome,
           oxygen_before: tuple[float, float, float], step: float) -> None:
    crossed = step * outcome.totals
    tally.inputs += crossed
    tally.throughput += np.abs(crossed)
    (supplied, used, stored), so_far = outcome.oxygen_totals, tally.oxygen
    tally.oxygen = (so_far[0] + 0.5 * step * (supplied + oxygen_before[0]),
                    so_far[1] + 0.5 * step * (used + oxygen_before[1]), so_far[2] + step * stored)
    tally.oxygen_burnt += outcome.found.burnt * oxygen_per_substrate
    tally.defect_squared = max(tally.defect_squared, outcome.found.defect)
    tally.steps += 1
    tally.passes += outcome.found.passes
    tally.sweeps += outcome.found.sweeps
    tally.oxygen_sweeps += abs(outcome.found.oxygen_sweeps)
    tally.oxygen_unfinished += outcome.found.oxygen_sweeps < 0


def budget_errors(start: tuple[np.ndarray, np.ndarray], state: State, tally: Tally) -> dict[str, float]:
    """Errors of the budgets relative to throughput: heat, water, oxygen. What a cover takes along is counted.

    Parameters
    ----------
    start : tuple of arrays
        Stored enthalpy and water at the start.
    """
    i = {name: k for k, name in enumerate(TOTALS)}
    off = tally.cover_off
    heat = float(state.stored.sum() - start[0].sum()) - sum(tally.inputs[i[k]] for k in HEAT_TOTALS)
    water = float(state.water.sum() - start[1].sum()) - sum(tally.inputs[i[k]] for k in WATER_TOTALS)
    heat, water = heat + (off.heat if off else 0.0), water + (off.gone[1] if off else 0.0)
    heat_scale = sum(tally.throughput[i[k]] for k in HEAT_TOTALS) + 1e-6 * float(np.sum(np.abs(start[0])))
    water_scale = sum(tally.throughput[i[k]] for k in WATER_TOTALS) + 1e-6 * float(np.sum(start[1]))
    supplied, _, stored = tally.oxygen
    oxygen = supplied - stored - tally.oxygen_burnt
    oxygen_scale = abs(supplied) + tally.oxygen_burnt + abs(stored) + tally.oxygen_at_start
    return {
        "heat": abs(heat) / max(heat_scale, 1e-300),
        "water": abs(water) / max(water_scale, 1e-300) if water_scale > 0 else 0.0,
        "oxygen": abs(oxygen) / max(oxygen_scale, 1e-300),
    }
