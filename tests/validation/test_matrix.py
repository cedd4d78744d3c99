"""Sixty days of every outline in mild air, frost and deep frost, at sea level and in thin air (kind: bounds of physics).

No comparison with anything measured: every run must end, close its budgets, and stay at every step within what the
second law, the biology's cardinal maximum and the amounts present allow. Coarse cells on purpose: that is where a
scheme is worst.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
import psychrolib
import pytest

from pilesim.assess.fields import reported_oxygen
from pilesim.base.constants import CONSTANTS
from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.solver.march import DAY, Moment, budget_errors, march
from pilesim.solver.step import Controls, Stepper

DAYS = 60.0
POINTS = ["2.6 m, 0 m", "2.0 m, 1.2 m", "1.0 m, 1.9 m", "0 m, 2.1 m"]
OUTLINES = {  # add an outline here and it gets all six climates
    "trapezoid": {},
    "ridge": {"pile.shape": "ridge"},
    "ellipse": {"pile.shape": "ellipse"},
    "rectangle": {"pile.shape": "rectangle"},
    "polygon": {"pile.shape": "polygon", "pile.outline": POINTS},
    "round": {"pile.shape": "round"},
    "column": {"pile.shape": "column"},
    "slab": {"pile.shape": "slab"},
    "full section": {"pile.section": "full"},
}
AIRS = ("10 degC", "-10 degC", "-35 degC")
ELEVATIONS = ("0 m", "3000 m")
CASES = list(product(OUTLINES, AIRS, ELEVATIONS))


@dataclass
class Extremes:
    """Observer: extremes over all steps of the nodes of the pile [degC], [1], [kg m-1]."""

    coldest: float = np.inf
    hottest: float = -np.inf
    least_oxygen: float = np.inf
    most_oxygen: float = -np.inf
    least_water: float = np.inf
    end: float = 0.0

    def __call__(self, stepper: Stepper, moment: Moment) -> None:
        after, problem = moment.after, stepper.problem
        count, record = problem.mesh.pile_count, problem.record
        temperature = after.temperature[:count] - record.celsius_zero
        oxygen = reported_oxygen(after.oxygen[:count], record.ambient_oxygen)
        self.coldest = min(self.coldest, float(temperature.min()))
        self.hottest = max(self.hottest, float(temperature.max()))
        self.least_oxygen = min(self.least_oxygen, float(oxygen.min()))
        self.most_oxygen = max(self.most_oxygen, float(oxygen.max()))
        self.least_water = min(self.least_water, float(after.water[:count].min()))
        self.end = after.time


@dataclass(frozen=True)
class Ended:
    """A finished run: extremes, budget errors, what it started from [degC], steps whose oxygen was left unfinished."""

    seen: Extremes
    budgets: dict[str, float]
    coldest_at_start: float
    warmest_allowed: float
    ambient_oxygen: float
    unfinished: int


@cache
def sixty_days(outline: str, air: str, elevation: str, cell: str = "20 cm") -> Ended:
    changes = {"run.duration": f"{DAYS:g} day", "run.cell": cell, "weather.air_temperature": air,
               "site.elevation": elevation, **OUTLINES[outline]}
    problem = build(load("reference_pile").with_(**changes), 2)
    record, seen = problem.record, Extremes()
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    _, state, tally = march(problem, DAYS * DAY, Controls(), seen)
    return Ended(seen, budget_errors(start, state, tally),
                 float(problem.temperature[:-1].min()) - record.celsius_zero,
                 CONSTANTS["temperature_maximum"].value - 273.15 + 0.5, float(record.ambient_oxygen),
                 tally.oxygen_unfinished)


def wet_bulb(air: str, elevation: str) -> float:
    psychrolib.SetUnitSystem(psychrolib.SI)
    pressure = psychrolib.GetStandardAtmPressure(float(elevation.split()[0]))
    return psychrolib.GetTWetBulbFromRelHum(float(air.split()[0]), 0.7, pressure)


@pytest.mark.parametrize(("outline", "air", "elevation"), CASES)
def test_sixty_days_end_within_bounds_with_closed_budgets(outline, air, elevation):
    """Temperature of the pile at every step: not below the least of start, ground and wet bulb of the air (psychrolib;
    nothing in the model cools further) less 0.5 K for the overshoot of the limiter; not above the cardinal maximum of
    the biology and 0.5 K for the defect of the iteration. Oxygen as reported between nothing and ambient.
    Water never negative.

    Budgets of throughput: heat and water 1e-10 (round-off; seen 1e-11 and 3e-14), oxygen 1e-3 (seen 3e-4).
    Planted, and once present: drainage and capillarity held over a long step, so that wet nodes of the cover lost all
    their water and stood up to 13 K too hot until the next (polygon, round heap, ridge), every budget closed. Planted:
    the heat, or the vapour, that the gas carries missing from the budget; cardinal maximum of 80 degC in the
    kernels; air 5 K colder than given.
    """
    run = sixty_days(outline, air, elevation)
    assert run.seen.end == pytest.approx(DAYS * DAY)
    assert run.budgets["heat"] < 1e-10 and run.budgets["water"] < 1e-10 and run.budgets["oxygen"] < 1e-3
    assert run.unfinished == 0
    assert min(run.coldest_at_start, wet_bulb(air, elevation)) - 0.5 < run.seen.coldest
    assert run.seen.hottest < run.warmest_allowed
    assert run.seen.least_oxygen >= 0.0 and run.seen.most_oxygen <= run.ambient_oxygen
    assert run.seen.least_water >= 0.0
