"""Convex profiles with kinks or curves: half-ellipse and polygon, their cover, and the vertices of their grid.

A profile runs from the axis over the top of the mix down to the ground and is known at each arc length of the solid
(mix and base layer). Kinks sit at coarse vertices, so polygons are kept exactly; on the ellipse and its cover's outer
curve every vertex lies on the curve, so areas and lengths converge at second order. The logical corner of the grid
lies at a kink or, at 180 degrees, on a straight or curved flank (see `grid.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pilesim.section.blocks import CORNER_RELIEF, FLAT_KITE_SPREAD, GROUND_STRETCH, Blocks, logical

CURVE_SAMPLES = 4001  # of the table from arc length to angle on an ellipse; vertices lie on the curve whatever it is
SNAP = 0.2  # of the length of the profile: a kink this near to the wanted corner becomes the corner
SHARP = math.radians(15.0)  # turn from which a kink serves as a corner


@dataclass(frozen=True, slots=True)
class Profile:
    """Half profile, lengths in m, arc length s of the solid from the axis (0) to the ground.

    knots: (k,) arc lengths of kinks and ends; inner, outer: (k, 2) points of the solid and the cover there; foot: arc
    length of the lower edge of the mix; radii: (half width, height, base of the mix) of an ellipse, else None.
    """

    knots: np.ndarray
    inner: np.ndarray
    outer: np.ndarray
    foot: float
    cover: float
    radii: tuple[float, float, float] | None = None

    def at(self, s: np.ndarray, covered: bool) -> np.ndarray:
        """Points (n, 2) of the solid's surface, or of the cover's, at arc lengths `s`."""
        nodes = self.outer if covered else self.inner
        straight = np.stack([np.interp(s, self.knots, nodes[:, k]) for k in (0, 1)], axis=-1)
        if self.radii is None:
            return straight
        a, h, base = self.radii
        angle, length = _ellipse_table(a, h)
        theta = np.interp(s * (length[-1] / self.foot), length, angle)
        curve = np.stack([a * np.sin(theta), base + h * np.cos(theta)], axis=-1)
        normal = np.stack([h * np.sin(theta), a * np.cos(theta)], axis=-1)
        normal /= np.hypot(normal[:, 0], normal[:, 1])[:, None]
        normal[theta == angle[-1]] = (1.0, 0.0)
        curve[theta == angle[-1]] = (a, base)
        curve = curve + (self.cover if covered else 0.0) * normal
        return np.where((s <= self.foot)[:, None], curve, straight)

    def line(self, covered: bool, of_mix: bool = False) -> np.ndarray:
        """Polyline (n, 2) from the toe (or the lower edge of the mix) to the axis."""
        s = self.knots if self.radii is None else np.union1d(self.knots, np.linspace(0.0, self.foot, 361))
        return self.at(s[s <= self.foot] if of_mix else s, covered)[::-1]


def _ellipse_table(a: float, h: float) -> tuple[np.ndarray, np.ndarray]:
    """Angles from the top and arc lengths [m] of a quarter ellipse."""
    angle = np.linspace(0.0, 0.5 * math.pi, CURVE_SAMPLES)
    steps = np.hypot(a * np.diff(np.sin(angle)), h * np.diff(np.cos(angle)))
    return angle, np.concatenate([[0.0], np.cumsum(steps)])


def ellipse_profile(half_width: float, height: float, cover: float, base: float) -> Profile:
    """Half-ellipse of the mix on a base layer with vertical sides; lengths in m."""
    length = float(_ellipse_table(half_width, height)[1][-1])
    knots, inner = [0.0, length], [(0.0, base + height), (half_width, base)]
    outer = [(0.0, base + height + cover), (half_width + cover, base)]
    if base > 0:
        knots.append(length + base)
        inner.append((half_width, 0.0))
        outer.append((half_width + cover, 0.0))
    return Profile(np.array(knots), np.array(inner), np.array(outer), length, cover, (half_width, height, base))


def polygon_profile(points: np.ndarray, cover: float, base: float) -> Profile:
    """Convex polygon of the mix: `points` (n, 2) [m] from the toe to the axis, heights above the base layer.

    The lowest side runs on straight down through the base layer. A summit on the axis carries a flat cover as a ridge
    does, so that the cover is nowhere thicker over the top than asked.
    """
    inner = points[::-1] + np.array([0.0, base])
    along = np.diff(inner, axis=0)
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=-1)
    outer = inner.copy()
    outer[0] += (0.0, cover)
    for k in range(1, len(inner) - 1):
        outer[k] += cover * (normal[k - 1] + normal[k]) / (1.0 + normal[k - 1] @ normal[k])
    run = along[-1, 0] / -along[-1, 1]
    ground = np.array([inner[-1, 0] + base * run, 0.0])
    toe = ground + np.array([cover / normal[-1, 0], 0.0])
    inner[-1], outer[-1], foot_point = ground, toe, inner[-1].copy()
    turn = math.atan2(-along[0, 1], along[0, 0])
    if cover > 0 and turn > 1e-9:
        inner, outer = _flat_summit(inner, outer, cover * math.tan(0.5 * turn), cover)
    if base > 0:
        share = np.hypot(*(foot_point - inner[-2])) / np.hypot(*(ground - inner[-2]))
        inner = np.insert(inner, -1, foot_point, axis=0)
        outer = np.insert(outer, -1, outer[-2] + share * (toe - outer[-2]), axis=0)
    knots = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(inner, axis=0).T))])
    return Profile(knots, inner, outer, float(knots[-2] if base > 0 else knots[-1]), cover)


def _flat_summit(inner: np.ndarray, outer: np.ndarray, mitre: float, cover: float) -> tuple[np.ndarray, np.ndarray]:
    """Cut the cover over a summit on the axis level; the rule from its edge meets the first side at a knot."""
    edge = np.array([mitre, inner[0, 1] + cover])
    share = 0.5 * mitre / (mitre + np.hypot(*(outer[1] - edge)))
    return np.insert(inner, 1, inner[0] + share * (inner[1] - inner[0]), axis=0), np.insert(outer, 1, edge, axis=0)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the corner lies, and the coarse intervals of each piece of top and flank."""

    corner: float  # arc length
    turn: float  # rad, 0 on a straight or curved flank
    top: np.ndarray  # arc lengths from the axis to the corner
    top_counts: tuple[int, ...]
    side: np.ndarray  # arc lengths from the lower edge of the mix up to the corner
    side_counts: tuple[int, ...]


