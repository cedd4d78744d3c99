"""Moist-air laws against reference libraries and published tables.

CoolProp: water by IAPWS-95, humid air as a real gas (virial mixture), dry air viscosity by Lemmon and
Jacobsen. psychrolib: ideal-gas formulas of the ASHRAE Handbook Fundamentals. All laws are called as plain
Python. "Planted" names the faults under which the test was seen to fail.
"""

import math

import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from verification.property_record import record

from pilesim.matter import moist_air

psychrolib.SetUnitSystem(psychrolib.SI)
SEA, HIGH = 101325.0, 61640.2  # Pa, 0 and 4000 m
saturation_pressure = moist_air.saturation_pressure.py_func
vapour_ratio = moist_air.vapour_ratio.py_func
moist_enthalpy = moist_air.moist_enthalpy.py_func


def kelvin(celsius):
    return celsius + 273.15


def humidity_ratio(celsius, activity, c):
    """kg vapour per kg dry air."""
    return vapour_ratio(kelvin(celsius), activity, c)[0] / c.dry_air_molar_mass


def test_saturation_pressure_at_the_published_check_point():
    """IAPWS R6-95, table 8: 698.451167 Pa at 275 K (from secondary copies of the table, which agree).

    Tolerance 5e-5: the formula is a fit, its error there is 3.1e-5. Planted: exponent 1.57 -> 1.571.
    """
    assert saturation_pressure(275.0, record()) == pytest.approx(698.451167, rel=5e-5)


def test_saturation_pressure_follows_iapws_from_freezing_to_boiling():
    """CoolProp (IAPWS-95), every degree from 1 to 100 degC.

    Tolerance 6e-5: the fit's own error, 5.7e-5 at worst (0 degC); 0.01 K of temperature would make 7e-4.
    Planted: saturation_c 237.1 -> 237.11.
    """
    c = record()
    for celsius in range(1, 101):
        expected = PropsSI("P", "T", kelvin(celsius), "Q", 0, "Water")
        assert saturation_pressure(kelvin(celsius), c) == pytest.approx(expected, rel=6e-5), celsius


def test_saturation_below_freezing_is_over_supercooled_water():
    """Meteorological convention (relative humidity over liquid water): Magnus form of WMO-No. 8, 611.2
    exp(17.62 t / (243.12 + t)) Pa, -35 to 0 degC; coefficients recalled from memory, TO CHECK.

    Tolerance 0.4 %: the Magnus form's own error. Planted: saturation over ice below 0 degC (5 % lower at -5
    degC).
    """
    c = record()
    for celsius in (-35.0, -20.0, -10.0, -5.0, 0.0):
        expected = 611.2 * math.exp(17.62 * celsius / (243.12 + celsius))
        assert saturation_pressure(kelvin(celsius), c) == pytest.approx(expected, rel=4e-3), celsius


def test_saturation_slope_is_that_of_iapws():
    """CoolProp (IAPWS-95), central difference over 0.02 K, 5 to 80 degC.

    Tolerance 2e-4: slope of the fit's error, 8e-5 seen. Planted: second term of the slope left out.
    """
    c = record()
    for celsius in (5.0, 20.0, 40.0, 60.0, 80.0):
        t = kelvin(celsius)
        upper, lower = (PropsSI("P", "T", t + step, "Q", 0, "Water") for step in (0.01, -0.01))
        got = moist_air.saturation_pressure_slope.py_func(t, saturation_pressure(t, c), c)
        assert got == pytest.approx((upper - lower) / 0.02, rel=2e-4), celsius


def test_vapour_pressure_scales_with_activity_and_stays_below_the_total():
    """Definition of water activity; saturation by CoolProp. Above boiling the law is capped, in dry physics
    zero.

    Tolerance 6e-5: that of the saturation pressure. Planted: activity not applied; cap 0.98 -> 1.02.
    """
    law = moist_air.vapour_pressure.py_func
    saturated = PropsSI("P", "T", kelvin(60), "Q", 0, "Water")
    assert law(kelvin(60), 0.4, record()) == pytest.approx(0.4 * saturated, rel=6e-5)
    assert law(kelvin(60), 0.4, record(moist=False)) == 0.0
    assert 0.9 * HIGH < law(kelvin(95), 1.0, record(pressure=HIGH)) < HIGH


