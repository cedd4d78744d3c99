"""Closed forms of the manufactured pile: temperature, oxygen, saturation, substrate and pressure, and all that follows.

The fields are smooth, invented, even in x, and in the range of a working pile (28 to 64 degC, 5 to 19 percent oxygen,
a dry flank where the water activity falls to 0.88). What follows from them (vapour, enthalpy, gas flow, conductivity,
rates) is written here a second time, on arrays and apart from the kernels, with the constants of the run. All materials
have the same dry matter, because a node they share has one water activity; they differ in permeability, conductivity
and substrate. Derivatives are taken by complex steps (Squire & Trapp 1998, SIAM Review 40, 110; TO CHECK): exact to
rounding for analytic functions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from pilesim.inputs.scenario import Scenario
from pilesim.matter.mix import settled_mix
from pilesim.section.grid import BASE, COVER, GROUND, MIX

TINY = 1e-30  # the complex step: its square vanishes
AMPLITUDE = 0.15  # of the changes in time
PERIOD = 86400.0  # s, of them


@dataclass(frozen=True, slots=True)
class Materials:
    """What the materials are made of, arrays over the five materials (see `section.grid`).

    Attributes
    ----------
    organic, ash : (5,) arrays
        At the start [kg m-3].
    capacity : (5,) array
        Heat capacity of the solids, and of the ground as a whole [J K-1 m-3].
    permeability, reference_air : (5,) arrays
        [m2] at that free air space [1].
    conductivity : (5,) array
        Given [W m-1 K-1]; 0 where it follows from water.
    pools : (5, 3) array
        Of the start [kg m-3].
    rates : (3,) array
        Of the pools [s-1].
    """

    organic: np.ndarray
    ash: np.ndarray
    capacity: np.ndarray
    permeability: np.ndarray
    reference_air: np.ndarray
    conductivity: np.ndarray
    pools: np.ndarray
    rates: np.ndarray


def materials_of(scenario: Scenario, rates: np.ndarray, c: SimpleNamespace) -> Materials:
    """The scenario's materials without compaction; `rates` of the three pools [s-1]."""
    mix = settled_mix(scenario.mix)
    organic, ash, capacity, permeability, air, conductivity = (np.zeros(5) for _ in range(6))
    for number, layer in ((MIX, mix), (COVER, scenario.cover), (BASE, scenario.base_layer)):
        dry = layer.bulk_density * (1.0 - layer.moisture)
        organic[number], ash[number] = dry * layer.volatile_solids, dry * (1.0 - layer.volatile_solids)
        capacity[number] = c.organic_heat_capacity * organic[number] + c.ash_heat_capacity * ash[number]
        permeability[number] = layer.permeability
        porosity = 1.0 - organic[number] / c.organic_particle_density - ash[number] / c.ash_particle_density
        air[number] = porosity - layer.bulk_density * layer.moisture / c.water_density
    for number, given in ((COVER, scenario.cover.conductivity), (BASE, scenario.base_layer.conductivity)):
        conductivity[number] = given or 0.0
    capacity[GROUND], conductivity[GROUND] = scenario.ground.heat_capacity, scenario.ground.conductivity
    pools = np.zeros((5, 3))
    pools[MIX, :2] = organic[MIX] * np.array([mix.fast_fraction, mix.slow_fraction])
    pools[COVER, 2] = organic[COVER] * scenario.cover.slow_fraction
    return Materials(organic, ash, capacity, permeability, air, conductivity, pools, rates)


def _hill(x: Any, z: Any, wide: float, middle: float, high: float) -> Any:
    return np.exp(-((x / wide) ** 2) - ((z - middle) / high) ** 2)


def temperature(x: Any, z: Any, swing: Any) -> Any:
    """[K]; `swing` is the share by which the hill grows, 0 when steady."""
    return 300.0 + 37.0 * _hill(x, z, 1.9, 1.3, 1.4) * (1.0 + swing)


def saturation(x: Any, z: Any, swing: Any) -> Any:
    """Degree of saturation [1]."""
    return 0.05 + 0.11 * _hill(x, z, 1.9, 0.9, 1.4) * (1.0 + swing)


def oxygen(x: Any, z: Any, swing: Any) -> Any:
    """Mole fraction of dry gas [1]."""
    return 0.19 - 0.14 * _hill(x, z, 1.7, 1.0, 1.2) * (1.0 + swing)


def substrate_share(x: Any, z: Any) -> Any:
    """Substrate left, of that of the start [1]."""
    return 0.9 - 0.4 * _hill(x, z, 2.2, 1.6, 1.6)


