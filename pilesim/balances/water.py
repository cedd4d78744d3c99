"""Water: vapour with the gas and by diffusion, liquid by capillarity and drainage, water made by respiration.

    dW/dt = -div(Y N - n_d D_eff grad Y) + div(C grad s) - drainage + metabolic water

Water of a node shared by two materials is split at equal degree of saturation s.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled


@compiled
def metabolic_water(oxidation: float, c: Any) -> float:
    """Water made [kg s-1] when `oxidation` [kg s-1] of substrate burns; none in reduced physics without vapour."""
    return c.moist * c.metabolic_water * oxidation
