"""Freezing by enthalpy against the exact two-phase solution of Neumann."""

from __future__ import annotations

import numpy as np

from pilesim.balances.physics import Physics
from pilesim.balances.surface import FIXED, Boundary
from pilesim.estimate.formulas import neumann_front
from pilesim.section.grid import GROUND, MIX, box_grid
from pilesim.solver.march import march
from pilesim.solver.step import Controls
from pilesim.verify.check import Check, relative
from pilesim.verify.reduced import reduced_problem

ZERO, DAY = 273.15, 86400.0
CONDUCTIVITY, CAPACITY, WATER, FUSION = 1.5, 2.0e6, 300.0, 3.336e5  # equal in both phases
SURFACE, START, SPAN = ZERO - 10.0, ZERO + 4.0, 0.05
DAYS = 20.0


def exact_front(time: float) -> float:
    """Depth [m] of the freezing front after `time` [s] by Neumann's solution."""
    return neumann_front(time, conductivity=CONDUCTIVITY, capacity=CAPACITY, water=WATER, fusion=FUSION, surface=SURFACE,
                         start=START, melting=ZERO)


def computed_front(cells: int, step: float, material: int, depth: float = 3.0) -> float:
    """Depth [m] of the 0 degC line after `DAYS` in a column of water-bearing soil or mix cooled from its left end."""
    x = np.linspace(0.0, depth, cells + 1)
    cell_material = np.full((1, cells), material)
    cell_material[0, -1] = MIX  # the solver expects some pile
    grid = box_grid(x, np.array([0.0, 0.1]), cell_material)
    given = {material: 1.0, MIX: 1.0}
    physics = Physics(moist=False, constant_density=True, composition_in_density=False, live_bed=False,
                      store_oxygen=False, constants={"freezing_range": SPAN})
    problem = reduced_problem(
        grid, physics, {"left": Boundary(heat_film=FIXED, temperature=SURFACE)}, heat_capacity=dict.fromkeys(given, CAPACITY),
        conductivity=dict.fromkeys(given, CONDUCTIVITY), permeability={MIX: 1e-20}, diffusivity={MIX: 1e-9},
        air_filled_porosity=0.3, substrate={}, rate=0.0, temperature=START, oxygen=0.0, ambient_density=1.2,
        pressure=101325.0, freezable_water=WATER)
    controls = Controls(fixed_step=step, tolerance=1e-6, most_sweeps=400)
    _, state, _ = march(problem, DAYS * DAY, controls, lambda stepper, moment: None)
    bottom = problem.mesh.z[:-1] == 0.0
    ranked = np.argsort(problem.mesh.x[:-1][bottom])
    place, temperature = problem.mesh.x[:-1][bottom][ranked], state.temperature[:-1][bottom][ranked]
    middle = ZERO - 0.5 * SPAN
    first = int(np.argmax(temperature > middle))
    share = (middle - temperature[first - 1]) / (temperature[first] - temperature[first - 1])
    return float(place[first - 1] + share * (place[first] - place[first - 1]))


def freezing_front(material: int) -> list[Check]:
    """After 20 days, on cells of 1.25 cm: within a cell the front is placed only to about a quarter of it."""
    where = {int(GROUND): "ground", int(MIX): "mix"}[int(material)]
    return [relative(f"depth of the frost in the {where} after 20 days", "exact",
                     "Neumann's two-phase solution, Carslaw & Jaeger (1959) ch. 11 (TO CHECK)", exact_front(DAYS * DAY),
                     computed_front(240, 3600.0, material), 0.005, "m")]


def freezing_fronts() -> list[Check]:
    """In the ground's own solve and in the pile's Newton."""
    return freezing_front(int(GROUND)) + freezing_front(int(MIX))
