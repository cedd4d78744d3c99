"""What a step assumed of respiration against what came out: the correction, and the error that is left.

The stages burn with rate factors extrapolated to mid-step. When the oxygen of the new moment is known, each stage is
charged with the factor of its own time, from the parabola through the last, the present and the new moment. The
correction moves substrate, heat and water together, node by node, so every budget still closes to round-off.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.balances.heat import apparent_heat_capacity
from pilesim.balances.substrate import heat_of
from pilesim.balances.water import metabolic_water
from pilesim.base.compiled import compiled_part

# share of the tolerance while nothing has warmed, as errors made early grow with the pile; all of it from this rise on [K]
COLD_SHARE, WARM = 0.02, 40.0


@compiled_part
def correct_respiration(used: Any, last: Any, now: Any, new: Any, step: float, before: float, burnt_first: Any,
                        burnt_second: Any, gamma: float, pile_count: int, bed: Any, fields: Any, warming: Any, totals: Any,
                        c: Any) -> None:
    """Charge both stages with the rate factors of their own times.

    Parameters
    ----------
    used, last, now, new : (count + 1, 3) arrays
        Rate of each pool but for temperature [s-1]: as the stages used it, at the last, present and new moment.
    step, before : float
        Length of this step and of the last one [s].
    burnt_first, burnt_second : (count + 1, 3) arrays
        Oxidation of the stages [kg s-1 m-1].
    gamma : float
        Weight of the second stage, and time of the first one [1].
    fields : Fields
        Temperature, stored enthalpy, water and substrate of the new moment; changed.
    warming : (count + 1,) array
        Overwritten: what the correction did to temperature [K].
    totals : (2,) array
        Overwritten: heat [W m-1] and water [kg s-1 m-1] that the correction made.
    """
    ground_water, dry_capacity = bed.ground_water, bed.dry_capacity
    temperature, stored, water, substrate = fields.temperature, fields.stored, fields.water, fields.substrate
    bend = gamma * (gamma - 1.0) * step * step
    heat_sum = 0.0
    water_sum = 0.0
    for n in range(pile_count):
        change = 0.0
        for pool in range(3):
            rate = used[n, pool]
            if rate <= 0.0:
                continue
            rise = (new[n, pool] - now[n, pool]) / step
            curvature = (rise - (now[n, pool] - last[n, pool]) / before) / (step + before)
            first = min(max(now[n, pool] + gamma * step * rise + bend * curvature, 0.5 * rate), 2.0 * rate)
            second = min(max(new[n, pool], 0.5 * rate), 2.0 * rate)
            more = ((1.0 - gamma) * burnt_first[n, pool] * (first / rate - 1.0)
                    + gamma * burnt_second[n, pool] * (second / rate - 1.0))
            more = min(more * step, 0.5 * substrate[n, pool])
            substrate[n, pool] -= more
            change += more
        warming[n] = 0.0
        if change != 0.0:
            made = metabolic_water(change, c)
            heat = heat_of(change, c) + made * c.water_heat_capacity * (temperature[n] - c.celsius_zero)
            stored[n] += heat
            water[n] += made
            heat_sum += heat
            water_sum += made
            warming[n] = heat / apparent_heat_capacity(temperature[n], water[n], ground_water[n], dry_capacity[n], c)
            temperature[n] += warming[n]
    totals[0] = heat_sum / step
    totals[1] = water_sum / step


@compiled_part
def allowance(weight: Any, temperature: Any, start: Any) -> float:
    """Share of the tolerance that a pile may use which has come this far from its temperature at the `start` of the run."""
    warmth = 0.0
    for n in range(temperature.size):
        warmth += weight[n] * (temperature[n] - start[n]) ** 2
    return min(1.0, COLD_SHARE + np.sqrt(warmth) / WARM)


@compiled_part
def step_error(weight: Any, flow_defect: Any, warming: Any, temperatures: Any, shares: Any, pile_count: int) -> float:
    """Error of a step, rms over the mix [K]: what coupling assumed wrongly, and the third difference in time.

    Parameters
    ----------
    flow_defect, warming : (count + 1,) arrays
        What the assumed flow and respiration did to temperature [K].
    temperatures : tuple of four (count + 1,) arrays
        Newest first [K].
    shares : tuple of four float
        Weights of the third difference [1]; zeros where there are too few moments.
    """
    a, b, c, d = temperatures
    total = 0.0
    for n in range(pile_count):
        local = abs(flow_defect[n] + warming[n]) + abs(
            shares[0] * a[n] + shares[1] * b[n] + shares[2] * c[n] + shares[3] * d[n])
        total += weight[n] * local * local
    return np.sqrt(total)
