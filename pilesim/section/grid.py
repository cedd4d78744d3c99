"""Boundary-fitted, logically rectangular grid of a pile section and the ground below it.

Row j counts from the bottom up, column i from the axis outwards; vertex arrays are (nj, ni), cells
(nj - 1, ni - 1). The index space is made of blocks, each with a whole number of coarse intervals that follows
from the outline and the coarse spacing only; a refined grid divides every interval, so grids nest exactly:

      cj+n +-----------------+-------+                        corner (cj, ci): shoulder of the mix, or for a
           |   top cover     | kite  |                        narrow crest or ridge a point on its flank
        cj +-----------------+-------+
           |   mix           | flank |
        jb +-----------------+ cover |        none            row jb: top of the base layer, z = base_thickness
           |   base layer    |       |
 floor_row +-----------------+-------+----------------        z = 0
           |   ground        |       |   ground beside
         0 +-----------------+-------+----------------
           0                ci     nx_pile          ni - 1

Narrow crest: with the corner at the shoulder every column would squeeze through the crest. The corner then
moves down the flank, and the "top" side of the mix runs over the crest and down to it. There the sides meet
at 180 degrees, which leaves two corners with zero Jacobian: that of the mix cell below (cj, ci) and, if there
is a cover, that of the kite's outermost cell. All others are positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pilesim.section.outline import Outline, pile_outline

NONE, MIX, COVER, BASE, GROUND = (np.int8(k) for k in range(5))

# Choices of the generator (they set cell sizes, never the geometry).
NARROW_CREST = 0.25  # half crest over half width below which the corner moves down the flank
GROUND_STRETCH = 1.9  # exponent of the ground's grading: last cell = exp(1.9) = 6.7 times the first
KITE_SPREAD = 0.4  # least distance of the kite's feet from the outer shoulder, in cover thicknesses
FLAT_KITE_SPREAD = 0.75  # the same for a corner on the straight flank


@dataclass(frozen=True, slots=True)
class SectionGrid:
    """Grid of a section. Lengths in m; areas are those of the gridded part (half a pile when `halved`).

    x, z: (nj, ni) vertices, NaN where all cells around are NONE; material: (nj - 1, ni - 1) int8.
    floor_row: row of z = 0; axis: x = 0 is a symmetry axis; halved: the mirror image is not gridded.
    edges: name -> (n, 2, 2) int, boundary edges as two (j, i) vertices, each beside exactly one cell.
    mix_surface, outer_surface: (n, 2) polylines from the toe to the axis; mix_base: z of the mix underside.
    cell: nominal spacing; (cj, ci): corner between the mix and its cover; jb: row of the mix underside.
    """

    x: np.ndarray
    z: np.ndarray
    material: np.ndarray
    floor_row: int
    axis: bool
    halved: bool
    edges: dict[str, np.ndarray]
    mix_surface: np.ndarray
    mix_base: float
    outer_surface: np.ndarray
    cell: float
    ci: int
    cj: int
    jb: int

    @property
    def mix_area(self) -> float:
        """Area [m2] of the mix cells."""
        return self.area_of(MIX)

    @property
    def cover_area(self) -> float:
        """Area [m2] of the cover cells."""
        return self.area_of(COVER)

    @property
    def overall_width(self) -> float:
        """Outer toe to outer toe of the whole pile [m]."""
        return float(np.max(self.outer_surface[:, 0])) * (2.0 if self.halved else 1.0)

    @property
    def overall_height(self) -> float:
        """Ground to crest, cover included [m]."""
        return float(np.max(self.outer_surface[:, 1]))

    @property
    def surface_length(self) -> float:
        """Length [m] of the gridded outer surface."""
        return edge_length(self, "surface")

    def area_of(self, material: int) -> float:
        """Area [m2] of the cells of one material."""
        return float(cell_areas(self)[self.material == material].sum())


def cell_areas(grid: SectionGrid) -> np.ndarray:
    """Area of each cell [m2], (nj - 1, ni - 1), from its diagonals; NaN for most NONE cells."""
    x, z = grid.x, grid.z
    return 0.5 * ((x[1:, 1:] - x[:-1, :-1]) * (z[1:, :-1] - z[:-1, 1:])
                  - (x[1:, :-1] - x[:-1, 1:]) * (z[1:, 1:] - z[:-1, :-1]))


def corner_jacobians(grid: SectionGrid) -> np.ndarray:
    """Cross product of the two edges at each corner of each cell [m2], (nj - 1, ni - 1, 4).

    Corners in the order (j, i), (j, i + 1), (j + 1, i + 1), (j + 1, i).
    """
    points = np.stack([grid.x, grid.z], axis=-1)
    ring = np.stack([points[:-1, :-1], points[:-1, 1:], points[1:, 1:], points[1:, :-1]], axis=2)
    ahead, behind = np.roll(ring, -1, axis=2) - ring, np.roll(ring, 1, axis=2) - ring
    return ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0]


def edge_length(grid: SectionGrid, name: str) -> float:
    """Total length [m] of the boundary edges called `name`."""
    j, i = grid.edges[name][..., 0], grid.edges[name][..., 1]
    x, z = grid.x[j, i], grid.z[j, i]
    return float(np.hypot(x[:, 1] - x[:, 0], z[:, 1] - z[:, 0]).sum())


def section_grid(
    *, shape: str, base_width: float, height: float, crest_width: float, cover_thickness: float,
    base_thickness: float, base_edge: str, cell: float, refinement: int = 2, ground_depth: float = 3.0,
    ground_width: float = 3.0, with_ground: bool = True,
) -> SectionGrid:
    """Grid of half a trapezoid or rectangle, or of a column one cell wide.

    Lengths in m. base_width, height, crest_width: of the mix, the height from the top of the base layer.
    base_edge: 'closed', or 'open' if the base material reaches the outer surface. cell: nominal spacing at
    refinement 2; refinement 1 is its coarse partner. The ground reaches ground_depth down and ground_width
    beyond the toe. Raises ValueError (what, given, allowed).
    """
    outline = pile_outline(shape, base_width, height, crest_width, cover_thickness, base_thickness)
    _check_choices(base_edge, cell, refinement, ground_depth, ground_width)
    spacing = 2.0 * cell
    column = shape == "column"
    blocks = _block_counts(outline, spacing, ground_depth, ground_width, with_ground)
    x, z = _pile_vertices(outline, blocks, refinement)
    corner, base_row = blocks.core * (1 if column else refinement), blocks.base * refinement
    material = np.full((x.shape[0] - 1, x.shape[1] - 1), COVER, np.int8)
    core_rows = (blocks.base + blocks.mix) * refinement
    material[:core_rows, :corner] = MIX
    material[:base_row, :corner] = BASE
    if base_edge == "open":
        material[:base_row] = BASE
    rows, pile_columns = blocks.below * refinement, x.shape[1] - 1
    if with_ground:
        x, z, material = _add_ground(x, z, material, blocks, refinement, ground_depth, ground_width)
    return SectionGrid(
        x=x, z=z, material=material, floor_row=rows, axis=True, halved=not column,
        edges=_section_edges(x.shape, rows, pile_columns, column),
        mix_surface=outline.mix_surface(), mix_base=float(base_thickness), outer_surface=outline.outer_surface(),
        cell=spacing / refinement, ci=corner, cj=rows + core_rows, jb=rows + base_row,
    )


def box_grid(x: np.ndarray, z: np.ndarray, material: np.ndarray) -> SectionGrid:
    """Rectangular grid from vertex abscissae x (nx,) and heights z (nz,) [m], both increasing.

    material: (nz - 1, nx - 1). Edges 'left', 'right', 'floor', 'top'. Raises ValueError on wrong shapes.
    """
    x, z, material = np.asarray(x, float), np.asarray(z, float), np.asarray(material, np.int8)
    for name, values in (("x", x), ("z", z)):
        if values.ndim != 1 or values.size < 2 or not np.all(np.diff(values) > 0):
            raise ValueError(f"{name}: given shape {values.shape}, allowed a 1-D array of 2 or more rising values")
    if material.shape != (z.size - 1, x.size - 1):
        raise ValueError(f"material: given shape {material.shape}, allowed {(z.size - 1, x.size - 1)}")
    rows, columns = z.size - 1, x.size - 1
    grid_x, grid_z = np.meshgrid(x, z)
    edges = {"left": _vertical(0, 0, rows), "right": _vertical(columns, 0, rows),
             "floor": _horizontal(0, 0, columns), "top": _horizontal(rows, 0, columns)}
    top = np.array([(x[-1], z[-1]), (x[0], z[-1])])
    return SectionGrid(
        x=grid_x, z=grid_z, material=material, floor_row=0, axis=False, halved=False, edges=edges,
        mix_surface=top, mix_base=float(z[0]), outer_surface=top.copy(),
        cell=float(min(np.diff(x).min(), np.diff(z).min())), ci=columns, cj=rows, jb=0,
    )


@dataclass(frozen=True, slots=True)
class _Blocks:
    """Coarse intervals of each block, and where the corner lies."""

    core: int  # columns from the axis to the corner
    cover: int  # columns and rows across the cover
    base: int
    mix: int
    below: int  # rows of ground
    beside: int  # columns of ground beyond the toe
    run: float  # m along the flank from the shoulder down to the corner; 0: the corner is the shoulder
    crest: int  # columns on the crest; equal to core when the corner is the shoulder


def _block_counts(o: Outline, spacing: float, depth: float, width: float, with_ground: bool) -> _Blocks:
    def count(length: float, least: int) -> int:
        return max(least, round(length / spacing))

    cover = count(o.cover_thickness, 2) if o.cover_thickness > 0 else 0
    base = count(o.base_thickness, 1) if o.base_thickness > 0 else 0
    growth = GROUND_STRETCH / math.expm1(GROUND_STRETCH)
    below = count(depth * growth, 2) if with_ground else 0
    if o.shape == "column":
        return _Blocks(1, cover, base, count(o.height, 2), below, 0, 0.0, 1)
    beside = count(width * growth, 2) if with_ground and width > 0 else 0
    w, c, flank = o.solid_half_width, o.half_crest, o.flank_length
    if c >= NARROW_CREST * o.half_width:
        core = count(0.75 * w + 0.25 * c, 2)
        return _Blocks(core, cover, base, count(max(o.height, 0.6 * flank), 2), below, beside, 0.0, core)
    # The corner divides crest and flank in the ratio of width to height: equal spacing on both sides of it.
    run = min(max((flank * w - c * o.height) / (o.height + w), 0.15 * flank), 0.85 * flank)
    core = count(0.5 * (w + c + run), 3)
    share = 0.5 * (c / (c + run) + (c + o.mitre) / (c + o.mitre + run))
    crest = min(max(1, round(core * share)), core - 1) if c + o.mitre > 0 else 0
    return _Blocks(core, cover, base, count(0.5 * (o.height + flank - run), 2), below, beside, run, crest)


def _pile_vertices(o: Outline, blocks: _Blocks, refinement: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices of base layer, mix and cover, row 0 on the ground."""
    def logical(intervals: int) -> np.ndarray:
        n = intervals * refinement
        return np.arange(n + 1) / n if n else np.zeros(1)

    across, up = logical(blocks.cover), logical(blocks.mix)
    if o.shape == "column":
        heights = np.concatenate([o.base_thickness * logical(blocks.base)[:-1],
                                  (o.base_thickness + o.height * up)[:-1],
                                  o.solid_height + o.cover_thickness * across])
        x, z = np.meshgrid([0.0, o.half_width], heights)
        return x, z
    along = logical(blocks.core)
    corner = np.array([o.half_crest, o.solid_height]) + blocks.run * o.direction
    top, outer_top, kite = _top_sides(o, blocks, along, corner)
    core = _core_vertices(o, corner, top, along, up, logical(blocks.base))
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
    o: Outline, blocks: _Blocks, along: np.ndarray, corner: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Top side of the core, the surface above it, and the kite's foot on the flank, outer corner, foot on top."""
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
    o: Outline, corner: np.ndarray, top: np.ndarray, along: np.ndarray, up: np.ndarray, base: np.ndarray
) -> np.ndarray:
    """Base layer (horizontal rows) and mix (transfinite interpolation, Gordon & Hall 1973)."""
    u, v = along[None, :, None], up[:, None, None]
    foot = np.array([o.half_width, o.base_thickness])
    axis_side = (1 - v) * np.array([0.0, o.base_thickness]) + v * top[0]
    flank_side = (1 - v) * foot + v * corner
    bulge = top - ((1 - u) * top[0] + u * corner)
    mix = (1 - u) * axis_side + u * flank_side + v * bulge
    if o.base_thickness == 0:
        return mix
    z = (o.base_thickness * base)[:-1]
    half_width = o.solid_half_width + (z / o.base_thickness) * (o.half_width - o.solid_half_width)
    layer = np.stack([half_width[:, None] * along, np.broadcast_to(z[:, None], (z.size, along.size))], axis=-1)
    return np.concatenate([layer, mix], axis=0)


