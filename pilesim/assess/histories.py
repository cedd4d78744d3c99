"""Temperatures of the mix at every solver step, kept with a result so that any rule can be judged later.

Rules are judged on histories that are linear between solver steps, here as in a run; what the file adds is the rounding of
its single precision, 4e-6 K. Both grids are kept, so that each share comes with its numerical error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pilesim.assess.fields import on_section
from pilesim.assess.parcels import MixInPlace, Parcels, parcels_of
from pilesim.assess.shares import MixPieces, mix_pieces, pieces_mixed_in
from pilesim.assess.watch import Watch
from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.build import Problem, build
from pilesim.inputs.scenario import Scenario, Turn, from_text
from pilesim.solver.march import DAY

if TYPE_CHECKING:
    import xarray as xr

_NAMES = ("mix_temperature", "coarse_mix_temperature")
_DIMENSIONS = (("step_time", "z", "x"), ("coarse_step_time", "coarse_z", "coarse_x"))


@dataclass(frozen=True, slots=True)
class History:
    """One grid's history of the mix.

    Attributes
    ----------
    times : (k,) float
        Of the solver's steps [s].
    temperatures : (k, m) float
        Of the nodes of the mix [K].
    nodes : (m,) int
    turns : tuple of Turn
        Of the run; material stays in place without any.
    later : MixInPlace, optional
        The mix once a cover is mixed in; its temperatures are NaN before.
    """

    problem: Problem
    pieces: MixPieces
    times: np.ndarray
    temperatures: np.ndarray
    nodes: np.ndarray
    turns: tuple[Turn, ...] = ()
    later: MixInPlace | None = None

    def mean(self) -> np.ndarray:
        """Mean temperature of the mix at each step, (k,) [K]."""
        means = self.temperatures @ self.pieces.node_weight[self.nodes]
        if self.later is None:
            return means
        mixed = self.later.temperatures @ self.later.pieces.node_weight[self.later.nodes]
        return np.where(np.isfinite(mixed), mixed, means)

    def at(self, nodes: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """Temperatures (k, p) [K] at places given by nodes of the mix (p, 4) and their weights (p, 4)."""
        own = np.searchsorted(self.nodes, nodes)
        return sum(self.temperatures[:, own[:, corner]] * weights[:, corner] for corner in range(own.shape[1]))

    def parcels(self) -> Parcels:
        """Histories of material that is followed through the turns."""
        return parcels_of(self.problem, self.pieces, self.nodes, self.times, self.temperatures, self.turns,
                          later=self.later)

    def on_nodes(self, values: np.ndarray) -> np.ndarray:
        """Values of the mix's nodes, (m,), as an array of all nodes, (count + 1,), zero elsewhere."""
        out = np.zeros(self.problem.mesh.count + 1)
        out[self.nodes] = values
        return out

    def on_section(self, values: np.ndarray) -> np.ndarray:
        """Values of the mix's nodes, (…, m), on the logical section, (…, nz, nx), NaN elsewhere."""
        return _on_nodes_of(self.problem, self.nodes, values)


def _on_nodes_of(problem: Problem, nodes: np.ndarray, values: np.ndarray) -> np.ndarray:
    all_nodes = np.full((*values.shape[:-1], problem.mesh.count), np.nan)
    all_nodes[..., nodes] = values
    return on_section(problem, all_nodes)


def history_of(problem: Problem, watch: Watch) -> History:
    """History of the mix of a run that was watched."""
    later = None
    if watch.later is not None and problem.uncovered is not None:
        later = MixInPlace(problem.uncovered, watch.later, watch.later_nodes, np.stack(watch.later_temperatures))
    return History(problem, watch.pieces, np.array(watch.times), np.stack(watch.temperatures), watch.mix_nodes,
                   watch.scenario.turns, later)


def with_histories(dataset: xr.Dataset, fine: tuple[Problem, Watch], coarse: tuple[Problem, Watch]) -> xr.Dataset:
    """The Dataset of a run with the temperatures of the mix at every step of both grids."""
    zero = CONSTANTS["celsius_zero"].value
    data, coords = {}, {}
    for name, dims, (problem, watch), grid in zip(_NAMES, _DIMENSIONS, (fine, coarse),
                                                  ("", ", grid of twice the cell"), strict=True):
        history = history_of(problem, watch)
        section = history.on_section(history.temperatures - zero)
        if history.later is not None:
            mixed = history.later.nodes, history.later.temperatures - zero
            section = np.where(np.isfinite(section), section, _on_nodes_of(problem, *mixed))
        data[name] = (dims, section, {
            "units": "degC", "long_name": f"temperature of the mix at every solver step{grid}"})
        coords[dims[0]] = (dims[0], history.times / DAY, {
            "units": "day", "long_name": f"time since the pile was built, every solver step{grid}"})
    return dataset.assign(data).assign_coords(coords)


def read_histories(dataset: xr.Dataset, where: str = "result") -> tuple[Scenario, History, History]:
    """Scenario of a result, and the histories of its mix on the run's grid and on that of twice the cell.

    Raises
    ------
    ScenarioError
        If the Dataset was written by a version that kept none, or whose grids were others.
    """
    allowed, advice = "a result.nc written by this version of 'pilesim run'", "Run the scenario again."
    missing = [name for name in _NAMES if name not in dataset.variables]
    if missing:
        raise ScenarioError(where, "", allowed, f"It lacks {missing[0]}. {advice}")
    scenario = from_text(str(dataset.attrs["scenario"]), str(dataset.attrs["scenario_name"]))
    found = []
    for name, (time, _, _), level in zip(_NAMES, _DIMENSIONS, (2, 1), strict=True):
        problem = build(scenario, level)
        pieces, mixed = mix_pieces(problem), pieces_mixed_in(problem)
        nodes = np.unique(pieces.quad_nodes)
        field = dataset[name].values
        if field.shape[1:] != problem.grid.x.shape:
            raise ScenarioError(where, "", allowed, f"Its grid is another. {advice}")
        temperatures = field[:, problem.mesh.row[nodes], problem.mesh.column[nodes]].astype(np.float64)
        if not np.isfinite(temperatures).all():
            raise ScenarioError(where, "", allowed, f"Its grid is another. {advice}")
        times, zero, later = DAY * dataset[time].values, CONSTANTS["celsius_zero"].value, None
        if mixed is not None and problem.uncovered is not None:
            own = np.unique(mixed.quad_nodes)
            values = zero + field[:, problem.mesh.row[own], problem.mesh.column[own]].astype(np.float64)
            values[~np.isfinite(values).all(axis=1)] = np.nan
            later = MixInPlace(problem.uncovered, mixed, own, values)
        found.append(History(problem, pieces, times, temperatures + zero, nodes, scenario.turns, later))
    return scenario, found[0], found[1]
