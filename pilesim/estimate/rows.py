"""Every estimate of a pile: its value, and whether the pile is within the validity of the formula (texts in `words`)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pilesim.assess.recipe import heat_against_water
from pilesim.base.compiled import plain
from pilesim.base.constants import CONSTANTS
from pilesim.estimate.formulas import (
    draught_reach,
    neumann_front,
    onset_of_convection,
    rayleigh_number,
    stefan_front,
    thiele_modulus,
    time_to_warm,
)
from pilesim.estimate.pile import (
    Balance,
    Pile,
    balance_at,
    dry_gas,
    oxygen_diffusion,
    oxygen_uptake,
    vapour_conductivity,
    vapour_ratio,
)
from pilesim.estimate.words import WORDS, Words
from pilesim.matter import moist_air
from pilesim.matter.bed import thermal_conductivity

DAY, HOUR = 86400.0, 3600.0
_FASTEST = 5e-3  # m s-1: from there on the inertial part of Ergun's equation is no longer negligible in coarse mixes
_EVEN_SHARES = 0.5  # of the cover in the resistance: below it the mix decides, whose paths the formula guesses
_PARTS = 60  # of the range of temperatures in search of the balance


@dataclass(frozen=True, slots=True)
class Estimate:
    """One number: NaN where it does not apply, infinite where it is never reached.

    outside : why the pile is outside the formula's validity, or why the number does not apply; empty if it is within.
    """

    name: str
    value: float
    unit: str
    outside: str = ""

    @property
    def about(self) -> Words:
        """Formula, source, validity."""
        return WORDS[self.name]


def estimates(pile: Pile, temperature: float) -> list[Estimate]:
    """All estimates with the whole mix at `temperature` [K], in the order of `WORDS`."""
    now = balance_at(pile, temperature)
    found = {**_draught(pile, now), **_cover(pile, now), **_oxygen(pile, now), **_convection(pile, now), **_water(pile, now),
             **_warm_up(pile, temperature), **_frost(pile, temperature)}
    return [Estimate(name, found[name][0], f"{words.unit} m-1" if words.extensive and not pile.round else words.unit,
                     found[name][1]) for name, words in WORDS.items()]


Values = dict[str, tuple[float, str]]  # name: value, why it is outside


def _draught(pile: Pile, now: Balance) -> Values:
    c = pile.c
    none = "" if pile.between > 0.0 else "gas meets the air at one height only: this formula knows no draught here"
    tight = none
    if not (none or pile.chimney) and now.cover_share <= _EVEN_SHARES:
        tight = (f"the mix makes {100 * (1 - now.cover_share):.0f} % of the resistance, its part a guess: good to a "
                 "factor of two")
    if not (none or pile.chimney) and pile.scenario.base_layer.edge == "open":
        tight = "the base layer is open: what enters there is not counted"
    pore = pile.bed.air * pile.volume
    changes = HOUR * abs(now.flow_unspent) / (dry_gas(pile, pile.air_temperature, pile.air_vapour) * pore)
    fast = none or ("" if now.speed < _FASTEST else "so fast that inertia counts: less flows")
    values = {"draught_pressure": (now.push, none), "air_intake": (abs(now.flow_unspent) * c.dry_air_molar_mass, tight),
              "air_intake_spent": (abs(now.flow) * c.dry_air_molar_mass, tight), "air_changes": (changes, tight),
              "gas_speed": (now.speed, fast)}
    return {name: (math.nan if none else value, why) for name, (value, why) in values.items()}


def _cover(pile: Pile, now: Balance) -> Values:
    bare = "" if pile.scenario.cover.thickness > 0.0 else "there is no cover"
    still = bare or ("" if pile.between > 0.0 else "there is no draught")
    skin = f"{bare}: what the outer mix insulates is left out" if bare else ""
    return {"cover_leakance": (math.nan if bare else pile.leakance, bare),
            "cover_share": (math.nan if still else now.cover_share, still),
            "transmittance": (pile.transmittance(now.temperature), skin),
            "heat_through_cover": (now.through_cover, skin),
            "heat_with_gas": (now.with_gas, ""), "heat_released": (now.respiration, _seeding(pile))}


def _seeding(pile: Pile) -> str:
    return "" if pile.scenario.start.seeding == "mature" else "seeded: activity must grow first, which is left out"


def _oxygen(pile: Pile, now: Balance) -> Values:
    dead = "" if now.uptake > 0.0 else "nothing respires at this temperature"
    if dead:
        return dict.fromkeys(("oxygen_reach_diffusion", "oxygen_reach_draught", "thiele_modulus", "stirred_oxygen",
                              "days_to_aerobic"), (math.nan, dead))
    own, _ = oxygen_diffusion(pile, now.temperature)
    brought, size = dry_gas(pile, now.temperature) * pile.c.ambient_oxygen, pile.volume / pile.surface
    blown = draught_reach(now.speed, brought, now.uptake)
    far = "" if pile.between > 0.0 else "there is no draught"
    if not far and blown > pile.way:
        far = f"longer than the way through the pile, {pile.way:.2g} m: all of it is reached"
    thick = "" if now.reach < size else "as deep as the pile is thick"
    fed = "" if now.uptake * pile.volume > _oxygen_supply(pile, now) else "more is brought than taken up: never starved"
    return {"oxygen_reach_diffusion": (now.reach, thick),
            "oxygen_reach_draught": (math.nan if pile.between <= 0.0 else blown, far),
            "thiele_modulus": (thiele_modulus(size, own, brought, now.uptake), ""),
            "stirred_oxygen": (100.0 * now.oxygen, ""),
            "days_to_aerobic": (_days_to_aerobic(pile, now), fed or _seeding(pile))}


def _oxygen_supply(pile: Pile, now: Balance) -> float:
    """Oxygen that draught and diffusion bring [mol s-1]."""
    return abs(now.flow_unspent) * pile.c.ambient_oxygen + now.uptake * now.reach * pile.surface


def _days_to_aerobic(pile: Pile, now: Balance) -> float:
    """Days until the uptake of what is left falls to the supply, all of which is used until then; inf if it never does."""
    supply, mix = _oxygen_supply(pile, now), pile.mix
    wanted = supply / (now.uptake * pile.volume)  # share of the fresh uptake that the supply can feed
    if wanted >= 1.0:
        return 0.0
    organic = pile.bulk_density * (1.0 - mix.moisture) * mix.volatile_solids
    pools = ((organic * mix.fast_fraction, mix.fast_rate), (organic * mix.slow_fraction, mix.slow_rate))
    full = pools[0][0] * pools[0][1] + pools[1][0] * pools[1][1]
    span = np.geomspace(1e-3, 1e3, 4000) / max(rate for _, rate in pools)  # time at full oxygen that has passed
    left = np.sum([mass * rate * np.exp(-rate * span) for mass, rate in pools], axis=0) / full
    burnt = np.sum([-mass * np.expm1(-rate * span) for mass, rate in pools], axis=0)
    if left[-1] > wanted:
        return math.inf
    done = float(np.interp(wanted, left[::-1], burnt[::-1]))
    return done * pile.volume * mix.oxygen_demand / pile.c.oxygen_molar_mass / supply / DAY


def _convection(pile: Pile, now: Balance) -> Values:
    c, warm, span = pile.c, now.temperature, now.temperature - pile.air_temperature
    critical = onset_of_convection(pile.bed.permeability / pile.bed.across)
    if span <= 0.0:
        return {"rayleigh_number": (math.nan, "the mix is not warmer than the air"), "onset_rayleigh_number": (critical, "")}
    hot, cool = (float(plain(moist_air.moist_enthalpy)(at, vapour_ratio(pile, at)[0], c))
                 for at in (warm, pile.air_temperature))
    dry, (_, slope) = dry_gas(pile, warm), vapour_ratio(pile, warm)
    latent = dry * oxygen_diffusion(pile, warm)[0] * c.vapour_diffusivity_ratio * c.vapour_diffusion_enthalpy * slope
    vapour = float(plain(moist_air.vapour_pressure)(warm, 1.0, c))
    thickness = float(plain(moist_air.humid_viscosity)(warm, vapour / c.pressure, c))
    number = rayleigh_number(pile.bed.permeability, now.push / pile.between if pile.between else abs(now.lift), pile.height,
                             thickness, dry * (hot - cool) / span, pile.bed.conductivity + latent)
    said = "" if number < critical else "above the onset: gas may turn in cells within the mix, beside the draught"
    if pile.scenario.pile.shape == "slab":
        number, said = math.nan, "a slab has no height for gas to rise in"
    return {"rayleigh_number": (number, said), "onset_rayleigh_number": (critical, "")}


def _water(pile: Pile, now: Balance) -> Values:
    ratio, _, potential = heat_against_water(pile.mix)
    lost = now.water * pile.scenario.run.duration / (pile.water * pile.volume) if pile.water > 0.0 else math.nan
    wet = "" if ratio <= CONSTANTS["usual_water_ratio"].value else "above the usual limit: the heat hardly lasts"
    return {"water_to_degradable": (ratio, wet), "evaporation_potential": (potential, ""),
            "water_with_gas": (lost, "more than there is: the mix runs dry first" if lost > 1.0 else "")}


def _warm_up(pile: Pile, temperature: float) -> Values:
    c, start = pile.c, pile.scenario.start.temperature
    capacity, heat = pile.capacity * pile.volume, c.oxygen_molar_mass * c.heat_per_oxygen
    balance = balance_temperature(pile)
    cold = "" if balance > pile.air_temperature + 1.0 else "it does not heat"
    settles = (balance - c.celsius_zero, cold)
    if start >= temperature:
        there = (0.0, "built as warm as that")
        return {"warm_up_free": there, "warm_up_stirred": there, "balance_temperature": settles}
    hot = "" if temperature < c.temperature_maximum else "hotter than degradation works"
    frozen = hot or ("" if start > c.temperature_minimum else "built too cold to start by itself")
    free = time_to_warm(capacity, start, temperature, lambda at: oxygen_uptake(pile, at) * pile.volume * heat)
    real = time_to_warm(capacity, start, temperature, lambda at: balance_at(pile, at).surplus)
    stalls = "" if math.isfinite(real) else "losses outrun the heat of a stirred pile on the way"
    return {"warm_up_free": (free / DAY, frozen or _seeding(pile)),
            "warm_up_stirred": (real / DAY, (frozen or stalls if math.isinf(real) else "") or _seeding(pile)),
            "balance_temperature": settles}


def balance_temperature(pile: Pile) -> float:
    """Warmest temperature [K] at which the respiration of a stirred, fresh pile makes up for its losses, or the air's."""
    places = np.linspace(pile.air_temperature, pile.c.temperature_maximum, _PARTS + 1)
    surplus = [balance_at(pile, float(at)).surplus for at in places]
    for k in range(len(places) - 1, 0, -1):
        if surplus[k - 1] > 0.0 >= surplus[k]:
            share = surplus[k - 1] / (surplus[k - 1] - surplus[k])
            return float(places[k - 1] + share * (places[k] - places[k - 1]))
    return pile.air_temperature


