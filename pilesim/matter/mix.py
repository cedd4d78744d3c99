"""From ingredients to the mix that is built: mass balances of water, carbon, nitrogen and organic matter, and what the
solver needs of the bed.

Shares follow from sums over the ingredients, so they are exact for what is loaded. The loose volumes are added and lose
`volume_loss` in mixing; water fills pores and adds no volume. The particle size is that of the surface per solid volume
(a harmonic mean: fines rule), permeability the viscous part of the Ergun equation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from pilesim.base.constants import constant_record
from pilesim.base.errors import ScenarioError
from pilesim.inputs.library import WATER, Feedstock
from pilesim.inputs.records import Ingredient, Mix, MixFromIngredients
from pilesim.matter import bed as laws

FIELDS = tuple(one.name for one in fields(Mix))


@dataclass(frozen=True, slots=True)
class Blend:
    """Sums over the ingredients of a batch.

    Attributes
    ----------
    masses : (n,) array
        Wet mass of each ingredient [kg].
    volume : float
        After mixing [m3].
    dry, water, organic, carbon, nitrogen : float
        Mass [kg].
    fast, slow : float
        Degradable matter of each pool [kg].
    fast_rate, slow_rate : float
        Mean over the pool [s-1].
    oxygen_demand : float
        Per degradable matter [kg kg-1].
    respiratory_quotient : float
        Mean over the oxygen taken up [1].
    degradable_carbon : float
        Carbon in the two pools [kg].
    particle_size : float
        Of equal surface per solid volume [m].
    compaction : float
        Mean over the volumes [m-1].
    c : record
        Constants, as the scenario's laws have them.
    """

    feedstocks: tuple[Feedstock, ...]
    masses: np.ndarray
    volume: float
    dry: float
    water: float
    organic: float
    carbon: float
    nitrogen: float
    fast: float
    slow: float
    fast_rate: float
    slow_rate: float
    oxygen_demand: float
    respiratory_quotient: float
    degradable_carbon: float
    particle_size: float
    compaction: float
    c: Any = field(repr=False, compare=False)

    @property
    def mass(self) -> float:
        """Wet mass of the batch [kg]."""
        return self.dry + self.water

    @property
    def moisture(self) -> float:
        """Moisture, wet basis [1]."""
        return self.water / self.mass

    @property
    def volatile_solids(self) -> float:
        """Volatile solids of dry matter [1]."""
        return self.organic / self.dry

    @property
    def carbon_to_nitrogen(self) -> float:
        """C:N by mass [1]; infinite without nitrogen."""
        return self.carbon / self.nitrogen if self.nitrogen > 0.0 else float("inf")

    @property
    def bulk_density(self) -> float:
        """Wet bulk density after mixing, at the surface [kg m-3]."""
        return self.mass / self.volume


@dataclass(frozen=True, slots=True)
class DerivedMix:
    """The mix as used, the one that the ingredients alone make (NaN where they make none), and the keys that were given."""

    used: Mix
    from_ingredients: Mix
    given: tuple[str, ...]
    blend: Blend


def property_array(feedstocks: Sequence[Feedstock], name: str) -> np.ndarray:
    """The values of one property of several feedstocks, (n,) array in SI."""
    return np.array([getattr(feedstock, name).value for feedstock in feedstocks])


def loose_volumes(feedstocks: Sequence[Feedstock], masses: np.ndarray) -> np.ndarray:
    """Loose volume [m3] of each ingredient; none for water, which fills pores."""
    volumes = masses / property_array(feedstocks, "bulk_density")
    volumes[[feedstock.name == WATER for feedstock in feedstocks]] = 0.0
    return volumes


def masses_of(ingredients: Sequence[Ingredient], bucket: float | None) -> np.ndarray:
    """Wet mass of each ingredient [kg]; without a size of the bucket a bucket is 1 m3 (all amounts are in buckets then)."""
    scale = {"volume": 1.0, "buckets": bucket or 1.0}
    return np.array([item.amount if item.measure == "mass"
                     else item.amount * scale[item.measure] * item.feedstock.bulk_density.value for item in ingredients])


def blend(feedstocks: Sequence[Feedstock], masses: np.ndarray, volume_loss: float, c: Any = None) -> Blend:
    """Sums over ingredients.

    Parameters
    ----------
    feedstocks : sequence of Feedstock, n of them
    masses : (n,) array
        Wet [kg].
    volume_loss : float
        Share of the loose volumes lost in mixing [1].
    c : record, optional
        Constants; those of the registry by default.
    """
    c = constant_record() if c is None else c
    p = {name: property_array(feedstocks, name) for name in (
        "moisture", "volatile_solids", "carbon", "nitrogen", "fast_fraction", "slow_fraction", "fast_rate", "slow_rate",
        "oxygen_demand", "respiratory_quotient", "particle_size", "compaction")}
    dry = masses * (1.0 - p["moisture"])
    organic = dry * p["volatile_solids"]
    fast, slow = organic * p["fast_fraction"], organic * p["slow_fraction"]
    oxygen = (fast + slow) * p["oxygen_demand"]
    volumes = loose_volumes(feedstocks, masses)
    kept = 1.0 - volume_loss if np.count_nonzero(volumes) > 1 else 1.0     # a single material has nothing to fill
    solids = solids_volume(organic, dry - organic, c)
    own = solids > 0.0
    share = np.divide(p["carbon"], p["volatile_solids"], out=np.zeros_like(dry), where=p["volatile_solids"] > 0.0)
    return Blend(
        feedstocks=tuple(feedstocks), masses=masses, volume=float(volumes.sum() * kept),
        dry=float(dry.sum()), water=float(masses @ p["moisture"]), organic=float(organic.sum()),
        carbon=float(dry @ p["carbon"]), nitrogen=float(dry @ p["nitrogen"]), fast=float(fast.sum()), slow=float(slow.sum()),
        fast_rate=_mean(p["fast_rate"], fast), slow_rate=_mean(p["slow_rate"], slow),
        oxygen_demand=_mean(p["oxygen_demand"], fast + slow),
        respiratory_quotient=_mean(p["respiratory_quotient"], oxygen),
        degradable_carbon=float((fast + slow) @ share),
        particle_size=float(solids[own].sum() / (solids[own] / p["particle_size"][own]).sum()),
        compaction=_mean(p["compaction"], volumes), c=c)


def solids_volume(organic: Any, ash: Any, c: Any) -> Any:
    """Volume [m3] of the particles of organic matter and ash [kg], numbers or arrays."""
    return organic / c.organic_particle_density + ash / c.ash_particle_density


def _mean(values: np.ndarray, weights: np.ndarray) -> float:
    total = float(weights.sum())
    return float(values @ weights) / total if total > 0.0 else float(values[values > 0.0].mean() if values.any() else 0.0)


def free_air_space(bulk_density: float, moisture: float, volatile_solids: float, c: Any = None) -> float:
    """Free air space [1] at wet bulk density [kg m-3], moisture (wet basis) [1] and volatile solids (of dry matter) [1].

    Negative where solids and water do not fit. Source: vanGinkel1999.
    """
    c = constant_record() if c is None else c
    dry = bulk_density * (1.0 - moisture)
    porosity = laws.total_porosity.py_func(dry * volatile_solids, dry * (1.0 - volatile_solids), c)
    return float(porosity - bulk_density * moisture / c.water_density)


def conductivity(bulk_density: float, moisture: float, volatile_solids: float, c: Any = None) -> float:
    """Thermal conductivity [W m-1 K-1] of a bed, unfrozen and without vapour diffusion; arguments as `free_air_space`."""
    c = constant_record() if c is None else c
    water = bulk_density * moisture / c.water_density
    porosity = free_air_space(bulk_density, moisture, volatile_solids, c) + water
    return float(laws.thermal_conductivity.py_func(porosity, water / porosity, 0.0, c))


def permeability(particle_size: float, air: float, c: Any = None) -> float:
    """Permeability [m2] of particles of `particle_size` [m] at free air space `air` [1]; NaN where there is none.

    Viscous part of the Ergun equation (Ergun1952, particle size fitted as in Richard2004).
    """
    c = constant_record() if c is None else c
    if air <= 0.0:
        return float("nan")
    return float(particle_size**2 * laws.kozeny_carman.py_func(air, c) / c.ergun_viscous_coefficient)


def particle_size(permeability: float, air: float, c: Any) -> float:
    """Size [m] of the particles whose :func:`permeability` [m2] at free air space `air` [1], above 0, is given."""
    return float(np.sqrt(permeability * c.ergun_viscous_coefficient / laws.kozeny_carman.py_func(air, c)))


def at_depth(mix: Mix, depth: float, c: Any = None) -> tuple[float, float, float]:
    """Bulk density [kg m-3], free air space [1] and permeability [m2] of the mix `depth` [m] below its surface."""
    c = constant_record() if c is None else c
    density = mix.bulk_density * (1.0 + mix.compaction * depth)
    top, air = (free_air_space(value, mix.moisture, mix.volatile_solids, c) for value in (mix.bulk_density, density))
    least = c.smallest_air_filled_porosity
    ratio = laws.kozeny_carman.py_func(max(air, least), c) / laws.kozeny_carman.py_func(max(top, least), c)
    return density, air, mix.permeability * float(ratio)


def derive(mix: MixFromIngredients) -> DerivedMix:
    """What the ingredients make, given values laid over it.

    Permeability follows from the particle size at the free air space of the values used, so a given bulk density or
    moisture counts in it.

    Raises
    ------
    ScenarioError
        Where solids and water fill the bed whole, or given and derived fractions exceed the whole.
    """
    kept = [item for item in mix.ingredients if item.amount > 0.0]
    sums = blend([item.feedstock for item in kept], masses_of(kept, mix.bucket), mix.volume_loss,
                 constant_record(dict(mix.constants)))
    given = {name: value for name in FIELDS if (value := getattr(mix, name)) is not None}
    used = _complete(sums, given)
    _refuse_impossible(used, given, sums)
    return DerivedMix(used, _complete(sums, {}), tuple(given), sums)


def settled_mix(mix: Mix | MixFromIngredients) -> Mix:
    """The mix with every property: itself, or what its ingredients make.

    Raises
    ------
    ScenarioError
        As `derive`.
    """
    return mix if isinstance(mix, Mix) else derive(mix).used


def _complete(sums: Blend, given: Mapping[str, float]) -> Mix:
    values = {
        "bulk_density": sums.bulk_density, "moisture": sums.moisture, "volatile_solids": sums.volatile_solids,
        "compaction": sums.compaction, "fast_fraction": sums.fast / sums.organic if sums.organic else 0.0,
        "slow_fraction": sums.slow / sums.organic if sums.organic else 0.0, "fast_rate": sums.fast_rate,
        "slow_rate": sums.slow_rate, "oxygen_demand": sums.oxygen_demand,
        "respiratory_quotient": sums.respiratory_quotient, **given}
    air = free_air_space(values["bulk_density"], values["moisture"], values["volatile_solids"], sums.c)
    values.setdefault("permeability", permeability(sums.particle_size, air, sums.c))
    values.setdefault("permeability_ratio", float(sums.c.mix_permeability_ratio))
    return Mix(**values)


def _refuse_impossible(used: Mix, given: Mapping[str, float], sums: Blend) -> None:
    c = sums.c
    air = free_air_space(used.bulk_density, used.moisture, used.volatile_solids, c)
    if air < c.smallest_air_filled_porosity:
        where = next((f"mix.{name}" for name in ("bulk_density", "moisture") if name in given), "mix.ingredients")
        raise ScenarioError(where, f"{used.bulk_density:.0f} kg/m3 at {100 * used.moisture:.0f} percent moisture",
                            "a mix with free air space left",
                            "Solids and water fill it whole; take less water, or more of a coarse dry ingredient such as "
                            "coarse yard trimmings, straw or wood chips.")
    if used.fast_fraction + used.slow_fraction > 1.0 + 1e-9:
        name = "fast_fraction" if "fast_fraction" in given else "slow_fraction"
        rest = 1.0 - (used.slow_fraction if name == "fast_fraction" else used.fast_fraction)
        raise ScenarioError(f"mix.{name}", f"{100 * given[name]:.4g} percent", f"at most {100 * rest:.4g} percent",
                            "Fast and slow fractions are shares of the same volatile solids; the other is derived from the "
                            "ingredients.")
    if sums.organic <= 0.0:
        raise ScenarioError("mix.ingredients", "no organic matter", "at least one feedstock with volatile solids")
