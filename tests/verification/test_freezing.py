"""Freezing and thawing by enthalpy against the exact two-phase solution of Neumann, and the laws over ice."""

from __future__ import annotations

import pytest
from verification.rows import assert_pass

from pilesim.balances.heat import apparent_heat_capacity, enthalpy_of_water, stored_enthalpy, temperature_of
from pilesim.matter.moist_air import ice_saturation_pressure, saturation_pressure, vapour_ratio
from pilesim.section.grid import GROUND, MIX
from pilesim.verify import freezing, moist_air
from pilesim.verify.freezing import FUSION, ZERO
from pilesim.verify.record import record


@pytest.mark.parametrize("material", [GROUND, MIX])
def test_freezing_front_follows_neumann(material: int) -> None:
    """Two-phase Neumann solution (pilesim/verify/freezing.py), in the ground's own solve and in the pile's Newton.

    Tolerance 0.5 %: within a cell the front is placed only to about a quarter of it (observed 2.0, 0.5 and 0.13 % on 60,
    120 and 240 cells of 5, 2.5 and 1.25 cm). Planted: a tenth of the water left out; heat capacity of the
    ramp halved.
    """
    assert_pass(freezing.freezing_front(material))


def test_thawing_returns_the_heat_of_freezing() -> None:
    """Enthalpy is a function of state: down to -20 degC and back stores nothing. Exact; tolerance is round-off.

    Planted: freezing range off by 10 % in the inverse.
    """
    c = record()
    for water, ground in ((50.0, 0.0), (0.0, 30.0), (20.0, 10.0)):
        for t in (ZERO - 20.0, ZERO - 1.0, ZERO - 0.3, ZERO, ZERO + 5.0):
            stored = stored_enthalpy(t, water, ground, 1e5, c)
            assert temperature_of(stored, water, ground, 1e5, c) == pytest.approx(t, abs=1e-9)
    melted = stored_enthalpy(ZERO, 50.0, 0.0, 1e5, c) - stored_enthalpy(ZERO - c.freezing_range, 50.0, 0.0, 1e5, c)
    assert melted == pytest.approx(50.0 * FUSION + (1e5 + 50.0 * c.water_heat_capacity) * c.freezing_range, rel=1e-12)


def test_derivatives_of_the_enthalpy() -> None:
    """Slopes with temperature and water against central differences within each linear piece (tolerance: round-off).

    Planted: ice heat capacity replaced by that of water; fusion left out of the water derivative.
    """
    c = record()
    for t in (ZERO - 8.0, ZERO - 0.5, ZERO + 3.0):
        slope = (stored_enthalpy(t + 0.1, 20.0, 5.0, 1e5, c) - stored_enthalpy(t - 0.1, 20.0, 5.0, 1e5, c)) / 0.2
        assert apparent_heat_capacity(t, 20.0, 5.0, 1e5, c) == pytest.approx(slope, rel=1e-9)
        per_water = stored_enthalpy(t, 21.0, 5.0, 1e5, c) - stored_enthalpy(t, 20.0, 5.0, 1e5, c)
        assert enthalpy_of_water(t, c) == pytest.approx(per_water, rel=1e-9)


def test_saturation_over_ice():
    """Saturation pressure over ice against CoolProp's humid air (IAPWS ice); tolerance 0.5 %, its enhancement factor.

    Planted: the law over water (22 % high at -20 degC).
    """
    assert_pass(moist_air.saturation_over_ice())


def test_vapour_slope_holds_over_ice() -> None:
    """Derivative of the vapour ratio below 0 degC against central differences; tolerance their truncation.

    Planted: slope of the law over water.
    """
    c = record()
    t = ZERO - 7.0
    _, slope, _ = vapour_ratio(t, 0.9, c)
    expected = (vapour_ratio(t + 0.01, 0.9, c)[0] - vapour_ratio(t - 0.01, 0.9, c)[0]) / 0.02
    assert slope == pytest.approx(expected, rel=1e-6)
    assert saturation_pressure(ZERO, c) == pytest.approx(ice_saturation_pressure(ZERO, c), rel=2e-4)
