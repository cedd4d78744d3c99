"""Substrate: first-order pools with limits; heat, water and oxygen follow from the mass oxidised.

    dB/dt = -k f_T f_O2 f_w f_eps a B

The activity a is that of the microbes of the mix, 1 in a mature pile. The cover is finished compost, which teems with
them: its own pool burns at activity 1 from the start.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled, compiled_part


@compiled_part
def implicit_oxidation(substrate: float, rate: float, step: float) -> tuple[float, float]:
    """Oxidation [kg s-1] at the end of an implicit step of length `step` [s], and its derivative with `rate` [s-1].

    `substrate` [kg] is the mass before the step: B = substrate / (1 + step rate), oxidation = rate B.
    """
    bottom = 1.0 / (1.0 + step * rate)
    return rate * substrate * bottom, substrate * bottom * bottom


@compiled
def oxygen_uptake(oxidation: float, c: Any) -> float:
    """Oxygen taken up [mol s-1] when `oxidation` [kg s-1] of substrate burns."""
    return oxidation * c.oxygen_demand / c.oxygen_molar_mass


@compiled_part
def heat_of(oxidation: float, c: Any) -> float:
    """Heat released [W] when `oxidation` [kg s-1] of substrate burns."""
    return oxidation * c.oxygen_demand * c.heat_per_oxygen
