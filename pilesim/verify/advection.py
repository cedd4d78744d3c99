"""Heat carried by gas that a pressure difference drives through a box, against an exact transient solution."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import erfc, erfcx

from pilesim.balances.surface import FIXED, Boundary
from pilesim.section.grid import MIX
from pilesim.verify.check import MATHEMATICS, Check, largest_error, order
from pilesim.verify.reduced import along, dry_physics, line, reduced, run, tight

CONCENTRATION, MOLE, HEAT_CAPACITY = 40.0, 0.029, 1000.0  # mol m-3, kg mol-1, J kg-1 K-1, of the gas
C, K, PERMEABILITY, VISCOSITY = 2e5, 0.4, 1e-8, 1.8e-5  # J m-3 K-1, W m-1 K-1, m2, Pa s of the bed and its gas
COLD, HOT, LENGTH, HEIGHT = 300.0, 340.0, 2.0, 0.1
SPREAD = K / C  # m2 s-1
SPEED = 40.0 * SPREAD / LENGTH  # m s-1, of the heat front: Peclet number 40 over the box, 1 over the coarsest cells
START, END = 0.1 * LENGTH / SPEED, 0.3 * LENGTH / SPEED  # s; the far end stays cold within 1e-8
SOURCE = "Ogata & Banks (1961), U.S. Geological Survey Professional Paper 411-A (TO CHECK)"


def front(x: np.ndarray, t: float) -> np.ndarray:
    """[erfc((x - v t) / 2 sqrt(D t)) + exp(v x / D) erfc((x + v t) / 2 sqrt(D t))] / 2: Ogata & Banks (1961)."""
    root = 2 * math.sqrt(SPREAD * t)
    ahead, behind = (x - SPEED * t) / root, (x + SPEED * t) / root
    return np.asarray(0.5 * (erfc(ahead) + np.exp(-(ahead**2)) * erfcx(behind)))


def heat_front(way: int) -> list[Check]:
    """Front entering at a fixed temperature, to the right (1) or the left (-1); it starts some way in, where it is smooth.

    Cells and steps are halved together.
    """
    gas_speed = SPEED * C / (CONCENTRATION * MOLE * HEAT_CAPACITY)
    push = gas_speed * VISCOSITY * LENGTH / PERMEABILITY
    physics = dry_physics(concentration=CONCENTRATION, viscosity=VISCOSITY, gravity=0.0, dry_air_molar_mass=MOLE,
                          dry_air_heat_capacity=HEAT_CAPACITY)
    inlet = Boundary(flow_open=True, pressure=push, temperature=HOT, heat_film=FIXED)
    names = ("left", "right")[::way]
    errors, fluxes = [], []
    for size in (40, 80, 160):
        problem = reduced(line(size, LENGTH), dict(zip(names, (inlet, Boundary(flow_open=True)), strict=True)), physics,
                          heat_capacity={MIX: C}, conductivity={MIX: K}, permeability={MIX: PERMEABILITY})
        distance = problem.mesh.x[:-1] if way == 1 else LENGTH - problem.mesh.x[:-1]
        problem.temperature[:-1] = COLD + (HOT - COLD) * front(distance, START)
        state, _ = run(problem, END - START, tight((END - START) / (size // 2), oxygen_sweeps=1))
        flux = along(problem, state.east)[:, :-1].sum(axis=0)
        fluxes.append(np.abs(flux * way / (CONCENTRATION * gas_speed * HEIGHT) - 1.0).max())
        errors.append(np.abs((state.temperature[:-1] - COLD) / (HOT - COLD) - front(distance, END)).mean())
    name = f"heat front carried to the {'right' if way == 1 else 'left'}"
    return [order(name, "exact", SOURCE, errors, 0.15),
            largest_error(f"{name}: mean error on 160 cells", "exact", SOURCE, errors[-1:], 5e-5),
            largest_error(f"{name}: error of the gas flux", "exact", f"Darcy's law, {MATHEMATICS}", fluxes, 1e-9)]


def heat_fronts() -> list[Check]:
    """Both ways."""
    return heat_front(1) + heat_front(-1)