def profile_layout(p: Profile, spacing: float, rows: int = 0) -> Layout:
    """Corner and intervals from the profile and the coarse spacing [m] alone, with at least `rows` up the side."""
    wide, high = float(p.inner[-1, 0]), float(p.inner[0, 1])
    wanted = min(max(p.foot * wide / (wide + high), 0.15 * p.foot), 0.85 * p.foot)
    corner, turn = wanted, 0.0
    between = np.flatnonzero((p.knots > 0) & (p.knots < p.foot))
    for k in between:
        a, b = p.inner[k] - p.inner[k - 1], p.inner[k + 1] - p.inner[k]
        bend = abs(math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b)))
        if bend > max(SHARP, turn) and abs(p.knots[k] - wanted) < SNAP * p.foot:
            corner, turn = float(p.knots[k]), bend
    if turn == 0.0:  # stay clear of a blunt kink: the middle of the wanted piece
        piece = int(np.clip(np.searchsorted(p.knots, wanted), 1, len(p.knots) - 1))
        low, high_end = p.knots[piece - 1], min(p.knots[piece], p.foot)
        corner = float(np.clip(wanted, low + 0.35 * (high_end - low), high_end - 0.35 * (high_end - low)))
    inside = p.knots[between]
    top = np.concatenate([[0.0], inside[inside < corner - 1e-12], [corner]])
    side = np.concatenate([[p.foot], inside[inside > corner + 1e-12][::-1], [corner]])
    mean_top, mean_side = 0.5 * (corner + wide), 0.5 * (p.foot - corner + high)
    return Layout(corner, turn, top, _shared(top, mean_top, spacing), side,
                  _shared(side, mean_side, spacing, rows))


def _shared(ends: np.ndarray, length: float, spacing: float, least: int = 0) -> tuple[int, ...]:
    lengths = np.abs(np.diff(ends))
    counts = [max(1, round(float(length * part / lengths.sum() / spacing))) for part in lengths]
    counts[int(np.argmax(lengths))] += max(max(least, 3) - sum(counts), 0)
    return tuple(counts)


def profile_counts(p: Profile, layout: Layout, spacing: float, depth: float, width: float,
                   with_ground: bool) -> Blocks:
    """Coarse intervals of each block."""
    growth = GROUND_STRETCH / math.expm1(GROUND_STRETCH)

    def count(length: float) -> int:
        return max(2, round(length / spacing)) if length > 0 else 0

    base = float(p.inner[-2, 1]) if p.knots[-1] > p.foot else 0.0
    below, beside = (count(depth * growth), count(width * growth)) if with_ground else (0, 0)
    return Blocks(sum(layout.top_counts), count(p.cover), count(base), sum(layout.side_counts), below, beside,
                  p.foot - layout.corner, 0)


def _spread(ends: np.ndarray, counts: tuple[int, ...], refinement: int) -> np.ndarray:
    """Values at the vertices of a side, linear between its pinned ends."""
    at = np.concatenate([[0], np.cumsum(counts)]) * refinement
    return np.interp(np.arange(at[-1] + 1), at, ends)


