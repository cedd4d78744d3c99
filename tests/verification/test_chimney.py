"""Draught through a vertical bed: Darcy's law with buoyancy against closed formulas.

"Planted" names the faults under which a test was seen to fail.
"""

import pytest
from verification.rows import assert_pass

from pilesim.verify import draught


@pytest.mark.parametrize("inside", draught.INSIDE)
def test_two_layers_at_one_temperature(inside):
    """U = g (rho_a - rho) H / sum(mu L / K), the hydraulic resistances in series: Darcy's law, exact.

    A column colder than the air draws downward: the flow reverses. Tolerance 1e-9: rounding of differences of
    density. Planted: permeability of the first layer given to both; gravity's sign; conductance along z 10 %
    low.
    """
    assert_pass(draught.two_layers(inside))


@pytest.mark.parametrize("pressure", draught.PRESSURES, ids=["sea level", "3000 m"])
@pytest.mark.parametrize("outside, inside", draught.CLIMATES)
def test_saturated_column_against_humid_air(outside, inside, pressure):
    """Dry air outside, saturated gas inside, densities and viscosity that change: U = K g (rho_a - rho) / mu with
    densities and viscosity of humid air (ASHRAE RP-1485) from CoolProp.

    Tolerance 4 %: observed up to 3.2 %, of which 1.1 % from ideal against real gas (0.1 % of densities of which the
    difference is a tenth) and 2 % from the mixing rule of viscosity. Planted: viscosity of dry air (11 % at 60 degC); vapour
    left out of the density; dry gas counted by total pressure.
    """
    assert_pass(draught.saturated_column(outside, inside, pressure))


def test_even_heat_source():
    """U^2 = K g beta q H / (2 mu c): all heat leaves with the gas, so that its excess grows linearly to q H / (rho U c).

    Assumptions of the formula: no conduction, and a small excess s = q H / (rho U c T_a). Without the second, the mean
    lift of an ideal gas is rho g (1 - ln(1 + s) / s), and U falls short of the formula by s/3 to first order.
    Tolerances: order 2 within 0.05 against the ideal gas (observed 2.00); the shortfall is s/3 (1 - 7 s/12) within
    0.5 %, which the next term of the series and the grid's error stay below.

    Planted: heat capacity of the gas 2 % low; heat given to the upper node of each cell; buoyancy from the upper node
    alone; face value next to the floor upstream; gravity's sign.
    """
    assert_pass(draught.even_heat_source())


