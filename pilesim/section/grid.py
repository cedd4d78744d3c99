"""Boundary-fitted, logically rectangular grid of a pile section and the ground below it.

Row j counts from the bottom up, column i from the axis outwards; vertex arrays are (nj, ni), cells
(nj - 1, ni - 1). The index space is made of blocks, each with a whole number of coarse intervals that follows
from the outline and the coarse spacing only; a refined grid divides every interval, so grids nest exactly:

      cj+n +-----------------+-------+                        corner (cj, ci): shoulder of the mix, or for a
           |   top cover     | kite  |                        narrow crest or ridge a point on its flank
        cj +-----------------+-------+
           |   mix           | flank |
        jb +-----------------+ cover |        none            row jb: z = base_thickness
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
from dataclasses import dataclass, replace

import numpy as np

from pilesim.base.errors import ScenarioError
from pilesim.inputs.polygon import mix_polygon
from pilesim.section.blocks import Blocks, block_counts, graded, pile_vertices
from pilesim.section.outline import CURVED, Outline, pile_outline, require_number
from pilesim.section.profile import (
    Profile,
    ellipse_profile,
    polygon_profile,
    profile_counts,
    profile_layout,
    profile_vertices,
)

NONE, MIX, COVER, BASE, GROUND = range(5)


@dataclass(frozen=True, slots=True)
class SectionGrid:
    """Grid of a section. Lengths in m; areas are those of the gridded part (half a pile when `halved`).

    x, z: (nj, ni) vertices, NaN where all cells around are NONE; material: (nj - 1, ni - 1) int8.
    floor_row: row of z = 0, -1 without a floor (slab, whose mix_base is -inf);
    axis: x = 0 is a symmetry axis; halved: the mirror image is not gridded.
    edges: name -> (n, 2, 2) int, boundary edges as two (j, i) vertices, each beside exactly one cell.
    mix_surface, outer_surface: (n, 2) polylines from the toe to the axis; mix_base: z of the mix underside.
    axisymmetric: the section turns about x = 0 (a round heap), so volumes are those of the whole heap.
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
    axisymmetric: bool = False

    @property
    def overall_width(self) -> float:
        """Outer toe to outer toe of the whole pile [m]."""
        x = self.outer_surface[:, 0]
        return float(2.0 * x.max() if self.halved or self.axisymmetric else x.max() - x.min())

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


def full_section(right: SectionGrid, left: SectionGrid | None = None) -> SectionGrid:
    """Two half sections as one, from the left toe (x < 0) to the right; `left` is mirrored, by default `right` itself.

    Raises ValueError unless both are halves of plane sections that meet on the axis.
    """
    left = left or right
    for grid in (right, left):
        if not (grid.axis and grid.halved):
            raise ValueError("grid: expected half a plane section")
    if right.z.shape[0] != left.z.shape[0] or not np.allclose(right.z[:, 0], left.z[:, 0], rtol=0, atol=1e-9):
        raise ValueError("grid: the halves do not meet on the axis")
    last = left.x.shape[1] - 1
    edges = {}
    for name, pairs in right.edges.items():
        image = left.edges[name][::-1, ::-1] * np.array([1, -1]) + np.array([0, last])
        edges[name] = np.concatenate([pairs + np.array([0, last]), image]) if name != "axis" else pairs[:0]
    mirrored = np.array([-1.0, 1.0])
    return replace(
        right, x=np.concatenate([-left.x[:, :0:-1], right.x], axis=1),
        z=np.concatenate([left.z[:, :0:-1], right.z], axis=1),
        material=np.concatenate([left.material[:, ::-1], right.material], axis=1), axis=False, halved=False, edges=edges,
        mix_surface=np.concatenate([right.mix_surface, left.mix_surface[-2::-1] * mirrored]),
        outer_surface=np.concatenate([right.outer_surface, left.outer_surface[-2::-1] * mirrored]), ci=right.ci + last,
    )


def cell_areas(grid: SectionGrid) -> np.ndarray:
    """Area of each cell [m2], (nj - 1, ni - 1), from its diagonals; NaN for most NONE cells."""
    x, z = grid.x, grid.z
    return 0.5 * ((x[1:, 1:] - x[:-1, :-1]) * (z[1:, :-1] - z[:-1, 1:])
                  - (x[1:, :-1] - x[:-1, 1:]) * (z[1:, 1:] - z[:-1, :-1]))


