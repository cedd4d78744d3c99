"""A full section against its half. It holds while nothing breaks the symmetry, that is while the pile is convectively
stable: a tight mix, full physics, 12.5 cm cells."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pilesim.build import build
from pilesim.inputs.scenario import Scenario, load
from pilesim.section.grid import MIX
from pilesim.solver.march import march
from pilesim.solver.step import Controls
from pilesim.verify.check import Check, largest_error

TIME_ERROR = 0.05  # K, rms over the mix, of the default controls
TIGHT = Controls(fixed_step=3600.0, sweep_tolerance=1e-10, passes=40, correction_threshold=1e-10, reaction_tolerance=1e-13,
                 balance_tolerance=1e-13, most_sweeps=3000, most_oxygen_sweeps=3000)  # as tight as rounding allows
FIELDS = ("temperature", "oxygen", "water")
SOURCE = "mirror symmetry of the equations"
Sides = tuple[np.ndarray, tuple[np.ndarray, np.ndarray], np.ndarray, float]


def tight_pile(section: str, **more: Any) -> Scenario:
    """Reference pile of 1e-10 m2, started at 35 degC; `section` half or full."""
    return load("reference_pile").with_(**{"pile.section": section, "run.cell": "25 cm", "mix.permeability": "1e-10 m2",
                                           "start.temperature": "35 degC", **more})


def solve(section: str, controls: Controls, hours: float) -> tuple[np.ndarray, np.ndarray, float]:
    """`FIELDS` (water per volume) over the logical section, volume of the mix there, and the defect [K]."""
    problem = build(tight_pile(section), 2)
    _, state, tally = march(problem, hours * 3600.0, controls, lambda stepper, moment: None)
    table = np.full((3, *problem.grid.x.shape), np.nan)
    pile = problem.mesh.pile_count
    size = np.where(problem.mesh.volume.sum(axis=0) > 0, problem.mesh.volume.sum(axis=0), 1.0)
    at = problem.mesh.row[:pile], problem.mesh.column[:pile]
    for k, values in enumerate((state.temperature, state.oxygen, state.water / size)):
        table[k][at] = values[:pile]
    mix = np.zeros(problem.grid.x.shape)
    mix[at] = problem.mesh.volume[MIX, :pile]
    return table, mix, tally.defect_squared**0.5


def both_sides(controls: Controls, hours: float) -> Sides:
    """Fields of the half, of the full section's right and of its mirrored left side; volumes; the larger defect."""
    half, volume, defect = solve("half", controls, hours)
    full, _, other = solve("full", controls, hours)
    columns = half.shape[2]
    return half, (full[:, :, columns - 1:], full[:, :, columns - 1::-1]), volume, max(defect, other)


def equal_with_fixed_steps() -> list[Check]:
    """12 fixed steps of 1 h, iterations 1e-12: temperature, oxygen and water of both sides, relative to the largest."""
    half, sides, _, _ = both_sides(TIGHT, 12)
    rows = []
    for where, side in zip(("right", "left"), sides, strict=True):
        for name, found, expected in zip(FIELDS, side, half, strict=True):
            alike = 1.0 if np.array_equal(np.isnan(found), np.isnan(expected)) else math.nan
            wrong = alike * np.nanmax(np.abs(found - expected)) / np.nanmax(np.abs(expected))
            rows.append(largest_error(f"full section, {where} side against half: error of {name}", "exact", SOURCE, [wrong],
                                      1e-6 if name == "water" else 1e-8))
    return rows


def equal_within_the_defect() -> list[Check]:
    """The default controls over two days: rms temperature of the mix within the error of time that steps are allowed, for
    a decision that falls otherwise (one pass more) changes the steps from there on; with fixed steps see above."""
    half, sides, volume, _ = both_sides(Controls(), 48)
    rows = []
    for where, side in zip(("right", "left"), sides, strict=True):
        difference = np.where(volume > 0, side[0] - half[0], 0.0)
        rms = math.sqrt(np.sum(volume * difference**2) / volume.sum())
        rows.append(largest_error(f"full section by default, {where} side against half: rms error of temperature", "exact",
                                  SOURCE, [rms], TIME_ERROR, "K"))
    return rows
