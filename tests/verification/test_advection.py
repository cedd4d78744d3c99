"""Heat carried by gas that a pressure difference drives through a box, against an exact transient solution.

"Planted" names the faults under which a test was seen to fail.
"""

import pytest
from verification.rows import assert_pass

from pilesim.verify import advection


@pytest.mark.parametrize("way", [1, -1], ids=["to the right", "to the left"])
def test_heat_front_by_advection_and_conduction(way):
    """Front entering at a fixed temperature: Ogata & Banks (1961). It starts some way in, where it is smooth.

    Cells and steps are halved together. Tolerance 0.15 on the mean error's order: observed 1.90 and 1.92 on these
    sizes, 1.94 beyond; limited upwinding nears 2 from below. The flux is Darcy's within rounding, 1e-9. Planted:
    first-order upwinding; heat capacity of the gas 2 % low; face value next to the inlet upstream instead of the mean;
    GAMMA 0.3.
    """
    assert_pass(advection.heat_front(way))
