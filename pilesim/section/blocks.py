"""Blocks of the section grid: how many intervals each gets, and where their vertices lie.

Every block is a function of logical positions 0 to 1 sampled at k / (intervals * refinement), with kinks only
at coarse positions; so a finer grid holds all vertices of a coarser one, and outlines are kept exactly.
`grid.py` shows how the blocks fit together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pilesim.section.outline import Outline

# Choices of the generator (they set cell sizes, never the geometry).
NARROW_CREST = 0.25  # half crest over half width below which the corner moves down the flank
GROUND_STRETCH = 1.9  # exponent of the ground's grading: last cell = exp(1.9) = 6.7 times the first
KITE_SPREAD = 0.4  # least distance of the kite's feet from the outer shoulder, in cover thicknesses
CORNER_RELIEF = 3.0  # push of the rows off a corner on the flank (0: slivers; 3.6: 1 pile in 100 folds)
FLAT_KITE_SPREAD = 0.75  # the same for a corner on the straight flank


@dataclass(frozen=True, slots=True)
class Blocks:
    """Coarse intervals of each block, and where the corner lies."""

    core: int  # columns from the axis to the corner
    cover: int  # columns and rows across the cover
    base: int
    mix: int
    below: int  # rows of ground
    beside: int  # columns of ground beyond the toe
    run: float  # m along the flank from the shoulder down to the corner; 0: the corner is the shoulder
    crest: int  # columns on the crest; equal to core when the corner is the shoulder


def block_counts(o: Outline, spacing: float, depth: float, width: float, with_ground: bool) -> Blocks:
    """Coarse intervals of each block from the outline and the coarse spacing [m] alone."""
    def count(length: float, least: int) -> int:
        return max(least, round(length / spacing))

    cover = count(o.cover_thickness, 2) if o.cover_thickness > 0 else 0
    base = count(o.base_thickness, 2) if o.base_thickness > 0 else 0
    growth = GROUND_STRETCH / math.expm1(GROUND_STRETCH)
    below = count(depth * growth, 2) if with_ground else 0
    if o.shape == "column":
        return Blocks(1, cover, base, count(o.height, 2), below, 0, 0.0, 1)
    beside = count(width * growth, 2) if with_ground and width > 0 else 0
    w, c, flank = o.solid_half_width, o.half_crest, o.flank_length
    if c >= NARROW_CREST * o.half_width:
        core = count(0.75 * w + 0.25 * c, 2)
        return Blocks(core, cover, base, count(max(o.height, 0.6 * flank), 2), below, beside, 0.0, core)
    # The corner divides crest and flank in the ratio of width to height: equal spacing on both sides of it.
    run = min(max((flank * w - c * o.height) / (o.height + w), 0.15 * flank), 0.85 * flank)
    core = count(0.5 * (w + c + run), 3)
    share = 0.5 * (c / (c + run) + (c + o.mitre) / (c + o.mitre + run))
    crest = min(max(1, round(core * share)), core - 1) if c + o.mitre > 0 else 0
    return Blocks(core, cover, base, count(0.5 * (o.height + flank - run), 2), below, beside, run, crest)


def logical(intervals: int, refinement: int) -> np.ndarray:
    """Positions 0 to 1 of the vertices of a block; a block of no intervals is the single position 0."""
    n = intervals * refinement
    return np.arange(n + 1) / n if n else np.zeros(1)


def graded(intervals: int, refinement: int, length: float) -> np.ndarray:
    """Distances [m] of the vertices of a graded block, 0 to `length`, the first interval smallest."""
    return length * np.expm1(GROUND_STRETCH * logical(intervals, refinement)) / math.expm1(GROUND_STRETCH)


def pile_vertices(o: Outline, blocks: Blocks, refinement: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices of base layer, mix and cover, row 0 on the ground."""
    across, up = logical(blocks.cover, refinement), logical(blocks.mix, refinement)
    base = logical(blocks.base, refinement)
    if o.shape == "column":
        heights = np.concatenate([(o.base_thickness * base)[:-1],
                                  (o.base_thickness + o.height * up)[:-1],
                                  o.solid_height + o.cover_thickness * across])
        x, z = np.meshgrid([0.0, o.half_width], heights)
        return x, z
    along = logical(blocks.core, refinement)
    corner = np.array([o.half_crest, o.solid_height]) + blocks.run * o.direction
    top, outer_top, kite = _top_sides(o, blocks, along, corner)
    core = _core_vertices(o, blocks, corner, top, along, up, base)
    if not blocks.cover:
        return core[..., 0], core[..., 1]
    side = core[:, -1]
    outer_toe = np.array([o.outer_half_width, 0.0])
    outer_side = outer_toe + (side[:, 1:] / corner[1]) * (kite[0] - outer_toe)
    flank_cover = _rules(side, outer_side, across).transpose(1, 0, 2)
    top_cover = _rules(top, outer_top, across)
    corner_block = _rules(_rules(corner[None], kite[0][None], across)[:, 0],
                          _rules(kite[2][None], kite[1][None], across)[:, 0], across)
    lower = np.concatenate([core, flank_cover[:, 1:]], axis=1)
    upper = np.concatenate([top_cover, corner_block[:, 1:]], axis=1)
    points = np.concatenate([lower, upper[1:]], axis=0)
    return points[..., 0], points[..., 1]


