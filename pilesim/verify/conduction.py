"""Heat conduction in the coupled solver against exact solutions, on boxes.

Iterations are so tight that only the errors of the grid and of the time steps are left; they are relative to the
initial excess temperature unless said otherwise. All set-ups are invented round numbers.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.linalg import eigh
from scipy.optimize import brentq
from scipy.special import erfc, erfcx

from pilesim.balances.surface import FIXED, Boundary
from pilesim.build import Problem
from pilesim.estimate.formulas import transmittance
from pilesim.model import State
from pilesim.section.grid import COVER, MIX, box_grid
from pilesim.verify.check import MATHEMATICS, Check, largest_error, order
from pilesim.verify.reduced import FLAT, along, dry_physics, line, reduced, run, tight

K, C = 0.4, 2e6  # W m-1 K-1, J m-3 K-1
DIFFUSIVITY = K / C
HOT, AIR = 350.0, 300.0
STILL = dry_physics(gravity=0.0)
BIOT_NUMBERS = (0.1, 1.0, 10.0, 100.0)
SLAB = "Carslaw & Jaeger (1959) ch. 3 (TO CHECK): roots of b tan b = Bi"


def slab(biot: float, fourier: float, place: np.ndarray) -> np.ndarray:
    """Excess temperature over that of the start; `place` runs from 0 at the insulated face to 1 at the cooled one.

    Source: Carslaw & Jaeger (1959) ch. 3 (TO CHECK); forty terms leave less than 1e-16 beyond a Fourier number of 0.02.
    """
    roots = np.array([brentq(lambda b: b * math.sin(b) - biot * math.cos(b), n * math.pi + 1e-12, (n + 0.5) * math.pi,
                             xtol=1e-14) for n in range(40)])
    size = 4 * np.sin(roots) / (2 * roots + np.sin(2 * roots))
    return np.asarray((size * np.exp(-roots**2 * fourier)) @ np.cos(np.outer(roots, place)))


def excess(problem: Problem, state: State) -> np.ndarray:
    """(T - air) / (start - air) as a (nz, nx) array."""
    return np.asarray((along(problem, state.temperature) - AIR) / (HOT - AIR))


def cooled_slab(biot: float) -> list[Check]:
    """Half a slab cooled by convection on its face; cells and time steps are halved together."""
    length, fourier, errors, apart = 0.5, 0.4, [], 0.0
    duration = fourier * length**2 / DIFFUSIVITY
    for size in (10, 20, 40):
        cooled = {"right": Boundary(heat_film=biot * K / length, temperature=AIR)}
        problem = reduced(line(size, length), cooled, STILL, temperature=HOT)
        got = excess(problem, run(problem, duration, tight(duration / size))[0])
        apart = max(apart, float(np.ptp(got, axis=0).max()))
        errors.append(np.abs(got[0] - slab(biot, fourier, problem.grid.x[0] / length)).max())
    name = f"slab cooled by convection, Bi {biot:g}"
    return [order(name, "exact", SLAB, errors, 0.1),
            largest_error(f"{name}: error on 40 cells", "exact", SLAB, errors[-1:], 5e-5),
            largest_error(f"{name}: rows of the line apart", "exact", MATHEMATICS, [apart], 1e-11)]


def cooled_slabs() -> list[Check]:
    """Every Biot number of `cooled_slab`."""
    return [check for biot in BIOT_NUMBERS for check in cooled_slab(biot)]


def order_in_time() -> list[Check]:
    """Slab at Bi 1 on ten cells against the matrix exponential of its finite-volume equations, written out here: the
    grid's error cancels."""
    length, size, fourier = 0.5, 10, 0.4
    film, h, duration = K / length, length / size, fourier * length**2 / DIFFUSIVITY
    stiffness = K / h * (2 * np.eye(size + 1) - np.eye(size + 1, k=1) - np.eye(size + 1, k=-1))
    stiffness[0, 0], stiffness[-1, -1] = K / h, K / h + film
    mass = C * h * np.array([0.5, *[1.0] * (size - 1), 0.5])
    rates, modes = eigh(stiffness, np.diag(mass))
    exact = modes @ (np.exp(-rates * duration) * (modes.T @ mass))
    problem = reduced(line(size, length), {"right": Boundary(heat_film=film, temperature=AIR)}, STILL, temperature=HOT)
    errors = [np.abs(excess(problem, run(problem, duration, tight(duration / n))[0])[0] - exact).max()
              for n in (8, 16, 32)]
    return [order("slab, Bi 1, time steps alone", "exact", "matrix exponential of the finite-volume equations", errors, 0.1)]