def edge_length(grid: SectionGrid, name: str) -> float:
    """Total length [m] of the boundary edges called `name`."""
    j, i = grid.edges[name][..., 0], grid.edges[name][..., 1]
    x, z = grid.x[j, i], grid.z[j, i]
    return float(np.hypot(x[:, 1] - x[:, 0], z[:, 1] - z[:, 0]).sum())


def section_grid(
    *, shape: str, base_width: float, height: float, crest_width: float, cover_thickness: float,
    base_thickness: float, base_edge: str, cell: float, refinement: int = 2, ground_depth: float = 3.0,
    ground_width: float = 3.0, with_ground: bool = True, points: np.ndarray | None = None,
    rows: int = 0,
) -> SectionGrid:
    """Grid of half a pile, or of a column one cell wide.

    Lengths in m. points: the mix of a 'polygon' from toe to axis, heights above the base layer; rows: coarse rows of
    its mix if more than its size asks (so that two halves meet). A 'round'
    heap is a trapezoid turned about the axis, a 'slab' one row from its middle plane to its face;
    base_width and crest_width its diameters.
    base_width, height, crest_width: of the mix, the height from the top of the base layer.
    base_edge: 'closed', or 'open' if the base material reaches the outer surface. cell: nominal spacing at
    refinement 2; refinement 1 is its coarse partner. The ground reaches ground_depth down and ground_width
    beyond the toe. Raises ScenarioError.
    """
    _check_choices(base_edge, cell, refinement, ground_depth, ground_width)
    if shape == "slab":
        pile_outline("rectangle", base_width, height, 0.0, cover_thickness, 0.0)
        return _slab(0.5 * base_width, height, cover_thickness, cell, refinement)
    spacing = 2.0 * cell
    column, heap = shape == "column", shape == "round"
    line: Outline | Profile
    if shape in CURVED:
        line = _profile(shape, base_width, height, cover_thickness, base_thickness, points)
        layout = profile_layout(line, spacing, rows)
        blocks = profile_counts(line, layout, spacing, ground_depth, ground_width, with_ground)
        x, z = profile_vertices(line, layout, blocks, refinement)
        mix_surface, outer_surface = line.line(False, of_mix=True), line.line(True)
    else:
        line = pile_outline("trapezoid" if heap else shape, base_width, height, crest_width, cover_thickness, base_thickness)
        blocks = block_counts(line, spacing, ground_depth, ground_width, with_ground)
        x, z = pile_vertices(line, blocks, refinement)
        mix_surface, outer_surface = line.mix_surface(), line.outer_surface()
    corner, base_row = blocks.core * (1 if column else refinement), blocks.base * refinement
    material = np.full((x.shape[0] - 1, x.shape[1] - 1), COVER, np.int8)
    core_rows = (blocks.base + blocks.mix) * refinement
    material[:core_rows, :corner] = MIX
    material[:base_row, :corner] = BASE
    if base_edge == "open":
        material[:base_row] = BASE
    floor_row, pile_columns = blocks.below * refinement, x.shape[1] - 1
    if with_ground:
        x, z, material = _add_ground(x, z, material, blocks, refinement, ground_depth, ground_width)
    return SectionGrid(
        x=x, z=z, material=material, floor_row=floor_row, axis=True, halved=not (column or heap),
        edges=_section_edges(x.shape, floor_row, pile_columns, column),
        mix_surface=mix_surface, mix_base=float(base_thickness),
        outer_surface=outer_surface, cell=spacing / refinement,
        ci=corner, cj=floor_row + core_rows, jb=floor_row + base_row, axisymmetric=heap,
    )


