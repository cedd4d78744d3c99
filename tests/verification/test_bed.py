"""Laws of the porous bed against worked values, bounds that hold for any mixture, and published ranges.

"Planted" names the faults under which a test was seen to fail.
"""

import math

import pytest
from CoolProp.CoolProp import PropsSI

from pilesim.matter import bed
from pilesim.verify.record import record


def phases(bulk_density, moisture, organic_share):
    """Organic matter, ash and water [kg m-3] of a wet bed; moisture on the wet basis."""
    dry = bulk_density * (1.0 - moisture)
    return dry * organic_share, dry * (1.0 - organic_share), bulk_density * moisture


def pores(bulk_density, moisture, organic_share, c):
    """Total porosity and degree of saturation."""
    organic, ash, water = phases(bulk_density, moisture, organic_share)
    porosity = bed.total_porosity.py_func(organic, ash, c)
    return porosity, water / 1000.0 / porosity


MIXES = (
    (500.0, 0.58, 0.80), (650.0, 0.60, 0.80), (350.0, 0.35, 0.80), (200.0, 0.20, 0.97), (300.0, 0.50, 0.97))


def test_free_air_space_worked_example():
    """Air-filled porosity from phase densities 1000, 1600 and 2500 kg/m3 (van Ginkel et al. 1999; Richard
    et al. 2004): 593 kg/m3, 60 % moisture, 85 % organic matter gives 0.504. Worked by hand: 1 - 593
    (0.6/1000 + 0.4 x 0.85/1600 + 0.4 x 0.15/2500) = 1 - 0.3558 - 0.1260 - 0.0142.

    Tolerance 5e-4: rounding of 0.504. Planted: organic_particle_density 1600 -> 1580; ash left out.
    """
    c = record()
    porosity, saturation = pores(593.0, 0.60, 0.85, c)
    assert bed.air_filled_porosity.py_func(porosity, saturation, c) == pytest.approx(0.504, abs=5e-4)


def test_free_air_space_never_reaches_zero():
    """A flooded bed keeps the registry's smallest air space, so that no law divides by zero (common
    practice).

    Planted: max taken away.
    """
    c = record()
    assert bed.air_filled_porosity.py_func(0.6, 1.0, c) == c.smallest_air_filled_porosity > 0.0


def test_heat_capacity_of_wet_beds():
    """Mixture rule 4.19 MC + (1 - MC)(1.5 OM + 0.85 ash) kJ/kg/K: mix 500 kg/m3, 58 %, OM 0.80 and cover
    550 kg/m3, 40 %, OM 0.50, worked by hand: 1.503 and 1.310 MJ/m3/K. Both lie inside the range measured
    for composting materials, 1.36 to 4.08 (Ahn et al. 2009, abstract), or within 4 % of it.

    Tolerance 0.1 %: digits of the hand calculation. Planted: water_heat_capacity - 1 %; organic and ash
    exchanged.
    """
    c = record()
    for bed_of, expected in (((500.0, 0.58, 0.80), 1.5028e6), ((550.0, 0.40, 0.50), 1.3096e6)):
        organic, ash, water = phases(*bed_of)
        got = bed.dry_heat_capacity.py_func(organic, ash, c) + c.water_heat_capacity * water
        assert got == pytest.approx(expected, rel=1e-3)
        assert 0.96 * 1.36e6 < got < 4.08e6


def test_heat_capacity_of_water():
    """CoolProp (IAPWS-95), liquid at 1 atm, 1 to 80 degC.

    Tolerance 0.7 %: it varies between 4179 and 4217 J/kg/K. Planted: water_heat_capacity 4190 -> 4220.
    """
    c = record()
    for celsius in (1.0, 20.0, 40.0, 60.0, 80.0):
        expected = PropsSI("C", "T", celsius + 273.15, "P", 101325.0, "Water")
        assert c.water_heat_capacity == pytest.approx(expected, rel=7e-3), celsius


def test_conductivity_ends():
    """Johansen (1975) with the Kersten number equal to saturation: dry value at 0, geometric mean of solid
    and water at 1, straight between (Ahn et al. 2009 found it linear in moisture). Exact.

    Planted: geometric mean with the exponents exchanged; saturation squared.
    """
    c = record()
    dry, wet, half = (bed.thermal_conductivity.py_func(0.8, s, 0.0, c) for s in (0.0, 1.0, 0.5))
    assert dry == pytest.approx(0.05, rel=1e-12)
    assert wet == pytest.approx(math.exp(0.2 * math.log(0.3) + 0.8 * math.log(0.57)), rel=1e-12)
    assert half == pytest.approx(0.5 * (dry + wet), rel=1e-12)


def test_conductivity_lies_between_the_series_and_parallel_bounds():
    """Wiener (1912): no mixture conducts better than its phases side by side or worse than in series.
    Phases after de Vries (1963): water 0.57, air 0.025, and the solid 0.3 W/m/K. Exact, no tolerance. Mixes
    as in practice.

    Planted: dry_bed_conductivity 0.05 -> 0.07; water_conductivity 0.57 -> 0.65.
    """
    c = record()
    for mix in MIXES:
        porosity, mixed = pores(*mix, c)
        for saturation in (0.0, 0.5 * mixed, mixed):
            water = porosity * saturation
            shares = ((1.0 - porosity, 0.3), (water, 0.57), (porosity - water, 0.025))
            parallel = sum(share * value for share, value in shares)
            series = 1.0 / sum(share / value for share, value in shares)
            got = bed.thermal_conductivity.py_func(porosity, saturation, 0.0, c)
            assert series < got < parallel, (mix, saturation)


