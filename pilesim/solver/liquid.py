"""Kernel of liquid water: capillarity and drainage between nodes, leachate through the floor."""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.balances.heat import frozen_share
from pilesim.base.compiled import compiled_part
from pilesim.matter.bed import drainage_potential


@compiled_part
def liquid_flow(frame: Any, capillary: Any, pore_volume: Any, stage: Any, pile_count: int, span: float,
                saturation: Any, potential: Any, totals: Any, c: Any) -> None:
    """Liquid water and its heat arriving at each node by capillarity and drainage; leachate to `totals`.

    Parameters
    ----------
    capillary : (count + 1, 8) array
        Conductance for saturation [kg s-1 m-1].
    pore_volume : (count + 1,) array
        [m2].
    span : float
        Time for which this flow is held [s]: no node drains more than its excess over field capacity in it, nor gives
        more by capillarity than evens it out with its neighbours. Only small nodes on long steps come near.
    saturation, potential : (count + 1,) arrays
        Work space.
    """
    neighbours, pair_drop, floor_length, volume = frame.neighbours, frame.pair_drop, frame.floor_length, frame.volume
    stage_water, temperature = stage.water, stage.temperature
    liquid_water, liquid_heat = stage.liquid_water, stage.liquid_heat
    wet = False
    ease = np.ones(pile_count)
    for n in range(pile_count):
        saturation[n] = 0.0
        potential[n] = 0.0
        if pore_volume[n] > 0.0:
            liquid = stage_water[n] * (1.0 - frozen_share(temperature[n], c))
            saturation[n] = liquid / (c.water_density * pore_volume[n])
            potential[n] = drainage_potential(pore_volume[n] / volume[n], saturation[n], c)
            spread = 0.0
            for d in range(8):
                spread += capillary[n, d]
            if spread * span > c.water_density * pore_volume[n]:
                ease[n] = c.water_density * pore_volume[n] / (spread * span)
            if potential[n] > 0.0:
                wet = True
                length = floor_length[n]
                for d in range(8):
                    length += max(pair_drop[n, d], 0.0)
                excess = potential[n] * pore_volume[n] / c.drainage_velocity
                potential[n] = min(potential[n], excess / (length * span))
    leachate = 0.0
    leachate_heat = 0.0
    for n in range(pile_count):
        water = 0.0
        heat = 0.0
        own = temperature[n] - c.celsius_zero
        for d in range(8):
            m = neighbours[n, d]
            if m >= pile_count:
                continue
            moved = min(ease[n], ease[m]) * capillary[n, d] * (saturation[m] - saturation[n])
            if wet:
                drop = pair_drop[n, d]
                moved -= drop * potential[n] if drop > 0.0 else drop * potential[m]
            water += moved
            heat += moved * 0.5 * (temperature[m] - c.celsius_zero + own)
        if wet:
            lost = floor_length[n] * potential[n]
            leachate += lost
            leachate_heat += lost * own
            water -= lost
            heat -= lost * own
        liquid_water[n] = c.moist * water
        liquid_heat[n] = c.moist * c.water_heat_capacity * heat
    totals[8] = -c.moist * leachate
    totals[9] = -c.moist * c.water_heat_capacity * leachate_heat
