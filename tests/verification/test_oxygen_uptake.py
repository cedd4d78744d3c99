"""Oxygen in the coupled solver: diffusion, flow and uptake against exact steady solutions.

Temperature is even and substrate does not run short. Errors are relative to the mole fraction outside.
"Planted" names the faults under which a test was seen to fail.
"""

import pytest
from verification.rows import assert_pass

from pilesim.verify import oxygen


@pytest.mark.parametrize("modulus", oxygen.MODULI)
def test_first_order_uptake(modulus):
    """X / X0 = cosh(phi x / L) / cosh(phi), effectiveness tanh(phi) / phi: Thiele (1939) (TO CHECK).

    Monod uptake far below half saturation is first order (half saturation 1e8: within 2e-9). Tolerance 0.1 on the
    orders: observed 1.98 to 2.00. Planted: diffusivity 10 % low; uptake of edge nodes doubled; oxygen film halved;
    uptake 10 % high; half saturation doubled.
    """
    assert_pass(oxygen.first_order_uptake(modulus))


def test_zero_order_uptake_reaches_its_depth():
    """X = X0 (1 - d / depth)^2 down to the depth sqrt(2 D c0 / R), nothing beyond: any text on diffusion with reaction.

    Monod uptake comes near it when half saturation K is small; its first integral, exact where oxygen ends inside,
    (n D dX/dx)^2 = 2 n D R (X - K ln(1 + X/K)), gives the supply for any K. Tolerances: order 2 within 0.1 against the
    integral (observed 2.00); at K = X0 / 1800 the supply falls short of zero order by 0.2 %, the profile by 0.25 % of X0.
    Planted: uptake 10 % high; half saturation doubled; diffusivity 10 % low; oxygen film halved.
    """
    assert_pass(oxygen.zero_order_uptake())


@pytest.mark.parametrize("peclet", oxygen.PECLET_NUMBERS)
def test_diffusion_against_flow(peclet):
    """Steady advection and diffusion between two films, which tends to (e^{Pe s} - 1) / (e^{Pe} - 1) for perfect ones.

    Tolerance 0.12 on the order: observed 1.91 to 2.07, nearing 2 with each halving. Planted: first-order upwinding;
    oxygen of entering gas 10 % low; diffusivity 10 % low; oxygen film halved.
    """
    assert_pass(oxygen.diffusion_against_flow(peclet))


def test_plug_flow():
    """X = X0 - R z / (n u), straight down along the flow: plug flow with zero-order uptake, exact on any grid.

    Tolerance 1e-9: iterations. Planted: uptake of edge nodes doubled; uptake 10 % high; face value next to the inlet
    upstream instead of the mean; first-order upwinding; oxygen of entering gas 10 % low.
    """
    assert_pass(oxygen.plug_flow())