def profile_vertices(p: Profile, layout: Layout, blocks: Blocks, refinement: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices of base layer, mix and cover, row 0 on the ground."""
    top_s, side_s = (_spread(e, c, refinement) for e, c in ((layout.top, layout.top_counts),
                                                            (layout.side, layout.side_counts)))
    top, side = p.at(top_s, False), p.at(side_s, False)
    base = logical(blocks.base, refinement)
    core = _core(p, layout, top, side)
    if blocks.base:
        rows = p.foot + (p.knots[-1] - p.foot) * (1.0 - base[:-1])
        edge = p.at(rows, False)
        u = logical(blocks.core, refinement)
        # the row on top of the base layer has the columns of the mix
        layer = np.stack([edge[:, :1] * u, np.broadcast_to(edge[:, 1:], (len(rows), u.size))], axis=-1)
        core = np.concatenate([layer, core])
    if not blocks.cover:
        return core[..., 0], core[..., 1]
    points = _with_cover(p, layout, blocks, refinement, core, top)
    return points[..., 0], points[..., 1]


def _core(p: Profile, layout: Layout, top: np.ndarray, side: np.ndarray) -> np.ndarray:
    """Mix by transfinite interpolation; rows pushed inwards below a corner that hardly turns."""
    n, m = len(top), len(side)
    u, v = (np.arange(n) / (n - 1))[None, :, None], (np.arange(m) / (m - 1))[:, None, None]
    axis_foot, corner = np.array([0.0, side[0, 1]]), top[-1]
    bottom = (1 - u) * axis_foot + u * side[0]
    axis = (1 - v) * axis_foot + v * top[0]
    mix = (1 - u) * axis + u * side[:, None] + (1 - v) * bottom + v * top[None]
    mix = mix - ((1 - u) * (1 - v) * axis_foot + u * (1 - v) * side[0] + (1 - u) * v * top[0] + u * v * corner)
    ends = p.at(np.array([layout.corner - 1e-4 * p.foot, layout.corner + 1e-4 * p.foot]), False)
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    inward = np.array([along[1], -along[0]])
    depth = float(np.dot(axis_foot - corner, inward))
    relief = CORNER_RELIEF * depth * max(math.cos(layout.turn), 0.0) ** 2
    return np.asarray(mix + relief * (u * v) ** 2 * (1 - u) * (1 - v) * inward)


def _with_cover(p: Profile, layout: Layout, blocks: Blocks, refinement: int, core: np.ndarray,
                top: np.ndarray) -> np.ndarray:
    across = logical(blocks.cover, refinement)[:, None, None]
    feet = _kite_feet(p, layout)
    top_out = _spread(np.append(layout.top[:-1], feet[0]), layout.top_counts, refinement)
    side_out = _spread(np.append(layout.side[:-1], feet[1]), layout.side_counts, refinement)
    if blocks.base:
        rows = p.foot + (p.knots[-1] - p.foot) * (1.0 - logical(blocks.base, refinement)[:-1])
        side_out = np.concatenate([rows, side_out])
    outer_side, outer_top = p.at(side_out, True), p.at(top_out, True)
    side = core[:, -1]
    flank = ((1 - across) * side + across * outer_side).transpose(1, 0, 2)
    above = (1 - across) * top + across * outer_top
    e = logical(blocks.cover, refinement)
    right = p.at(feet[1] + e * (layout.corner - feet[1]), True)  # kite: its outer sides follow the surface
    up = p.at(feet[0] + e * (layout.corner - feet[0]), True)
    corner, a, b = e[None, :, None], top[-1], e[:, None, None]
    lower = (1 - e)[:, None] * a + e[:, None] * right[0]
    left = (1 - e)[:, None] * a + e[:, None] * up[0]
    kite = (1 - b) * lower[None] + b * up[None] + (1 - corner) * left[:, None] + corner * right[:, None]
    kite = kite - ((1 - corner) * (1 - b) * a + corner * (1 - b) * right[0] + (1 - corner) * b * up[0]
                   + corner * b * right[-1])
    lower_rows = np.concatenate([core, flank[:, 1:]], axis=1)
    upper_rows = np.concatenate([above, kite[:, 1:]], axis=1)
    return np.concatenate([lower_rows, upper_rows[1:]], axis=0)


def _kite_feet(p: Profile, layout: Layout) -> tuple[float, float]:
    """Arc lengths of the kite's feet above and below the corner: at least the mitre away on the cover's surface."""
    wish = max(p.cover * math.tan(0.5 * layout.turn), FLAT_KITE_SPREAD * p.cover * math.cos(layout.turn) ** 2, 0.4 * p.cover)
    feet = []
    for ends in (layout.top, layout.side):
        near = float(ends[-2])
        a, b = p.at(np.array([layout.corner, near]), True)
        length = float(np.hypot(*(b - a))) if p.radii is None else abs(near - layout.corner)
        feet.append(layout.corner + (near - layout.corner) * min(wish / length, 0.5))
    return feet[0], feet[1]
