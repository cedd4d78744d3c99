"""Snow: water and energy to round-off, exact melting, laws against others (set-ups in pilesim/verify/outer_surface.py).

"Planted" names the fault under which a test was seen to fail.
"""

import math

import numpy as np
import pytest
from verification.rows import assert_pass

from pilesim.matter import snow
from pilesim.verify import outer_surface as checks
from pilesim.verify.record import outer_record

ZERO = 273.15
BARE = snow.Snow(0.0, 0.0, 0.0, 100.0, 0.85)


def test_laws_of_snow():
    """Planted: snow_conductivity_2 2.5e-6 -> 2.5e-5; slides off at 75 degrees."""
    assert_pass(checks.snow_laws())


def test_heat_from_below_melts_in_the_exact_time():
    """Planted: latent heat of evaporation; the base melt counted twice."""
    assert_pass(checks.melting_from_below())


def energy(now, c):
    """Above ice at 0 degC [J m-2]."""
    return now.heat + c.latent_heat_of_fusion * now.water


def test_water_and_energy_balance_in_any_weather():
    """Exact: over two thousand steps of made-up weather water and energy close to round-off; rain, melting, refreezing,
    bare ground and cold snow all occur.

    Tolerance 1e-9 of what passed: sums of two thousand. Planted: rain without its heat of fusion; run-off that keeps
    its energy in the snow; surplus lost.
    """
    c, random = outer_record(), np.random.default_rng(11)
    now, water, heat, passed = BARE, 0.0, 0.0, 0.0
    seen = set()
    for k in range(2000):
        air = ZERO + 12.0 * math.sin(k / 150.0) + random.normal(0.0, 4.0) - 3.0
        share = snow.snow_share(air, c)
        fall, rain = (random.choice([0.0, 0.0, 2e-4]) * part for part in (share, 1.0 - share))
        above, below, step = 6.0 * (air - ZERO) + random.normal(0.0, 20.0), random.uniform(0.0, 25.0), 3600.0
        after, melt = snow.snow_after(now, fall, rain, air, above, below, min(air, ZERO), step, c)
        brought = fall * step * c.ice_heat_capacity * min(air - ZERO, 0.0) + rain * step * (
            c.water_heat_capacity * max(air - ZERO, 0.0) + c.latent_heat_of_fusion)
        spent = energy(after, c) - energy(now, c) + melt.surplus + c.latent_heat_of_fusion * melt.runoff
        heat += brought + (above + below) * step - spent
        water += (fall + rain) * step - (after.ice + after.water - now.ice - now.water) - melt.runoff
        passed += abs(above) * step + below * step
        assert min(after.ice, after.water, melt.runoff) >= 0.0 and after.heat <= 0.0
        assert after.water <= c.snow_holding_share * after.ice + 1e-12
        kinds = {"bare": after.ice == 0.0, "wet": after.water > 0.0, "cold": after.heat < 0.0,
                 "refrozen": after.ice > now.ice + fall * step + 1e-9}
        seen |= {name for name, true in kinds.items() if true}
        now = after
    assert seen == {"bare", "wet", "cold", "refrozen"}
    assert abs(heat) < 1e-9 * passed and abs(water) < 1e-9


def test_cold_snow_warms_before_it_melts():
    """Exact: 50 kg/m2 at -8 degC takes 2100 x 50 x 8 = 0.84 MJ/m2 first. Planted: melting straight away."""
    c = outer_record()
    cold = snow.Snow(50.0, 0.0, -2100.0 * 50.0 * 8.0, 200.0, 0.8)
    warmed, melt = snow.snow_after(cold, 0.0, 0.0, ZERO, 100.0, 0.0, ZERO, 8400.0, c)
    assert (warmed.ice, warmed.heat, melt.runoff) == pytest.approx((50.0, 0.0, 0.0), abs=1e-9)
    melting, melt = snow.snow_after(cold, 0.0, 0.0, ZERO, 100.0, 0.0, ZERO, 8400.0 + 33360.0, c)
    assert melting.ice == pytest.approx(40.0, abs=1e-9)
    assert melting.water + melt.runoff == pytest.approx(10.0, abs=1e-9)


def test_snow_melts_from_below_when_more_heat_comes_than_it_conducts():
    """Steady conduction, exact: at the surface's -20 degC the snow carries off 20 K over its resistance, the rest melts.

    Planted: the temperature of the surface left out.
    """
    c = outer_record()
    resistance = float(snow.snow_resistance(60.0, 200.0, c))      # 0.3 m
    carried = 20.0 / resistance
    assert snow.melt_from_below(carried, ZERO - 20.0, resistance, c) == pytest.approx(0.0, abs=1e-12)
    rate = float(snow.melt_from_below(carried + 33.36, ZERO - 20.0, resistance, c))
    assert rate == pytest.approx(1e-4, rel=1e-9)        # 33.36 W/m2 over 333.6 kJ/kg


