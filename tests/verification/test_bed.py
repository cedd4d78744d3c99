"""Laws of the porous bed against worked values, bounds that hold for any mixture, and published ranges.

"Planted" names the faults under which a test was seen to fail.
"""

import pytest
from verification.rows import assert_pass

from pilesim.matter import bed
from pilesim.verify import bed as checks
from pilesim.verify.record import record


def test_free_air_space_worked_example():
    """Air-filled porosity from phase densities 1000, 1600 and 2500 kg/m3 (van Ginkel et al. 1999; Richard
    et al. 2004): 593 kg/m3, 60 % moisture, 85 % organic matter gives 0.504. Worked by hand: 1 - 593
    (0.6/1000 + 0.4 x 0.85/1600 + 0.4 x 0.15/2500) = 1 - 0.3558 - 0.1260 - 0.0142.

    Tolerance 5e-4: rounding of 0.504. Planted: organic_particle_density 1600 -> 1580; ash left out.
    """
    assert_pass(checks.free_air_space())


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
    assert_pass(checks.heat_capacity())


def test_heat_capacity_of_water():
    """CoolProp (IAPWS-95), liquid at 1 atm, 1 to 80 degC.

    Tolerance 0.7 %: it varies between 4179 and 4217 J/kg/K. Planted: water_heat_capacity 4190 -> 4220.
    """
    assert_pass(checks.water_heat_capacity())


def test_conductivity_ends():
    """Johansen (1975) with the Kersten number equal to saturation: dry value at 0, geometric mean of solid
    and water at 1, straight between (Ahn et al. 2009 found it linear in moisture). Exact.

    Planted: geometric mean with the exponents exchanged; saturation squared.
    """
    assert_pass(checks.conductivity_ends())


def test_conductivity_lies_between_the_series_and_parallel_bounds():
    """Wiener (1912): no mixture conducts better than its phases side by side or worse than in series.
    Phases after de Vries (1963): water 0.57, air 0.025, and the solid 0.3 W/m/K. Exact, no tolerance. Mixes
    as in practice.

    Planted: dry_bed_conductivity 0.05 -> 0.07; water_conductivity 0.57 -> 0.65.
    """
    assert_pass(checks.conductivity_bounds())


def test_conductivity_check_values():
    """Worked values of the same rule for wet mixes (bulk density, moisture, organic share): 0.21, 0.27,
    0.12 and, for wood chips, 0.07 and 0.13 W/m/K; within 0.03 to 0.30 measured for wood shavings and straws
    and 0.12 to 0.81 for sawdust, soil-compost and manures at 80 % of water-holding capacity (Ahn et al.
    2009, abstract).

    Tolerance 0.006: rounding of the two digits. Mineral-rich beds are not in the list: one solid
    conductivity, 0.3, serves all, and gives a cover of half ash 0.17 where a mineral share gives 0.19.
    Planted: solid_conductivity 0.3 -> 0.5; water_density 1000 -> 900 in the saturation.
    """
    assert_pass(checks.conductivity_values())


def test_effective_diffusivity():
    """Moldrup et al. (2000), water-induced linear reduction: eps^2.5 / phi^0.5, worked to two or three
    digits; in a dry bed it becomes Buckingham's law, phi^2 (Papendick and Campbell), exact.

    Tolerance 2.5 %: half a unit of 0.023; dry 1e-12. Planted: exponent 2.5 -> 10/3, 2.5 -> 2.6; root of porosity
    left out.
    """
    assert_pass(checks.diffusivity())


def test_permeability_follows_air_space_as_ergun():
    """Ergun's viscous term, k = d^2 eps^3 / (150 (1 - eps)^2): 1.7e-10, 6.8e-10, 2.0e-9, 4.7e-9, 1.3e-8,
    3e-8 and 8e-8 m2 for d = 0.5, 1, 1, 2, 2, 3 and 5 mm at eps = 0.35, 0.35, 0.45, 0.4, 0.5, 0.5 and 0.5.
    The law's shape is that of Kozeny and Carman; only the factor differs.

    Tolerance 5 %: one or two digits of the worked values (4.2 % at 8e-8). Planted: (1 - eps) instead of its
    square; numerator exponent 3 -> 3.3.
    """
    assert_pass(checks.permeability())


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
