"""Oxygen: mole fraction X of dry pore gas, quasi-steady up to its storage in the pore gas.

    d/dt (eps n_d X) + div (X N - n_d D_eff grad X) = -R X / (X + K)
"""

from __future__ import annotations

import math

from pilesim.base.compiled import compiled_part


@compiled_part
def node_oxygen(supply: float, loss: float, uptake: float, half: float) -> float:
    """Solve loss X + uptake X / (X + half) = supply for X.

    Parameters
    ----------
    supply : float
        Oxygen arriving from neighbours, air and storage [mol s-1].
    loss : float
        Coefficient of X in what leaves [mol s-1].
    uptake : float
        Respiration at full oxygen [mol s-1].
    half : float
        Half saturation [1].

    Returns
    -------
    float
        The one non-negative root [1]; below zero, without uptake, where neighbours on a skewed cell take more than
        there is (a few 1e-5; needed to keep the balance). Source: exact.
    """
    if supply <= 0.0:
        return supply / max(loss, 1e-300)
    linear = loss * half + uptake - supply
    root = math.sqrt(linear * linear + 4.0 * loss * supply * half)
    if linear > 0.0:
        return 2.0 * supply * half / (linear + root)
    return (root - linear) / (2.0 * loss)
