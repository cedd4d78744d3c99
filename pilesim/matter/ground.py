"""Ground under and beside the pile: temperature at the start."""

from __future__ import annotations

import numpy as np


def steady_profile(depth: np.ndarray, total_depth: float, surface: float, deep: float) -> np.ndarray:
    """Temperature [K] at `depth` [m] below the surface, linear between `surface` and `deep` at `total_depth`.

    Source: steady conduction in one dimension, exact.
    """
    return surface + (deep - surface) * np.clip(depth / total_depth, 0.0, 1.0)
