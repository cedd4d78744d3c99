"""Moist-air laws against reference libraries and published tables.

CoolProp: water by IAPWS-95, humid air as a real gas (virial mixture), dry air viscosity by Lemmon and
Jacobsen. psychrolib: ideal-gas formulas of the ASHRAE Handbook Fundamentals. Set-ups in pilesim/verify/moist_air.py.
"Planted" names the faults under which the test was seen to fail.
"""

import pytest
from verification.rows import assert_pass

from pilesim.matter import moist_air
from pilesim.verify import moist_air as checks
from pilesim.verify.moist_air import HIGH, SEA, kelvin, props
from pilesim.verify.record import record

vapour_ratio = moist_air.vapour_ratio.py_func


def test_saturation_pressure_at_the_published_check_point():
    """IAPWS R6-95, table 8: 698.451167 Pa at 275 K (from secondary copies of the table, which agree).

    Tolerance 5e-5: the formula is a fit, its error there is 3.1e-5. Planted: exponent 1.57 -> 1.571.
    """
    assert_pass(checks.saturation_at_check_point())


def test_saturation_pressure_follows_iapws_from_freezing_to_boiling():
    """CoolProp (IAPWS-95), every degree from 1 to 100 degC.

    Tolerance 6e-5: the fit's own error, 5.7e-5 at worst (0 degC); 0.01 K of temperature would make 7e-4.
    Planted: saturation_c 237.1 -> 237.11.
    """
    assert_pass(checks.saturation_of_water())


def test_saturation_below_freezing_is_over_supercooled_water():
    """Meteorological convention (relative humidity over liquid water): Magnus form of WMO-No. 8, 611.2
    exp(17.62 t / (243.12 + t)) Pa, -35 to 0 degC; coefficients recalled from memory, TO CHECK.

    Tolerance 0.4 %: the Magnus form's own error. Planted: saturation over ice below 0 degC (5 % lower at -5
    degC).
    """
    assert_pass(checks.saturation_below_freezing())


def test_saturation_slope_is_that_of_iapws():
    """CoolProp (IAPWS-95), central difference over 0.02 K, 5 to 80 degC.

    Tolerance 2e-4: slope of the fit's error, 8e-5 seen. Planted: second term of the slope left out.
    """
    assert_pass(checks.saturation_slope())


def test_vapour_pressure_scales_with_activity_and_stays_below_the_total():
    """Definition of water activity; saturation by CoolProp. Above boiling the law is capped, in dry physics
    zero.

    Tolerance 6e-5: that of the saturation pressure. Planted: activity not applied; cap 0.98 -> 1.02.
    """
    law = moist_air.vapour_pressure.py_func
    saturated = props("P", "T", kelvin(60), "Q", 0, "Water")
    assert law(kelvin(60), 0.4, record()) == pytest.approx(0.4 * saturated, rel=6e-5)
    assert law(kelvin(60), 0.4, record(moist=False)) == 0.0
    assert 0.9 * HIGH < law(kelvin(95), 1.0, record(pressure=HIGH)) < HIGH


def test_oxygen_left_in_saturated_gas():
    """Dalton's law: share of oxygen in saturated air, 0 and 4000 m, with CoolProp's saturation pressure
    (16.8 % at 60 degC and sea level).

    Tolerance 3e-4: 6e-5 of the vapour pressure, times p/(p - e) up to 4.3. Planted: site pressure replaced
    by standard pressure.
    """
    assert_pass(checks.oxygen_in_saturated_gas())


def test_humidity_ratio_of_ideal_moist_air():
    """psychrolib (ASHRAE Handbook Fundamentals, Psychrometrics), three humidities, three heights.

    Tolerance 4e-4 p/(p - e): its saturation pressure is 2.3e-4 off IAPWS, its ratio of molar masses
    (0.621945) 4e-5 off ours. Planted: e/p instead of e/(p - e); water_molar_mass + 0.2 %.
    """
    assert_pass(checks.ideal_humidity_ratio())


def test_humidity_ratio_misses_real_saturated_air_by_the_enhancement_factor_only():
    """CoolProp humid air (real gas). The ideal law lies below it by (f - 1) p/(p - e), f the enhancement
    factor.

    Band 0 to 0.6 %: f is 1.003 to 1.0055 at these pressures. Planted: e/p instead of e/(p - e).
    """
    assert_pass(checks.real_humidity_ratio())


def test_vapour_ratio_derivatives():
    """Against central differences of the law itself, in temperature (0.01 K) and activity (1e-4).

    Tolerance 1e-5: error of the differences, squares of the steps. Planted: p/(p - e)^2 taken as 1/(p - e);
    temperature derivative without the activity.
    """
    for celsius, activity in ((10.0, 0.5), (60.0, 0.9), (75.0, 0.98)):
        c, t = record(pressure=70108.5), kelvin(celsius)
        _, by_temperature, by_activity = vapour_ratio(t, activity, c)
        over = vapour_ratio(t + 0.01, activity, c)[0] - vapour_ratio(t - 0.01, activity, c)[0]
        assert by_temperature == pytest.approx(over / 0.02, rel=1e-5)
        over = vapour_ratio(t, activity + 1e-4, c)[0] - vapour_ratio(t, activity - 1e-4, c)[0]
        assert by_activity == pytest.approx(over / 2e-4, rel=1e-5)


def test_enthalpy_of_ideal_moist_air():
    """psychrolib (ASHRAE Handbook Fundamentals), at given humidity ratio.

    Tolerance 1e-4: 2500.9 against its 2501 kJ/kg is 4e-5. Planted: vapour_heat_capacity 1860 -> 1840;
    dry_air_heat_capacity 1006 -> 1005.
    """
    assert_pass(checks.ideal_enthalpy())