def _top_sides(
    o: Outline, blocks: Blocks, along: np.ndarray, corner: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Top side of the core; surface above it; kite's foot on the flank, outer corner and foot on top."""
    down, pin = o.direction, blocks.crest / blocks.core
    normal = np.array([-down[1], down[0]])
    crest_end = np.array([o.half_crest + o.mitre, o.outer_height])
    if blocks.run == 0:
        spread = max(o.mitre, min(KITE_SPREAD * o.cover_thickness, o.mitre + 0.5 * o.half_crest))
        kite = np.array([crest_end + spread * down, crest_end, crest_end - [spread, 0.0]])
        outer_nodes, outer_at = [(0.0, o.outer_height), kite[2]], [0.0, 1.0]
        nodes, at = [(0.0, o.solid_height), corner], [0.0, 1.0]
    else:
        below = o.flank_length - blocks.run
        spread = min(FLAT_KITE_SPREAD * o.cover_thickness, 0.4 * blocks.run, 0.4 * below)
        outer_corner = corner + o.cover_thickness * normal
        kite = np.array([outer_corner + spread * down, outer_corner, outer_corner - spread * down])
        outer_nodes, outer_at = [(0.0, o.outer_height), crest_end, kite[2]], [0.0, pin, 1.0]
        nodes, at = [(0.0, o.solid_height), (o.half_crest, o.solid_height), corner], [0.0, pin, 1.0]
        if o.half_crest == 0:
            nodes, at = [nodes[0], corner], [0.0, 1.0]
        if o.cover_thickness == 0 and o.half_crest == 0:
            outer_nodes, outer_at = nodes, at
    return _path(nodes, at, along), _path(outer_nodes, outer_at, along), kite


def _core_vertices(
    o: Outline, blocks: Blocks, corner: np.ndarray, top: np.ndarray, along: np.ndarray, up: np.ndarray,
    base: np.ndarray,
) -> np.ndarray:
    """Base layer in horizontal rows, mix by transfinite interpolation between its four sides.

    Below a corner on the straight flank the rows are pushed inwards, or the cells there would be slivers.
    """
    u, v = along[None, :, None], up[:, None, None]
    foot = np.array([o.half_width, o.base_thickness])
    axis_side = (1 - v) * np.array([0.0, o.base_thickness]) + v * top[0]
    flank_side = (1 - v) * foot + v * corner
    bulge = top - ((1 - u) * top[0] + u * corner)
    mix = (1 - u) * axis_side + u * flank_side + v * bulge
    if blocks.run > 0:
        inward = np.array([o.direction[1], -o.direction[0]])
        depth = float(np.dot(mix[0, 0] - corner, inward))
        mix = mix + CORNER_RELIEF * depth * (u * v) ** 2 * (1 - u) * (1 - v) * inward
    if o.base_thickness == 0:
        return mix
    z = (o.base_thickness * base)[:-1]
    half_width = o.solid_half_width + (z / o.base_thickness) * (o.half_width - o.solid_half_width)
    layer_x = half_width[:, None] * along
    layer = np.stack([layer_x, np.broadcast_to(z[:, None], layer_x.shape)], axis=-1)
    return np.concatenate([layer, mix], axis=0)


def _path(nodes: list, at: list[float], along: np.ndarray) -> np.ndarray:
    """Points (n, 2) on a polyline whose nodes sit at the logical positions `at`."""
    nodes_array = np.array(nodes)
    return np.stack([np.interp(along, at, nodes_array[:, k]) for k in (0, 1)], axis=-1)


def _rules(inner: np.ndarray, outer: np.ndarray, across: np.ndarray) -> np.ndarray:
    """Straight lines from inner (n, 2) to outer (n, 2): (across, n, 2)."""
    s = across[:, None, None]
    return (1 - s) * inner + s * outer
