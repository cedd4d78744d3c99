"""The grid of a section once its cover is off: the same vertices at the same logical places, with fewer or other cells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from pilesim.section.grid import COVER, GROUND, MIX, NONE, SectionGrid


def cover_mixed_in(grid: SectionGrid) -> SectionGrid:
    """The grid when what was cover is mix: the outline stays, and the mix reaches it."""
    material = np.where(grid.material == COVER, MIX, grid.material).astype(grid.material.dtype)
    return replace(grid, material=material, mix_surface=grid.outer_surface)


def cover_taken_away(grid: SectionGrid) -> SectionGrid:
    """The grid without the cells of the cover: their outer edges go, and what they lay on meets the air."""
    gone = grid.material == COVER
    material = np.where(gone, NONE, grid.material).astype(grid.material.dtype)
    kept = _beside(material != NONE)
    edges = {name: pairs[[kept(*pair) for pair in pairs]] if len(pairs) else pairs for name, pairs in grid.edges.items()}
    for name, own in (("surface", (material != NONE) & (material != GROUND)), ("ground_surface", material == GROUND)):
        edges[name] = np.concatenate([edges[name], _between(own, gone)])
    inside = np.pad(material != NONE, 1)
    there = inside[:-1, :-1] | inside[:-1, 1:] | inside[1:, :-1] | inside[1:, 1:]
    return replace(grid, x=np.where(there, grid.x, np.nan), z=np.where(there, grid.z, np.nan), material=material, edges=edges,
                   outer_surface=grid.mix_surface)


def _beside(cells: np.ndarray) -> Callable[[np.ndarray, np.ndarray], bool]:
    """Whether a cell of `cells` lies beside an edge given by its two (j, i) vertices."""
    padded = np.pad(cells, 1)  # cell (j, i) at [j + 1, i + 1]

    def test(first: np.ndarray, second: np.ndarray) -> bool:
        j, i = np.minimum(first, second)
        if first[0] == second[0]:
            return bool(padded[j, i + 1] or padded[j + 1, i + 1])
        return bool(padded[j + 1, i] or padded[j + 1, i + 1])

    return test


def _between(own: np.ndarray, gone: np.ndarray) -> np.ndarray:
    """Edges between a cell of `own` and one of `gone`: (n, 2, 2) int, as (j, i) vertices."""
    j, i = np.nonzero((own[:, :-1] & gone[:, 1:]) | (gone[:, :-1] & own[:, 1:]))
    upright = np.stack([np.stack([j, i + 1], axis=-1), np.stack([j + 1, i + 1], axis=-1)], axis=1)
    j, i = np.nonzero((own[:-1] & gone[1:]) | (gone[:-1] & own[1:]))
    level = np.stack([np.stack([j + 1, i], axis=-1), np.stack([j + 1, i + 1], axis=-1)], axis=1)
    return np.concatenate([upright, level])
