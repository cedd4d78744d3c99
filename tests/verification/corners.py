"""Whether the cells of a grid are convex: the Jacobians of its corners."""

from __future__ import annotations

import numpy as np

from pilesim.section.grid import SectionGrid


def corner_jacobians(grid: SectionGrid) -> np.ndarray:
    """Cross product of the two edges at each corner of each cell [m2], (nj - 1, ni - 1, 4).

    Corners in the order (j, i), (j, i + 1), (j + 1, i + 1), (j + 1, i).
    """
    points = np.stack([grid.x, grid.z], axis=-1)
    ring = np.stack([points[:-1, :-1], points[:-1, 1:], points[1:, 1:], points[1:, :-1]], axis=2)
    ahead, behind = np.roll(ring, -1, axis=2) - ring, np.roll(ring, 1, axis=2) - ring
    return ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0]