def _frost(pile: Pile, temperature: float) -> Values:
    c, ground, cover = pile.c, pile.scenario.ground, pile.scenario.cover.thickness
    time, air, zero = pile.scenario.run.duration, pile.air_temperature, pile.c.celsius_zero
    if air >= zero:
        mild = (math.nan, "the air does not freeze")
        return dict.fromkeys(("frost_in_ground", "frost_in_idle_mix", "frost_in_cover"), mild)
    soil = (math.nan, "the ground is frozen all through")
    if ground.deep_temperature > zero:
        soil = (neumann_front(time, conductivity=ground.conductivity, capacity=ground.heat_capacity, water=c.ground_water,
                              fusion=c.latent_heat_of_fusion, surface=air, start=ground.deep_temperature, melting=zero), "")
    frozen = float(plain(thermal_conductivity)(pile.bed.porosity, 1.0 - pile.bed.air / pile.bed.porosity, 1.0, c))
    idle = stefan_front(time, conductivity=frozen, resistance=1.0 / pile.film + cover / pile.cover.conductivity,
                        water=pile.water, fusion=c.latent_heat_of_fusion, difference=zero - air)
    line = (math.nan, "there is no cover" if cover <= 0.0 else "the mix is not warm")
    if cover > 0.0 and temperature > zero:
        from_air = (zero - air) / (temperature - air) / pile.transmittance(temperature)  # m2 K W-1, film and frozen cover
        through = pile.cover.conductivity + vapour_conductivity(pile, temperature)
        line = (min(max((from_air - 1.0 / pile.film) * through, 0.0), cover), "")
    return {"frost_in_ground": soil, "frost_in_idle_mix": (idle, ""), "frost_in_cover": line}