def _slab(half_width: float, height: float, cover: float, cell: float, refinement: int) -> SectionGrid:
    """One row of cells from the symmetry plane to the surface; without ground, floor and base layer."""
    mix = max(2, round(half_width / (2.0 * cell))) * refinement
    layer = max(2, round(cover / (2.0 * cell))) * refinement if cover > 0 else 0
    x = np.concatenate([np.linspace(0.0, half_width, mix + 1), half_width + cover * np.arange(1, layer + 1) / max(layer, 1)])
    material = np.full((1, mix + layer), COVER, np.int8)
    material[:, :mix] = MIX
    columns, none = mix + layer, _horizontal(0, 0, 0)
    closed = [_vertical(0, 0, 1), _horizontal(0, 0, columns), _horizontal(1, 0, columns)]
    grid_x, grid_z = np.meshgrid(x, [0.0, height])
    side, face = (np.array([(at, 0.0), (at, height)]) for at in (half_width, half_width + cover))
    return SectionGrid(
        x=grid_x, z=grid_z, material=material, floor_row=-1, axis=True, halved=True,
        edges={"surface": _vertical(columns, 0, 1), "axis": np.concatenate(closed), "ground_surface": none,
               "ground_bottom": none, "ground_side": none, "floor": none},
        mix_surface=side, mix_base=-math.inf, outer_surface=face, cell=cell * 2.0 / refinement, ci=mix, cj=1, jb=0,
    )


def _profile(shape: str, base_width: float, height: float, cover: float, base: float,
             points: np.ndarray | None) -> Profile:
    """Checked profile of a half-ellipse or polygon."""
    if shape == "ellipse":
        pile_outline("rectangle", base_width, height, base_width, cover, base)
        return ellipse_profile(0.5 * base_width, height, cover, base)
    vertices = mix_polygon(() if points is None else points)
    pile_outline("rectangle", 2.0 * float(vertices[0, 0]), float(vertices[-1, 1]), 0.0, cover, base)
    return polygon_profile(vertices, cover, base)


def box_grid(x: np.ndarray, z: np.ndarray, material: np.ndarray, axisymmetric: bool = False) -> SectionGrid:
    """Rectangular grid from vertex abscissae x (nx,) and heights z (nz,) [m], both increasing.

    material: (nz - 1, nx - 1). axisymmetric: turned about x = 0, so no x below 0.
    Edges 'left', 'right', 'floor', 'top'. Raises ValueError on wrong shapes.
    """
    x, z, material = np.asarray(x, float), np.asarray(z, float), np.asarray(material, np.int8)
    for name, values in (("x", x), ("z", z)):
        if values.ndim != 1 or values.size < 2 or not np.all(np.diff(values) > 0):
            raise ValueError(f"{name}: given shape {values.shape}, expected 2 or more rising values in 1-D")
    if material.shape != (z.size - 1, x.size - 1):
        raise ValueError(f"material: given shape {material.shape}, expected {(z.size - 1, x.size - 1)}")
    rows, columns = z.size - 1, x.size - 1
    grid_x, grid_z = np.meshgrid(x, z)
    edges = {"left": _vertical(0, 0, rows), "right": _vertical(columns, 0, rows),
             "floor": _horizontal(0, 0, columns), "top": _horizontal(rows, 0, columns)}
    top = np.array([(x[-1], z[-1]), (x[0], z[-1])])
    return SectionGrid(
        x=grid_x, z=grid_z, material=material, floor_row=0, axis=False, halved=False, edges=edges,
        mix_surface=top, mix_base=float(z[0]), outer_surface=top.copy(),
        cell=float(min(np.diff(x).min(), np.diff(z).min())), ci=columns, cj=rows, jb=0,
        axisymmetric=axisymmetric,
    )


def _add_ground(
    x: np.ndarray, z: np.ndarray, material: np.ndarray, blocks: Blocks, refinement: int, depth: float,
    width: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Put graded ground rows under the pile and graded ground columns beside it."""
    below = -graded(blocks.below, refinement, depth)[:0:-1]
    beside = graded(blocks.beside, refinement, width)[1:]
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
        raise ScenarioError("base_layer.edge", repr(base_edge), "'closed' or 'open'")
    require_number("run.cell", cell, cell > 0, "a length above 0 m")
    whole = refinement >= 1 and refinement == int(refinement)
    require_number("refinement", refinement, whole, "a whole number of 1 or more")
    require_number("ground depth", depth, depth > 0, "a length above 0 m")
    require_number("ground width", width, width >= 0, "a length of 0 m or more")
