"""One dimension against two, and order in time, on the reduced pile problem R1 (stated in reduced.py)."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from pilesim.build import Problem
from pilesim.section.grid import COVER, MIX, box_grid
from pilesim.solver.step import Controls
from pilesim.verify.check import Check, largest_error, order
from pilesim.verify.reduced import DAY, along, r1_grid, r1_measures, r1_problem, run, tight

HOUR = 3600.0
STEPS = (4.0, 2.0, 1.0, 0.5)  # h
HALVED = "step lengths halved three times"


def upright(columns: int, plentiful: bool) -> Problem:
    """R1's materials in a column 2.5 m high, open at its floor and top, `columns` cells of 0.1 m wide."""
    x, z = np.linspace(0.0, 0.1 * columns, columns + 1), np.linspace(0.0, 2.5, 26)
    material = np.where(z[1:] < 2.35, MIX, COVER)
    return r1_problem(box_grid(x, z, np.repeat(material[:, None], columns, axis=1)), ("floor", "top"),
                      plentiful=plentiful)


def column_against_box(plentiful: bool) -> list[Check]:
    """A box with closed, insulated sides is a column, whatever its width: temperature and oxygen after five days."""
    controls = tight(HOUR, passes=4, oxygen_sweeps=5 if plentiful else 1000)
    single, wide = upright(1, plentiful), upright(4, plentiful)
    (one, _), (four, _) = (run(problem, 5 * DAY, controls) for problem in (single, wide))
    drawn = 1.0 if along(single, one.north)[0].sum() > 0.0 else math.nan  # without a draught it would show nothing
    rows, how = [], "oxygen in plenty" if plentiful else "all balances"
    for name in ("temperature", "oxygen"):
        expected, found = along(single, getattr(one, name))[:, :1], along(wide, getattr(four, name))
        rows.append(largest_error(f"column against a box of four, {how}: error of {name}", "exact",
                                  "symmetry of closed, insulated sides",
                                  drawn * (found - expected) / np.abs(expected).max(), 1e-9))
    return rows


def columns_against_boxes() -> list[Check]:
    """With oxygen in plenty, or in its part."""
    return column_against_box(True) + column_against_box(False)


def halved(problem: Problem, days: float, controls: Callable[[float], Controls]) -> tuple[list[float], list[float]]:
    """Differences between successive runs of `STEPS`: rms temperature of the mix [K], oxygen used [kg m-1]."""
    weight = problem.norm_volume / problem.norm_volume.sum()
    states = [run(problem, days * DAY, controls(hours * HOUR))[0] for hours in STEPS]
    used = [r1_measures(problem, state)[1] for state in states]
    return ([math.sqrt(np.sum(weight * (a.temperature - b.temperature) ** 2)) for a, b in pairwise(states)],
            [abs(a - b) for a, b in pairwise(used)])


def order_of_heat_and_flow() -> list[Check]:
    """Heat, substrate and flow by buoyancy, oxygen in plenty, over two days."""
    problem = r1_problem(r1_grid(1), plentiful=True)
    heat, used = halved(problem, 2, lambda step: tight(step, 1e-10, passes=20, oxygen_sweeps=5))
    name = "reduced pile R1 in time, oxygen in plenty"
    return [order(f"{name}: temperature", "exact", HALVED, heat, 0.1),
            order(f"{name}: oxygen used", "exact", HALVED, used, 0.1)]


def order_with_oxygen() -> list[Check]:
    """All balances, oxygen without storage, begun with the quasi-steady oxygen of the start (fresh air everywhere is no
    solution and would leave an error of first order, as the backward Euler storage does)."""
    problem = r1_problem(r1_grid(1), store_oxygen=False)
    problem.oxygen[:] = run(problem, 1.0, tight(0.25, iteration=1e-10))[0].oxygen
    heat, used = halved(problem, 2, lambda step: tight(step, 1e-10, passes=20))
    name = "reduced pile R1 in time, all balances"
    return [order(f"{name}: temperature", "exact", HALVED, heat, 0.25),
            order(f"{name}: oxygen used", "exact", HALVED, used, 0.25)]