def test_oxygen_left_in_saturated_gas():
    """Dalton's law: share of oxygen in saturated air, 0 and 4000 m, with CoolProp's saturation pressure
    (16.8 % at 60 degC and sea level).

    Tolerance 3e-4: 6e-5 of the vapour pressure, times p/(p - e) up to 4.3. Planted: site pressure replaced
    by standard pressure.
    """
    for pressure in (SEA, HIGH):
        c = record(pressure=pressure)
        for celsius in (20.0, 60.0, 80.0):
            t = kelvin(celsius)
            vapour = moist_air.vapour_pressure.py_func(t, 1.0, c)
            dry = moist_air.dry_gas_concentration.py_func(t, vapour, c) * 8.314462618 * t
            expected = 0.2095 * (1.0 - PropsSI("P", "T", t, "Q", 0, "Water") / pressure)
            assert c.ambient_oxygen * dry / pressure == pytest.approx(expected, rel=3e-4), (pressure, celsius)


def test_humidity_ratio_of_ideal_moist_air():
    """psychrolib (ASHRAE Handbook Fundamentals, Psychrometrics), three humidities, three heights.

    Tolerance 4e-4 p/(p - e): its saturation pressure is 2.3e-4 off IAPWS, its ratio of molar masses
    (0.621945) 4e-5 off ours. Planted: e/p instead of e/(p - e); water_molar_mass + 0.2 %.
    """
    for pressure in (SEA, 70108.5, HIGH):
        c = record(pressure=pressure)
        for celsius in (1.0, 20.0, 40.0, 60.0, 75.0):
            for humidity in (0.3, 0.7, 1.0):
                expected = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pressure)
                amplified = 1.0 + expected / 0.622  # p/(p - e)
                got = humidity_ratio(celsius, humidity, c)
                assert got == pytest.approx(expected, rel=4e-4 * amplified), (pressure, celsius, humidity)


def test_humidity_ratio_misses_real_saturated_air_by_the_enhancement_factor_only():
    """CoolProp humid air (real gas). The ideal law lies below it by (f - 1) p/(p - e), f the enhancement
    factor.

    Band 0 to 0.6 %: f is 1.003 to 1.0055 at these pressures. Planted: e/p instead of e/(p - e).
    """
    for pressure in (SEA, 70108.5, HIGH):
        c = record(pressure=pressure)
        for celsius in (5.0, 20.0, 40.0, 60.0, 75.0):
            real = HAPropsSI("W", "T", kelvin(celsius), "P", pressure, "R", 1.0)
            got = humidity_ratio(celsius, 1.0, c)
            assert -0.006 < (got / real - 1.0) / (1.0 + real / 0.622) < 0.0, (pressure, celsius)


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
    c = record()
    for celsius, ratio in ((-20.0, 0.0), (20.0, 0.0), (20.0, 0.01), (60.0, 0.15), (80.0, 0.5)):
        expected = psychrolib.GetMoistAirEnthalpy(celsius, ratio)
        got = moist_enthalpy(kelvin(celsius), ratio * c.dry_air_molar_mass, c) / c.dry_air_molar_mass
        assert got == pytest.approx(expected, rel=1e-4), (celsius, ratio)


