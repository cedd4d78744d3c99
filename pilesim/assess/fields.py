"""Fields at the output times: interpolated between solver steps and laid out on the logical section."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pilesim.build import Problem
from pilesim.model import State
from pilesim.section.grid import BASE, COVER, MIX
from pilesim.section.operators import EAST, NORTH, Mesh
from pilesim.solver.march import Moment
from pilesim.solver.step import Stepper

FIELDS: dict[str, tuple[str, str]] = {
    "temperature": ("degC", "temperature"),
    "oxygen": ("percent", "mole fraction of oxygen in dry pore gas"),
    "moisture": ("percent", "water and ice over wet mass, of the mix where a node has several materials"),
    "water": ("kg m-3", "liquid water per bulk volume of pile materials"),
    "ice": ("kg m-3", "ice per bulk volume of pile materials"),
    "substrate": ("kg m-3", "degradable substrate per bulk volume of pile materials"),
    "activity": ("1", "activity of the microbes of the mix, 1 is mature"),
    "gas_velocity_x": ("m s-1", "superficial gas velocity, outwards"),
    "gas_velocity_z": ("m s-1", "superficial gas velocity, upwards"),
    "heat_release": ("W m-3", "heat of respiration per bulk volume of pile materials"),
}


@dataclass(slots=True)
class Recorder:
    """Observer that keeps the fields at given times.

    Attributes
    ----------
    wanted : list of float
        Output times [s], ascending.
    kept : dict of list of (count,) arrays
        One array per output time, see `FIELDS`, at the numbers of the problem as built; NaN where a node is gone.
    """

    wanted: list[float]
    kept: dict[str, list[np.ndarray]] = field(default_factory=lambda: {name: [] for name in FIELDS})
    last: dict[str, np.ndarray] | None = None

    def __call__(self, stepper: Stepper, moment: Moment) -> None:
        due = len(self.kept["temperature"])
        if due == len(self.wanted):
            return
        # the fields at the start of a step are needed only when an output falls inside it; keeping the last ones is
        # cheaper than rebuilding them
        problem = stepper.problem
        now = {name: problem.on_built(np.append(values, np.nan), np.nan)[:-1]
               for name, values in _fields(stepper, moment.after, moment.respiration).items()}
        start, end = moment.before.time, moment.after.time
        while due < len(self.wanted) and self.wanted[due] <= end + 1e-6:
            share = 1.0 if moment.step == 0.0 else (self.wanted[due] - start) / moment.step
            for name, values in now.items():
                before = values if self.last is None else self.last[name]
                self.kept[name].append((1.0 - share) * before + share * values)
            due += 1
        self.last = now


def reported_oxygen(oxygen: np.ndarray, ambient: float) -> np.ndarray:
    """Mole fraction as reported: traces below zero (skewed cells) and above ambient (inlet nodes of coarse grids, up to a
    hundredth of ambient) are numerical, needed by the balance, and cut here."""
    return np.clip(oxygen, 0.0, ambient)


def _fields(stepper: Stepper, state: State, respiration: np.ndarray) -> dict[str, np.ndarray]:
    p, props, count = stepper.problem, stepper.props, stepper.problem.mesh.count
    record = p.record
    pile = p.pile_volume[:count] > 0
    volume = np.where(pile, p.pile_volume[:count], np.nan)
    owner = np.select([p.mesh.volume[m, :count] > 0 for m in (MIX, COVER, BASE)], [MIX, COVER, BASE], 0)
    own_water = props.water[owner, np.arange(count)]
    own_dry = props.dry_mass[owner, np.arange(count)]
    wet = np.where(own_water + own_dry > 0, own_water + own_dry, np.nan)
    flux_x, flux_z = _flux(p.mesh, state.east, state.north, p.pile_volume)
    gas = props.gas_amount[:count] / np.where(pile, props.gas_volume[:count], np.nan)
    frozen = np.clip((record.celsius_zero - state.temperature[:count]) / record.freezing_range, 0.0, 1.0)
    heat = respiration[:count] * record.oxygen_molar_mass * record.heat_per_oxygen
    return {
        "temperature": state.temperature[:count] - record.celsius_zero,
        "oxygen": np.where(pile, 100.0 * reported_oxygen(state.oxygen, record.ambient_oxygen)[:count], np.nan),
        "moisture": 100.0 * own_water / wet,
        "water": (1.0 - frozen) * state.water[:count] / volume,
        "ice": frozen * state.water[:count] / volume,
        "substrate": state.substrate[:count].sum(axis=1) / volume,
        "activity": np.where(p.mesh.volume[MIX, :count] > 0, state.activity[:count], np.nan),
        "gas_velocity_x": np.where(pile, flux_x / gas, np.nan),
        "gas_velocity_z": np.where(pile, flux_z / gas, np.nan),
        "heat_release": heat / volume,
    }


def _flux(mesh: Mesh, east: np.ndarray, north: np.ndarray, volume: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Flux vector [mol m-2 s-1] at the nodes: each control volume's edge fluxes times the arm to the edge's middle."""
    total_x, total_z = np.zeros(mesh.count + 1), np.zeros(mesh.count + 1)
    for flux, direction in ((east, EAST), (north, NORTH)):
        other = mesh.neighbours[:, direction]
        moved = np.where(other < mesh.count, flux, 0.0)
        arm_x, arm_z = 0.5 * (mesh.x[other] - mesh.x), 0.5 * (mesh.z[other] - mesh.z)
        for total, arm in ((total_x, arm_x), (total_z, arm_z)):
            total += moved * arm
            np.add.at(total, other, moved * arm)
    size = np.where(volume > 0, volume, np.nan)
    return (total_x / size)[: mesh.count], (total_z / size)[: mesh.count]


def on_section(problem: Problem, values: np.ndarray) -> np.ndarray:
    """Lay node values, (…, count), out on the logical section, (…, nz, nx); NaN where there is no node."""
    mesh = problem.mesh
    out = np.full((*values.shape[:-1], *problem.grid.x.shape), np.nan)
    out[..., mesh.row, mesh.column] = values
    return out
