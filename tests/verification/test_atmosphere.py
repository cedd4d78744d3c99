"""The standard atmosphere against its published table and reference libraries.

"Planted" names the faults under which a test was seen to fail.
"""

import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from verification.property_record import record

from pilesim.matter import moist_air
from pilesim.matter.atmosphere import standard_pressure

psychrolib.SetUnitSystem(psychrolib.SI)
# U.S. Standard Atmosphere 1976 at geopotential height [m]: pressure [Pa], density [kg m-3] (secondary copies)
TABLE = (
    (0.0, 101325.0, 1.2250), (1000.0, 89874.6, 1.1116), (2000.0, 79495.2, 1.0065), (3000.0, 70108.5, 0.9091),
    (4000.0, 61640.2, 0.8191), (5000.0, 54019.9, 0.7361))


@pytest.mark.parametrize("elevation, pressure, density", TABLE)
def test_pressure_table(elevation, pressure, density):
    """U.S. Standard Atmosphere 1976, geopotential height.

    Tolerance 2e-6: last digit of the table (0.1 Pa). Planted: pressure_exponent 5.25588 -> 5.256;
    pressure_lapse 2.25577e-5 -> 2.2557e-5.
    """
    assert standard_pressure(elevation, record()) == pytest.approx(pressure, rel=2e-6)


def test_pressure_of_the_psychrometric_handbook():
    """psychrolib (ASHRAE Handbook Fundamentals): the same closed form with the exponent rounded to 5.2559.

    Tolerance 1e-5: 2e-5 x ln(p/p0) is 1.3e-5 x 0.63 at 5000 m. Planted: sign of the lapse.
    """
    for elevation in (-300.0, 500.0, 1500.0, 2900.0, 5000.0):
        expected = psychrolib.GetStandardAtmPressure(elevation)
        assert standard_pressure(elevation, record()) == pytest.approx(expected, rel=1e-5), elevation


@pytest.mark.parametrize("elevation, pressure, density", TABLE)
def test_density_table(elevation, pressure, density):
    """U.S. Standard Atmosphere 1976: density of dry air at 288.15 K - 6.5 K/km, from the dry-gas
    concentration.

    Tolerance 1e-4: last digit of the table and the molar mass. Planted: gas_constant + 0.1 %;
    dry_air_molar_mass 0.029.
    """
    c = record(pressure=standard_pressure(elevation, record()))
    temperature = 288.15 - 0.0065 * elevation
    got = moist_air.dry_gas_concentration.py_func(temperature, 0.0, c) * c.dry_air_molar_mass
    assert got == pytest.approx(density, rel=1e-4)


def test_water_boils_at_the_standard_pressure():
    """CoolProp (IAPWS-95): boiling point at 0 to 4000 m (99.97, 96.65, 93.31, 89.97 and 86.62 degC).

    Tolerance 1e-4: that of the saturation pressure and the last digit of the pressure table. Planted:
    pressure_exponent 5.25588 -> 5.3; saturation_c 237.1 -> 237.2.
    """
    c = record()
    for elevation, pressure, _ in TABLE[:5]:
        boiling = PropsSI("T", "P", pressure, "Q", 0, "Water")
        got = moist_air.saturation_pressure.py_func(boiling, c)
        assert got == pytest.approx(standard_pressure(elevation, c), rel=1e-4), elevation