def test_enthalpy_of_real_saturated_air():
    """CoolProp humid air (real gas), saturated: 459 kJ per kg dry air at 60 degC, 1086 at 75 degC, sea
    level.

    At CoolProp's own humidity ratio, tolerance 0.3 %: constant heat capacities (0.21 % at 75 degC). At
    ours, tolerance 0.3 % + 0.6 % p/(p - e): the enhancement factor too. Planted:
    latent_heat_of_vaporisation 2.45e6.
    """
    for pressure in (SEA, 70108.5, HIGH):
        c = record(pressure=pressure)
        for celsius in (20.0, 40.0, 60.0, 70.0, 75.0):
            t, m = kelvin(celsius), c.dry_air_molar_mass
            real = HAPropsSI("Hda", "T", t, "P", pressure, "R", 1.0)
            ratio = HAPropsSI("W", "T", t, "P", pressure, "R", 1.0)
            assert moist_enthalpy(t, ratio * m, c) / m == pytest.approx(real, rel=3e-3), (pressure, celsius)
            got = moist_enthalpy(t, vapour_ratio(t, 1.0, c)[0], c) / m
            assert got == pytest.approx(real, rel=0.003 + 0.006 * (1.0 + ratio / 0.622)), (pressure, celsius)


def test_latent_heat():
    """Vapour above liquid: IAPWS R6-95 table 8 at 275 K (2504.28995 - 7.75972202 kJ/kg; secondary copies),
    CoolProp (IAPWS-95) at 20, 40, 60 and 80 degC (2453.5, 2357.7 and 2308.0 kJ/kg at 20, 60 and 80).

    Tolerance 1e-4 at 275 K; else 0.3 %: both heat capacities are constants, 0.28 % at 80 degC. Planted:
    latent_heat_of_vaporisation 2.5009e6 -> 2.5e6; water_heat_capacity taken as 4000.
    """
    c = record()

    def latent(t):
        return moist_air.vapour_enthalpy.py_func(t, c) - c.water_heat_capacity * (t - 273.15)

    assert latent(275.0) == pytest.approx(2504.28995e3 - 7.75972202e3, rel=1e-4)
    for celsius in (20.0, 40.0, 60.0, 80.0):
        t = kelvin(celsius)
        expected = PropsSI("H", "T", t, "Q", 1, "Water") - PropsSI("H", "T", t, "Q", 0, "Water")
        assert latent(t) == pytest.approx(expected, rel=3e-3), celsius


def test_density_of_moist_air():
    """psychrolib (ideal), tolerance 2e-4: gas constant 287.042 and saturation pressure. CoolProp (real
    gas), tolerance 0.3 % up to 75 degC: compressibility and the enhancement factor, 0.25 % there.

    Planted: dry gas at the total pressure instead of p - e; water_molar_mass + 2 %.
    """
    for pressure in (SEA, 70108.5):
        c = record(pressure=pressure)
        for celsius in (1.0, 20.0, 40.0, 60.0, 75.0):
            t = kelvin(celsius)
            vapour = moist_air.vapour_pressure.py_func(t, 1.0, c)
            dry = moist_air.dry_gas_concentration.py_func(t, vapour, c)
            got = dry * (c.dry_air_molar_mass + vapour_ratio(t, 1.0, c)[0])
            ratio = psychrolib.GetSatHumRatio(celsius, pressure)
            ideal = psychrolib.GetMoistAirDensity(celsius, ratio, pressure)
            assert got == pytest.approx(ideal, rel=2e-4), (pressure, celsius)
            real = 1.0 / HAPropsSI("Vha", "T", t, "P", pressure, "R", 1.0)
            if pressure == SEA or celsius < 70.0:
                assert got == pytest.approx(real, rel=3e-3), (pressure, celsius)


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


@pytest.mark.parametrize("celsius", [20.0, 40.0, 60.0, 70.0])
def test_viscosity_of_humid_air(celsius):
    """CoolProp's humid air at saturation, 101325 Pa; Wilke (1950) mixing of CoolProp's own vapour and air.

    Tolerance 3 %: Wilke's rule against CoolProp's formulation (observed 0.3 to 2.9 %); dry air would be 9 % too viscous at
    60 degC. Planted: vapour left out (17 % at 70 degC); mass ratio inverted.
    """
    c = record()
    temperature = 273.15 + celsius
    share = moist_air.vapour_pressure.py_func(temperature, 1.0, c) / c.pressure
    expected = HAPropsSI("mu", "T", temperature, "P", c.pressure, "R", 1.0)
    assert moist_air.humid_viscosity.py_func(temperature, share, c) == pytest.approx(expected, rel=0.03)


