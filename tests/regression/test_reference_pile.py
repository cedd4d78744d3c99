"""Frozen output, not a reference: what the reference pile gave when `reference_pile.json` was last written.

These numbers say nothing about being right; they say that a change moved the answer. When a move is meant, write them
anew with ``python tests/regression/test_reference_pile.py``, and say in README's changes how large the move is.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pilesim.assess.shares import ZONES
from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.study.run import observed_run

FROZEN = Path(__file__).with_name("reference_pile.json")
ROUND_OFF = ("budget_error_", "iteration_defect_")  # what the arithmetic left: not frozen


def measures_now() -> dict[str, float | None]:
    """Measures of ten days on 20 cm cells, zones apart, six digits; None for what was not reached."""
    scenario = load("reference_pile").with_(**{"run.cell": "20 cm", "run.duration": "10 day"})
    found = observed_run(scenario, build(scenario, 2), lambda share: None)[1]
    flat = {}
    for name, value in found.items():
        if name.startswith(ROUND_OFF):
            continue
        parts = zip(ZONES, value, strict=True) if np.ndim(value) else [("", value)]
        for zone, part in parts:
            flat[f"{name}.{zone}" if zone else name] = None if np.isnan(part) else float(f"{float(part):.6g}")
    return flat


def test_reference_pile_gives_what_it_gave():
    """Relative 1e-3, and 1e-6 where zero: another processor rounds otherwise, which moved no measure by 1e-7 when the
    air was changed by 1e-6 K; a step more or less moves them by some 1e-4. Planted: heat of respiration 1 percent up.
    """
    frozen, now = json.loads(FROZEN.read_text(encoding="utf-8")), measures_now()
    assert list(now) == list(frozen)
    assert [name for name in now if now[name] is None] == [name for name in frozen if frozen[name] is None]
    reached = [name for name in frozen if frozen[name] is not None]
    moved = {name: (frozen[name], now[name]) for name in reached
             if now[name] != pytest.approx(frozen[name], rel=1e-3, abs=0.0 if frozen[name] else 1e-6)}
    assert not moved, f"frozen and present value: {moved}"


if __name__ == "__main__":
    FROZEN.write_text(json.dumps(measures_now(), indent=1) + "\n", encoding="utf-8")
