"""Draught through a vertical bed: Darcy's law with buoyancy against closed formulas."""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq

from pilesim.balances.airflow import gas_density
from pilesim.balances.physics import Physics, run_record
from pilesim.balances.surface import Boundary
from pilesim.build import Problem
from pilesim.estimate.formulas import draught_of_even_source, series_draught
from pilesim.section.grid import COVER, MIX
from pilesim.solver.step import Controls, begin, make_stepper
from pilesim.verify.check import Check, order, relative
from pilesim.verify.moist_air import HUMID, humid, needs, props
from pilesim.verify.reduced import FLAT, along, column, dry_physics, one_gas, reduced, run

GRAVITY, GAS_CONSTANT, MOLE, PRESSURE = 9.81, 8.314, 0.029, 101325.0
VISCOSITY, CONCENTRATION, WIDTH, AIR = 1.8e-5, 42.0, 0.1, 280.0
DENSITY = PRESSURE * MOLE / (GAS_CONSTANT * AIR)  # kg m-3, of the ambient air
OPEN = {"floor": Boundary(flow_open=True, temperature=AIR), "top": Boundary(flow_open=True, temperature=AIR)}
INSIDE = (330.0, 281.0, 279.0, 250.0)  # K; a column colder than the air draws downward
CLIMATES = ((273.15, 333.15), (293.15, 333.15), (293.15, 278.15))  # K, outside and inside
PRESSURES = (101325.0, 70108.5)  # Pa, sea level and 3000 m


def upward(problem: Problem) -> np.ndarray:
    """Gas flux [mol m-2 s-1] into the floor and out of the top at the start, positive upward; NaN if any leaves between."""
    state, _, _ = begin(make_stepper(problem, Controls()))
    out = along(problem, state.outflow).sum(axis=1) / WIDTH
    return np.array([-out[0], out[-1]]) if np.abs(out[1:-1]).max() == 0.0 else np.full(2, math.nan)


def two_layers(inside: float) -> list[Check]:
    """U = g (rho_a - rho) H / sum(mu L / K), the hydraulic resistances in series."""
    layers = {MIX: (1.5, 1e-8), COVER: (0.3, 5e-10)}  # thickness [m], permeability [m2]
    physics = dry_physics(concentration=CONCENTRATION, viscosity=VISCOSITY, gravity=GRAVITY, gas_constant=GAS_CONSTANT,
                          **one_gas(MOLE))
    grid = column(18, 1.8, np.array([MIX] * 15 + [COVER] * 3))
    problem = reduced(grid, OPEN, physics, permeability={m: k for m, (_, k) in layers.items()}, temperature=inside,
                      ambient_density=DENSITY)
    push = GRAVITY * DENSITY * (1 - AIR / inside) * 1.8
    exact = series_draught(push, [VISCOSITY * thick / k for thick, k in layers.values()])
    source = "Darcy's law, resistances in series"
    return [relative(f"draught {way} two layers at {inside:g} K in air of 280 K", "exact", source, exact,
                     flux / CONCENTRATION, 1e-9, "m s-1")
            for way, flux in zip(("into", "out of"), upward(problem), strict=True)]


def saturated_column(outside: float, inside: float, pressure: float) -> list[Check]:
    """Dry air outside, saturated gas inside, densities and viscosity that change: U = K g (rho_a - rho) / mu."""
    physics = Physics(moist=True, composition_in_density=False, live_bed=False, constants={"gravity": GRAVITY})
    record = run_record(physics, pressure=pressure, ambient_density=0.0, oxygen_demand=1.0, respiratory_quotient=1.0)
    ambient = gas_density(outside, 0.0, record.ambient_oxygen, record)
    problem = reduced(column(5, 2.0), OPEN, physics, permeability={MIX: 1e-8}, temperature=inside, pressure=pressure,
                      ambient_density=ambient)
    wet = ("T", inside, "P", pressure, "R", 1.0)
    density = (1 + humid("W", *wet)) / humid("Vda", *wet)
    lift = props("D", "T", outside, "P", pressure, "Air") - density
    speed = 1e-8 * GRAVITY * lift / humid("M", *wet)
    dry = (pressure - humid("P_w", *wet)) / (8.314462618 * inside)  # mol m-3
    name = f"draught of saturated gas, {inside - 273.15:g} in {outside - 273.15:g} degC at {pressure / 1000:.0f} kPa"
    found = upward(problem)
    return [relative(name, "external", f"Darcy's law with {HUMID}", dry * speed,
                     found[np.argmax(np.abs(found - dry * speed))], 0.04, "mol m-2 s-1")]


