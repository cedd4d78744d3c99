"""Translation and scaling: no length, place or time is built into the scheme.

Similarity of the reduced balances. With all lengths times s and time times s^2 the equations keep their form when
Fourier k t / (C L^2): conductivity, heat capacity, diffusivity and porosity stay;
Biot h L / k: films of heat and oxygen over s;
Rayleigh K g d_rho C L / (mu k): permeability over s (gas speeds over s, so gas per metre of section stays);
Damkoehler rate L^2 / D, and heat released per time: rate over s^2, with the same substrate per volume.
Then temperature and oxygen are equal at equal share of the time. Dimensional analysis, no source needed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pilesim.balances.surface import Boundary
from pilesim.build import Problem
from pilesim.model import State
from pilesim.section.grid import COVER, GROUND, MIX, SectionGrid, section_grid
from pilesim.verify.check import Check, largest_error
from pilesim.verify.reduced import R1_AIR, R1_DENSITY, R1_START, dry_physics, one_gas, reduced_problem, run, tight

MOLE, STEPS, STEP = 0.02896, 36, 3600.0
AMBIENT, STALE = 0.28 / R1_DENSITY, 0.02 / R1_DENSITY  # mole fractions
EVERYWHERE = (MIX, COVER, GROUND)
PLACES = (("ridge", -7.3), ("ridge", 41.0), ("round", 0.0))  # moved sideways [m]; a heap's axis stays
SHAPES = ("ridge", "round")
SOURCE = "dimensional analysis"


def pile(shape: str, scale: float = 1.0) -> SectionGrid:
    """Ridge or cone of 3 m by 1.2 m under 0.2 m of cover, with ground, all lengths times `scale`."""
    return section_grid(shape=shape, base_width=3.0 * scale, height=1.2 * scale, crest_width=0.0,
                        cover_thickness=0.2 * scale, base_thickness=0.0, base_edge="closed", cell=0.1 * scale, refinement=1,
                        ground_depth=scale, ground_width=scale)


def solve(grid: SectionGrid, scale: float = 1.0) -> tuple[Problem, State]:
    """Problem and last state after 36 fixed steps on `grid`, all else by the similarity of `scale`."""
    physics = dry_physics(store_oxygen=True, concentration=R1_DENSITY / MOLE, viscosity=1.8e-5, gravity=9.81,
                          gas_constant=8.314, dry_air_heat_capacity=5000.0, oxygen_half_saturation=STALE,
                          ambient_oxygen=AMBIENT, heat_per_oxygen=14e6, **one_gas(MOLE))
    air = Boundary(flow_open=True, heat_film=15.0 / scale, temperature=R1_AIR, gas_film=0.01 / scale, oxygen=AMBIENT)
    ground = Boundary(heat_film=15.0 / scale, temperature=R1_AIR)
    problem = reduced_problem(
        grid, physics, {"surface": air, "ground_surface": ground}, heat_capacity=dict.fromkeys(EVERYWHERE, 2e6),
        conductivity={MIX: 0.40, COVER: 0.25, GROUND: 1.5}, permeability={MIX: 2e-8 / scale, COVER: 2e-9 / scale},
        diffusivity=dict.fromkeys((MIX, COVER), 5e-6), air_filled_porosity=0.35, substrate={MIX: 100.0},
        rate=3e-6 / scale**2, temperature=R1_START, oxygen=AMBIENT, ambient_density=R1_DENSITY, pressure=101325.0)
    state, _ = run(problem, STEPS * STEP * scale**2, tight(STEP * scale**2, passes=4))
    return problem, state


def equal_fields(name: str, one: State, two: State, pile_count: int) -> list[Check]:
    """Relative 1e-9: iterations stop at 1e-12 and the steps hand that on. Fields too even to show anything give NaN."""
    rise = np.ptp(one.temperature[:-1])
    telling = 1.0 if rise > 20.0 and np.ptp(one.oxygen[:pile_count]) > 0.15 else np.nan
    return [largest_error(f"{name}: error of temperature", "exact", SOURCE,
                          telling * (two.temperature - one.temperature) / rise, 1e-9),
            largest_error(f"{name}: error of oxygen", "exact", SOURCE, telling * (two.oxygen - one.oxygen), 1e-9)]


def moved(shape: str, across: float) -> list[Check]:
    """Moved sideways and 23 m up."""
    grid = pile(shape)
    problem, here = solve(grid)
    _, there = solve(replace(grid, x=grid.x + across, z=grid.z + 23.0))
    return equal_fields(f"{shape} pile moved by {across:g} m and 23 m up", here, there, problem.mesh.pile_count)


def enlarged(shape: str) -> list[Check]:
    """Three times as large. Gas out of the section: the same per metre, three times of a heap; substrate by volume."""
    problem, small = solve(pile(shape))
    _, large = solve(pile(shape, 3.0), 3.0)
    dimensions = 3 if shape == "round" else 2
    flow = np.abs(small.outflow).max()
    name, substrate = f"{shape} pile three times as large", small.substrate[small.substrate > 0.0]
    return [*equal_fields(name, small, large, problem.mesh.pile_count),
            largest_error(f"{name}: error of the gas flow", "exact", SOURCE,
                          (large.outflow / 3.0 ** (dimensions - 2) - small.outflow) / flow, 1e-9),
            largest_error(f"{name}: error of the substrate", "exact", SOURCE,
                          large.substrate[small.substrate > 0.0] / 3.0**dimensions / substrate - 1.0, 1e-9)]


def similar_piles() -> list[Check]:
    """Every place and shape."""
    return [check for shape, across in PLACES for check in moved(shape, across)] + [
        check for shape in SHAPES for check in enlarged(shape)]