def test_enthalpy_of_real_saturated_air():
    """CoolProp humid air (real gas), saturated: 459 kJ per kg dry air at 60 degC, 1086 at 75 degC, sea
    level.

    At CoolProp's own humidity ratio, tolerance 0.3 %: constant heat capacities (0.21 % at 75 degC). At
    ours, tolerance 0.3 % + 0.6 % p/(p - e): the enhancement factor too. Planted:
    latent_heat_of_vaporisation 2.45e6.
    """
    assert_pass(checks.real_enthalpy())


def test_latent_heat():
    """Vapour above liquid: IAPWS R6-95 table 8 at 275 K (2504.28995 - 7.75972202 kJ/kg; secondary copies),
    CoolProp (IAPWS-95) at 20, 40, 60 and 80 degC (2453.5, 2357.7 and 2308.0 kJ/kg at 20, 60 and 80).

    Tolerance 1e-4 at 275 K; else 0.3 %: both heat capacities are constants, 0.28 % at 80 degC. Planted:
    latent_heat_of_vaporisation 2.5009e6 -> 2.5e6; water_heat_capacity taken as 4000.
    """
    assert_pass(checks.latent_heat_at_check_point())
    assert_pass(checks.latent_heat())


def test_density_of_moist_air():
    """psychrolib (ideal), tolerance 2e-4: gas constant 287.042 and saturation pressure. CoolProp (real
    gas), tolerance 0.3 % up to 75 degC: compressibility and the enhancement factor, 0.25 % there.

    Planted: dry gas at the total pressure instead of p - e; water_molar_mass + 2 %.
    """
    assert_pass(checks.ideal_density())
    assert_pass(checks.real_density())


NITROGEN, ARGON, CARBON_DIOXIDE = 0.0280134, 0.039948, 0.0440095  # kg mol-1, IUPAC abridged atomic weights


def test_gas_without_oxygen_is_heavier():
    """All oxygen turned into carbon dioxide (0.95 mol per mol): mixture of nitrogen, argon (0.78084 to
    0.00934, U.S. Standard Atmosphere 1976, composition of dry air) and carbon dioxide, by mole fractions.

    Tolerance 5e-4: hundredth part of the change of 8 %.
    Planted: sign of the respiratory quotient; quotient left out.
    """
    c = record()
    carbon_dioxide = 0.0004 + 0.95 * 0.2095
    inert = (0.78084 * NITROGEN + 0.00934 * ARGON) / (0.78084 + 0.00934)
    expected = carbon_dioxide * CARBON_DIOXIDE + (1.0 - carbon_dioxide) * inert
    assert moist_air.dry_gas_molar_mass.py_func(0.0, c) == pytest.approx(expected, rel=5e-4)


def test_fresh_dry_gas_weighs_what_dry_air_weighs():
    """U.S. Standard Atmosphere 1976: dry air 0.028964 kg/mol; the composition law must give the same.

    Tolerance 1e-4: carbon dioxide of today, 0.0004 against 0.000314, makes 5e-5. Planted:
    inert_gas_molar_mass 0.0281607 (2.3e-4 of density).
    """
    c = record()
    assert moist_air.dry_gas_molar_mass.py_func(c.ambient_oxygen, c) == pytest.approx(0.0289644, rel=1e-4)


def test_viscosity_of_humid_air():
    """CoolProp's humid air at saturation, 101325 Pa; Wilke (1950) mixing of CoolProp's own vapour and air.

    Tolerance 3 %: Wilke's rule against CoolProp's formulation (observed 0.3 to 2.9 %); dry air would be 9 % too viscous at
    60 degC. Planted: vapour left out (17 % at 70 degC); mass ratio inverted.
    """
    assert_pass(checks.humid_viscosity())


def test_viscosity_of_dry_air():
    """U.S. Standard Atmosphere 1976, table of dynamic viscosity at 0, 1000 and 5000 m: 1.7894e-5, 1.7579e-5
    and 1.6282e-5 Pa s at 288.15, 281.65 and 255.65 K; tolerance 3e-4 covers the last digit of secondary
    copies. CoolProp (air, Lemmon and Jacobsen), -30 to 80 degC: tolerance 0.8 %, the two differ by 0.3 to
    0.65 %.

    Planted: viscosity_temperature 110.4 -> 111; T^1.5 -> T.
    """
    assert_pass(checks.viscosity_table())
    assert_pass(checks.viscosity_of_dry_air())


def test_diffusivities_in_air():
    """Oxygen: Glinski and Stepniewski (1985), table at 0 to 30 degC (secondary copy; page TO CHECK); growth from 20 to
    60 degC as of oxygen in nitrogen, 0.219 to 0.274 cm2/s (Welty et al. 1984, secondary copy). Vapour: Massman (1998),
    Atmospheric Environment 32, 1111: 0.2178 (T/273.15)^1.81 cm2/s (secondary copy).

    Tolerance 0.5 % for oxygen: half a unit of the last digit is 0.28 %, the rest is the power law. 2.5 % for vapour:
    published values differ by more (2.2e-5 and 2.178e-5 m2/s at 0 degC). Planted: diffusivity_exponent 1.75 -> 2.0 and 1.5;
    reference temperature 273.15 K; vapour_diffusivity_ratio 1.25 -> 1.2 (the ratio within that paper); ratio left out.
    """
    assert_pass(checks.diffusivities())


def test_oxygen_diffuses_faster_in_thin_air():
    """Inverse to pressure (kinetic theory, exact). Planted: pressure ratio upside down."""
    law = moist_air.oxygen_diffusivity.py_func
    assert law(300.0, record(pressure=SEA / 2)) == pytest.approx(2.0 * law(300.0, record()), rel=1e-12)
