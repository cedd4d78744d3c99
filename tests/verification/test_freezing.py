"""Freezing and thawing by enthalpy against the exact two-phase solution of Neumann, and the laws over ice."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from scipy.optimize import brentq
from scipy.special import erf, erfc

from pilesim.balances.heat import apparent_heat_capacity, enthalpy_of_water, stored_enthalpy, temperature_of
from pilesim.balances.physics import Physics
from pilesim.balances.surface import FIXED, Boundary
from pilesim.build import reduced_problem
from pilesim.matter.moist_air import ice_saturation_pressure, saturation_pressure, vapour_ratio
from pilesim.section.grid import GROUND, MIX, box_grid
from pilesim.solver.march import march
from pilesim.solver.step import Controls
from pilesim.verify.record import record

ZERO, DAY = 273.15, 86400.0
CONDUCTIVITY, CAPACITY, WATER, FUSION = 1.5, 2.0e6, 300.0, 3.336e5  # equal in both phases
SURFACE, START, SPAN = ZERO - 10.0, ZERO + 4.0, 0.05


def neumann_front(time: float) -> float:
    """Depth [m] of the freezing front after `time` [s], equal properties in both phases.

    Carslaw & Jaeger (1959), chapter 11 (where: TO CHECK): front 2 m sqrt(a t) with
    St_s / (exp(m^2) erf m) - St_l / (exp(m^2) erfc m) = m sqrt(pi).
    """
    cold, warm = (CAPACITY * difference / (WATER * FUSION) for difference in (ZERO - SURFACE, START - ZERO))
    root = brentq(lambda m: cold / (math.exp(m * m) * erf(m)) - warm / (math.exp(m * m) * erfc(m))
                  - m * math.sqrt(math.pi), 1e-6, 3.0)
    return 2.0 * root * math.sqrt(CONDUCTIVITY / CAPACITY * time)


def computed_front(cells: int, step: float, material: int, depth: float = 3.0, days: float = 20.0) -> float:
    """Depth [m] of the 0 degC line after `days` in a column of water-bearing soil or mix cooled from its left end."""
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
    _, state, _ = march(problem, days * DAY, controls, lambda stepper, moment: None)
    bottom = problem.mesh.z[:-1] == 0.0
    order = np.argsort(problem.mesh.x[:-1][bottom])
    place, temperature = problem.mesh.x[:-1][bottom][order], state.temperature[:-1][bottom][order]
    middle = ZERO - 0.5 * SPAN
    first = int(np.argmax(temperature > middle))
    share = (middle - temperature[first - 1]) / (temperature[first] - temperature[first - 1])
    return float(place[first - 1] + share * (place[first] - place[first - 1]))


@pytest.mark.parametrize("material", [GROUND, MIX])
def test_freezing_front_follows_neumann(material: int) -> None:
    """Two-phase Neumann solution (see `neumann_front`), in the ground's own solve and in the pile's Newton.

    Tolerance 0.5 %: within a cell the front is placed only to about a quarter of it (observed 2.0, 0.5 and 0.13 % on 60,
    120 and 240 cells of 5, 2.5 and 1.25 cm). Planted: a tenth of the water left out; heat capacity of the
    ramp halved.
    """
    exact = neumann_front(20.0 * DAY)
    assert computed_front(240, 3600.0, material) == pytest.approx(exact, rel=0.005)


def test_thawing_returns_the_heat_of_freezing() -> None:
    """Enthalpy is a function of state: down to -20 degC and back stores nothing. Exact; tolerance is round-off.

    Planted: freezing range off by 10 % in the inverse.
    """
    c = record()
    for water, ground in ((50.0, 0.0), (0.0, 30.0), (20.0, 10.0)):
        for t in (ZERO - 20.0, ZERO - 1.0, ZERO - 0.3, ZERO, ZERO + 5.0):
            stored = stored_enthalpy(t, water, ground, 1e5, c)
            assert temperature_of(stored, water, ground, 1e5, c) == pytest.approx(t, abs=1e-9)
    melted = stored_enthalpy(ZERO, 50.0, 0.0, 1e5, c) - stored_enthalpy(ZERO - c.freezing_range, 50.0, 0.0, 1e5, c)
    assert melted == pytest.approx(50.0 * FUSION + (1e5 + 50.0 * c.water_heat_capacity) * c.freezing_range, rel=1e-12)


def test_derivatives_of_the_enthalpy() -> None:
    """Slopes with temperature and water against central differences within each linear piece (tolerance: round-off).

    Planted: ice heat capacity replaced by that of water; fusion left out of the water derivative.
    """
    c = record()
    for t in (ZERO - 8.0, ZERO - 0.5, ZERO + 3.0):
        slope = (stored_enthalpy(t + 0.1, 20.0, 5.0, 1e5, c) - stored_enthalpy(t - 0.1, 20.0, 5.0, 1e5, c)) / 0.2
        assert apparent_heat_capacity(t, 20.0, 5.0, 1e5, c) == pytest.approx(slope, rel=1e-9)
        per_water = stored_enthalpy(t, 21.0, 5.0, 1e5, c) - stored_enthalpy(t, 20.0, 5.0, 1e5, c)
        assert enthalpy_of_water(t, c) == pytest.approx(per_water, rel=1e-9)


@pytest.mark.parametrize("celsius", [-40.0, -20.0, -10.0, -1.0])
def test_saturation_over_ice(celsius: float) -> None:
    """Saturation pressure over ice against CoolProp's humid air (IAPWS ice); tolerance 0.5 %, its enhancement factor.

    Planted: the law over water (22 % high at -20 degC).
    """
    expected = HAPropsSI("psi_w", "T", ZERO + celsius, "P", 101325.0, "R", 1.0) * 101325.0
    assert ice_saturation_pressure(ZERO + celsius, record()) == pytest.approx(expected, rel=6e-3)


def test_vapour_slope_holds_over_ice() -> None:
    """Derivative of the vapour ratio below 0 degC against central differences; tolerance their truncation.

    Planted: slope of the law over water.
    """
    c = record()
    t = ZERO - 7.0
    _, slope, _ = vapour_ratio(t, 0.9, c)
    expected = (vapour_ratio(t + 0.01, 0.9, c)[0] - vapour_ratio(t - 0.01, 0.9, c)[0]) / 0.02
    assert slope == pytest.approx(expected, rel=1e-6)
    assert saturation_pressure(ZERO, c) == pytest.approx(ice_saturation_pressure(ZERO, c), rel=2e-4)