def test_viscosity_of_dry_air():
    """U.S. Standard Atmosphere 1976, table of dynamic viscosity at 0, 1000 and 5000 m: 1.7894e-5, 1.7579e-5
    and 1.6282e-5 Pa s at 288.15, 281.65 and 255.65 K; tolerance 3e-4 covers the last digit of secondary
    copies. CoolProp (air, Lemmon and Jacobsen), -30 to 80 degC: tolerance 0.8 %, the two differ by 0.3 to
    0.65 %.

    Planted: viscosity_temperature 110.4 -> 111; T^1.5 -> T.
    """
    c = record()
    for t, expected in ((288.15, 1.7894e-5), (281.65, 1.7579e-5), (255.65, 1.6282e-5)):
        assert moist_air.viscosity.py_func(t, c) == pytest.approx(expected, rel=3e-4), t
    for celsius in (-30.0, 0.0, 20.0, 40.0, 60.0, 80.0):
        expected = PropsSI("V", "T", kelvin(celsius), "P", SEA, "Air")
        assert moist_air.viscosity.py_func(kelvin(celsius), c) == pytest.approx(expected, rel=8e-3), celsius


def test_oxygen_diffusivity_in_air():
    """Glinski and Stepniewski (1985), table: 1.78, 1.89, 2.01, 2.07 and 2.14e-5 m2/s at 0, 10, 20, 25 and
    30 degC (secondary copy; page TO CHECK).

    Tolerance 0.5 %: half a unit of the last digit is 0.28 %, the rest is the power law. Planted:
    diffusivity_exponent 1.75 -> 2.0; reference temperature 273.15 K.
    """
    c = record()
    for celsius, expected in ((0, 1.78e-5), (10, 1.89e-5), (20, 2.01e-5), (25, 2.07e-5), (30, 2.14e-5)):
        got = moist_air.oxygen_diffusivity.py_func(kelvin(celsius), c)
        assert got == pytest.approx(expected, rel=5e-3), celsius


def test_oxygen_diffusivity_when_hot_and_high():
    """Growth from 20 to 60 degC as of oxygen in nitrogen, 0.219 to 0.274 cm2/s (Welty et al. 1984,
    secondary copy); inverse to pressure (kinetic theory, exact).

    Tolerance 0.5 %: last digits of the two table values. Planted: diffusivity_exponent 1.5; pressure ratio
    upside down.
    """
    law = moist_air.oxygen_diffusivity.py_func
    assert law(kelvin(60), record()) / law(kelvin(20), record()) == pytest.approx(0.274 / 0.219, rel=5e-3)
    assert law(300.0, record(pressure=SEA / 2)) == pytest.approx(2.0 * law(300.0, record()), rel=1e-12)


def test_vapour_diffusivity_in_air():
    """Massman (1998), Atmospheric Environment 32, 1111: 0.2178 (T/273.15)^1.81 cm2/s (secondary copy).

    Tolerance 2.5 %: published values of the diffusivity in air differ by more (2.2e-5 and 2.178e-5 m2/s at
    0 degC). Planted: vapour_diffusivity_ratio 1.25 -> 1.2 (the ratio within that paper); ratio left out.
    """
    c = record()
    for celsius in (0.0, 20.0, 40.0, 60.0, 80.0):
        t = kelvin(celsius)
        expected = 0.2178e-4 * (t / 273.15) ** 1.81
        got = moist_air.oxygen_diffusivity.py_func(t, c) * c.vapour_diffusivity_ratio
        assert got == pytest.approx(expected, rel=0.025), celsius
