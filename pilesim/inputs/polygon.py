"""A convex polygon as the outline of the mix: its points, checked one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pilesim.base.errors import ScenarioError

SHORTEST_SIDE = 0.05  # m: a shorter side of a polygon would force cells of that size
MOST_POINTS = 24
STEEPEST, FLATTEST = 85.0, 20.0  # deg, lowest side of a polygon


def mix_polygon(points: Sequence[tuple[float, float]], where: str = "pile.outline") -> np.ndarray:
    """Checked polygon of the mix, (n, 2) [m] from the toe on the base layer (z = 0) to the axis (x = 0).

    Convex: every side is flatter than the one below it. Raises ScenarioError.
    """
    vertices = np.array(points, float).reshape(-1, 2)
    if not 2 <= len(vertices) <= MOST_POINTS:
        raise ScenarioError(where, f"{len(vertices)} points", f"2 to {MOST_POINTS} points from toe to crest")

    def shown(k: int) -> str:
        return f"point {k + 1} ({vertices[k, 0]:g} m, {vertices[k, 1]:g} m)"

    if vertices[0, 1] != 0 or vertices[0, 0] <= 0:
        raise ScenarioError(where, shown(0), "the toe first, at a height of 0 m", "Heights count from the base layer.")
    if vertices[-1, 0] != 0:
        raise ScenarioError(where, shown(len(vertices) - 1), "the crest last, on the axis (x = 0 m)",
                            "Give half the section; the other half is its mirror image.")
    sides = np.diff(vertices, axis=0)
    for k, (dx, dz) in enumerate(sides):
        if not (dx < 0 <= dz) or math.hypot(dx, dz) < SHORTEST_SIDE:
            raise ScenarioError(where, shown(k + 1), f"a point nearer to the axis, not lower, at least {SHORTEST_SIDE:g} m "
                                "from the point before", "Order the points from toe to crest.")
        if k > 0 and sides[k - 1, 0] * dz - sides[k - 1, 1] * dx <= 0:
            raise ScenarioError(where, shown(k), "a convex outline, each side flatter than the one below it",
                                "Leave the point out or move it outwards; a hollow flank cannot be computed.")
    slope = math.degrees(math.atan2(sides[0, 1], -sides[0, 0]))
    if not FLATTEST - 1e-6 <= slope <= STEEPEST + 1e-6:
        raise ScenarioError(where, f"{slope:.3g} deg of the lowest side", f"{FLATTEST:g} to {STEEPEST:g} deg",
                            "Move the toe or the point above it.")
    return vertices
