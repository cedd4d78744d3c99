"""Errors in space of every outline in a steady coupled problem (kind: converging; see `steady_section.py`).

Three grids of 20, 10 and 5 cm: 14, 28 and 56 cells across the half section. Faults named were seen to be caught.
"""

import numpy as np
import pytest

from pilesim.section.grid import section_grid
from pilesim.verify.check import observed_order
from pilesim.verify.steady_section import steady

SHARP = [(2.6, 0.0), (2.0, 1.2), (1.0, 1.9), (0.0, 2.1)]
OUTLINES = {"trapezoid": {"shape": "trapezoid", "crest_width": 1.6},
            "small crest": {"shape": "trapezoid", "crest_width": 0.1},
            "ridge": {"shape": "ridge"}, "ellipse": {"shape": "ellipse"}, "polygon": {"shape": "polygon", "points": SHARP},
            "rectangle": {"shape": "rectangle"}, "round": {"shape": "round", "crest_width": 1.6}, "cone": {"shape": "round"}}


def three_grids(outline, contrast):
    """Measures on the three grids: name -> (3,)."""
    values = {"base_width": 5.2, "height": 2.0, "crest_width": 0.0, "cover_thickness": 0.2, "base_thickness": 0.0,
              "base_edge": "closed", "cell": 0.1, "with_ground": False, **OUTLINES[outline]}
    runs = [steady(section_grid(refinement=refinement, **values), contrast) for refinement in (1, 2, 4)]
    return {name: np.array([found[name] for found in runs]) for name in runs[0]}


@pytest.mark.parametrize("outline", OUTLINES)
def test_errors_behind_a_tight_cover(outline):
    """Cover a hundred times tighter than the mix, as the default pair is.

    Error of the finest grid in percent, from the last difference by the order that a fourth grid showed (2.5 cm: heat and
    temperature 1.86 to 2.02, oxygen 1.58 to 1.83, air from 0.6 where it changes sign to 2.7): heat 0.05, temperature 0.07,
    oxygen 0.72, air 0.72 at most; limits leave a third. The order of the three grids: heat and temperature 1.88 to 2.05
    observed; oxygen 1.2 to 1.6, because 20 cm cells leave two across the cover, hence 1.1. Faults that fail it, each
    for every outline unless named: buoyancy of an edge from its lower end; upstream values without the limiter's second
    order; its ratio turned over; the top row of the mix made cover; cells with a flat corner evaluated at their corners
    (ridge, small crest, cone); forms without their cross terms (cone).
    """
    found = three_grids(outline, 100.0)
    for name, order, limit in (("heat", 2.0, 0.07), ("temperature", 2.0, 0.09), ("oxygen", 1.5, 0.95), ("air", 1.3, 1.2)):
        coarse, fine = np.diff(found[name]) / found[name][-1]
        assert 100.0 * abs(fine) / (2.0**order - 1.0) < limit, name
        if name != "air":
            assert observed_order([abs(coarse), abs(fine)])[0] > (1.1 if name == "oxygen" else 1.8), name


@pytest.mark.parametrize("outline", ["trapezoid", "ridge", "round"])
def test_errors_in_one_permeability(outline):
    """Cover as open as the mix: errors are a tenth, and some change sign, so that only their size is asked.

    Observed at most: heat 0.014, temperature 0.035, oxygen 0.001, air 0.08 percent; limits two to three times that.
    Faults that fail it: upstream values without the limiter's second order; buoyancy of an edge from its lower end
    (ridge, round); cells with a flat corner evaluated at their corners (ridge).
    """
    found = three_grids(outline, 1.0)
    for name, order, limit in (("heat", 2.0, 0.04), ("temperature", 2.0, 0.08), ("oxygen", 2.0, 0.003), ("air", 1.3, 0.3)):
        assert 100.0 * abs(found[name][-1] / found[name][-2] - 1.0) / (2.0**order - 1.0) < limit, name
