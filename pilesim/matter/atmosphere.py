"""The standard atmosphere: what elevation does to pressure."""

from __future__ import annotations

from typing import Any


def standard_pressure(elevation: float, constants: Any) -> float:
    """Air pressure of the standard atmosphere.

    Parameters
    ----------
    elevation : float
        Geopotential height [m], below 11,000.

    Returns
    -------
    float
        Pressure [Pa].

    Source: USSA1976.
    """
    return float(
        constants.standard_pressure * (1.0 - constants.pressure_lapse * elevation) ** constants.pressure_exponent
    )
