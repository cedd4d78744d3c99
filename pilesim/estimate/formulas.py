"""Closed formulas of flow, heat and oxygen in a porous bed; each stated once, for estimates and for verification alike.

Plain mathematics in SI units: no constants, no laws of the bed. Verification holds the solver against the same functions.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from scipy.optimize import brentq
from scipy.special import erf, erfc


# ------------------------------------------------------------------------------------------------- flow
def series_draught(push: float, resistances: Sequence[float]) -> float:
    """Speed [m s-1] that `push` [Pa] drives through `resistances` mu L / K [Pa s m-1] in series. Source: Darcy's law."""
    return push / sum(resistances)


def neutral_draught(z: np.ndarray, area: np.ndarray) -> tuple[float, float, float, float]:
    """Where warm gas of one density enters and leaves a body through its skin, the body itself without resistance.

    Inside, p' rises with height as the lift does, so gas crosses the skin in proportion to the height above a neutral level;
    what enters below it leaves above.

    Parameters
    ----------
    z, area : (n,) arrays
        Height [m] of the parts of the skin and their area [m2], or length [m] of a section.

    Returns
    -------
    tuple of float
        Neutral height [m], area that gas enters and area that it leaves by (of all the skin), and the mean height between
        the two [m]. Flow is lift x that height over the skin's resistance, of entry and exit in series.

    Source: hydrostatics and Darcy's law, exact for an even skin and no resistance inside.
    """
    level = float(z @ area / area.sum())
    below = z < level
    enters, leaves = float(area[below].sum()), float(area[~below].sum())
    if enters <= 0.0 or np.ptp(z) <= 0.0:
        return level, 0.0, leaves, 0.0
    between = float(z[~below] @ area[~below] / leaves - z[below] @ area[below] / enters)
    return level, enters, leaves, between


def draught_of_even_source(permeability: float, gravity: float, air_temperature: float, source: float, height: float,
                           viscosity: float, capacity: float) -> float:
    """Speed [m s-1] in a column of `height` [m] with an even heat `source` [W m-3], all of it leaving with the gas.

    U^2 = K g q H / (2 T_a mu c), no conduction and a small excess over `air_temperature` [K]; `capacity` in J kg-1 K-1.
    Source: Darcy's law with an ideal gas, linearised.
    """
    return math.sqrt(permeability * gravity / air_temperature * source * height / (2.0 * viscosity * capacity))


def rayleigh_number(permeability: float, push: float, height: float, viscosity: float, gas_capacity: float,
                    conductivity: float) -> float:
    """Darcy-Rayleigh number [1]: K g d_rho H (rho c) / (mu lambda), `push` = g d_rho [Pa m-1], `gas_capacity` in J m-3 K-1.

    Source: Horton & Rogers 1945, Lapwood 1948.
    """
    return permeability * push * height * gas_capacity / (viscosity * conductivity)


def onset_of_convection(vertical_to_horizontal: float = 1.0) -> float:
    """Rayleigh number, on the vertical permeability, from which a closed layer heated below convects: pi^2 (1 + sqrt xi)^2.

    `vertical_to_horizontal` is xi = K_z / K_x; with 1 it is 4 pi^2. Source: lowest over the wave number a of
    (xi pi^2 + a^2)(pi^2 + a^2) / a^2, exact; Castinel & Combarnous 1974 (recalled from memory, TO CHECK).
    """
    return math.pi**2 * (1.0 + math.sqrt(vertical_to_horizontal)) ** 2


# ------------------------------------------------------------------------------------------------- heat
def transmittance(film: float, layers: Sequence[tuple[float, float]]) -> float:
    """Heat passed per area and kelvin [W m-2 K-1] by layers (thickness [m], conductivity [W m-1 K-1]) under a `film`.

    Source: thermal resistances in series, exact in one dimension.
    """
    return 1.0 / (1.0 / film + sum(thickness / conductivity for thickness, conductivity in layers))


def time_to_warm(capacity: float, start: float, end: float, surplus: Callable[[float], float], parts: int = 200) -> float:
    """Time [s] in which a stirred body of heat `capacity` [J K-1] warms from `start` to `end` [K] by `surplus`(T) [W].

    The integral of C dT / surplus (midpoints); infinite where the surplus runs out on the way. Exact for a body of one
    temperature.
    """
    width = (end - start) / parts
    gains = [surplus(start + (k + 0.5) * width) for k in range(parts)]
    if min(gains) <= 0.0:
        return math.inf
    return capacity * width * sum(1.0 / gain for gain in gains)


