"""One dimension against two, and order in time, on the reduced pile problem R1.

"Planted" names the faults under which a test was seen to fail.
"""

import pytest
from verification.rows import assert_pass

from pilesim.verify import dimensions


@pytest.mark.parametrize("plentiful", [True, False], ids=["heat and flow", "with oxygen"])
def test_column_against_box(plentiful):
    """A box with closed, insulated sides is a column, whatever its width: temperature and oxygen after five days.

    Tolerance 1e-9 of the largest value, iterations 1e-12: observed 1e-13. Planted: heat capacity of one side's nodes 1 %
    off; the floor's left corner closed to gas.
    """
    assert_pass(dimensions.column_against_box(plentiful))


def test_order_in_time_of_heat_and_flow():
    """Heat, substrate and flow by buoyancy, oxygen in plenty: steps of 4, 2, 1 and 0.5 h over two days.

    Tolerance 0.1: observed 2.01 and 2.01. Planted: flow held at the start of the step; GAMMA 0.3; weights of the
    stages swapped.
    """
    assert_pass(dimensions.order_of_heat_and_flow())


def test_order_in_time_with_oxygen():
    """All balances, oxygen without storage, begun with the quasi-steady oxygen of the start (fresh air everywhere is
    no solution and would leave an error of first order, as the backward Euler storage does): 4, 2, 1 and 0.5 h.

    Tolerance 0.25: observed 1.92 to 1.97, nearing 2. Planted: rate factors held at the start of the step; flow held
    there; GAMMA 0.3.
    """
    assert_pass(dimensions.order_with_oxygen())
