"""Areas and lengths of the section grid against plane geometry (kind: exact).

Expected values are closed formulas of plane trigonometry, written out here and sharing no code with the grid.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pilesim.section.grid import BASE, COVER, MIX, SectionGrid, section_grid
from pilesim.verify.check import Check, largest_error

EXACT = 1e-12  # relative: sums of some thousand cells in double precision


def pile(*, degrees: float = 50.0, crest: float | None = None, **changes: Any) -> dict[str, Any]:
    """Arguments of section_grid: the reference pile with changes; `degrees` or `crest` sets the crest."""
    values: dict[str, Any] = {"shape": "trapezoid", "base_width": 5.2, "height": 2.0, "cover_thickness": 0.2,
              "base_thickness": 0.2, "base_edge": "closed", "cell": 0.1}
    values.update(changes)
    if crest is None:
        crest = values["base_width"] - 2 * values["height"] / math.tan(math.radians(degrees))
    return {**values, "crest_width": crest}


CASES = {
    "reference": pile(),
    "rectangle": pile(shape="rectangle", crest=0.0),
    "ridge": pile(crest=0.0),
    "crest narrower than the mitre": pile(crest=0.05, cover_thickness=0.4),
    "narrow crest": pile(crest=0.15),
    "steep": pile(base_width=2.0, degrees=80.0),
    "steep and narrow": pile(base_width=0.8, degrees=80.0),
    "flat": pile(base_width=9.0, height=1.2, degrees=22.0),
    "flat ridge": pile(base_width=6.6, height=1.2, crest=0.0),
    "no cover": pile(cover_thickness=0.0),
    "bare ridge": pile(crest=0.0, cover_thickness=0.0, base_thickness=0.0),
    "bare narrow crest": pile(crest=0.15, cover_thickness=0.0),
    "no base layer": pile(base_thickness=0.0),
    "thick layers": pile(cover_thickness=0.6, base_thickness=0.6),
    "small under a thick cover": pile(base_width=1.0, height=0.5, crest=0.0, cover_thickness=0.6, cell=0.3),
    "without ground": pile(with_ground=False),
}


def half_section(values: dict[str, Any]) -> dict[Any, float]:
    """Closed formulas for half a pile: areas [m2] of mix, base and cover, surface [m], outer toe [m].

    Flank cover = strip along the flank + right triangle at the toe (legs t and t cot s); the shoulder is a
    kite of two right triangles (legs t and t tan(s/2)).
    """
    w, h = 0.5 * values["base_width"], values["height"]
    c = w if values["shape"] == "rectangle" else 0.5 * values["crest_width"]
    t, b = values["cover_thickness"], values["base_thickness"]
    s = math.atan2(h, w - c)
    cot, mitre = (w - c) / h, t * math.tan(0.5 * s)
    flank = (h + b) / math.sin(s)
    return {
        MIX: h * (w + c) / 2, BASE: b * (w + 0.5 * b * cot),
        COVER: t * (flank + c) + t * t * math.tan(0.5 * s) + 0.5 * t * t * cot,
        "surface": flank + t * cot + 2 * mitre + c, "toe": w + b * cot + t / math.sin(s), "slope": s,
    }


def measure_errors(grid: SectionGrid, values: dict[str, Any]) -> list[float]:
    """Relative errors of areas, surface, overall width and height; of an empty layer its area over the mix's."""
    expected = half_section(values)
    errors = [(grid.area_of(m) - expected[m]) / (expected[m] or expected[MIX]) for m in (MIX, BASE, COVER)]
    tall = values["height"] + values["base_thickness"] + values["cover_thickness"]
    pairs = ((grid.surface_length, expected["surface"]), (grid.overall_width, 2 * expected["toe"]),
             (grid.overall_height, tall), (float(np.nanmax(grid.z)), tall))
    return errors + [got / true - 1.0 for got, true in pairs]


def outline(name: str) -> list[Check]:
    """Areas and lengths of one case on a coarse and a fine grid."""
    values = CASES[name]
    grids = [section_grid(**values, refinement=refinement) for refinement in (1, 3)]
    errors = [error for grid in grids for error in measure_errors(grid, values)]
    return [largest_error(f"outline, {name}: error of areas and lengths", "exact", "plane trigonometry", errors, EXACT)]


def outlines() -> list[Check]:
    """Every case."""
    return [check for name in CASES for check in outline(name)]
