"""The outer skin: bare surface or snow on each piece of it, as film and temperature outside; and how it fares in a step.

A piece is a node's share of the outer surface (of the pile, or of the ground beside it). Under snow the pile touches its
base through a thin contact; where heat from below holds the base at 0 degC, it melts there. Signs: heat and water are
positive INTO the section. Skin is outside of the section: what the section gives it is what the section's budgets lose.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.base.compiled import compiled
from pilesim.matter.film import film_after
from pilesim.matter.moist_air import moist_enthalpy, oxygen_diffusivity, vapour_ratio
from pilesim.matter.snow import Snow, fall_on_slope, snow_after, snow_resistance, snow_surface_temperature
from pilesim.matter.surface_gain import film_and_temperature

_LEAST_SNOW = 1e-3      # kg m-2: less counts as none
_ROOM = 0.9             # of the pores, up to which rain is taken up


class Pieces(NamedTuple):
    """Pieces of the outer surface, (m,) arrays: node, length [m] (or area), slope [rad], whether it is the pile's (else
    the ground's), and whether gas passes."""

    node: np.ndarray
    area: np.ndarray
    slope: np.ndarray
    is_pile: np.ndarray
    breathes: np.ndarray


class Skin(NamedTuple):
    """What lies on each piece, (m,) arrays: ice, liquid water in the snow [kg m-2], heat [J m-2], density [kg m-3],
    albedo [1]; and water under it or on the bare surface [kg m-2]."""

    ice: np.ndarray
    water: np.ndarray
    heat: np.ndarray
    density: np.ndarray
    albedo: np.ndarray
    film: np.ndarray


class Cast(NamedTuple):
    """What a step holds for each piece, (m,) arrays, and the weather of the step."""

    mode: np.ndarray            # 0 bare; 1 snow, its base below 0 degC; 2 snow, its base melts; 3 snow that this step melts
    film: np.ndarray            # W m-2 K-1 to `outside`, as the node sees it
    outside: np.ndarray         # K
    gas_film: np.ndarray        # m s-1
    taken: np.ndarray           # kg m-2 s-1 of water that the pile takes up
    run_off: np.ndarray         # kg m-2 s-1
    kept: np.ndarray            # kg m-2, film left
    top_film: np.ndarray        # W m-2 K-1, of the snow's own upper side
    top_outside: np.ndarray     # K


def no_skin(count: int, c: Any) -> Skin:
    """A bare, dry surface of `count` pieces."""
    def zero() -> np.ndarray:
        return np.zeros(count)

    return Skin(zero(), zero(), zero(), np.full(count, c.settled_snow_density), np.full(count, c.fresh_snow_albedo), zero())


def blank_cast(count: int) -> Cast:
    """Room for a step of `count` pieces."""
    return Cast(np.zeros(count, dtype=np.int64), *(np.zeros(count) for _ in Cast._fields[1:]))


def room_for_water(water: np.ndarray, pores: np.ndarray, c: Any) -> np.ndarray:
    """Water that rain may still add to each node [kg m-1]: up to a share of its `pores` [m2] beyond its `water` [kg m-1]."""
    return np.maximum(_ROOM * c.water_density * pores - water, 0.0)


