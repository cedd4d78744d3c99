"""Oxygen in the coupled solver: diffusion, flow and uptake against exact steady solutions.

Temperature is even and substrate does not run short. Errors are relative to the mole fraction outside. All set-ups are
invented round numbers.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import brentq

from pilesim.balances.surface import Boundary
from pilesim.build import Problem
from pilesim.estimate.formulas import draught_reach, first_order_effectiveness, first_order_profile, zero_order_depth
from pilesim.section.grid import MIX
from pilesim.verify.check import MATHEMATICS, Check, largest_error, order, relative
from pilesim.verify.reduced import FLAT, along, dry_physics, line, reduced, run, tight

LENGTH, WIDTH, DIFFUSIVITY, AMBIENT = 0.8, 0.1, 4e-6, 0.2  # m, m, m2 s-1 effective, mole fraction
CONCENTRATION, VISCOSITY, PERMEABILITY = 40.0, 1.8e-5, 1e-8  # mol m-3, Pa s, m2
MOLE = 0.032  # kg mol-1, of oxygen
STEPS = 100.0
BIOT = 20.0  # of the films that bring oxygen to an end
FILM = BIOT * DIFFUSIVITY / LENGTH
FRESH = Boundary(gas_film=FILM, oxygen=AMBIENT)
MODULI = (0.5, 1.0, 2.0, 5.0)
PECLET_NUMBERS = (1.0, 5.0, 20.0, -5.0)


def respiring(size: int, boundaries: dict[str, Boundary], uptake: float, half: float, **changes: Any) -> Problem:
    """Line whose bed takes up `uptake` X / (X + half) [mol m-3 s-1]."""
    physics = dry_physics(concentration=CONCENTRATION, viscosity=VISCOSITY, gravity=0.0, oxygen_molar_mass=MOLE,
                          oxygen_half_saturation=half, heat_per_oxygen=0.0, **FLAT)
    store = 1e9  # kg m-3, so large that it does not shrink
    values = {"diffusivity": {MIX: DIFFUSIVITY}, "permeability": {MIX: PERMEABILITY}, **changes}
    return reduced(line(size, LENGTH), boundaries, physics, substrate={MIX: store}, rate=uptake * MOLE / store,
                   oxygen=AMBIENT, **values)


def steady(problem: Problem) -> tuple[np.ndarray, float]:
    """Mole fraction along the line, and how far its two rows are apart; every step renews the limiter ratios that its
    sweeps then hold."""
    state, _ = run(problem, STEPS, tight(1.0, iteration=1e-11, oxygen_sweeps=100))
    oxygen = along(problem, state.oxygen)
    return oxygen[0], float(np.ptp(oxygen, axis=0).max())


def _rows_agree(name: str, apart: list[float]) -> Check:
    return largest_error(f"{name}: rows of the line apart", "exact", MATHEMATICS, np.array(apart) / AMBIENT, 1e-9)


def first_order_uptake(modulus: float) -> list[Check]:
    """X / X0 = cosh(phi x / L) / cosh(phi), effectiveness tanh(phi) / phi.

    Monod uptake far below half saturation is first order (half saturation 1e8: within 2e-9).
    """
    half = 1e8
    uptake = modulus**2 * CONCENTRATION * DIFFUSIVITY / LENGTH**2 * half  # then k = uptake / half
    surface = AMBIENT / (1 + modulus * math.tanh(modulus) / BIOT)  # the film's flux is that of the bed
    errors, supplies, apart = [], [], []
    for size in (10, 20, 40):
        problem = respiring(size, {"right": FRESH}, uptake, half)
        oxygen, rows = steady(problem)
        exact = surface * first_order_profile(modulus, problem.grid.x[0] / LENGTH)
        errors.append(np.abs(oxygen - exact).max() / AMBIENT)
        supply = FILM * CONCENTRATION * (AMBIENT - oxygen[-1])  # mol m-2 s-1
        supplies.append(abs(supply * half / (uptake * oxygen[-1] * LENGTH) / first_order_effectiveness(modulus) - 1))
        apart.append(rows)
    name, source = f"first-order oxygen uptake, Thiele modulus {modulus:g}", "Thiele (1939) (TO CHECK)"
    return [order(f"{name}, profile", "exact", source, errors, 0.1),
            order(f"{name}, effectiveness", "exact", source, supplies, 0.1), _rows_agree(name, apart)]


def zero_order_uptake() -> list[Check]:
    """X = X0 (1 - d / depth)^2 down to the depth sqrt(2 D c0 / R), nothing beyond.

    Monod uptake comes near it when half saturation K is small; its first integral, exact where oxygen ends inside,
    (n D dX/dx)^2 = 2 n D R (X - K ln(1 + X/K)), gives the supply for any K.
    """
    depth, half = 0.6 * LENGTH, 1e-4
    surface = AMBIENT / (1 + 2 * LENGTH / depth / BIOT)
    uptake = 2 * DIFFUSIVITY * CONCENTRATION * surface / depth**2
    depth = zero_order_depth(DIFFUSIVITY, CONCENTRATION * surface, uptake)  # the same again

    def into_bed(x: float) -> float:
        return math.sqrt(2 * CONCENTRATION * DIFFUSIVITY * uptake * (x - half * math.log1p(x / half)))

    exact = brentq(lambda x: into_bed(x) - FILM * CONCENTRATION * (AMBIENT - x), 0.0, AMBIENT, xtol=1e-16)
    errors, apart = [], []
    for size in (40, 80, 160):
        problem = respiring(size, {"right": FRESH}, uptake, half)
        oxygen, rows = steady(problem)
        errors.append(abs(oxygen[-1] - exact) / AMBIENT)
        apart.append(rows)
    sharp = surface * np.maximum(1 - (LENGTH - problem.grid.x[0]) / depth, 0.0) ** 2
    name, source = "zero-order oxygen uptake", "depth sqrt(2 D c0 / R), any text on diffusion with reaction"
    return [order(f"{name}, surface", "exact", "first integral of diffusion with Monod uptake", errors, 0.1),
            relative(f"{name}, supply", "exact", source, uptake * depth,
                     FILM * CONCENTRATION * (AMBIENT - float(oxygen[-1])), 0.0025, "mol m-2 s-1"),
            largest_error(f"{name}, profile: error", "exact", source, (oxygen - sharp) / AMBIENT, 0.0025),
            _rows_agree(name, apart)]


def blown(size: int, peclet: float, left: Boundary, right: Boundary, uptake: float = 0.0, **changes: Any) -> Problem:
    """Line through which gas flows to the right, u L / D = `peclet` with D = DIFFUSIVITY."""
    push = peclet * DIFFUSIVITY / LENGTH * VISCOSITY * LENGTH / PERMEABILITY
    ends = {"left": replace(left, flow_open=True, pressure=push), "right": replace(right, flow_open=True)}
    return respiring(size, ends, uptake, 1e-12, **changes)


def between_films(peclet: float, biot: float, left: float, right: float, place: np.ndarray) -> np.ndarray:
    """X = a + b (exp(Pe s) - 1) / (exp(Pe) - 1) at `place` s from 0 to 1: Patankar (1980) ch. 5 (TO CHECK).

    a and b follow from the ends: what gas and film bring, and gas takes away, equals Pe X - dX/ds there.
    """

    def shape(s: np.ndarray) -> np.ndarray:
        return np.asarray(np.expm1(peclet * s) / math.expm1(peclet))

    def slope(s: float) -> float:
        return peclet * math.exp(peclet * s) / math.expm1(peclet)

    entering, leaving = max(peclet, 0.0) + biot, max(-peclet, 0.0) + biot  # weights of what is outside left and right
    a, b = np.linalg.solve([[entering, -slope(0.0)], [leaving, leaving + slope(1.0)]], [entering * left, leaving * right])
    return np.asarray(a + b * shape(place))


def diffusion_against_flow(peclet: float) -> list[Check]:
    """Steady advection and diffusion between two films, which tends to (e^{Pe s} - 1) / (e^{Pe} - 1) for perfect ones."""
    errors, apart = [], []
    for size in (40, 80, 160):
        low, high = (Boundary(gas_film=FILM, oxygen=value) for value in (0.1 * AMBIENT, AMBIENT))
        problem = blown(size, peclet, low, high)
        exact = between_films(peclet, BIOT, 0.1 * AMBIENT, AMBIENT, problem.grid.x[0] / LENGTH)
        oxygen, rows = steady(problem)
        errors.append(np.abs(oxygen - exact).max() / AMBIENT)
        apart.append(rows)
    name = f"oxygen by flow and diffusion, Peclet {peclet:g}"
    return [order(name, "exact", "Patankar (1980) ch. 5 (TO CHECK)", errors, 0.12), _rows_agree(name, apart)]


def plug_flow() -> list[Check]:
    """X = X0 - R z / (n u), straight down along the flow: exact on any grid. Seven tenths are used on the way."""
    speed = 5 * DIFFUSIVITY / LENGTH
    uptake = 0.7 * AMBIENT * CONCENTRATION * speed / LENGTH
    problem = blown(20, 5.0, Boundary(oxygen=AMBIENT), Boundary(), uptake, diffusivity={MIX: 0.0})
    exact = AMBIENT * (1 - problem.grid.x[0] / draught_reach(speed, CONCENTRATION * AMBIENT, uptake))
    return [largest_error("oxygen in plug flow with zero-order uptake: error", "exact", MATHEMATICS,
                          (steady(problem)[0] - exact) / AMBIENT, 1e-9)]


def uptake_and_flow() -> list[Check]:
    """All of the above."""
    rows = [check for modulus in MODULI for check in first_order_uptake(modulus)] + zero_order_uptake()
    return rows + [check for peclet in PECLET_NUMBERS for check in diffusion_against_flow(peclet)] + plug_flow()
