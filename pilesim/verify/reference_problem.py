"""The reduced pile problem R1 (stated in reduced.py): against two independent computations, its budgets, its symmetry."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pilesim.build import Problem
from pilesim.model import State
from pilesim.solver.march import Tally, budget_errors
from pilesim.solver.step import Controls
from pilesim.verify.check import Check, largest_error, relative
from pilesim.verify.reduced import (
    DAY,
    R1_CONVERGED,
    R1_PAIRS,
    R1_SIDES,
    along,
    r1_box,
    r1_grid,
    r1_history,
    r1_problem,
    run,
    tight,
)

CELL = 0.1  # m, of the symmetric pile
MIRROR = "mirror symmetry of the equations"


def reference_problem() -> list[Check]:
    """Mean temperature and oxygen used on days 1, 3, 10 and 30, extrapolated from 30 x 25 and 60 x 50 cells, with the
    tolerances that runs have by default."""
    coarse, fine = (r1_history(r1_problem(r1_grid(refinement)), list(R1_PAIRS), Controls())[0] for refinement in (1, 2))
    rows, source = [], "midpoint of two independent computations made for this project"
    for day, (temperature, oxygen) in R1_CONVERGED.items():
        found = fine[day] + (fine[day] - coarse[day]) / 3  # second order: the error of the finer grid is a third of it
        name = f"reduced pile R1, day {day}"
        rows += [Check(f"{name}: mean temperature", "self", source, temperature, float(found[0]), 0.15, "K"),
                 relative(f"{name}: oxygen used", "self", source, oxygen, found[1], 0.008, "kg m-1")]
    return rows


def budgets(controls: Controls) -> tuple[dict[str, float], float]:
    """Relative errors of the budgets, and the largest iteration defect [K], over the 30 days of R1."""
    problem = r1_problem(r1_grid(1))
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    state, tally = run(problem, 30 * DAY, controls)
    return budget_errors(start, state, tally), math.sqrt(tally.defect_squared)


def closed_budgets() -> list[Check]:
    """Heat to round-off by conservative rates, oxygen to 1e-3 of throughput, the defect within 0.05 K."""
    errors, defect = budgets(Controls())
    source = "conservation: what is stored is what came in and was made"
    return [largest_error("reduced pile R1, 30 days: error of the heat budget", "exact", source, [errors["heat"]], 1e-10),
            largest_error("reduced pile R1, 30 days: error of the oxygen budget", "exact", source, [errors["oxygen"]], 1e-3),
            largest_error("reduced pile R1, 30 days: iteration defect", "self", "what a run may leave", [defect], 0.05, "K")]


def solve(left: float, controls: Controls, days: float, plentiful: bool = False) -> tuple[Problem, State, Tally]:
    """Problem, last state and tally of the section from x = `left` to 3 m."""
    problem = r1_problem(r1_box(CELL, left), R1_SIDES[left], plentiful=plentiful)
    return problem, *run(problem, days * DAY, controls)


def right_half(problem: Problem, values: np.ndarray) -> np.ndarray:
    """`values` at x >= 0 as a (nz, nx) array."""
    array = along(problem, values)
    return array[:, array.shape[1] // 2:] if problem.grid.x.min() < 0.0 else array


def mirrored(problem: Problem, values: np.ndarray) -> np.ndarray:
    """`values` at x <= 0, mirrored."""
    return right_half(problem, np.append(along(problem, values)[:, ::-1].T.ravel(), 0.0))


def symmetric(plentiful: bool) -> list[Check]:
    """Left against right, and half a section against the whole, after three days of fixed steps, iterations 1e-12; with
    oxygen in plenty, or in its part."""
    controls = tight(3600.0, passes=4, oxygen_sweeps=5 if plentiful else 1000)
    whole, state, _ = solve(-3.0, controls, 3, plentiful)
    half, other, _ = solve(0.0, controls, 3, plentiful)
    rows, how = [], "oxygen in plenty" if plentiful else "all balances"
    for name in ("temperature",) if plentiful else ("temperature", "oxygen"):
        found = right_half(whole, getattr(state, name))
        scale = np.ptp(found) if name == "temperature" else np.abs(found).max()
        both = mirrored(whole, getattr(state, name)), along(half, getattr(other, name))
        for what, same in zip(("left", "half section"), both, strict=True):
            label = f"symmetric pile, {how}: {name} right against {what}, error"
            rows.append(largest_error(label, "exact", MIRROR, (found - same) / scale, 1e-8))
    return rows


def symmetric_by_default(days: float) -> list[Check]:
    """With steps and iterations as runs have them, rms over the section: left against right, which share their steps,
    within three times the iteration defect; half against whole, which each choose their own, within the step tolerance."""
    whole, state, tally = solve(-3.0, Controls(), days)
    half, other, _ = solve(0.0, Controls(), days)
    volume = along(half, half.pile_volume)
    found = right_half(whole, state.temperature)

    def apart(same: np.ndarray) -> float:
        return math.sqrt(np.sum(volume * (found - same) ** 2) / volume.sum())

    name = f"symmetric pile, default controls, day {days:g}"
    sides = apart(mirrored(whole, state.temperature))
    return [largest_error(f"{name}: right against left, rms error", "exact", MIRROR, [sides],
                          3 * math.sqrt(tally.defect_squared), "K"),
            largest_error(f"{name}: whole against half, rms error", "exact", MIRROR,
                          [apart(along(half, other.temperature))], Controls().tolerance, "K")]


def symmetric_pile() -> list[Check]:
    """Both kinds of fixed steps."""
    return symmetric(True) + symmetric(False)


def symmetric_pile_by_default(days: Sequence[float] = (3, 10, 30)) -> list[Check]:
    """On several days."""
    return [check for day in days for check in symmetric_by_default(day)]
