"""The members of the ensemble and the job that a worker process does for each. The values are invented."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from bench.child import peak_memory

RANGES = {  # key -> (low, high, unit, whether spread evenly in the logarithm)
    "mix.permeability": (1e-8, 1e-7, "m2", True),
    "cover.permeability": (2e-10, 2e-9, "m2", True),
    "mix.moisture": (50.0, 64.0, "percent", False),
    "mix.bulk_density": (420.0, 580.0, "kg/m3", False),
    "mix.fast_rate": (0.10, 0.25, "1/day", False),
    "weather.air_temperature": (-20.0, 20.0, "degC", False),
    "start.temperature": (5.0, 25.0, "degC", False),
}


def members(count: int, days: float, cell: str) -> dict[int, dict[str, str]]:
    """`count` sets of changes of the reference pile, the same in every session (seed 1)."""
    draw = np.random.default_rng(1).random((count, len(RANGES)))
    out = {}
    for index, row in enumerate(draw):
        changes = {"run.cell": cell, "run.duration": f"{days:g} day"}
        for share, (key, (low, high, unit, logarithm)) in zip(row, RANGES.items(), strict=True):
            value = low * (high / low) ** share if logarithm else low + (high - low) * share
            changes[key] = f"{value:.5g} {unit}"
        out[index] = changes
    return out


def run_member(changes: dict[str, str], report: Callable[[float], None]) -> dict[str, Any]:
    """One member exactly as `compare` runs a design; what it cost, and the peak memory of its process so far [MB]."""
    import pilesim
    from pilesim.study.compare import run_design

    began = time.process_time()
    design = run_design(pilesim.load("reference_pile").with_(**changes), report)
    return {"cpu_seconds": time.process_time() - began, "status": design["status"], "messages": design["messages"],
            "process": os.getpid(), "megabytes": peak_memory()}
