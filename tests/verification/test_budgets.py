"""Budgets of R1, and what they do not prove.

"Planted" names the faults under which a test was seen to fail.
"""

import math
from dataclasses import replace

from pilesim.solver.march import budget_errors
from pilesim.solver.step import Controls
from pilesim.verify.reduced import DAY, r1_grid, r1_problem, run


def budgets(controls):
    """Relative errors of the budgets, and the largest iteration defect [K], over the 30 days of R1."""
    problem = r1_problem(r1_grid(1))
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    state, tally = run(problem, 30 * DAY, controls)
    return budget_errors(problem, start, state, tally), math.sqrt(tally.defect_squared)


def test_budgets_close():
    """Heat to round-off (1e-10 of throughput) by conservative rates, oxygen to 1e-3, the defect within 0.05 K.

    Planted: heat of entering gas counted at the node's temperature; conduction from a neighbour 1e-9 more than what the
    neighbour gives; one Gauss-Seidel sweep per stage (defect 0.7 K).
    """
    errors, defect = budgets(Controls())
    assert errors["heat"] < 1e-10
    assert errors["oxygen"] < 1e-3
    assert defect < 0.05


def test_closed_budgets_do_not_prove_the_iteration():
    """Sweeps stopped a thousand times too early leave a defect beyond 0.05 K, and the heat budget closes all the same:
    the defect is what shows it. Planted: the defect not tallied; output temperature taken from the stored enthalpy.
    """
    loose = replace(Controls(), sweep_tolerance=1000 * Controls().sweep_tolerance)
    errors, defect = budgets(loose)
    assert defect > 0.05
    assert errors["heat"] < 1e-10
