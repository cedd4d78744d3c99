"""Gas flow where the permeability across differs from that upwards: the same flow on coordinates stretched in x.

With x' = x / sqrt(r) the balance div(r K p_x, K p_z) is that of an even K, and what flows out of a node is sqrt(r) times as
much, in a round heap r times. Nothing but the grid's vertices differs, so the two agree to round-off.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pilesim.balances.surface import Boundary
from pilesim.build import scenario_grid
from pilesim.inputs.scenario import load
from pilesim.section.grid import BASE, COVER, MIX, SectionGrid
from pilesim.solver.step import Controls, begin, make_stepper
from pilesim.verify.check import Check, largest_error
from pilesim.verify.reduced import dry_physics, one_gas, reduced

PERMEABILITY = {MIX: 1e-8, COVER: 5e-10, BASE: 3e-7}  # m2
AIR, MOLE = 280.0, 0.029
OUTLINES = {
    "trapezoid": ("reference_pile", {}), "ridge": ("reference_pile", {"pile.shape": "ridge", "pile.side_slope": None}),
    "ellipse": ("reference_pile", {"pile.shape": "ellipse", "pile.side_slope": None}), "round heap": ("round_heap", {}),
    "polygon, full section": ("uneven_flanks", {}),
}


def outflow(grid: SectionGrid, ratio: float, spread: float) -> np.ndarray:
    """Gas leaving each node at the start [mol s-1 m-1]; the temperature varies along z and along x times `spread`."""
    physics = dry_physics(concentration=42.0, viscosity=1.8e-5, gravity=9.81, gas_constant=8.314, **one_gas(MOLE))
    surface = Boundary(flow_open=True, temperature=AIR)
    problem = reduced(grid, {"surface": surface}, physics, permeability=PERMEABILITY, ambient_density=1.25,
                      permeability_ratio=dict.fromkeys(PERMEABILITY, ratio))
    x, z = spread * problem.mesh.x[:-1], problem.mesh.z[:-1]
    problem.temperature[:-1] = 320.0 + 10.0 * np.sin(z) + 5.0 * np.cos(x)
    state, _, _ = begin(make_stepper(problem, Controls()))
    return np.asarray(state.outflow[:-1])


def stretched_coordinates(ratio: float = 4.0) -> list[Check]:
    """Every outline, mix, cover and base layer alike."""
    rows = []
    for name, (scenario, changes) in OUTLINES.items():
        grid = scenario_grid(load(scenario).with_(**{"run.cell": "0.2 m", **changes}), 1)
        root = float(np.sqrt(ratio))
        squeezed = replace(grid, x=grid.x / root)
        times = ratio if grid.axisymmetric else root
        anisotropic, even = outflow(grid, ratio, 1.0), times * outflow(squeezed, 1.0, root)
        rows.append(largest_error(f"{name}, {ratio:g} times as permeable across: error over the largest flow", "exact",
                                  "an even bed on stretched coordinates", (anisotropic - even) / np.abs(even).max(), 1e-9))
    return rows
