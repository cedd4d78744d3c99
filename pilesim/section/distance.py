"""Distance of points from a line of straight pieces, such as the surface of the mix."""

from __future__ import annotations

from itertools import pairwise

import numpy as np


def distance_from_line(line: np.ndarray, x: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance [m] of points (x, z) [m] from the polyline `line`, (n, 2) [m], and how far its normal points up there.

    The second array is the cosine between the normal of the nearest piece and the vertical, 0 to 1.
    """
    nearest = np.full(x.shape, np.inf)
    upward = np.zeros(x.shape)
    for (x0, z0), (x1, z1) in pairwise(line):
        dx, dz = x1 - x0, z1 - z0
        length = float(np.hypot(dx, dz))
        if length < 1e-9:
            continue
        along = np.clip(((x - x0) * dx + (z - z0) * dz) / length**2, 0.0, 1.0)
        distance = np.hypot(x - x0 - along * dx, z - z0 - along * dz)
        closer = distance < nearest
        nearest[closer] = distance[closer]
        upward[closer] = abs(dx) / length
    return nearest, upward
