"""The run-time record that the property laws take, for checks of one law at a time."""

from __future__ import annotations

from typing import Any

from pilesim.balances.physics import Physics, run_record
from pilesim.base.constants import surface_record


def record(pressure: float = 101325.0, moist: bool = True, **constants: float) -> Any:
    """Registry values (SI) with `constants` replaced, at site `pressure` [Pa]."""
    return run_record(Physics(moist=moist, constants=constants), pressure=pressure, ambient_density=1.2,
                      oxygen_demand=1.4, respiratory_quotient=0.95)


def outer_record(pressure: float = 101325.0, **constants: float) -> Any:
    """As `record`, for the laws of weather and outer surface."""
    return surface_record(pressure, constants)
