"""The standard atmosphere against its published table and reference libraries (set-ups in pilesim/verify/moist_air.py).

"Planted" names the faults under which a test was seen to fail.
"""

from verification.rows import assert_pass

from pilesim.verify import moist_air as checks


def test_pressure_table():
    """U.S. Standard Atmosphere 1976, geopotential height.

    Tolerance 2e-6: last digit of the table (0.1 Pa). Planted: pressure_exponent 5.25588 -> 5.256;
    pressure_lapse 2.25577e-5 -> 2.2557e-5.
    """
    assert_pass(checks.pressure_table())


def test_pressure_of_the_psychrometric_handbook():
    """psychrolib (ASHRAE Handbook Fundamentals): the same closed form with the exponent rounded to 5.2559.

    Tolerance 1e-5: 2e-5 x ln(p/p0) is 1.3e-5 x 0.63 at 5000 m. Planted: sign of the lapse.
    """
    assert_pass(checks.handbook_pressure())


def test_density_table():
    """U.S. Standard Atmosphere 1976: density of dry air at 288.15 K - 6.5 K/km, from the dry-gas
    concentration.

    Tolerance 1e-4: last digit of the table and the molar mass. Planted: gas_constant + 0.1 %;
    dry_air_molar_mass 0.029.
    """
    assert_pass(checks.density_table())


def test_water_boils_at_the_standard_pressure():
    """CoolProp (IAPWS-95): boiling point at 0 to 4000 m (99.97, 96.65, 93.31, 89.97 and 86.62 degC).

    Tolerance 1e-4: that of the saturation pressure and the last digit of the pressure table. Planted:
    pressure_exponent 5.25588 -> 5.3; saturation_c 237.1 -> 237.2.
    """
    assert_pass(checks.boiling_point())
