"""Translation and scaling: no length, place or time is built into the scheme (kind: exact).

Similarity of the reduced balances. With all lengths times s and time times s^2 the equations keep their form when
Fourier k t / (C L^2): conductivity, heat capacity, diffusivity and porosity stay;
Biot h L / k: films of heat and oxygen over s;
Rayleigh K g d_rho C L / (mu k): permeability over s (gas speeds over s, so gas per metre of section stays);
Damkoehler rate L^2 / D, and heat released per time: rate over s^2, with the same substrate per volume.
Then temperature and oxygen are equal at equal share of the time. Dimensional analysis, no source needed.
"""

from dataclasses import replace

import numpy as np
import pytest

from pilesim.balances.surface import Boundary
from pilesim.build import reduced_problem
from pilesim.section.grid import COVER, GROUND, MIX, section_grid
from pilesim.verify.reduced import R1_AIR, R1_DENSITY, R1_START, dry_physics, one_gas, run, tight

MOLE, STEPS, STEP = 0.02896, 36, 3600.0
AMBIENT, STALE = 0.28 / R1_DENSITY, 0.02 / R1_DENSITY  # mole fractions
EVERYWHERE = (MIX, COVER, GROUND)


def pile(shape, scale=1.0):
    """Ridge or cone of 3 m by 1.2 m under 0.2 m of cover, with ground, all lengths times `scale`."""
    return section_grid(shape=shape, base_width=3.0 * scale, height=1.2 * scale, crest_width=0.0,
                        cover_thickness=0.2 * scale, base_thickness=0.0, base_edge="closed", cell=0.1 * scale, refinement=1,
                        ground_depth=scale, ground_width=scale)


def solve(grid, scale=1.0):
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


def assert_equal_fields(one, two, pile_count):
    """Relative 1e-9: iterations stop at 1e-12 and the steps hand that on; observed 3e-11 at most."""
    rise = np.ptp(one.temperature[:-1])
    assert rise > 20.0 and np.ptp(one.oxygen[:pile_count]) > 0.15  # heat and oxygen have something to show
    assert two.temperature - R1_START == pytest.approx(one.temperature - R1_START, abs=1e-9 * rise)
    assert two.oxygen == pytest.approx(one.oxygen, abs=1e-9)


@pytest.mark.parametrize(("shape", "across"), [("ridge", -7.3), ("ridge", 41.0), ("round", 0.0)])
def test_place_does_not_matter(shape, across):
    """Moved sideways (a heap's axis stays) and 23 m up. Faults that fail it: buoyancy from the lift of an edge's ends
    times their heights, not the difference of heights; a plane section weighed with its abscissae."""
    grid = pile(shape)
    problem, here = solve(grid)
    _, there = solve(replace(grid, x=grid.x + across, z=grid.z + 23.0))
    assert_equal_fields(here, there, problem.mesh.pile_count)


@pytest.mark.parametrize("shape", ["ridge", "round"])
def test_size_does_not_matter(shape):
    """Three times as large. Gas out of the section: the same per metre, three times of a heap; substrate by volume.

    Faults that fail it: 1 mm added to the limiter's distance upstream, or to the length of each edge in the heat film.
    """
    problem, small = solve(pile(shape))
    _, large = solve(pile(shape, 3.0), 3.0)
    assert_equal_fields(small, large, problem.mesh.pile_count)
    dimensions = 3 if shape == "round" else 2
    flow = np.abs(small.outflow).max()
    assert large.outflow / 3.0 ** (dimensions - 2) == pytest.approx(small.outflow, abs=1e-9 * flow)
    assert large.substrate / 3.0**dimensions == pytest.approx(small.substrate, rel=1e-9)
