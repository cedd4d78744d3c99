"""Cost against the number of nodes, the full physics of the reference pile, and the error that its time steps make.

Every run is one grid for thirty days without output. The exponent is the slope of log CPU seconds against log nodes, by
least squares over four grids.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from bench.contestants import full_physics, in_turns, pilesim_r1
from bench.processes import call_child

TIMER = {"timer": time.process_time}
REFINEMENTS = (1, 2, 3, 4)  # times 30 x 25 cells
CELLS = ("10 cm", "7 cm", "5 cm", "3.5 cm")  # on coarser ones the fixed cost of a step hides the growth
FINER = 0.1  # of the default tolerance of a step: the reference of the time error


@pytest.mark.benchmark(group="growth, R1", **TIMER)
@pytest.mark.parametrize("refinement", REFINEMENTS)
def test_r1(session, timed, refinement):
    """R1 on 30 x 25 to 120 x 100 cells."""
    if session.quick and refinement > 2:
        pytest.skip("quick")
    pilesim_r1((1.0,), 1)
    seconds, result = timed(lambda: pilesim_r1(session.days, refinement), 1 if session.quick else 3)
    session.put("growth", f"r1 {30 * refinement} x {25 * refinement}", problem="r1", nodes=result["nodes"],
                steps=result["steps"], cpu_seconds=seconds)


@pytest.mark.benchmark(group="growth, full physics", **TIMER)
@pytest.mark.parametrize("cell", CELLS)
def test_full_physics(session, timed, cell):
    """The reference pile on cells of 10 to 3.5 cm."""
    if session.quick and cell != "10 cm":
        pytest.skip("quick")
    full_physics(1.0, "20 cm")
    rounds = {"10 cm": 9, "7 cm": 5}.get(cell, 3) if not session.quick else 1
    seconds, result = timed(lambda: full_physics(session.days[-1], cell), rounds)
    session.put("growth", f"full {cell}", problem="full", nodes=result["nodes"], steps=result["steps"], cpu_seconds=seconds)


@pytest.mark.benchmark(group="time error", **TIMER)
def test_r1_time_error(session, timed):
    """R1 on 60 x 50 cells against a tenth of the step tolerance: mean temperature [K] and oxygen used [%]."""
    coarse = pilesim_r1(session.days, 2)["found"]
    _, fine = timed(lambda: pilesim_r1(session.days, 2, FINER))
    difference = {f"{day:g}": [float(coarse[day][0] - true[0]), float(100.0 * (coarse[day][1] / true[1] - 1.0))]
                  for day, true in fine["found"].items()}
    session.put("time_error", "r1 60 x 50", errors=difference)


@pytest.mark.benchmark(group="time error", **TIMER)
@pytest.mark.parametrize("cell", ["10 cm", "5 cm"])
def test_full_time_error(session, timed, cell):
    """Full physics against a tenth of the step tolerance: temperature, rms over the mix [K]."""
    if session.quick and cell == "5 cm":
        pytest.skip("quick")
    last = session.days[-1]
    coarse = full_physics(last, cell, watch=True)
    _, fine = timed(lambda: full_physics(last, cell, FINER, watch=True))
    rms = {f"{day:g}": float(np.sqrt(np.sum(fine["weight"] * (coarse["fields"][day] - field) ** 2)))
           for day, field in fine["fields"].items()}
    session.put("time_error", f"full {cell}", rms=rms)


@pytest.mark.parametrize("cell", ["10 cm", "5 cm"])
def test_memory(session, cell):
    """Peak memory of one run in a process of its own, interpreter and libraries included."""
    answer = call_child("memory", f"full:{cell}", str(min(session.days[-1], 10.0)))
    session.put("growth", f"full {cell}", megabytes=answer["megabytes"])


@pytest.mark.benchmark(group="drift", **TIMER)
def test_pilesim_and_ida_in_turns_again(session, timed):
    """IDA, and pilesim on the same cells, once more: the machine drifts, and not alike for both."""
    for name, (seconds, _) in in_turns(timed, session.days, session.quick).items():
        session.put("drift", name, cpu_seconds=seconds)
