"""Water: vapour with the gas and by diffusion, liquid by capillarity and drainage, water made by respiration.

    dW/dt = -div(Y N - n_d D_eff grad Y) + div(C grad s) - drainage + metabolic water

Water of a node shared by two materials is split at equal degree of saturation s.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled


@compiled
def degree_of_saturation(water: float, pore_volume: float, c: Any) -> float:
    """Share of the pore volume [m2] of a node filled with `water` [kg m-1]; at most 1."""
    if pore_volume <= 0.0:
        return 0.0
    return min(water / (c.water_density * pore_volume), 1.0)


@compiled
def metabolic_water(oxidation: float, c: Any) -> float:
    """Water made [kg s-1] when `oxidation` [kg s-1] of substrate burns; none in reduced physics without vapour."""
    return c.moist * c.metabolic_water * oxidation