def draught_pressure(x: Any, z: Any, swing: Any) -> Any:
    """p' [Pa] apart from what keeps gas from crossing the floor: air enters the lower flank and leaves by the crest."""
    return -3.5 * np.exp(-((x / 2.2) ** 2)) / (1.0 + (z / 1.5) ** 2) * (1.0 + swing)


def swings(time: float | complex, moving: bool, c: SimpleNamespace) -> dict[str, Any]:
    """Share by which each field differs from its steady form at `time` [s], all 0 unless `moving`.

    The composition that the density feels follows the oxygen with the relaxation time r: the bounded solution of
    r dy/dt = sin(w t + 1) - y.
    """
    if not moving:
        return dict.fromkeys(("temperature", "saturation", "oxygen", "composition", "pressure"), 0.0)
    w, late = 2.0 * np.pi / PERIOD, c.composition_relaxation_time
    angle = w * time + 1.0
    lagged = (np.sin(angle) - w * late * np.cos(angle)) / (1.0 + (w * late) ** 2)
    return {"temperature": AMPLITUDE * np.sin(w * time), "saturation": AMPLITUDE * np.cos(w * time),
            "oxygen": AMPLITUDE * np.sin(angle), "composition": AMPLITUDE * lagged,
            "pressure": AMPLITUDE * np.cos(w * time + 0.5)}


def _gas(t: Any, activity: Any, c: SimpleNamespace) -> tuple[Any, Any, Any, Any]:
    """Vapour pressure [Pa], vapour ratio [kg mol-1], dry gas [mol m-3], enthalpy [J mol-1] (ASHRAE's form)."""
    warm = t - c.celsius_zero
    pressure = activity * np.exp(c.saturation_a - c.saturation_b / (warm + c.saturation_c)
                                 - c.saturation_e * np.log(warm + c.saturation_d))
    ratio = c.water_molar_mass * pressure / (c.pressure - pressure)
    enthalpy = c.dry_air_molar_mass * c.dry_air_heat_capacity * warm + ratio * (
        c.latent_heat_of_vaporisation + c.vapour_heat_capacity * warm)
    return pressure, ratio, (c.pressure - pressure) / (c.gas_constant * t), enthalpy


def air_outside(kelvin: float, humidity: float, c: SimpleNamespace) -> SimpleNamespace:
    """Vapour ratio, dry gas and enthalpy of the air outside, above freezing."""
    _, ratio, amount, enthalpy = _gas(kelvin, humidity, c)
    return SimpleNamespace(temperature=kelvin, ratio=ratio, amount=amount, enthalpy=enthalpy, oxygen=c.ambient_oxygen)


def _lift(t: Any, pressure: Any, amount: Any, x: Any, c: SimpleNamespace) -> Any:
    """Upward force [N m-3]: ambient less pore gas of oxygen fraction `x`, whose spent oxygen became carbon dioxide."""
    x = c.ambient_oxygen + c.composition_in_density * (x - c.ambient_oxygen)
    carbon_dioxide = c.ambient_carbon_dioxide + c.respiratory_quotient * (c.ambient_oxygen - x)
    dry = (x * c.oxygen_molar_mass + carbon_dioxide * c.carbon_dioxide_molar_mass
           + (1.0 - x - carbon_dioxide) * c.inert_gas_molar_mass)
    return c.gravity * (c.ambient_density - amount * dry - pressure * c.water_molar_mass / (c.gas_constant * t))


def _viscosity(t: Any, share: Any, c: SimpleNamespace) -> Any:
    """Sutherland's for air, joined with vapour by Wilke's rule [Pa s]."""
    air = c.viscosity_coefficient * t * np.sqrt(t) / (t + c.viscosity_temperature)
    vapour = c.vapour_viscosity_at_zero + c.vapour_viscosity_slope * (t - c.celsius_zero)
    mass = c.water_molar_mass / c.dry_air_molar_mass
    root = np.sqrt(air / vapour * np.sqrt(mass))
    first = (1.0 + root) ** 2 / np.sqrt(8.0 * (1.0 + 1.0 / mass))
    second = (1.0 + 1.0 / root) ** 2 / np.sqrt(8.0 * (1.0 + mass))
    return air * (1.0 - share) / (1.0 - share + share * first) + vapour * share / (share + (1.0 - share) * second)


def _cardinal(t: Any, c: SimpleNamespace) -> Any:
    """Cardinal temperature factor [1], between its ends."""
    low, best, high = c.temperature_minimum, c.temperature_optimum, c.temperature_maximum
    bottom = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2.0 * t))
    return (t - high) * (t - low) ** 2 / bottom


