"""Errors in space of every outline in a steady coupled problem (see `steady_section.py`).

Three grids of 20, 10 and 5 cm: 14, 28 and 56 cells across the half section.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.section.grid import section_grid
from pilesim.verify.check import Check, largest_error, observed_order
from pilesim.verify.steady_section import steady

SHARP = [(2.6, 0.0), (2.0, 1.2), (1.0, 1.9), (0.0, 2.1)]
OUTLINES: dict[str, dict[str, Any]] = {
    "trapezoid": {"shape": "trapezoid", "crest_width": 1.6}, "small crest": {"shape": "trapezoid", "crest_width": 0.1},
    "ridge": {"shape": "ridge"}, "ellipse": {"shape": "ellipse"}, "polygon": {"shape": "polygon", "points": SHARP},
    "rectangle": {"shape": "rectangle"}, "round": {"shape": "round", "crest_width": 1.6}, "cone": {"shape": "round"}}
# measure, its order, largest error of the finest grid [percent]
TIGHT = (("heat", 2.0, 0.07), ("temperature", 2.0, 0.09), ("oxygen", 1.5, 0.95), ("air", 1.3, 1.2))
OPEN = (("heat", 2.0, 0.04), ("temperature", 2.0, 0.08), ("oxygen", 2.0, 0.003), ("air", 1.3, 0.3))
LEAST_ORDER = {"heat": 1.8, "temperature": 1.8, "oxygen": 1.1}
SOURCE = "grids halved twice"


def three_grids(outline: str, contrast: float) -> dict[str, np.ndarray]:
    """Measures on the three grids: name -> (3,)."""
    values = {"base_width": 5.2, "height": 2.0, "crest_width": 0.0, "cover_thickness": 0.2, "base_thickness": 0.0,
              "base_edge": "closed", "cell": 0.1, "with_ground": False, **OUTLINES[outline]}
    runs = [steady(section_grid(refinement=refinement, **values), contrast) for refinement in (1, 2, 4)]
    return {name: np.array([found[name] for found in runs]) for name in runs[0]}


def errors_of(outline: str, contrast: float) -> list[Check]:
    """Error of the finest grid from the last difference, and the order where it is asked: of a cover a hundred times
    tighter than the mix (`contrast` 100), or as open (1), where some errors change sign and only their size is asked."""
    found, rows = three_grids(outline, contrast), []
    label = f"{outline} in a steady draught, cover {'as open' if contrast == 1.0 else f'{contrast:g} times tighter'}"
    for name, assumed, limit in TIGHT if contrast > 1.0 else OPEN:
        coarse, fine = np.diff(found[name]) / found[name][-1]
        rows.append(largest_error(f"{label}: error of {name} on 5 cm", "exact", SOURCE,
                                  [100.0 * fine / (2.0**assumed - 1.0)], limit, "percent"))
        if contrast > 1.0 and name in LEAST_ORDER:
            got = float(observed_order([coarse, fine])[0])
            spread = 2.0 - LEAST_ORDER[name]
            rows.append(Check(f"{label}: order of {name}", "exact", SOURCE, 2.0, got, spread))
    return rows


def outline_errors() -> list[Check]:
    """Every outline behind a tight cover, three of them with one permeability."""
    return [check for outline in OUTLINES for check in errors_of(outline, 100.0)] + [
        check for outline in ("trapezoid", "ridge", "round") for check in errors_of(outline, 1.0)]
