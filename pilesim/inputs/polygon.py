"""A convex polygon as the outline of the mix: its points, checked one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pilesim.base.errors import ScenarioError

SHORTEST_SIDE = 0.05  # m: a shorter side of a polygon would force cells of that size
MOST_POINTS = 24
STEEPEST, FLATTEST = 85.0, 20.0  # deg, lowest side of a polygon


def mix_halves(points: Sequence[tuple[float, float]], full: bool) -> tuple[np.ndarray, np.ndarray]:
    """Checked right and left half of the mix, each (n, 2) [m] from its toe to the axis, the left one mirrored.

    points: from toe to axis, for both halves; or, of a full section, from the right toe (x > 0) over the crest at
    x = 0 to the left toe (x < 0). Raises ScenarioError.
    """
    if not full or not points or points[-1][0] >= 0.0:
        half = mix_polygon(points)
        return half, half
    at = [k for k, (x, _) in enumerate(points) if x == 0.0]
    if len(at) != 1:
        raise ScenarioError("pile.outline", f"{len(at)} points at x = 0 m", "one point at x = 0 m, at the crest",
                            "Shift the section sideways until x = 0 m is its highest point.")
    left = [(-x, z) for x, z in points[: at[0] - 1 if at[0] else None: -1]]
    return mix_polygon(points[: at[0] + 1]), mix_polygon(left, len(points))


def mix_polygon(points: Sequence[tuple[float, float]] | np.ndarray, mirrored_from: int = 0) -> np.ndarray:
    """Checked half polygon of the mix, (n, 2) [m] from the toe on the base layer (z = 0) to the axis (x = 0).

    Convex: every side is flatter than the one below it. mirrored_from: for messages, number of the first point if
    the half was given from the axis to a left toe. Raises ScenarioError.
    """
    where = "pile.outline"
    vertices = np.array(points, float).reshape(-1, 2)
    if not 2 <= len(vertices) <= MOST_POINTS:
        raise ScenarioError(where, f"{len(vertices)} points", f"2 to {MOST_POINTS} points from toe to crest")

    def shown(k: int) -> str:
        x, z = vertices[k]
        return f"point {mirrored_from - k if mirrored_from else k + 1} ({-x if mirrored_from else x:g} m, {z:g} m)"

    if vertices[0, 1] != 0 or vertices[0, 0] <= 0:
        raise ScenarioError(where, shown(0), "the toe first, at a height of 0 m", "Heights count from the base layer.")
    if vertices[-1, 0] != 0:
        raise ScenarioError(where, shown(len(vertices) - 1), "the crest last, on the axis (x = 0 m)",
                            "Give half the section, or with pile.section = 'full' all of it, from the right toe to the left.")
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
