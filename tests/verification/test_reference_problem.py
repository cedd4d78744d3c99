"""The reduced pile problem R1 (stated in pilesim/verify/reduced.py) against two independent computations made for
this project."""

from verification.rows import assert_pass

from pilesim.verify import reference_problem


def test_reference_problem():
    """Mean temperature and oxygen used on days 1, 3, 10 and 30, extrapolated from 30 x 25 and 60 x 50 cells, with the
    tolerances that runs have by default.

    Tolerance 0.15 K and 0.8 % of the midpoints: the two computations differ from each other by up to 0.12 K and 0.8 %
    (stored against quasi-steady oxygen on day 3). Observed at most 0.09 K and 0.5 %. Planted: first-order upwinding
    (days 10 and 30: +2.0 and +1.7 K, +3.5 and +3.1 %; +2.4 K and +4.7 % on the finer grid alone); step tolerance 0.05 K
    (day 3: 0.9 % of oxygen); conductivity of the mix given to the cover; half saturation doubled; diffusivity 10 % low;
    oxygen of entering gas 10 % low; film halved; buoyancy of the upper node.
    """
    assert_pass(reference_problem.reference_problem())