@needs("draught of saturated gas", HUMID)
def saturated_columns() -> list[Check]:
    """Every climate and pressure."""
    return [check for pressure in PRESSURES for outside, inside in CLIMATES
            for check in saturated_column(outside, inside, pressure)]


def even_heat_source() -> list[Check]:
    """U^2 = K g beta q H / (2 mu c): all heat leaves with the gas, so that its excess grows linearly to q H / (rho U c).

    Assumptions of the formula: no conduction, and a small excess s = q H / (rho U c T_a). Without the second, the mean
    lift of an ideal gas is rho g (1 - ln(1 + s) / s), and U falls short of the formula by s/3 (1 - 7 s/12).
    """
    height, permeability, capacity, rows = 2.0, 1e-8, 1000.0, []
    for source in (3.0, 0.03):  # W m-3
        formula = draught_of_even_source(permeability, GRAVITY, AIR, source, height, VISCOSITY, capacity)

        def excess(speed: float, source: float = source) -> float:
            return source * height / (DENSITY * speed * capacity * AIR)

        def lifted(speed: float) -> float:
            s = excess(speed)
            return permeability * GRAVITY * DENSITY / VISCOSITY * (1 - math.log1p(s) / s)

        ideal = brentq(lambda speed: speed - lifted(speed), 0.5 * formula, formula, xtol=1e-18)
        speeds = [steady_draught(size, height, permeability, capacity, source, formula) for size in (10, 20, 40)]
        s = excess(speeds[-1])
        name = f"draught by an even heat source of {source:g} W/m3"
        rows += [order(name, "exact", "Darcy's law with an ideal gas", [abs(speed / ideal - 1) for speed in speeds], 0.05),
                 Check(f"{name}: shortfall over that of the linear formula", "exact", "series of the ideal gas's lift",
                       1 - 7 * s / 12, (1 - speeds[-1] / formula) / (s / 3), 0.005)]
    return rows


def steady_draught(size: int, height: float, permeability: float, capacity: float, source: float, formula: float) -> float:
    """Speed [m s-1] after ten residence times of the heat, begun with a column as warm as the formula says."""
    released, store, bed = 1e7, 1e9, 1e4  # J kg-1, kg m-3, J m-3 K-1
    physics = dry_physics(concentration=DENSITY / MOLE, viscosity=VISCOSITY, gravity=GRAVITY, gas_constant=GAS_CONSTANT,
                          oxygen_half_saturation=1e-15, heat_per_oxygen=released,
                          dry_air_heat_capacity=capacity, **one_gas(MOLE), **FLAT)
    rise = source * height / (DENSITY * formula * capacity)
    problem = reduced(column(size, height), OPEN, physics, permeability={MIX: permeability}, conductivity={MIX: 0.0},
                      heat_capacity={MIX: bed}, substrate={MIX: store}, rate=source / released / store,
                      temperature=AIR + 0.5 * rise, ambient_density=DENSITY, diffusivity={MIX: 1e-4})
    residence = bed * height / (DENSITY * formula * capacity)
    # flow and heat agree within the tolerance: 1e-4 K of a rise of 2 K was seen to move the speed by 2e-7, a fifth of the
    # grid's error on the finest column
    state, _ = run(problem, 10 * residence, Controls(tolerance=1e-6, first_step=1e-3 * residence,
                                                     smallest_step=1e-4 * residence, largest_step=0.1 * residence))
    return float(along(problem, state.outflow)[-1].sum() / WIDTH / (DENSITY / MOLE))


def layered_draughts() -> list[Check]:
    """Every temperature of `two_layers`."""
    return [check for inside in INSIDE for check in two_layers(inside)]
