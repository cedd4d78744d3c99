"""What the bench times: each function solves one problem once and returns what it found, without timing itself.

R1 (stated in ``peer_ida.py`` and ``pilesim/verify/reduced.py``) by pilesim and by its peers, and the full physics of the
reference pile by pilesim, on one grid, without output or pictures. Building grid and problem is part of every call.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
from bench.peer_ida import CONVERGED

DAY = 86400.0
WATCHED = (1.0, 3.0, 7.0, 14.0, 21.0, 30.0)  # days of the time error of full physics


def peer_ida(days: tuple[float, ...], nx: int = 60, nz: int = 50) -> dict[str, Any]:
    """IDA, upwind, rtol 1e-5."""
    from bench.peer_ida import solve_r1

    return _peer(solve_r1(nx, nz, days=days), nx * nz)


def peer_bdf(days: tuple[float, ...], nx: int = 60, nz: int = 50) -> dict[str, Any]:
    """scipy's BDF, rtol 1e-5, sparse Jacobian with frozen velocity."""
    from bench.peer_bdf import solve_r1

    return _peer(solve_r1(nx, nz, days=days), nx * nz)


def peer_van_leer(days: tuple[float, ...], nx: int = 60, nz: int = 50) -> dict[str, Any]:
    """scipy's BDF with van Leer; rtol 1e-4, for its grid errs more than that, and 1e-5 takes 2.6 times as long over a day."""
    from bench.peer_bdf import solve_r1

    return _peer(solve_r1(nx, nz, 1e-4, days, "van Leer"), nx * nz)


def peer_fipy(days: tuple[float, ...], nx: int = 60, nz: int = 50) -> dict[str, Any]:
    """FiPy, upwind, backward Euler with steps of 30 minutes and two sweeps."""
    from bench.peer_fipy import solve_r1

    return _peer(solve_r1(nx, nz, days=days), nx * nz)


def _peer(out: dict[str, Any], cells: int) -> dict[str, Any]:
    found = zip(out["days"], zip(out["mean_temperature"], out["oxygen_used"], strict=True), strict=True)
    return {"nodes": cells, "found": {day: np.array(pair) for day, pair in found}}


# no weather, so steps may begin at an hour and be a day long; the rest is as loose as the errors asked for allow (see the
# time error rows)
R1_CONTROLS: dict[str, float] = {
    "tolerance": 0.0675, "sweep_tolerance": 0.75, "first_step": 3600.0, "largest_step": 86400.0, "reaction_tolerance": 2e-3,
    "balance_tolerance": 1e-3, "correction_threshold": 0.8}


def pilesim_r1(days: tuple[float, ...], refinement: int = 2, tolerance_share: float = 1.0) -> dict[str, Any]:
    """pilesim on 30 x 25 cells times `refinement`; `tolerance_share` multiplies the tolerance of a step."""
    from pilesim.solver.step import Controls
    from pilesim.verify.reduced import r1_grid, r1_history, r1_problem

    problem = r1_problem(r1_grid(refinement))
    tolerance = R1_CONTROLS["tolerance"] * tolerance_share
    history, _, tally = r1_history(problem, days, Controls(**{**R1_CONTROLS, "tolerance": tolerance}))
    return {"nodes": problem.mesh.count, "steps": tally.steps, "found": dict(history)}


def pilesim_pair(days: tuple[float, ...]) -> dict[str, Any]:
    """pilesim on 30 x 25 and 60 x 50 cells, extrapolated at order 2."""
    coarse, fine = pilesim_r1(days, 1), pilesim_r1(days, 2)
    best = {day: fine["found"][day] + (fine["found"][day] - coarse["found"][day]) / 3.0 for day in fine["found"]}
    return {"nodes": coarse["nodes"] + fine["nodes"], "found": best}


def full_physics(days: float, cell: str, tolerance_share: float = 1.0, watch: bool = False) -> dict[str, Any]:
    """The reference pile with all of its physics for `days`.

    With `watch` the result holds, by day, the temperature [K] of every node that has mix, and their shares of its volume.
    """
    from dataclasses import replace

    import pilesim
    from pilesim.build import build
    from pilesim.solver.march import march
    from pilesim.solver.step import Controls

    problem = build(pilesim.load("reference_pile").with_(**{"run.cell": cell, "run.duration": f"{days} day"}), 2)
    controls = replace(Controls(), tolerance=Controls().tolerance * tolerance_share)
    fields: dict[float, np.ndarray] = {}

    def observe(stepper: Any, moment: Any) -> None:
        for day in WATCHED if watch else ():
            share = (day * DAY - moment.before.time) / moment.step if moment.step > 0.0 else -1.0
            if 0.0 < share <= 1.0 + 1e-9:
                fields[day] = (1.0 - share) * moment.before.temperature + share * moment.after.temperature

    _, _, tally = march(problem, days * DAY, controls, observe)
    weight = problem.norm_volume / problem.norm_volume.sum()
    return {"nodes": problem.mesh.count, "steps": tally.steps, "fields": fields, "weight": weight}


def errors(found: dict[float, np.ndarray]) -> dict[str, list[float]]:
    """Mean temperature [K] and oxygen used [%] less the grid-converged answer, by day."""
    out = {}
    for day, (mean, used) in found.items():
        true_mean, true_used = CONVERGED[float(day)]
        out[f"{day:g}"] = [float(mean - true_mean), float(100.0 * (used / true_used - 1.0))]
    return out


R1: dict[str, tuple[str, Callable[..., dict[str, Any]]]] = {  # name -> label, function of the report days
    "ida": ("IDA, upwind, 60 x 50", peer_ida),
    "bdf": ("scipy BDF, upwind, 60 x 50", peer_bdf),
    "van_leer": ("scipy BDF, van Leer, 60 x 50", peer_van_leer),
    "fipy": ("FiPy, upwind, 60 x 50", peer_fipy),
    "pilesim_30": ("pilesim, 30 x 25", lambda days: pilesim_r1(days, 1)),
    "pilesim_60": ("pilesim, 60 x 50", lambda days: pilesim_r1(days, 2)),
    "pilesim_pair": ("pilesim, both, extrapolated", pilesim_pair),
}

ROUNDS, RUNS_OF_PILESIM = 3, 4  # a run of IDA is as long as fifty of pilesim: they meet the same minutes, not the same share


def in_turns(timed: Callable[..., Any], days: tuple[float, ...],
             quick: bool) -> dict[str, tuple[list[float], dict[str, Any]]]:
    """CPU seconds of each run and the last answer, of IDA and of pilesim on R1 with 60 x 50 cells, by name.

    They take turns. What neighbours of this machine do to its last cache changes within seconds, and a run of 0.15 s that
    lives in it feels that more than one of 8 s: nine such runs in a row were all good or all bad.
    """
    found: dict[str, tuple[list[float], dict[str, Any]]] = {"ida": ([], {}), "pilesim_60": ([], {})}

    def turn() -> None:
        for name in (*["pilesim_60"] * RUNS_OF_PILESIM, "ida"):
            seconds = found[name][0]
            began = time.process_time()
            result = R1[name][1](days)
            seconds.append(time.process_time() - began)
            found[name] = (seconds, result)

    peer_ida((1.0,), 30, 25)  # a first run compiles
    pilesim_r1((1.0,))
    timed(turn, 1 if quick else ROUNDS)
    return found
