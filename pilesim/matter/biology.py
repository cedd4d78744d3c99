"""Rate factors of degradation: temperature, oxygen, moisture, free air space; growth of the activity."""

from __future__ import annotations

import math
from typing import Any

from pilesim.base.compiled import compiled


@compiled
def temperature_factor(temperature: float, c: Any) -> tuple[float, float]:
    """Cardinal temperature factor [1] and its derivative [K-1] at `temperature` [K]. Source: Rosso1993.

    Reference problems may ask for an exponential instead (see :class:`pilesim.balances.physics.Physics`).
    """
    if c.ignition_scale > 0.0:
        grown = math.exp((temperature - c.ignition_temperature) / c.ignition_scale)
        return grown, grown / c.ignition_scale
    low, best, high = c.temperature_minimum, c.temperature_optimum, c.temperature_maximum
    if temperature <= low or temperature >= high:
        return 0.0, 0.0
    above, below = temperature - low, temperature - high
    span = best - low
    bottom = span * (span * (temperature - best) - (best - high) * (best + low - 2.0 * temperature))
    bottom_slope = span * (span + 2.0 * (best - high))
    inverse = 1.0 / bottom
    factor = below * above * above * inverse
    slope = (above * above + 2.0 * below * above - factor * bottom_slope) * inverse
    return factor, slope


@compiled
def moisture_factor(moisture: float, c: Any) -> float:
    """Limit by water [1] at `moisture` content on the wet basis [1]. Source: Haug1993."""
    return 1.0 / (1.0 + math.exp(c.moisture_factor_offset - c.moisture_factor_slope * moisture))


@compiled
def air_space_factor(air: float, c: Any) -> float:
    """Limit by free air space `air` [1]. Source: Haug1993."""
    return 1.0 / (1.0 + math.exp(c.air_space_factor_offset - c.air_space_factor_slope * air))


@compiled
def logistic_growth(activity: float, growth: float) -> float:
    """Activity [1] after logistic growth towards 1; `growth` [1] is the rate integrated over the time.

    Exact solution of da/dt = r a (1 - a) for the integral of r; 1 stays exactly 1.
    """
    if activity == 1.0:
        return 1.0
    grown = activity * math.exp(growth)
    return grown / (1.0 - activity + grown)


@compiled
def half_saturation(vapour: float, c: Any) -> float:
    """Oxygen mole fraction of dry gas [1] at which respiration runs at half speed, at `vapour` pressure [Pa].

    Monod on partial pressure: the fraction grows as dry gas gets thinner. Source: Richard2006.
    """
    return c.oxygen_half_saturation * c.standard_pressure / (c.pressure - vapour)


@compiled
def oxygen_factor(oxygen: float, half: float) -> float:
    """Monod factor [1] at `oxygen` mole fraction and `half` saturation, both of dry gas [1]."""
    return max(oxygen, 0.0) / (max(oxygen, 0.0) + half)
