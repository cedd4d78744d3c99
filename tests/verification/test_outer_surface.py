"""Wind, wet surface and wind pressure against published laws and libraries (set-ups in pilesim/verify/outer_surface.py).

"Planted" names the fault under which a test was seen to fail.
"""

import math

import numpy as np
import pytest
from verification.rows import assert_pass

from pilesim.matter import film, surface_gain, wind
from pilesim.matter.moist_air import saturation_pressure
from pilesim.verify import outer_surface as checks
from pilesim.verify.record import outer_record


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
    """Planted: latent heat without the liquid's; vapour film divided by the volume of moist air twice."""
    assert_pass(checks.wet_bulb())


def test_heat_of_evaporation():
    """Planted: fusion left out below 0 degC; the water's own enthalpy left out."""
    assert_pass(checks.heats_of_evaporation())


def test_sky_in_the_outside_temperature():
    """Planted: the film without its radiative part; the gain of the sky reversed."""
    assert_pass(checks.sol_air())


def test_one_film_and_temperature_stand_for_all():
    """Exact at the surface's temperature, in value and slope (central difference 1e-4 K, tolerance 1e-6 of the film).

    Planted: radiative film at the air's temperature (slope 0.5 W/m2/K off).
    """
    c = outer_record(pressure=80000.0)
    rest = (263.15, 3.0, 250.0, 210.0, 268.15, math.radians(50.0))      # air, wind, sun, longwave, ground, slope
    for surface in (250.0, 273.15, 300.0):
        for pair, skin in ((surface_gain.compost_outside(surface, *rest, c), (c.surface_absorptivity, c.surface_emissivity)),
                           (surface_gain.snow_outside(surface, *rest, 0.8, c), (0.2, c.snow_emissivity))):
            high, gain, low = (surface_gain.surface_gain(surface + d, *rest, *skin, c) for d in (1e-4, 0.0, -1e-4))
            assert pair[0] * (pair[1] - surface) == pytest.approx(gain, rel=1e-12, abs=1e-9)
            assert -(high - low) / 2e-4 == pytest.approx(pair[0], rel=1e-6)


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
    """Exact: free water in saturated air of its own temperature; dew below it. Planted: the ratio of the wrong side."""
    c = outer_record()
    vapour = float(saturation_pressure(293.15, c))
    assert film.evaporation(293.15, 1.0, 293.15, vapour, 0.01, c) == pytest.approx(0.0, abs=1e-15)
    colder, warmer = (film.evaporation(t, 1.0, 293.15, vapour, 0.01, c) for t in (288.15, 298.15))
    assert colder < 0.0 < warmer


def test_water_of_the_film_balances():
    """Exact: film, uptake, run-off and vapour add up to what was there and fell, over all kinds of weather, none negative.

    Planted: run-off counted before the uptake is taken away; evaporation beyond what is there.
    """
    c = outer_record()
    random = np.random.default_rng(7)
    seen = set()
    for _ in range(500):
        there, rain = random.uniform(0.0, 2.0), random.choice([0.0, 1e-4, 2e-3, 2e-2])
        potential, step = random.uniform(-1e-4, 3e-4), random.choice([60.0, 3600.0])
        kept, taken, off, gone = film.film_after(there, rain, potential, step, c)
        assert kept + taken + off + gone == pytest.approx(there + rain * step, rel=1e-12, abs=1e-12)
        assert min(kept, taken, off) >= 0.0 and kept <= c.film_capacity and taken <= c.cover_intake_rate * step
        assert gone <= potential * step + 1e-15
        seen |= {name for name, true in (("off", off > 0.0), ("dry", kept == 0.0), ("dew", gone < 0.0)) if true}
    assert seen == {"off", "dry", "dew"}


def test_rain_of_the_surface_temperature_brings_no_heat():
    """Exact; 1 mm/h that is 10 K warmer brings 11.6 W/m2 (1 kg x 4.19 kJ/kg/K / 3600 s). Planted: sign."""
    c = outer_record()
    assert film.heat_of_rain(1e-3, 280.0, 280.0, c) == 0.0
    assert film.heat_of_rain(1.0 / 3600.0, 290.0, 280.0, c) == pytest.approx(11.64, abs=0.01)


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