def porosity_of(organic: Any, ash: Any, c: SimpleNamespace) -> Any:
    """Total porosity [1]."""
    return 1.0 - organic / c.organic_particle_density - ash / c.ash_particle_density


def at(x: Any, z: Any, material: np.ndarray, swing: dict[str, Any], m: Materials, c: SimpleNamespace) -> SimpleNamespace:
    """What moves and what is stored at places (n,) in pile materials, SI; arrays may be complex.

    Returns
    -------
    SimpleNamespace
        temperature, saturation, oxygen, activity, vapour (its pressure), ratio, enthalpy, amount (of dry gas per gas volume),
        lift, air (free air space), porosity, water, moisture (dry basis), stored (heat per volume).
    """
    f = SimpleNamespace(temperature=temperature(x, z, swing["temperature"]), saturation=saturation(x, z, swing["saturation"]),
                        oxygen=oxygen(x, z, swing["oxygen"]))
    organic, ash = m.organic[material], m.ash[material]
    f.porosity = porosity_of(organic, ash, c)
    f.water = c.water_density * f.saturation * f.porosity
    f.moisture = f.water / (organic + ash)
    activity = 1.0 - np.exp(-c.water_activity_coefficient * f.moisture**c.water_activity_exponent)
    f.vapour, f.ratio, f.amount, f.enthalpy = _gas(f.temperature, activity, c)
    f.lift = _lift(f.temperature, f.vapour, f.amount, oxygen(x, z, swing["composition"]), c)
    f.air = f.porosity * (1.0 - f.saturation)
    f.stored = (m.capacity[material] + c.water_heat_capacity * f.water) * (f.temperature - c.celsius_zero)
    return f


def conduct(f: SimpleNamespace, material: np.ndarray, m: Materials, c: SimpleNamespace) -> SimpleNamespace:
    """`f` with conductance K n_d / mu, conductivity, gas and vapour diffusion n_d D, and capillary conductance."""
    reference = m.reference_air[material]
    gain = (f.air / reference) ** 3 * ((1.0 - reference) / (1.0 - f.air)) ** 2
    f.conductance = m.permeability[material] * gain * f.amount / _viscosity(f.temperature, f.vapour / c.pressure, c)
    wet = c.solid_conductivity ** (1.0 - f.porosity) * c.water_conductivity**f.porosity
    follows = c.dry_bed_conductivity + (wet - c.dry_bed_conductivity) * f.saturation
    f.conductivity = np.where(m.conductivity[material] > 0.0, m.conductivity[material], follows)
    free = c.oxygen_diffusivity * (f.temperature / c.diffusivity_reference_temperature) ** c.diffusivity_exponent
    f.gas_diffusion = (free * c.standard_pressure / c.pressure * f.amount * f.air**c.diffusion_porosity_exponent
                       / f.porosity**c.diffusion_total_porosity_exponent)
    f.vapour_diffusion = c.vapour_diffusivity_ratio * f.gas_diffusion
    f.capillary = c.water_density * f.porosity * c.capillary_diffusivity * f.saturation**c.capillary_exponent
    return f


def burnt(f: SimpleNamespace, share: np.ndarray, material: np.ndarray, m: Materials, c: SimpleNamespace) -> np.ndarray:
    """Substrate oxidised [kg s-1 m-3] where a `share` of it is left [1]."""
    half = c.oxygen_half_saturation * c.standard_pressure / (c.pressure - f.vapour)
    limits = (_cardinal(f.temperature, c) * f.oxygen / (f.oxygen + half)
              / (1.0 + np.exp(c.moisture_factor_offset - c.moisture_factor_slope * f.moisture / (1.0 + f.moisture)))
              / (1.0 + np.exp(c.air_space_factor_offset - c.air_space_factor_slope * f.air)))
    return np.asarray(limits * (m.pools[material] @ m.rates) * share)


def pressure(x: Any, z: Any, swing: dict[str, Any], m: Materials, c: SimpleNamespace) -> Any:
    """p' [Pa]. Its second part balances the lift on the floor, so that no gas crosses it."""
    floor = np.zeros_like(z)
    lift = at(x, floor, np.full(np.shape(x), BASE), swing, m, c).lift
    return draught_pressure(x, z, swing["pressure"]) + lift * z * np.exp(-((z / 0.8) ** 2))


def slope(field: Callable[[Any, Any], Any], x: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gradient of a real analytic `field` by complex steps."""
    return np.imag(field(x + 1j * TINY, z + 0j)) / TINY, np.imag(field(x + 0j, z + 1j * TINY)) / TINY
