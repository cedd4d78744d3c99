"""Problems on reduced physics for checks against mathematics, and the reduced pile problem R1.

Reduced physics runs the same kernels as a real pile: gas of one concentration and viscosity, no vapour, given
properties. All values here are invented round numbers unless a source is named.

Problem R1
----------
Half a cross-section, x in [0, 3.0] m from the symmetry line, z in [0, 2.5] m from the floor; 30 days.

* Cover: within 0.20 m of the top (z > 2.3) or of the open side (x > 2.8): conductivity k = 0.25 W m-1 K-1, no
  oxygen demand. Elsewhere, the mix: k = 0.40, demand S = 100 kg O2 m-3.
* Everywhere: bulk heat capacity C = 2.0e6 J m-3 K-1, air-filled porosity eps = 0.35, permeability K = 1.0e-8 m2,
  gas viscosity mu = 1.8e-5 Pa s.
* Ambient: Ta = 268.15 K, p0 = 101325 Pa, gas density rho(T) = p0 0.02896/(8.314 T), rho_a = rho(Ta), g = 9.81.
* Flow: u = -(K/mu) (grad p' - (rho_a - rho(T)) g z^), div u = 0; p' = 0 on the top and the open side, no flow
  through the floor and the symmetry line.
* Oxygen [kg per m3 of gas]: eps dc/dt + div(u c) = div(De grad c) - R, De = 5.0e-6 m2 s-1; air enters with
  ca = 0.28 and leaves with the pile's c.
* Uptake: R = k_ref f(T) S c/(c + Kc), k_ref = 0.10 per day, Kc = 0.02 kg m-3, f the cardinal temperature factor of
  278.15, 331.15 and 353.15 K (Rosso et al. 1993, J. Theor. Biol. 162, 447; TO CHECK); dS/dt = -R.
* Heat: C dT/dt + div(rho_a ce u T) = div(k grad T) + dH R, ce = 5000 J kg-1 K-1, dH = 14e6 J kg-1. Air enters at
  Ta; film h = 15 W m-2 K-1 to Ta on the top and the open side; floor and symmetry line insulated.
* Start: T = 283.15 K, c = ca, S as above.

In the package's terms c becomes the mole fraction X = c/rho_a of a gas whose molar masses are all equal. Oxygen meets
the air through a film of h / (rho_a 1005 J kg-1 K-1), which stands for the half cell of cell-centred methods.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from pilesim.balances.bed import Bed
from pilesim.balances.physics import Physics, run_record
from pilesim.balances.surface import Boundary, gather_edges
from pilesim.build import GROUND_EDGES, Problem, assembled, empty_properties
from pilesim.model import State
from pilesim.section.grid import BASE, COVER, MIX, SectionGrid, box_grid, section_grid
from pilesim.section.operators import build_mesh
from pilesim.solver.march import Moment, Tally, march
from pilesim.solver.step import Controls

DAY = 86400.0
PRESSURE = 101325.0
FLAT: dict[str, Any] = {  # cardinal temperatures so far apart that the factor is 1 within 1e-9 for 300 K +/- 30 K
    "temperature_minimum": 300.0 - 1e6, "temperature_optimum": 300.0, "temperature_maximum": 300.0 + 1e6}


def dry_physics(*, store_oxygen: bool = False, constant_density: bool = True, concentration: float = 40.0,
                viscosity: float = 1.8e-5, **constants: Any) -> Physics:
    """Gas without vapour or effect of composition on density; `constants` replace registry values (SI)."""
    return Physics(moist=False, constant_density=constant_density, composition_in_density=False, live_bed=False,
                   store_oxygen=store_oxygen, reference_concentration=concentration, reference_viscosity=viscosity,
                   constants=constants)


def one_gas(molar_mass: float) -> dict[str, Any]:
    """Constants of a gas whose parts all have one `molar_mass` [kg mol-1]."""
    return dict.fromkeys(("dry_air_molar_mass", "inert_gas_molar_mass", "oxygen_molar_mass",
                          "carbon_dioxide_molar_mass"), molar_mass)


def reduced_problem(
    grid: SectionGrid, physics: Physics, boundaries: Mapping[str, Boundary], *, heat_capacity: Mapping[int, float],
    conductivity: Mapping[int, float], permeability: Mapping[int, float], diffusivity: Mapping[int, float],
    air_filled_porosity: float, substrate: Mapping[int, float], rate: float, temperature: np.ndarray | float,
    oxygen: np.ndarray | float, ambient_density: float, pressure: float, oxygen_demand: float = 1.0,
    respiratory_quotient: float = 1.0, freezable_water: float = 0.0, permeability_ratio: Mapping[int, float] | None = None,
) -> Problem:
    """Problem with given properties per material, for reference cases; same path through the solver.

    Parameters
    ----------
    heat_capacity, conductivity, permeability, diffusivity : mapping of material to float
        [J m-3 K-1], [W m-1 K-1], [m2], effective [m2 s-1].
    substrate : mapping of material to float
        One pool [kg m-3], burning at `rate` [s-1] times the temperature and oxygen factors.
    temperature, oxygen : array over nodes or float
        Initial [K], [1].
    freezable_water : float
        Water that stays in place and freezes, its sensible heat part of `heat_capacity` [kg m-3].
    permeability_ratio : mapping of material to float
        Permeability across over `permeability`, which is that upwards [1].
    """
    mesh = build_mesh(grid, permeability_ratio)
    record = run_record(physics, pressure=pressure, ambient_density=ambient_density, oxygen_demand=oxygen_demand,
                        respiratory_quotient=respiratory_quotient)
    edges = gather_edges(grid.edges, boundaries, GROUND_EDGES, mesh.node_at(grid.x.shape), mesh.x, mesh.z, record,
                         grid.axisymmetric)
    n1 = mesh.count + 1
    properties = empty_properties(mesh.count)
    capacity = np.zeros(n1)
    pools = np.zeros((n1, 3))
    for material in range(1, 5):
        properties.conductivity[material] = conductivity.get(material, 0.0)
        properties.permeability[material] = permeability.get(material, 0.0)
        properties.diffusivity[material] = diffusivity.get(material, 0.0)
        capacity += heat_capacity.get(material, 0.0) * mesh.volume[material]
        pools[:, 0] += substrate.get(material, 0.0) * mesh.volume[material]
    pile = mesh.volume[MIX] + mesh.volume[COVER] + mesh.volume[BASE]
    properties.gas_volume[:] = air_filled_porosity * pile
    properties.environment[:, 0] = np.where(pile > 0, rate, 0.0)
    properties.activity[:] = 1.0
    none = np.zeros((5, n1))
    bed = Bed(mesh.volume, none, none, np.ones(5), np.zeros(5), np.zeros(5), np.zeros(5), np.array([rate, 0.0, 0.0]),
              pools, capacity, freezable_water * mesh.volume.sum(axis=0))
    start = np.append(np.broadcast_to(np.asarray(temperature, dtype=float), (mesh.count,)), 0.0)
    gas = np.append(np.broadcast_to(np.asarray(oxygen, dtype=float), (mesh.count,)), 0.0)
    return assembled(grid, mesh, physics, record, edges, bed, start, np.zeros(n1), gas, properties)


def reduced(grid: SectionGrid, boundaries: Mapping[str, Boundary], physics: Physics, **changes: Any) -> Problem:
    """`reduced_problem` with plain defaults: one inert, all but impermeable material at 300 K."""
    values: dict[str, Any] = {
        "heat_capacity": {MIX: 2e6, COVER: 2e6}, "conductivity": {MIX: 0.4, COVER: 0.4},
        "permeability": {MIX: 1e-20, COVER: 1e-20}, "diffusivity": dict.fromkeys((MIX, COVER, BASE), 1e-6),
        "air_filled_porosity": 0.4, "substrate": {}, "rate": 0.0, "temperature": 300.0, "oxygen": 0.2,
        "ambient_density": 1.2, "pressure": PRESSURE, **changes}
    return reduced_problem(grid, physics, boundaries, **values)


def line(size: int, length: float = 1.0, material: np.ndarray | int = MIX) -> SectionGrid:
    """One-dimensional grid of `size` equal cells along x from 0 to `length` [m], one cell of 0.1 m high."""
    return box_grid(np.linspace(0.0, length, size + 1), np.array([0.0, 0.1]),
                    np.broadcast_to(np.asarray(material), (1, size)))


def column(size: int, height: float, material: np.ndarray | int = MIX, width: float = 0.1) -> SectionGrid:
    """One-dimensional grid of `size` equal cells along z from 0 to `height` [m], one cell of `width` wide."""
    rows = np.broadcast_to(np.asarray(material).reshape(-1, 1), (size, 1))
    return box_grid(np.array([0.0, width]), np.linspace(0.0, height, size + 1), rows)


def tight(step: float, iteration: float = 1e-12, passes: int = 1, oxygen_sweeps: int = 1000) -> Controls:
    """Fixed `step` [s] with iterations so tight [K, 1] that only the discretisation is left.

    Without uptake the stopping rule of oxygen has no scale; `oxygen_sweeps` then says how many are made.
    """
    return Controls(fixed_step=step, tolerance=1e-3 * iteration, sweep_tolerance=1e3, most_sweeps=100_000,
                    passes=passes, reaction_tolerance=iteration, balance_tolerance=iteration,
                    most_oxygen_sweeps=oxygen_sweeps)


def run(problem: Problem, duration: float, controls: Controls,
        observe: Callable[[Moment], None] = lambda moment: None) -> tuple[State, Tally]:
    """March to `duration` [s]; the last state and the tally."""
    _, state, tally = march(problem, duration, controls, lambda stepper, moment: observe(moment))
    return state, tally


def along(problem: Problem, values: np.ndarray) -> np.ndarray:
    """Nodal `values` of a box as a (nz, nx) array."""
    shape = problem.grid.x.shape
    return np.asarray(values[problem.mesh.node_at(shape)])


# --- R1 ---------------------------------------------------------------------------------------------------------------
R1_AIR, R1_START = 268.15, 283.15  # K
R1_DENSITY = PRESSURE * 0.02896 / (8.314 * R1_AIR)  # kg m-3
# day -> mean temperature [K], oxygen used [kg per m]: midpoints of the grid-converged answers of two independent
# computations made for this project (second-order finite volumes with quasi-steady oxygen, extrapolated from 120 x 100
# and 240 x 200 cells; the mean of three extrapolated schemes, finite volumes and finite elements, with stored oxygen)
R1_PAIRS = {
    1: ((283.488, 283.48), (1.620, 1.626)), 3: ((291.022, 291.08), (11.08, 11.17)),
    10: ((318.253, 318.37), (77.00, 77.24)), 30: ((298.630, 298.73), (168.9, 169.2))}
R1_CONVERGED = {day: tuple(sum(pair) / 2 for pair in pairs) for day, pairs in R1_PAIRS.items()}


def r1_grid(refinement: int) -> SectionGrid:
    """Half section by the generator that real piles use: 30 x 25 cells at refinement 1, 60 x 50 at 2."""
    return section_grid(shape="rectangle", base_width=5.6, height=2.3, crest_width=5.6, cover_thickness=0.2,
                        base_thickness=0.0, base_edge="closed", cell=0.05, refinement=refinement,
                        with_ground=False)


def r1_box(cell: float, left: float) -> SectionGrid:
    """The section from x = `left` to 3 m on a plain box; from -3 m it is the whole pile, covered on both sides."""
    x, z = (np.linspace(a, b, round((b - a) / cell) + 1) for a, b in ((left, 3.0), (0.0, 2.5)))
    middle_x, middle_z = np.abs(x[1:] + x[:-1]) / 2, (z[1:] + z[:-1]) / 2
    cover = (middle_x[None, :] > 2.8) | (middle_z[:, None] > 2.3)
    return box_grid(x, z, np.where(cover, COVER, MIX))


def r1_problem(grid: SectionGrid, air: Sequence[str] = ("surface",), store_oxygen: bool = True,
               plentiful: bool = False) -> Problem:
    """R1 on `grid`, whose edges named `air` meet the ambient air.

    Variants: gas without storage of oxygen; uptake so small that oxygen is `plentiful`, for the same heat.
    """
    mole = 0.02896  # kg mol-1, of every gas
    share = 1.0 / R1_DENSITY  # c [kg m-3] to mole fraction
    demand = 1e-9 if plentiful else 1.0  # kg of oxygen per kg of substrate
    physics = dry_physics(
        store_oxygen=store_oxygen, concentration=R1_DENSITY / mole, viscosity=1.8e-5, gravity=9.81, gas_constant=8.314,
        dry_air_heat_capacity=5000.0, temperature_minimum=278.15, temperature_optimum=331.15, temperature_maximum=353.15,
        oxygen_half_saturation=0.02 * share, ambient_oxygen=0.28 * share, heat_per_oxygen=14e6 / demand, **one_gas(mole))
    outside = Boundary(flow_open=True, heat_film=15.0, temperature=R1_AIR, gas_film=15.0 / (R1_DENSITY * 1005.0),
                       oxygen=0.28 * share)
    both = (MIX, COVER)
    return reduced_problem(
        grid, physics, dict.fromkeys(air, outside), heat_capacity=dict.fromkeys(both, 2e6),
        conductivity={MIX: 0.40, COVER: 0.25}, permeability=dict.fromkeys(both, 1e-8),
        diffusivity=dict.fromkeys(both, 5e-6), air_filled_porosity=0.35, substrate={MIX: 100.0}, rate=0.10 / DAY,
        temperature=R1_START, oxygen=0.28 * share, ambient_density=R1_DENSITY, pressure=PRESSURE,
        oxygen_demand=demand)


R1_SIDES = {0.0: ("top", "right"), -3.0: ("top", "right", "left")}  # edges of `r1_box` that meet the air


def r1_measures(problem: Problem, state: State) -> np.ndarray:
    """Mean temperature of the section [K] and oxygen used so far [kg per m]."""
    volume = problem.pile_volume
    used = problem.substrate.sum() - state.substrate.sum()
    return np.array([np.sum(volume * state.temperature) / volume.sum(), used])


def r1_history(problem: Problem, days: Sequence[float], controls: Controls) -> tuple[dict[float, np.ndarray], State, Tally]:
    """`r1_measures` on the given `days`, interpolated between steps; the last state and the tally."""
    found: dict[float, np.ndarray] = {}

    def observe(moment: Moment) -> None:
        for day in days:
            share = (day * DAY - moment.before.time) / moment.step if moment.step > 0.0 else -1.0
            if 0.0 < share <= 1.0 + 1e-9:
                ends = [r1_measures(problem, state) for state in (moment.before, moment.after)]
                found[day] = (1.0 - share) * ends[0] + share * ends[1]

    state, tally = run(problem, max(days) * DAY, controls, observe)
    return found, state, tally
