"""Critical self-heating of Frank-Kamenetskii: beyond one strength of source no steady temperature exists.

    lambda laplace T + q exp((T - T0) / s) = 0, T = T0 on the surface;  delta = q L^2 / (lambda s)

The critical delta is found as an engineer would find it: by bisection between bodies that come to rest and bodies that
run away, marched by the coupled solver. The substrate is so plentiful that it does not shrink. Set-ups are invented.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
from scipy.optimize import minimize_scalar

from pilesim.balances.surface import FIXED, Boundary
from pilesim.build import Problem
from pilesim.section.grid import MIX, SectionGrid, box_grid
from pilesim.solver.march import Moment
from pilesim.verify.cavity import extrapolated
from pilesim.verify.check import Check, Kind, order, relative
from pilesim.verify.reduced import dry_physics, reduced, run, tight

SURFACE, SCALE, LENGTH, K, C = 300.0, 10.0, 0.5, 0.4, 2e6  # K, K, m, W m-1 K-1, J m-3 K-1
DIFFUSION_TIME = LENGTH**2 * C / K
RAN_AWAY = 4.0  # scales above the surface: beyond every critical centre (1.19, 1.39, 1.39), where no way leads back
LONGEST = 400.0  # diffusion times: beyond critical by 1e-4 a body takes some 200 to run away
AT_REST = 1e-6  # scales per step
HALVINGS = 13  # of a bracket of 16 %: 2e-5
STEP = 0.5 * DIFFUSION_TIME
MOST_SWEEPS = 1000  # of a step that has no solution


class _Decided(Exception):
    """The body ran away, or came to rest."""


def slab(size: int) -> SectionGrid:
    """Half a slab, insulated in its middle."""
    return box_grid(np.linspace(0.0, LENGTH, size + 1), np.array([0.0, 0.1]), np.full((1, size), MIX))


def cylinder(size: int) -> SectionGrid:
    """A ring of a long cylinder, from its axis out."""
    return box_grid(np.linspace(0.0, LENGTH, size + 1), np.array([0.0, 0.1]), np.full((1, size), MIX), axisymmetric=True)


def square(size: int) -> SectionGrid:
    """A quarter of a square rod."""
    even = np.linspace(0.0, LENGTH, size + 1)
    return box_grid(even, even, np.full((size, size), MIX))


def slab_exactly() -> float:
    """Largest delta = 2 exp(-t) arcosh(exp(t / 2))^2 over the centre's rise t [1]: exact for the slab."""
    found = minimize_scalar(lambda t: -2.0 * math.exp(-t) * math.acosh(math.exp(0.5 * t)) ** 2, bounds=(0.5, 2.0),
                            method="bounded", options={"xatol": 1e-10})
    return -float(found.fun)


def body(grid: SectionGrid, delta: float) -> Problem:
    """The body at its surface's temperature, with a source of strength `delta`."""
    release, store = 1e7, 1e9  # J per kg of oxygen and of substrate, kg m-3
    strength = delta * K * SCALE / LENGTH**2  # W m-3
    physics = dry_physics(gravity=0.0, oxygen_half_saturation=1e-15, oxygen_molar_mass=1e9, heat_per_oxygen=release)
    physics = replace(physics, ignition_temperature=SURFACE, ignition_scale=SCALE)
    held = Boundary(heat_film=FIXED, temperature=SURFACE, gas_film=1.0, oxygen=0.2)
    names = ("right", "top") if grid.x.shape[0] > 2 else ("right",)
    return reduced(grid, dict.fromkeys(names, held), physics, conductivity={MIX: K}, heat_capacity={MIX: C},
                   substrate={MIX: store}, rate=strength / release / store, temperature=SURFACE, diffusivity={MIX: 1.0})


def runs_away(grid: SectionGrid, delta: float) -> bool:
    """Whether the body leaves every bound; one that does neither within `LONGEST` counts as at rest."""
    verdict = [False]

    def observe(moment: Moment) -> None:
        rise = (moment.after.temperature[:-1].max() - SURFACE) / SCALE
        change = np.abs(moment.after.temperature - moment.before.temperature).max() / SCALE
        if rise > RAN_AWAY or (change < AT_REST and moment.step > 0.0 and moment.after.time > 4 * DIFFUSION_TIME):
            verdict[0] = bool(rise > RAN_AWAY)
            raise _Decided

    controls = replace(tight(STEP, iteration=1e-7, oxygen_sweeps=1), most_sweeps=MOST_SWEEPS)
    try:
        run(body(grid, delta), LONGEST * DIFFUSION_TIME, controls, observe)
    except _Decided:
        return verdict[0]
    return False


@cache
def critical(shape: Callable[[int], SectionGrid], size: int, near: float) -> float:
    """Critical delta on a grid of `size` cells, sought within 8 % of `near`; NaN if it is not there."""
    grid, low, high = shape(size), 0.92 * near, 1.08 * near
    if runs_away(grid, low) or not runs_away(grid, high):
        return math.nan
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if runs_away(grid, middle) else (middle, high)
    return 0.5 * (low + high)


def compared(name: str, shape: Callable[[int], SectionGrid], kind: Kind, source: str, exact: float,
             sizes: tuple[int, ...]) -> list[Check]:
    """Order of the error on `sizes` and the value extrapolated from the last two."""
    found = np.array([critical(shape, size, exact) for size in sizes])
    label = f"critical self-heating, {name}"
    return [order(label, kind, source, found - exact, 0.25),
            relative(f"{label}: delta", kind, source, exact, extrapolated(found[-2:]), 1e-3)]


def critical_slab() -> list[Check]:
    """0.8785, half the thickness as length."""
    return compared("slab", slab, "exact", "quadrature of the slab's equation, Frank-Kamenetskii (1938)", slab_exactly(),
                    (4, 8, 16))


def critical_cylinder() -> list[Check]:
    """2, the radius as length: exact."""
    return compared("cylinder", cylinder, "exact", "closed form of the cylinder, 2 exactly, Frank-Kamenetskii (1938)", 2.0,
                    (4, 8, 16))


def critical_square() -> list[Check]:
    """1.702, half the side as length."""
    source = "1.702, as texts on thermal explosion give it (TO CHECK)"
    return compared("square rod", square, "external", source, 1.702, (4, 8))
