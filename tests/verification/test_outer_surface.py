"""Wind, wet surface and wind pressure against published laws and libraries (set-ups in pilesim/verify/outer_surface.py).

"Planted" names the fault under which a test was seen to fail.
"""

import math

import numpy as np
import pytest
from verification.rows import assert_pass

from pilesim.balances.surface import gas_outside
from pilesim.matter import film, wind
from pilesim.matter.moist_air import bed_saturation_pressure, saturation_pressure, vapour_ratio
from pilesim.verify import outer_surface as checks
from pilesim.verify.record import outer_record, record


def test_wind_near_the_ground():
    """Planted: roughness_factor 67.8 -> 60."""
    assert_pass(checks.wind_near_the_ground())


def test_convection_in_thin_air():
    """Planted: one exponent (0.8) for the still and the windy part."""
    assert_pass(checks.convection_in_thin_air())


def test_convection_in_wind():
    """Planted: the law that contains radiation, 5.7 + 3.8 v (21 against 15)."""
    assert_pass(checks.convection_in_wind())


def test_conductivity_of_air():
    """Planted: air_conductivity_exponent 0.85 -> 0.75."""
    assert_pass(checks.conductivity_of_air())


def test_lewis_number():
    """Planted: vapour_diffusivity_ratio left out."""
    assert_pass(checks.lewis_numbers())


def test_wet_surface_is_at_the_wet_bulb():
    """Planted: all gas counted as dry; the vapour of the air a tenth too little; each end given the whole edge."""
    assert_pass(checks.wet_bulb())


def test_sky_in_the_outside_temperature():
    """Planted: the film without its radiative part; the gain of the sky reversed."""
    assert_pass(checks.sol_air())


def test_air_sun_and_sky_in_a_run():
    """Planted: radiative film at the air's temperature; ground as dark as compost; snow that emits as compost does."""
    assert_pass(checks.air_sun_and_sky())


def test_constant_weather_is_changing_weather_without_sky():
    """Planted: snow's emissivity in the film of constant weather; the longwave of a slope from all of the sky."""
    assert_pass(checks.constant_weather())


def test_film_at_sea_level():
    """The published line 2.8 + 3.0 v (Watmuff1977), and its vapour film without the Lewis factor.

    Exact to round-off. Planted: the power above the limit taken below it.
    """
    law = outer_record()
    density = law.pressure * law.dry_air_molar_mass / (law.gas_constant * 293.15)
    for speed in (0.0, 2.0, 5.0):
        line = 2.8 + 3.0 * speed
        assert float(wind.convective_film(speed, law)) == pytest.approx(line, rel=1e-12)
        bare = float(wind.vapour_film(line, 293.15, outer_record(lewis_exponent=0.0)))
        assert bare == pytest.approx(line / (density * law.dry_air_heat_capacity), rel=1e-12)


def test_nothing_evaporates_into_saturated_air():
    """Exact: a wet node in air that holds what is saturated over water or, in frost, over ice; dew below that temperature.

    Planted: relative humidity taken for water activity.
    """
    c = record()
    for air in (293.15, 263.15):
        ratio, dry, _ = gas_outside(air, bed_saturation_pressure(air, c) / saturation_pressure(air, c), c)
        colder, same, warmer = (float(vapour_ratio(t, 1.0, c)[0]) - ratio for t in (air - 5.0, air, air + 5.0))
        assert same == pytest.approx(0.0, abs=1e-12 * ratio)
        assert colder < 0.0 < warmer
        assert dry * (1.0 + ratio / c.water_molar_mass) == pytest.approx(c.pressure / (c.gas_constant * air), rel=1e-12)


def test_water_of_the_film_balances():
    """Exact: film, uptake and run-off add up to what was there and fell, in rain of all strengths, none negative.

    Planted: run-off counted before the uptake is taken away.
    """
    c = outer_record()
    random = np.random.default_rng(7)
    seen = set()
    for _ in range(500):
        there, rain, step = random.uniform(0.0, 2.0), random.choice([0.0, 1e-4, 2e-3, 2e-2]), random.choice([60.0, 3600.0])
        kept, taken, off = film.film_after(there, rain, step, c)
        assert kept + taken + off == pytest.approx(there + rain * step, rel=1e-12, abs=1e-12)
        assert min(kept, taken, off) >= 0.0 and kept <= c.film_capacity and taken <= c.cover_intake_rate * step
        seen |= {name for name, true in (("off", off > 0.0), ("dry", kept == 0.0), ("wet", kept > 0.0)) if true}
    assert seen == {"off", "dry", "wet"}


# EN 1991-1-4, tables 7.4a (zones H and I, larger and lower of a pair) and 7.4b (zone I), from a copy: slope, windward, lee
ROOFS = ((30.0, 0.4, -0.4), (45.0, 0.6, -0.2), (60.0, 0.7, -0.2), (75.0, 0.8, -0.2))


@pytest.mark.parametrize(("slope", "windward", "lee"), ROOFS)
def test_pressure_coefficients_of_the_table(slope, windward, lee):
    """At the table's slopes, wind across and along. Planted: windward and lee swapped; the table read one row off."""
    c = outer_record()
    turns = [math.radians(angle) for angle in (0.0, 180.0, 90.0, 270.0)]
    values = [float(wind.pressure_coefficient(turn, math.radians(slope), c)) for turn in turns]
    assert values == pytest.approx([windward, lee, -0.5, -0.5], abs=1e-12)


def test_pressure_coefficients_turn_without_a_jump():
    """Continuous in both angles, the same for wind from either side. Tolerance 0.01 per degree: the cosine's largest slope.

    Planted: lee values from 80 degrees on.
    """
    c = outer_record()
    for slope in np.radians([20.0, 30.0, 37.0, 52.0, 60.0, 80.0]):
        turn = np.array([float(wind.pressure_coefficient(a, slope, c)) for a in np.radians(np.arange(0, 361))])
        assert np.abs(np.diff(turn)).max() < 0.025
        assert turn == pytest.approx(turn[::-1], abs=1e-12)
    steep = [float(wind.pressure_coefficient(0.0, s, c)) for s in np.radians(np.arange(20, 85))]
    assert np.all(np.diff(steep) >= 0.0) and np.diff(steep).max() < 0.02


def test_wind_pressure_is_bernoulli():
    """Exact: 10 m/s, 1.25 kg/m3: 62.5 Pa stagnation pressure. Planted: the half left out."""
    assert wind.wind_pressure(10.0, 1.0, 1.25) == 62.5