def _path(nodes: list, at: list[float], along: np.ndarray) -> np.ndarray:
    """Points (n, 2) on a polyline whose nodes sit at the logical positions `at`."""
    nodes_array = np.array(nodes)
    return np.stack([np.interp(along, at, nodes_array[:, k]) for k in (0, 1)], axis=-1)


def _rules(inner: np.ndarray, outer: np.ndarray, across: np.ndarray) -> np.ndarray:
    """Straight lines from inner (n, 2) to outer (n, 2): (across, n, 2)."""
    s = across[:, None, None]
    return (1 - s) * inner + s * outer


def _add_ground(
    x: np.ndarray, z: np.ndarray, material: np.ndarray, blocks: _Blocks, refinement: int, depth: float, width: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Put graded ground rows under the pile and graded ground columns beside it."""
    def graded(intervals: int, length: float) -> np.ndarray:
        n = intervals * refinement
        return length * np.expm1(GROUND_STRETCH * np.arange(1, n + 1) / max(n, 1)) / math.expm1(GROUND_STRETCH)

    below, beside = -graded(blocks.below, depth)[::-1], graded(blocks.beside, width)
    rows, columns = below.size, beside.size
    full_x = np.full((x.shape[0] + rows, x.shape[1] + columns), np.nan)
    full_z = np.full_like(full_x, np.nan)
    full_x[rows:, : x.shape[1]], full_z[rows:, : x.shape[1]] = x, z
    full_x[: rows + 1] = np.concatenate([x[0], x[0, -1] + beside])
    full_z[: rows + 1] = np.append(below, 0.0)[:, None]
    full_material = np.full((full_x.shape[0] - 1, full_x.shape[1] - 1), NONE, np.int8)
    full_material[rows:, : material.shape[1]] = material
    full_material[:rows] = GROUND
    return full_x, full_z, full_material


def _section_edges(shape: tuple[int, ...], floor: int, pile: int, column: bool) -> dict[str, np.ndarray]:
    """Boundary edges of a section; names that do not occur hold no edges."""
    top, right = shape[0] - 1, shape[1] - 1
    crest = _horizontal(top, 0, pile)[::-1, ::-1]
    none = _horizontal(0, 0, 0)
    axis = _vertical(0, 0, top)
    return {
        "surface": crest if column else np.concatenate([_vertical(pile, floor, top), crest]),
        "axis": np.concatenate([axis, _vertical(right, 0, top)]) if column else axis,
        "ground_surface": _horizontal(floor, pile, right) if floor else none,
        "ground_bottom": _horizontal(0, 0, right) if floor else none,
        "ground_side": none if column else _vertical(right, 0, floor),
        "floor": none if floor else _horizontal(0, 0, right),
    }


def _vertical(i: int, first: int, last: int) -> np.ndarray:
    j = np.arange(first, last + 1)
    vertices = np.stack([j, np.full_like(j, i)], axis=-1)
    return np.stack([vertices[:-1], vertices[1:]], axis=1)


def _horizontal(j: int, first: int, last: int) -> np.ndarray:
    return _vertical(j, first, last)[..., ::-1]


def _check_choices(base_edge: str, cell: float, refinement: int, depth: float, width: float) -> None:
    if base_edge not in ("closed", "open"):
        raise ValueError(f"base_edge: given {base_edge!r}, allowed 'closed', 'open'")
    if not (math.isfinite(cell) and cell > 0):
        raise ValueError(f"cell: given {cell:g}, allowed above 0 m")
    if refinement != int(refinement) or refinement < 1:
        raise ValueError(f"refinement: given {refinement!r}, allowed a whole number of 1 or more")
    if not (math.isfinite(depth) and depth > 0 and math.isfinite(width) and width >= 0):
        raise ValueError(f"ground: given depth {depth:g}, width {width:g}, allowed depth above 0 m, width 0 m or more")
