"""Sixty days of every outline in mild air, frost and deep frost, at sea level and in thin air (kind: bounds of physics).

No comparison with anything measured: every run must end, close its budgets, and stay at every step within what the
second law, the biology's cardinal maximum and the amounts present allow. Coarse cells on purpose: that is where a
scheme is worst.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import psychrolib
import pytest

from pilesim.assess.fields import reported_oxygen
from pilesim.build import Problem, build
from pilesim.inputs.scenario import load
from pilesim.solver.march import DAY, Moment, Tally, budget_errors, march
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
    """Observer: the extremes of the pile's nodes over all steps, in degC, mole fractions and kg per m."""

    count: int
    coldest: float = np.inf
    hottest: float = -np.inf
    when_coldest: float = 0.0
    oxygen: tuple[float, float] = (np.inf, -np.inf)
    balance_oxygen: tuple[float, float] = (np.inf, -np.inf)
    water: float = np.inf
    end: float = 0.0

    def __call__(self, stepper: Stepper, moment: Moment) -> None:
        after, record = moment.after, stepper.problem.record
        temperature = after.temperature[: self.count] - record.celsius_zero
        if temperature.min() < self.coldest:
            self.coldest, self.when_coldest = float(temperature.min()), after.time / DAY
        self.hottest = max(self.hottest, float(temperature.max()))
        raw = after.oxygen[: self.count]
        for name, values in (("balance_oxygen", raw), ("oxygen", reported_oxygen(raw, record.ambient_oxygen))):
            low, high = getattr(self, name)
            setattr(self, name, (min(low, float(values.min())), max(high, float(values.max()))))
        self.water = min(self.water, float(after.water[: self.count].min()))
        self.end = after.time


def sixty_days(outline: str, air: str, elevation: str, cell: str = "20 cm") -> tuple[Problem, Extremes, dict, Tally]:
    changes = {"run.duration": f"{DAYS:g} day", "run.cell": cell, "weather.air_temperature": air,
               "site.elevation": elevation, **OUTLINES[outline]}
    problem = build(load("reference_pile").with_(**changes), 2)
    seen = Extremes(problem.mesh.pile_count)
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    _, state, tally = march(problem, DAYS * DAY, Controls(), seen)
    return problem, seen, budget_errors(problem, start, state, tally), tally


def wet_bulb(air: float, elevation: float) -> float:
    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib.GetTWetBulbFromRelHum(air, 0.7, psychrolib.GetStandardAtmPressure(elevation))


@pytest.mark.parametrize(("outline", "air", "elevation"), CASES)
def test_sixty_days(outline, air, elevation):
    problem, seen, budgets, tally = sixty_days(outline, air, elevation)
    record = problem.record
    print("XX", outline, air, elevation, seen, budgets, tally.steps, tally.oxygen_unfinished)
    assert seen.end == pytest.approx(DAYS * DAY)
    assert budgets["heat"] < 1e-9 and budgets["water"] < 1e-10 and budgets["oxygen"] < 1e-3
    ground = float(problem.temperature[problem.mesh.pile_count:-1].min() - 273.15) if outline != "slab" else np.inf
    lowest = min(20.0, wet_bulb(float(air.split()[0]), float(elevation.split()[0])), ground)
    assert lowest - 0.5 < seen.coldest
    assert seen.hottest < record.temperature_maximum - 273.15 + 0.5
    assert seen.oxygen[0] >= 0.0 and seen.oxygen[1] <= record.ambient_oxygen
    assert seen.water >= 0.0
