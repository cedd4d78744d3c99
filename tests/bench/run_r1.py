"""Time pilesim beside IDA in one run, on one core: R1 with both, then the full physics of the reference pile.

    pip install '.[bench]'
    python tests/bench/run_r1.py

CPU seconds of single machines drift; only the ratios of one run mean anything. IDA (scikit-sundae, rtol 1e-5) solves R1
on 60 x 50 cells, first-order upwind; pilesim solves R1 on 61 x 51 nodes, second order, with its own kernels on reduced
physics. Full physics runs one grid, without the coarse partner, output or pictures.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
sys.path[:0] = [str(Path(__file__).parent)]

import numpy as np  # noqa: E402
from peer_ida import solve_r1  # noqa: E402

import pilesim  # noqa: E402
from pilesim.build import build  # noqa: E402
from pilesim.solver.march import march  # noqa: E402
from pilesim.solver.step import Controls  # noqa: E402
from pilesim.verify.reduced import R1_CONVERGED, r1_grid, r1_history, r1_problem  # noqa: E402


def cpu_seconds(call: Callable[[], object]) -> tuple[float, object]:
    """CPU seconds of the second of two calls (the first compiles), and its result."""
    call()
    start = time.process_time()
    result = call()
    return time.process_time() - start, result


def full_physics(cell: str) -> float:
    """CPU seconds of 30 days of the reference pile at one cell size."""
    problem = build(pilesim.load("reference_pile").with_(**{"run.cell": cell}), 2)
    seconds, _ = cpu_seconds(lambda: march(problem, 30 * 86400.0, Controls(), lambda stepper, moment: None))
    return seconds


def main() -> None:
    """Print CPU times, ratios to IDA and errors against the grid-converged answer."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    days = tuple(R1_CONVERGED)
    peer = solve_r1()
    ida = peer["cpu_seconds"]
    print(f"{'':34s}{'CPU s':>8s}{'of IDA':>9s}")
    print(f"{'R1, IDA 60 x 50, rtol 1e-5':34s}{ida:8.2f}{1.0:9.3f}")
    found = {}
    for refinement, name in ((1, "R1, pilesim 30 x 25"), (2, "R1, pilesim 60 x 50")):
        problem = r1_problem(r1_grid(refinement))
        seconds, (history, _, _) = cpu_seconds(lambda p=problem: r1_history(p, days, Controls()))  # type: ignore[misc]
        found[refinement] = history
        print(f"{name:34s}{seconds:8.2f}{seconds / ida:9.3f}")
    for cell in ("10 cm", "5 cm"):
        seconds = full_physics(cell)
        print(f"{'full physics, 30 days, ' + cell:34s}{seconds:8.2f}{seconds / ida:9.3f}")
    print("\nerrors of R1 against the grid-converged answer (mean temperature K, oxygen used %)")
    for day in days:
        reference = np.array(R1_CONVERGED[day])
        best = found[2][day] + (found[2][day] - found[1][day]) / 3.0
        pair = best - reference
        single = found[2][day] - reference
        print(f"day {day:4.0f}: pilesim 60 x 50 {single[0]:+.3f} {100 * single[1] / reference[1]:+.2f},"
              f" two grids {pair[0]:+.3f} {100 * pair[1] / reference[1]:+.2f}")


if __name__ == "__main__":
    main()