@pytest.mark.parametrize("mix, expected", list(zip(MIXES, (0.21, 0.27, 0.12, 0.07, 0.13), strict=True)))
def test_conductivity_check_values(mix, expected):
    """Worked values of the same rule for wet mixes (bulk density, moisture, organic share): 0.21, 0.27,
    0.12 and, for wood chips, 0.07 and 0.13 W/m/K; within 0.03 to 0.30 measured for wood shavings and straws
    and 0.12 to 0.81 for sawdust, soil-compost and manures at 80 % of water-holding capacity (Ahn et al.
    2009, abstract).

    Tolerance 0.006: rounding of the two digits. Mineral-rich beds are not in the list: one solid
    conductivity, 0.3, serves all, and gives a cover of half ash 0.17 where a mineral share gives 0.19.
    Planted: solid_conductivity 0.3 -> 0.5; water_density 1000 -> 900 in the saturation.
    """
    c = record()
    porosity, saturation = pores(*mix, c)
    assert bed.thermal_conductivity.py_func(porosity, saturation, 0.0, c) == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize(
    "air, porosity, expected", [(0.2, 0.6, 0.023), (0.4, 0.65, 0.126), (0.6, 0.75, 0.32)])
def test_effective_diffusivity(air, porosity, expected):
    """Moldrup et al. (2000), water-induced linear reduction: eps^2.5 / phi^0.5, worked to two or three
    digits.

    Tolerance 2.5 %: half a unit of 0.023. Planted: exponent 2.5 -> 10/3; root of porosity left out.
    """
    assert bed.relative_gas_diffusivity.py_func(air, porosity, record()) == pytest.approx(expected, rel=0.025)


def test_effective_diffusivity_of_a_dry_bed():
    """In a dry bed the law of Moldrup et al. (2000) becomes Buckingham's, phi^2 (Papendick and Campbell).
    Exact.

    Planted: root of porosity left out; exponent 2.5 -> 2.6.
    """
    for porosity in (0.4, 0.7, 0.9):
        got = bed.relative_gas_diffusivity.py_func(porosity, porosity, record())
        assert got == pytest.approx(porosity**2, rel=1e-12)


def test_permeability_follows_air_space_as_ergun():
    """Ergun's viscous term, k = d^2 eps^3 / (150 (1 - eps)^2): 1.7e-10, 6.8e-10, 2.0e-9, 4.7e-9, 1.3e-8,
    3e-8 and 8e-8 m2 for d = 0.5, 1, 1, 2, 2, 3 and 5 mm at eps = 0.35, 0.35, 0.45, 0.4, 0.5, 0.5 and 0.5.
    The law's shape is that of Kozeny and Carman; only the factor differs.

    Tolerance 5 %: one or two digits of the worked values (4.2 % at 8e-8). Planted: (1 - eps) instead of its
    square; numerator exponent 3 -> 3.3.
    """
    c = record()
    cases = ((0.5, 0.35, 1.7e-10), (1, 0.35, 6.8e-10), (1, 0.45, 2.0e-9), (2, 0.40, 4.7e-9),
             (2, 0.50, 1.3e-8), (3, 0.50, 3e-8), (5, 0.50, 8e-8))
    for millimetres, air, expected in cases:
        got = (millimetres * 1e-3) ** 2 / 150.0 * bed.kozeny_carman.py_func(air, c)
        assert got == pytest.approx(expected, rel=0.05), (millimetres, air)


def test_water_activity():
    """Tuned form, no source: 0.45 at 0.1 and 0.85 at 0.2 kg water per kg dry matter; 0 when dry, 1 when
    wet. The derivative against a central difference (step 1e-5, tolerance 1e-6: its square).

    Tolerance 0.005: rounding of the two values. Planted: water_activity_coefficient 27.6 -> 25; exponent
    left out of the derivative.
    """
    c, law = record(), bed.water_activity.py_func
    assert law(0.1, c)[0] == pytest.approx(0.45, abs=5e-3)
    assert law(0.2, c)[0] == pytest.approx(0.85, abs=5e-3)
    assert law(0.0, c) == (0.0, 0.0)
    assert law(1.4, c)[0] == pytest.approx(1.0, abs=1e-12)
    for moisture in (0.05, 0.15, 0.4):
        difference = (law(moisture + 1e-5, c)[0] - law(moisture - 1e-5, c)[0]) / 2e-5
        assert law(moisture, c)[1] == pytest.approx(difference, rel=1e-6)


def test_water_drains_only_when_free_air_space_is_short():
    """Field capacity as a free air space of 0.25: none at 0.26, and 1000 kg/m3 x 2e-6 m/s x excess
    saturation at 0.20 (0.05 / 0.8 of the pores). By definition; the velocity is a guess, said to be one.

    Tolerance 1e-9: exact. Planted: field_capacity_air_space 0.25 -> 0.27; excess not divided by porosity.
    """
    c, law = record(), bed.drainage_potential.py_func
    assert law(0.8, 1.0 - 0.26 / 0.8, c) == 0.0
    assert law(0.8, 1.0 - 0.20 / 0.8, c) == pytest.approx(1000.0 * 2e-6 * 0.05 / 0.8, rel=1e-9)