def cooled_rectangle() -> list[Check]:
    """Rectangle cooled on two sides: the product of two slabs, Bi 1 and 10."""
    width, height, fourier, errors = 0.5, 0.4, 0.1, []
    duration = fourier * width**2 / DIFFUSIVITY
    for n in (8, 16, 32):
        grid = box_grid(np.linspace(0, width, n + 1), np.linspace(0, height, n + 1), np.full((n, n), MIX))
        cooled = {"right": Boundary(heat_film=1.0 * K / width, temperature=AIR),
                  "top": Boundary(heat_film=10.0 * K / height, temperature=AIR)}
        problem = reduced(grid, cooled, STILL, temperature=HOT)
        exact = np.outer(slab(10.0, fourier * (width / height) ** 2, grid.z[:, 0] / height),
                         slab(1.0, fourier, grid.x[0] / width))
        errors.append(np.abs(excess(problem, run(problem, duration, tight(duration / n))[0]) - exact).max())
    return [order("rectangle cooled on two sides", "exact", "Carslaw & Jaeger (1959) 5.6 (TO CHECK): product of slabs",
                  errors, 0.1)]


def even_source() -> list[Check]:
    """Steady slab with an even heat source, T - Ts = q (L^2 - x^2) / 2k, which the scheme must give exactly.

    The source is respiration of a large store of substrate at one constant rate, so the heat released per mass is
    checked too. The fixed temperature is a film with q L / (1e6 W m-2 K-1) of excess; the substrate shrinks by 1e-9.
    """
    q, length, released = 50.0, 0.5, 1.2 * 1e7  # W m-3, m, J per kg of substrate
    physics = dry_physics(gravity=0.0, oxygen_half_saturation=1e-15, oxygen_molar_mass=1e9, heat_per_oxygen=1e7, **FLAT)
    x = length * np.linspace(0, 1, 13) ** 1.3
    held = Boundary(heat_film=FIXED, temperature=AIR, gas_film=1.0, oxygen=0.2)
    problem = reduced(box_grid(x, np.array([0.0, 0.1]), np.full((1, 12), MIX)), {"right": held}, physics,
                      substrate={MIX: 1e9}, rate=q / released / 1e9, oxygen_demand=1.2, temperature=AIR,
                      diffusivity={MIX: 1e-3})
    duration = 10 * length**2 / DIFFUSIVITY
    state, _ = run(problem, duration, tight(duration / 20, iteration=1e-10))
    rise = q * length**2 / (2 * K)
    error = along(problem, state.temperature)[0] - AIR - q * (length**2 - x**2) / (2 * K)
    return [largest_error("slab with an even heat source: error over the centre's rise", "exact",
                          "parabola, any text on heat conduction", error / rise, 1e-6 + 2 * q * length / FIXED / rise)]


def semi_infinite_body() -> list[Check]:
    """erfc(s) - exp(h x / k + B^2) erfc(s + B), s = x / 2 sqrt(a t), B = h sqrt(a t) / k; graded cells, the far end is
    6 diffusion lengths away."""
    film, duration, length, errors = 2.0, 4 * 86400.0, 2.0, []
    spread = math.sqrt(DIFFUSIVITY * duration)
    b = film * spread / K
    for n in (20, 40, 80):
        x = length * np.linspace(0, 1, n + 1) ** 1.5
        grid = box_grid(x, np.array([0.0, 0.1]), np.full((1, n), MIX))
        problem = reduced(grid, {"left": Boundary(heat_film=film, temperature=AIR)}, STILL, temperature=HOT)
        s = x / (2 * spread)
        exact = erfc(s) - np.exp(-(s**2)) * erfcx(s + b)  # the same as exp(h x / k + B^2) erfc(s + B), without overflow
        errors.append(np.abs(1 - excess(problem, run(problem, duration, tight(duration / n))[0])[0] - exact).max())
    name, source = "half space cooled at its surface", "Carslaw & Jaeger (1959) 2.7 (TO CHECK)"
    return [order(name, "exact", source, errors, 0.1),
            largest_error(f"{name}: error on 80 cells", "exact", source, errors[-1:], 2e-4)]


def layers_in_series() -> list[Check]:
    """Steady heat through two layers between films, 1/h + L1/k1 + L2/k2 + 1/h: piecewise linear, so exact on any grid
    whose vertices meet the interface."""
    x, first = np.array([0.0, 0.1, 0.25, 0.3, 0.5, 0.9]), 3  # m, cells of the first layer
    material, conductivity, film = np.array([[MIX] * first + [COVER] * 2]), {MIX: 0.4, COVER: 0.05}, (5.0, 20.0)
    edges = {"left": Boundary(heat_film=film[0], temperature=HOT), "right": Boundary(heat_film=film[1], temperature=AIR)}
    problem = reduced(box_grid(x, np.array([0.0, 0.1]), material), edges, STILL, conductivity=conductivity)
    state, _ = run(problem, 1e9, tight(1e8))
    resistance = np.array([1 / film[0], *(np.diff(x) / [conductivity[m] for m in material[0]])])
    layers = [(thick, conductivity[m]) for thick, m in zip(np.diff(x), material[0], strict=True)]
    drop = np.cumsum(resistance) / (1 / film[0] + 1 / transmittance(film[1], layers))
    return [largest_error("two layers in series: error over the whole drop", "exact",
                          "thermal resistances add, any text on heat conduction", excess(problem, state)[0] - 1 + drop, 1e-9)]
