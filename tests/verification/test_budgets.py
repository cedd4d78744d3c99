"""Budgets of R1, and what they do not prove.

"Planted" names the faults under which a test was seen to fail.
"""

from dataclasses import replace

from verification.rows import assert_pass

from pilesim.solver.step import Controls
from pilesim.verify.reference_problem import budgets, closed_budgets


def test_budgets_close():
    """Heat to round-off (1e-10 of throughput) by conservative rates, oxygen to 1e-3, the defect within 0.05 K.

    Planted: heat of entering gas counted at the node's temperature; conduction from a neighbour 1e-9 more than what the
    neighbour gives; one Gauss-Seidel sweep per stage (defect 0.7 K).
    """
    assert_pass(closed_budgets())


def test_closed_budgets_do_not_prove_the_iteration():
    """Sweeps stopped a thousand times too early leave a defect beyond 0.05 K, and the heat budget closes all the same:
    the defect is what shows it. Planted: the defect not tallied; output temperature taken from the stored enthalpy.
    """
    loose = replace(Controls(), sweep_tolerance=1000 * Controls().sweep_tolerance)
    errors, defect = budgets(loose)
    assert defect > 0.05
    assert errors["heat"] < 1e-10
