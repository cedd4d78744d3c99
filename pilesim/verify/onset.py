"""Onset of convection in a porous layer heated from below: the Rayleigh number at which a small disturbance neither grows nor
dies, by growth rates of the coupled solver.

The box is half a wave wide, so its gravest mode is the critical one; side walls are closed and insulated.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from pilesim.balances.surface import FIXED, Boundary
from pilesim.estimate.formulas import onset_of_convection
from pilesim.solver.march import Moment
from pilesim.verify.cavity import DIFFUSION_TIME, MEAN, K, extrapolated, porous_box
from pilesim.verify.check import Check, order, relative
from pilesim.verify.reduced import run, tight

DIFFERENCE = 0.02  # K: the linear theory has a density linear in temperature; at 1 K an open top moves by 5e-4
WARM, COLD = MEAN + 0.5 * DIFFERENCE, MEAN - 0.5 * DIFFERENCE
HELD_BELOW = Boundary(heat_film=FIXED, temperature=WARM)
FAR = 1e9  # K: a film to an outside so hot that its flux does not feel the layer
HEATED_BELOW = Boundary(heat_film=K * (WARM - COLD) / (FAR - MEAN), temperature=FAR)
HELD_ABOVE = Boundary(heat_film=FIXED, temperature=COLD)
OPEN_ABOVE = Boundary(flow_open=True, heat_film=FIXED, temperature=COLD)
# name: floor, top, what others give (TO CHECK), source
LAYERS = {
    "closed": (HELD_BELOW, HELD_ABOVE, 39.478, "4 pi^2, Horton & Rogers (1945), Lapwood (1948) (TO CHECK)"),
    "open top": (HELD_BELOW, OPEN_ABOVE, 27.098, "Lapwood (1948), Nield (1968) (TO CHECK)"),
    "open top, even heat from below": (HEATED_BELOW, OPEN_ABOVE, 17.654, "Nield (1968) (TO CHECK)"),
}
SIZE_OF_PUSH = 1e-4 * DIFFERENCE
COARSEST = 8  # cells over the height


def determinant(rayleigh: float, wave: float, held: bool, closed: bool) -> float:
    """Zero where a disturbance of `wave` number [per height] is marginal: (D^2 - a^2)^2 t = a^2 Ra t.

    Floor closed and of given temperature (`held`) or heat; top of given temperature, closed or open. With w = -(D^2 - a^2) t
    the solutions are cos and cosh of k = sqrt(a sqrt(Ra) - a^2) and m = sqrt(a sqrt(Ra) + a^2).
    """
    lift = wave * math.sqrt(rayleigh)
    k, m = math.sqrt(lift - wave**2), math.sqrt(lift + wave**2)
    # t = A sin kz + B cos kz + C sinh mz + E cosh mz; w = lift (A sin kz + B cos kz - C sinh mz - E cosh mz)
    s, c, sh, ch = math.sin(k), math.cos(k), math.sinh(m), math.cosh(m)
    floor = [[0.0, 1.0, 0.0, 1.0] if held else [k, 0.0, m, 0.0], [0.0, 1.0, 0.0, -1.0]]
    top = [[s, c, sh, ch], [s, c, -sh, -ch] if closed else [k * c, -k * s, -m * ch, -m * sh]]
    return float(np.linalg.det(np.array(floor + top)) / ch)


@cache
def critical_exactly(held: bool, closed: bool) -> tuple[float, float]:
    """Critical Rayleigh number and its wave number [per height], by linear stability."""

    def marginal(wave: float) -> float:
        lowest = wave**2 * (1.0 + 1e-9)
        grid = np.linspace(lowest, 200.0, 4000)
        values = np.array([determinant(r, wave, held, closed) for r in grid])
        first = int(np.argmax(np.sign(values[1:-1]) * np.sign(values[2:]) <= 0.0)) + 1
        return float(brentq(determinant, grid[first], grid[first + 1], args=(wave, held, closed), xtol=1e-12))

    found = minimize_scalar(marginal, bounds=(1.2, 4.0), method="bounded", options={"xatol": 1e-8})
    return float(found.fun), float(found.x)


def growth_rate(layer: str, rayleigh: float, wave: float, cells: int, ratio: float = 1.0) -> float:
    """Of the gravest disturbance, per diffusion time of the height, between one half and one such time."""
    floor, top, _, _ = LAYERS[layer]
    across = cells * round(COARSEST * math.pi / wave) // COARSEST  # cells of one shape on all grids
    problem = porous_box(rayleigh, np.linspace(0.0, math.pi / wave, across + 1), np.linspace(0.0, 1.0, cells + 1),
                         {"floor": floor, "top": top}, DIFFERENCE, ratio)
    x, z = problem.mesh.x[:-1], problem.mesh.z[:-1]
    steady = WARM + (COLD - WARM) * z
    problem.temperature[:-1] = steady + SIZE_OF_PUSH * np.cos(wave * x) * np.sin(0.5 * math.pi * (1.0 - z))
    sizes: dict[float, float] = {}

    def observe(moment: Moment) -> None:
        mode = np.cos(wave * x) * problem.pile_volume[:-1]
        sizes[round(moment.after.time / DIFFUSION_TIME, 6)] = float(mode @ (moment.after.temperature[:-1] - steady))

    controls = tight(0.025 * DIFFUSION_TIME, iteration=1e-12, passes=8, oxygen_sweeps=1)
    run(problem, DIFFUSION_TIME, controls, observe)
    return math.log(sizes[1.0] / sizes[0.5]) / 0.5


@cache
def critical(layer: str, cells: int, exact: float, wave: float, ratio: float = 1.0) -> float:
    """Rayleigh number of no growth on a grid, by a straight line through the rates 2 % to both sides of `exact`."""
    low, high = 0.98 * exact, 1.02 * exact
    below, above = (growth_rate(layer, rayleigh, wave, cells, ratio) for rayleigh in (low, high))
    return low + (high - low) * -below / (above - below)


def onset(layer: str) -> list[Check]:
    """Order on three grids and the extrapolated value, against the determinant; the determinant against what others give."""
    floor, top, published, source = LAYERS[layer]
    exact, wave = critical_exactly(floor is HELD_BELOW, not top.flow_open)
    found = np.array([critical(layer, cells, exact, wave) for cells in (COARSEST, 2 * COARSEST, 4 * COARSEST)])
    name = f"onset of convection, {layer}"
    return [order(name, "exact", "linear stability, computed here", found - exact, 0.4),
            relative(f"{name}: critical Rayleigh number", "exact", "linear stability, computed here", exact,
                     extrapolated(found[-2:]), 1e-3),
            relative(f"{name}: critical Rayleigh number as published", "external", source, published,
                     extrapolated(found[-2:]), 1e-3)]


def onset_in_layers(ratio: float = 4.0) -> list[Check]:
    """A closed layer `ratio` times as permeable across: pi^2 (1 + sqrt(1/ratio))^2 at the wave number pi ratio^(-1/4)."""
    exact, wave = onset_of_convection(1.0 / ratio), math.pi * ratio**-0.25
    found = np.array([critical("closed", cells, exact, wave, ratio) for cells in (COARSEST, 2 * COARSEST)])
    name = f"onset of convection, {ratio:g} times as permeable across: critical Rayleigh number"
    source = "Castinel & Combarnous (1974) (recalled, TO CHECK); exact mathematics"
    return [relative(name, "external", source, exact, extrapolated(found), 3e-3)]