def test_surface_of_snow_is_between_pile_and_air():
    """Exact: heat through the snow equals heat off its surface; capped at 0 degC. Planted: resistance for conductance."""
    c = outer_record()
    base, outside, film, resistance = ZERO, ZERO - 25.0, 12.0, 1.5
    surface = float(snow.snow_surface_temperature(base, resistance, film, outside, c))
    assert (base - surface) / resistance == pytest.approx(film * (surface - outside), rel=1e-12)
    assert snow.snow_surface_temperature(300.0, 0.1, film, 290.0, c) == ZERO


def test_thirty_centimetres_of_settled_snow_insulate_like_the_cover():
    """Orientation: 0.3 m at 200 kg/m3 is 2 to 6 m2 K/W (laws differ 1.6 times), the cover's 0.3 m are 1.6."""
    assert 2.0 < float(snow.snow_resistance(60.0, 200.0, outer_record())) < 6.0


def test_settling_does_not_depend_on_the_steps():
    """Exact: an exponential; tends to 300 dry and 450 wet kg/m3 and never falls. Planted: linear in the step."""
    c = outer_record()
    whole = float(snow.settled_density(80.0, False, 86400.0, c))
    parts = 80.0
    for _ in range(24):
        parts = float(snow.settled_density(parts, False, 3600.0, c))
    assert parts == pytest.approx(whole, rel=1e-12)
    assert snow.settled_density(80.0, False, 1e9, c) == pytest.approx(300.0, rel=1e-9)
    assert snow.settled_density(80.0, True, 1e9, c) == pytest.approx(450.0, rel=1e-9)
    assert snow.settled_density(400.0, False, 1e5, c) == 400.0


def test_albedo_ages_and_is_renewed():
    """Wet snow darkens faster; 10 kg/m2 of new snow make it new; never below old. Planted: wet and dry swapped."""
    c = outer_record()
    dry, wet = (float(snow.albedo_after(0.85, 0.0, is_wet, 5 * 86400.0, c)) for is_wet in (False, True))
    assert 0.5 < wet < dry < 0.85
    assert dry == pytest.approx(0.85 - 0.04, abs=1e-12)     # 0.008 a day
    assert snow.albedo_after(0.6, 10.0, False, 3600.0, c) == pytest.approx(0.85, abs=1e-12)
    assert snow.albedo_after(0.52, 0.0, False, 100 * 86400.0, c) == 0.5


def test_fresh_snow():
    """Share and density at their ends: all snow at 0 degC, none at 2; 68 kg/m3 in deep frost, 119 from 0 degC on.

    The density's values are the law's own two numbers (Hedstrom and Pomeroy 1998, from copies). Planted: scale 2.59 -> 25.9.
    """
    c = outer_record()
    shares = [float(snow.snow_share(ZERO + t, c)) for t in (-5.0, 0.0, 1.0, 2.0, 9.0)]
    assert shares == pytest.approx([1.0, 1.0, 0.5, 0.0, 0.0])
    densities = [float(snow.fresh_snow_density(ZERO + t, c)) for t in (-40.0, 0.0, 3.0)]
    assert densities == pytest.approx([67.92, 119.17, 119.17], abs=1e-3)


def test_density_of_layers_adds_volumes():
    """Exact: 10 kg/m2 of new snow on 20 kg/m2 of 300 kg/m3, no settling in no time. Planted: the mean of the densities."""
    c = outer_record(snow_settling_rate=0.0)
    fresh = float(snow.fresh_snow_density(ZERO - 10.0, c))
    old, air = snow.Snow(20.0, 0.0, 0.0, 300.0, 0.7), ZERO - 10.0
    after, _ = snow.snow_after(old, 10.0 / 3600.0, 0.0, air, 0.0, 0.0, air, 3600.0, c)
    assert after.density == pytest.approx(30.0 / (20.0 / 300.0 + 10.0 / fresh), rel=1e-12)


def test_steep_flanks_keep_less_per_area():
    """Exact: cosine for the slope's own area, and the share that stays. Planted: the cosine left out."""
    c = outer_record()
    flank = math.radians(45.0)
    assert snow.fall_on_slope(1e-4, flank, c) == pytest.approx(1e-4 * math.cos(flank) * 0.5, rel=1e-12)
    assert snow.fall_on_slope(1e-4, math.radians(65.0), c) == 0.0
