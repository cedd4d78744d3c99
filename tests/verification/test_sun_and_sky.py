"""Sun and sky against worked examples and reference libraries (set-ups in pilesim/verify/sun_and_sky.py).

"Planted" names the fault under which a test was seen to fail.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from verification.rows import assert_pass

from pilesim.matter import sky, sun
from pilesim.verify import sun_and_sky as checks
from pilesim.verify.record import outer_record


def test_worked_examples_of_the_sun():
    """Planted: days counted from 0; solar_constant 1367 -> 1370; the root of the daily range left out."""
    assert_pass(checks.worked_examples())


def test_direction_of_the_sun():
    """Planted: the hour angle reversed (east and west swapped); declination_phase 1.39 -> 1.35."""
    assert_pass(checks.positions())


def test_extraterrestrial_sun():
    """Planted: the cosine of the latitude left out of the turning part."""
    assert_pass(checks.extraterrestrial())


def test_diffuse_share():
    """Planted: diffuse_3 -16.638 -> -16.6; the beam not divided by the sine."""
    assert_pass(checks.diffuse_shares())


def test_sun_on_slopes():
    """Planted: the share of ground and of sky swapped; the aspect counted from south."""
    assert_pass(checks.slopes())


def test_dew_point():
    """Planted: one pass of Newton's method."""
    assert_pass(checks.dew_points())


def test_emissivity_of_clear_skies():
    """Planted: the dew point taken in kelvin; a tenth of the linear term."""
    assert_pass(checks.clear_skies())


def test_overcast_skies():
    """Planted: a factor on the clear sky's own emissivity, 1.154, as public code has it (0.74 at -20 degC)."""
    assert_pass(checks.overcast_skies())


def test_net_longwave_of_a_month():
    """Planted: cloud that darkens the sky."""
    assert_pass(checks.net_longwave_of_a_month())


def test_black_exchange():
    """Planted: the film at the mean temperature, 4 sigma T^3."""
    assert_pass(checks.black_exchange())


def test_split_of_the_global_sun_adds_up():
    """Exact: global = diffuse + beam x sine of the altitude, at every clearness and height, the beam no more than the sun.

    Planted: no cap on the beam (2,400 W/m2 in the last light).
    """
    c = outer_record()
    for height in np.radians([1.0, 3.0, 4.0, 20.0, 70.0]):
        up = math.sin(height)
        for total in (0.0, 10.0, 200.0, 1200.0 * up):
            beam, diffuse = sun.split_global(total, up, 40.0, c)
            assert diffuse + beam * up == pytest.approx(total, rel=1e-12, abs=1e-12)
            assert beam >= 0.0 and diffuse >= 0.0
            assert beam <= 1.04 * c.solar_constant


def mean_height(latitude: float, tilt: float) -> float:
    """Mean over a day of the sine of the sun's altitude above the horizon [1]; `tilt` is its declination [rad].

    Source: FAO 56, equation 21.
    """
    sunset = math.acos(min(1.0, max(-1.0, -math.tan(latitude) * math.tan(tilt))))
    steady, turning = math.sin(latitude) * math.sin(tilt), math.cos(latitude) * math.cos(tilt)
    return max(0.0, sunset * steady + turning * math.sin(sunset)) / math.pi


@pytest.mark.parametrize("latitude", [-70.0, -20.0, 0.0, 45.0, 66.0, 80.0])
def test_hours_of_a_day_add_up(latitude):
    """Exact: hourly means of the sun's height integrate to the day's closed form, polar day and night included.

    Tolerance 1e-12: round-off. Planted: the height in the middle of the hour instead of its mean (dawn and dusk).
    """
    c = outer_record()
    for day in (1.0, 80.0, 172.0, 264.0, 355.0):
        tilt = sun.declination(day, c)
        edges = np.linspace(-math.pi, math.pi, 25)
        mean = np.mean([sun.mean_sin_altitude(math.radians(latitude), tilt, a, b) for a, b in pairwise(edges)])
        assert mean == pytest.approx(mean_height(math.radians(latitude), tilt), rel=1e-12, abs=1e-12)


def test_a_flat_slope_sees_the_whole_sky_and_a_wall_half():
    """Exact. Planted: sine for cosine in the view of the sky."""
    assert sun.sky_view(0.0) == 1.0
    assert sun.sky_view(0.5 * math.pi) == pytest.approx(0.5, abs=1e-15)
    assert sun.sun_on_slope(500.0, 100.0, 0.5, 1.0, 0.0, 2.0, 0.2) == pytest.approx(350.0, rel=1e-13)


def test_a_slope_away_from_the_sun_gets_no_beam():
    """Exact: a north flank of 60 degrees under a southern sun of 25 degrees. Planted: no floor at 0."""
    assert sun.incidence(math.sin(math.radians(25.0)), math.pi, math.radians(60.0), 0.0) == 0.0
    assert sun.incidence(-0.1, math.pi, math.radians(60.0), math.pi) == 0.0


def test_skies_are_ordered():
    """Cloudier, moister and lower skies radiate more; none more than a black one. Planted: sign of the pressure."""
    low, high = outer_record(), outer_record(pressure=70108.5)
    clear = [sky.clear_sky_emissivity(t, 0.25, low) for t in (253.15, 273.15, 293.15)]
    assert clear == sorted(clear)
    thin = sky.clear_sky_emissivity(273.15, 0.25, high)
    assert thin == pytest.approx(clear[1] - 0.0375, abs=1e-3)   # 312 hPa x 0.00012
    cloudy = [sky.cloudy_emissivity(0.7, cloud, low) for cloud in np.linspace(0.0, 1.0, 11)]
    assert max(cloudy) == cloudy[-1]
    assert sky.cloudy_emissivity(0.95, 1.0, low) < 1.0
    assert sky.cloud_of_clearness(0.75, 0.75, low) == 0.0 and sky.cloud_of_clearness(0.0, 0.75, low) == 1.0


def test_net_longwave_vanishes_in_equilibrium():
    """Exact: among ground and sky of its own temperature a slope gains nothing. Planted: emissivity on what it sends only."""
    c = outer_record()
    down = sky.sky_longwave(280.0, 1.0, c)
    assert sky.net_longwave(280.0, down, 280.0, 0.8, 0.95, c) == pytest.approx(0.0, abs=1e-10)