def neumann_front(time: float, *, conductivity: float, capacity: float, water: float, fusion: float, surface: float,
                  start: float, melting: float) -> float:
    """Depth [m] of the freezing front after `time` [s] under a `surface` temperature that is suddenly held [K].

    Equal properties in both phases: `conductivity` [W m-1 K-1], `capacity` [J m-3 K-1], `water` [kg m-3] with heat of
    `fusion` [J kg-1], `start` the temperature before [K]. Front 2 m sqrt(a t) with
    St_s / (exp(m^2) erf m) - St_l / (exp(m^2) erfc m) = m sqrt(pi).

    Source: Neumann's two-phase solution, Carslaw & Jaeger (1959) chapter 11 (TO CHECK), exact.
    """
    cold, warm = (capacity * difference / (water * fusion) for difference in (melting - surface, start - melting))

    def excess(m: float) -> float:
        return float(cold / (math.exp(m * m) * erf(m)) - warm / (math.exp(m * m) * erfc(m)) - m * math.sqrt(math.pi))

    return 2.0 * float(brentq(excess, 1e-6, 3.0)) * math.sqrt(conductivity / capacity * time)


def stefan_front(time: float, *, conductivity: float, resistance: float, water: float, fusion: float,
                 difference: float) -> float:
    """Depth [m] that freezes in `time` [s] under a skin of thermal `resistance` [m2 K W-1], `difference` [K] below melting.

    x = sqrt((lambda R)^2 + 2 lambda d t / (w L)) - lambda R: only the heat of fusion counts, all of it begins at melting.

    Source: Stefan's quasi-steady solution with a resistance, any text on freezing of ground; an upper bound.
    """
    skin = conductivity * resistance
    return math.sqrt(skin * skin + 2.0 * conductivity * difference * time / (water * fusion)) - skin


# ------------------------------------------------------------------------------------------------- oxygen
def zero_order_depth(diffusivity: float, concentration: float, uptake: float) -> float:
    """Depth [m] that oxygen reaches by diffusion: sqrt(2 D c / R), `concentration` at the surface [mol m-3], R [mol m-3 s-1].

    Source: any text on diffusion with reaction, exact for an even uptake.
    """
    return math.sqrt(2.0 * diffusivity * concentration / uptake)


def depth_under_cover(diffusivity: float, concentration: float, uptake: float, thickness: float,
                      cover_diffusivity: float) -> float:
    """As `zero_order_depth`, under an idle cover of `thickness` [m]: x^2 / 2D + x t / D_c = c / R.

    Source: the cover passes R x, the bed beneath reaches x with what is left at its surface; exact.
    """
    skin = diffusivity * thickness / cover_diffusivity
    return math.sqrt(skin * skin + 2.0 * diffusivity * concentration / uptake) - skin


def draught_reach(speed: float, concentration: float, uptake: float) -> float:
    """Way [m] along which gas of superficial `speed` [m s-1] loses its oxygen: u c / R. Source: plug flow, exact."""
    return speed * concentration / uptake


def thiele_modulus(length: float, diffusivity: float, concentration: float, uptake: float) -> float:
    """Thiele modulus [1]: L sqrt(R / (D c)). Source: Thiele (1939) (TO CHECK)."""
    return length * math.sqrt(uptake / (diffusivity * concentration))


def first_order_profile(modulus: float, place: np.ndarray | float) -> np.ndarray:
    """Share of the surface's oxygen [1] at `place` (0 at the closed middle, 1 at the surface), uptake of first order.

    cosh(phi s) / cosh(phi). Source: Thiele (1939) (TO CHECK), exact.
    """
    return np.asarray(np.cosh(modulus * np.asarray(place)) / math.cosh(modulus))


def first_order_effectiveness(modulus: float) -> float:
    """Uptake over that with full oxygen everywhere [1]: tanh(phi) / phi. Source: Thiele (1939) (TO CHECK), exact."""
    return math.tanh(modulus) / modulus


def stirred_oxygen(supply: float, outside: float, uptake: float, half: float) -> float:
    """Mole fraction of oxygen [1] in a stirred body: supply (X_0 - X) = R X / (X + K), the positive root.

    `supply` [mol s-1] of gas that comes in with `outside` [1]; `uptake` [mol s-1] of plenty; `half` saturation [1].
    Source: mass balance, exact for a stirred body.
    """
    b = supply * (half - outside) + uptake
    if supply <= 0.0:
        return 0.0
    root = math.sqrt(b * b + 4.0 * supply * supply * half * outside)
    return 2.0 * supply * half * outside / (root + b) if b > 0.0 else (root - b) / (2.0 * supply)  # no difference of likes
