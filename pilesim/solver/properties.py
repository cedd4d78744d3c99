"""Kernel of the bed's properties: everything that follows from water, temperature and decay at one moment."""

from __future__ import annotations

from typing import Any

from pilesim.balances.heat import frozen_share
from pilesim.balances.substrate import oxygen_uptake
from pilesim.base.compiled import compiled, compiled_part
from pilesim.matter.bed import (
    air_filled_porosity,
    capillary_conductance,
    kozeny_carman,
    relative_gas_diffusivity,
    thermal_conductivity,
    total_porosity,
    water_activity,
)
from pilesim.matter.biology import (
    air_space_factor,
    half_saturation,
    logistic_growth,
    moisture_factor,
    temperature_factor,
)
from pilesim.matter.moist_air import dry_gas_concentration, oxygen_diffusivity, vapour_pressure
from pilesim.section.grid import BASE, COVER, MIX

_MIX, _COVER, _BASE = int(MIX), int(COVER), int(BASE)


@compiled
def bed_properties(temperature: Any, water: Any, substrate: Any, active: Any, pile_count: int, bed: Any, out: Any,
                   c: Any) -> None:
    """Update what follows from water, ice, decay and activity (`active`, of the mix's microbes [1]).

    Shared nodes hold their water at equal saturation.
    """
    # arrays are named here once: taking them from a tuple inside the loop costs more than the arithmetic
    bed_volume, bed_organic, bed_ash, bed_pool_start = bed.volume, bed.organic, bed.ash, bed.pool_start
    out_dry_mass, out_node_dry_mass, out_pore_volume, out_gas_volume = (
        out.dry_mass, out.node_dry_mass, out.pore_volume, out.gas_volume)
    out_activity, out_water, out_diffusivity, out_capillary = out.activity, out.water, out.diffusivity, out.capillary
    out_conductivity, out_permeability, out_environment = out.conductivity, out.permeability, out.environment
    out_growth = out.growth
    for n in range(pile_count):
        pore = 0.0
        dry_total = 0.0
        lost_mix = max(bed_pool_start[n, 0] + bed_pool_start[n, 1] - substrate[n, 0] - substrate[n, 1], 0.0)
        lost_cover = max(bed_pool_start[n, 2] - substrate[n, 2], 0.0)
        if bed_volume[_COVER, n] <= 0.0:
            lost_mix += lost_cover  # none, or of what was cover and is mixed in
        for m in range(_MIX, _BASE + 1):
            volume = bed_volume[m, n]
            if volume <= 0.0:
                continue
            organic = bed_organic[m, n]
            if m == _MIX:
                organic -= lost_mix
            elif m == _COVER:
                organic -= lost_cover
            out_dry_mass[m, n] = organic + bed_ash[m, n]
            dry_total += out_dry_mass[m, n]
            pore += volume * total_porosity(organic / volume, bed_ash[m, n] / volume, c)
        frozen = frozen_share(temperature[n], c)
        swelling = 1.0 + frozen * (c.water_density / c.ice_density - 1.0)
        liquid = min(water[n] / (c.water_density * pore), 1.0) if pore > 0.0 else 0.0
        saturation = min(liquid * swelling, 1.0)
        out_pore_volume[n] = pore
        out_node_dry_mass[n] = dry_total
        out_activity[n] = water_activity(water[n] / dry_total, c)[0] if dry_total > 0.0 else 1.0
        gas = 0.0
        for m in range(_MIX, _BASE + 1):
            volume = bed_volume[m, n]
            if volume <= 0.0:
                continue
            dry = out_dry_mass[m, n]
            porosity = total_porosity((dry - bed_ash[m, n]) / volume, bed_ash[m, n] / volume, c)
            air = air_filled_porosity(porosity, saturation, c)
            gas += volume * air
            out_water[m, n] = c.water_density * liquid * porosity * volume
            out_diffusivity[m, n] = relative_gas_diffusivity(air, porosity, c)
            out_capillary[m, n] = capillary_conductance(porosity, liquid * (1.0 - frozen), c)
            out_conductivity[m, n] = bed.given_conductivity[m]
            if bed.given_conductivity[m] <= 0.0:
                out_conductivity[m, n] = thermal_conductivity(porosity, saturation, frozen, c)
            gain = 1.0
            if bed.follows[m] > 0.0:
                gain = min(kozeny_carman(air, c) / kozeny_carman(bed.reference_air[m], c), c.permeability_gain_cap)
            out_permeability[m, n] = bed.permeability[m] * gain
            limit = air_space_factor(air, c) * moisture_factor(out_water[m, n] / (out_water[m, n] + dry), c)
            if m == _MIX:
                out_growth[n] = limit
                limit *= active[n]
                out_environment[n, 0] = bed.pool_rate[0] * limit
                out_environment[n, 1] = bed.pool_rate[1] * limit
                if bed_pool_start[n, 2] > 0.0:
                    out_environment[n, 2] = bed.pool_rate[2] * limit  # of a cover that is mixed in; its own comes below
            elif m == _COVER:
                out_environment[n, 2] = bed.pool_rate[2] * limit
        out_gas_volume[n] = gas


@compiled
def gas_state(temperature: Any, pile_count: int, out: Any, c: Any) -> None:
    """Update what follows from temperature: gas amount, its diffusivity, half saturation."""
    activity, gas_volume = out.activity, out.gas_volume
    gas_diffusivity, gas_amount, half = out.gas_diffusivity, out.gas_amount, out.half
    for n in range(pile_count):
        vapour = vapour_pressure(temperature[n], activity[n], c)
        # at constant density the relative diffusivity is the effective one itself
        concentration, diffusivity = c.reference_concentration, 1.0
        if c.constant_density <= 0.0:
            concentration = dry_gas_concentration(temperature[n], vapour, c)
            diffusivity = oxygen_diffusivity(temperature[n], c)
        gas_diffusivity[n] = concentration * diffusivity
        gas_amount[n] = gas_volume[n] * concentration
        half[n] = half_saturation(vapour, c)


@compiled
def full_uptake(temperature: Any, substrate: Any, pile_count: int, out: Any, c: Any) -> None:
    """Update the uptake at full oxygen [mol s-1 m-1] of every pile node."""
    environment, uptake = out.environment, out.uptake
    for n in range(pile_count):
        burnt = 0.0
        for pool in range(3):
            burnt += environment[n, pool] * substrate[n, pool]
        uptake[n] = 0.0
        if burnt > 0.0:
            uptake[n] = oxygen_uptake(burnt * temperature_factor(temperature[n], c)[0], c)


@compiled_part
def grow_activity(active: Any, limit: Any, early: Any, late: Any, weight: float, step: float, pile_count: int, out: Any,
                  c: Any) -> None:
    """Activity after a step of length `step` [s], written to `out`: logistic growth with the factors of the step.

    Parameters
    ----------
    limit : (count + 1,) array
        Limits by oxygen, water and free air space at mid-step [1].
    early, late : (count + 1,) arrays
        Temperature of the two stages [K]; `weight` is that of the late one, so the integral is of second order.
    """
    for n in range(pile_count):
        factor = (1.0 - weight) * temperature_factor(early[n], c)[0] + weight * temperature_factor(late[n], c)[0]
        out[n] = logistic_growth(active[n], c.activity_growth_rate * limit[n] * factor * step)
