"""Runs of bundled scenarios that checks of behaviour share: each is marched once per session."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pilesim.assess.fields import Recorder
from pilesim.assess.measures import Values
from pilesim.assess.shares import ZONES
from pilesim.assess.watch import Watch
from pilesim.build import Problem, build
from pilesim.inputs.scenario import load
from pilesim.section.grid import MIX
from pilesim.solver.march import DAY, Tally
from pilesim.study.run import observed_run


@dataclass(frozen=True)
class Run:
    """One finished run: its measures, and the answers that checks ask of its observers. Days and degC."""

    problem: Problem
    watch: Watch
    recorder: Recorder
    tally: Tally
    measures: Values

    def series(self, name: str, day: float) -> float:
        """One entry of the history on a day, linear between steps."""
        return float(np.interp(day * DAY, self.watch.times, self.watch.series[name]))

    def mean_temperature(self, day: float) -> float:
        return self.series("mean_temperature", day) - 273.15

    def zone_temperature(self, zone: str, day: float) -> float:
        column = np.array(self.watch.zone_temperature)[:, ZONES.index(zone)]
        return float(np.interp(day * DAY, self.watch.times, column)) - 273.15

    def zone_oxygen(self, zone: str, day: float) -> float:
        """[percent]."""
        column = np.array(self.watch.zone_oxygen)[:, ZONES.index(zone)]
        return 100.0 * float(np.interp(day * DAY, self.watch.times, column))

    def field(self, name: str, day: float) -> np.ndarray:
        """A stored field at an output time, (count,)."""
        k = int(np.argmin(np.abs(np.array(self.recorder.wanted) - day * DAY)))
        assert abs(self.recorder.wanted[k] - day * DAY) < 1.0, "no output on this day"
        return self.recorder.kept[name][k]

    def every(self, name: str) -> np.ndarray:
        """A field at all output times, (times, count)."""
        return np.array(self.recorder.kept[name])

    @property
    def in_mix(self) -> np.ndarray:
        """Nodes of the mix, shared ones included, (count,) bool."""
        return self.problem.mesh.volume[MIX, :-1] > 0

    @property
    def in_pile(self) -> np.ndarray:
        return self.problem.pile_volume[:-1] > 0


@pytest.fixture(scope="session")
def pile():
    """`pile(key=value)`: the reference pile with changes, on 20 cm cells unless given; a scenario's name may lead."""
    known: dict[tuple, Run] = {}

    def run(name: str = "reference_pile", /, **changes: str) -> Run:
        changes = {"run.cell": "20 cm", **changes}
        key = (name, *sorted(changes.items()))
        if key not in known:
            scenario = load(name).with_(**changes)
            problem = build(scenario, 2)
            (watch, recorder, tally), measures = observed_run(scenario, problem, lambda share: None)
            known[key] = Run(problem, watch, recorder, tally, measures)
        return known[key]

    return run