@compiled
def cast_outside(temperature: Any, room: Any, skin: Any, slope: Any, is_pile: Any, sun: Any, air: float, convection: float,
                 mass_film: float, longwave: float, rain: float, step: float, out: Any, c: Any) -> None:
    """What each piece meets outside over a step that begins with surface `temperature` [K], written to `out`.

    Parameters
    ----------
    room : (m,) array
        Water that fits into the node [kg m-2 of the piece].
    sun : (m,) array
        On the piece [W m-2].
    air, longwave, rain : float
        Means of the step [K], [W m-2], [kg m-2 s-1 of the horizontal].
    convection, mass_film : float
        Films of heat and of vapour that the wind makes [W m-2 K-1], [m s-1].
    step : float
        [s]; 0 at a moment.
    """
    zero = c.celsius_zero
    for k in range(temperature.size):
        t, ice = temperature[k], skin.ice[k]
        absorbs = c.surface_absorptivity if is_pile[k] else 1.0 - c.ground_albedo
        bare, around = film_and_temperature(t, air, convection, sun[k], longwave, slope[k], absorbs, c.surface_emissivity, c)
        out.mode[k], out.film[k], out.outside[k], out.gas_film[k] = 0, bare, around, mass_film
        if ice > _LEAST_SNOW:
            cold = min(zero, air)
            top, above = film_and_temperature(cold, air, convection, sun[k], longwave, slope[k], 1.0 - skin.albedo[k],
                                              c.snow_emissivity, c)
            out.top_film[k], out.top_outside[k] = top, above
            touch, through = 1.0 / c.snow_contact_film, snow_resistance(ice, skin.density[k], c)
            total = touch + through + 1.0 / top
            base = t + (above - t) * touch / total
            if base > zero:
                out.mode[k], out.film[k], out.outside[k] = 2, 1.0 / touch, zero
                sink = (ice * c.latent_heat_of_fusion - skin.heat[k]) / max(step, 1.0)
                if (t - zero) / touch > sink:       # what is left of it cannot cool the pile for all of the step
                    out.mode[k], out.film[k], out.outside[k] = 3, bare, around - sink / bare
            elif t + (above - t) * (touch + through) / total > zero:
                out.mode[k], out.film[k], out.outside[k] = 1, 1.0 / (touch + through), zero
            else:
                out.mode[k], out.film[k], out.outside[k] = 1, 1.0 / total, above
            diffusivity = c.vapour_diffusivity_ratio * oxygen_diffusivity(zero, c)
            out.gas_film[k] = 1.0 / (1.0 / mass_film + ice / (skin.density[k] * diffusivity))
        out.taken[k], out.run_off[k], out.kept[k] = 0.0, 0.0, skin.film[k]
        if step > 0.0:
            falling = 0.0 if out.mode[k] == 1 or out.mode[k] == 2 else rain * np.cos(slope[k])
            kept, taken, lost = film_after(skin.film[k], falling, step, c)
            if not is_pile[k]:
                taken, lost = 0.0, lost + taken
            spare = max(taken - room[k], 0.0)
            out.taken[k], out.run_off[k], out.kept[k] = (taken - spare) / step, (lost + spare) / step, kept


@compiled
def skin_after(skin: Any, cast: Any, temperature: Any, leaving: Any, activity: Any, slope: Any, air: float, rain: float,
               snowfall: float, step: float, out: Any, c: Any, gas: Any) -> None:
    """The skin after a step, written to `out`; its energy and water balance exactly with what the section gave.

    Parameters
    ----------
    temperature : (m,) array
        Of the nodes, as the step's stages weigh them [K].
    leaving : (m,) array
        Dry gas that leaves through the piece [mol m-2 s-1]; snow cools it to 0 degC and keeps what condenses.
    activity : (m,) array
        Water activity of the node [1].
    gas : record
        The run's own, for moist air; `c` is that of the outer surface.
    """
    zero = c.celsius_zero
    cold_ratio = vapour_ratio(zero, 1.0, gas)[0]
    cold_gas = moist_enthalpy(zero, cold_ratio, gas)
    for k in range(temperature.size):
        mode = cast.mode[k]
        ice, water, heat, film = skin.ice[k], skin.water[k], skin.heat[k], cast.kept[k]
        fall, wet = fall_on_slope(snowfall, slope[k], c), 0.0
        below, above, top = 0.0, 0.0, min(zero, air)
        if mode == 3:
            ice, water, heat, film = 0.0, 0.0, 0.0, film + ice + water
        if mode == 1 or mode == 2:
            wet = rain * np.cos(slope[k])
            below = cast.film[k] * (temperature[k] - cast.outside[k])
            base = temperature[k] - below / c.snow_contact_film
            through = snow_resistance(ice, skin.density[k], c)
            top = snow_surface_temperature(min(base, zero), through, cast.top_film[k], cast.top_outside[k], c)
            above = cast.top_film[k] * (cast.top_outside[k] - top)
            if leaving[k] > 0.0 and temperature[k] > zero:
                ratio = vapour_ratio(temperature[k], activity[k], gas)[0]
                below += leaving[k] * max(moist_enthalpy(temperature[k], ratio, gas) - cold_gas, 0.0)
                water += leaving[k] * max(ratio - cold_ratio, 0.0) * step
        if ice + fall * step <= _LEAST_SNOW:
            out.ice[k], out.water[k], out.heat[k], out.film[k] = 0.0, 0.0, 0.0, film + ice + water
            out.density[k], out.albedo[k] = skin.density[k], c.fresh_snow_albedo
            continue
        new, melt = snow_after(Snow(ice, water, heat, skin.density[k], skin.albedo[k]), fall, wet, air, above, below, top,
                               step, c)
        out.ice[k], out.water[k], out.heat[k], out.density[k], out.albedo[k] = (
            new.ice, new.water, new.heat, new.density, new.albedo)
        out.film[k] = film + melt.runoff
