"""The drawn geometry of a result: triangles and boundary lines of the half section, and its mirror image.

The Dataset holds a logically rectangular grid whose vertices need not lie on straight lines; pictures need
triangles (for contours) and the lines where one material meets another (true to scale).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

NONE, MIX, COVER, BASE, GROUND = range(5)  # flag values of the Dataset's `zone`


@dataclass(frozen=True, slots=True)
class HalfSection:
    """Vertices, triangles and boundary lines of a result, as drawn.

    x, z : (n,) vertex coordinates [m], NaN where the grid is empty
    solid, pile : (m, 3) vertex indices of the triangles of all material, and of mix, cover and base only
    surface, interface, ground : (k, 2) vertex indices of line segments: outer surface of the pile, lines
        between materials inside it, and the ground line
    inward : (k, 2) unit vectors from each `surface` segment into the pile
    mirrored : whether the other half is the mirror image at x = 0
    turned : whether the section turns about x = 0 (a round heap)
    """

    x: np.ndarray
    z: np.ndarray
    solid: np.ndarray
    pile: np.ndarray
    surface: np.ndarray
    interface: np.ndarray
    ground: np.ndarray
    inward: np.ndarray
    mirrored: bool
    turned: bool = False

    @property
    def half_width(self) -> float:
        """Largest distance of the pile from the axis [m]."""
        return float(self.x[np.unique(self.pile)].max())

    @property
    def top(self) -> float:
        """Height of the pile above the ground [m]."""
        return float(self.z[np.unique(self.pile)].max())


def half_section(dataset: xr.Dataset) -> HalfSection:
    """Read the geometry from a Dataset as written by `pilesim run` (`distance`, `height`, `zone`): as built, or as it is at
    the one time that a Dataset holds."""
    x, z = dataset["distance"].values, dataset["height"].values
    zone = zone_of(dataset)
    corners = _corners(x.shape)
    in_pile = (zone != NONE) & (zone != GROUND)
    flat_x, flat_z = x.ravel(), z.ravel()
    column = dataset.attrs.get("shape") == "column"
    full = dataset.attrs.get("section") == "full"
    surface, interface, ground, inward = _lines(flat_x, flat_z, zone, column, full)
    one_sided = column or full
    return HalfSection(
        flat_x,
        flat_z,
        _triangles(flat_x, flat_z, corners[zone != NONE]),
        _triangles(flat_x, flat_z, corners[in_pile]),
        surface,
        interface,
        ground,
        inward,
        mirrored=not one_sided,
        turned=dataset.attrs.get("shape") == "round",
    )


def zone_of(dataset: xr.Dataset) -> np.ndarray:
    """Material of each cell: as built, or at the one time that a Dataset holds, when the cover may be off."""
    later = dataset.get("zone_uncovered")
    uncovered = later is not None and "time" in dataset and dataset["time"].ndim == 0
    if later is not None and uncovered and float(dataset["time"]) >= later.attrs["from_day"]:
        return later.values
    return dataset["zone"].values


def _corners(shape: tuple[int, int]) -> np.ndarray:
    """Vertex indices of each cell, anticlockwise: (nj - 1, ni - 1, 4)."""
    number = np.arange(shape[0] * shape[1]).reshape(shape)
    return np.stack([number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]], axis=-1)


def _area(x: np.ndarray, z: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = triangles.T
    return 0.5 * ((x[b] - x[a]) * (z[c] - z[a]) - (x[c] - x[a]) * (z[b] - z[a]))


def _triangles(x: np.ndarray, z: np.ndarray, quads: np.ndarray) -> np.ndarray:
    """Two triangles a cell, cut along the diagonal whose smaller triangle is larger; flat triangles dropped.

    A cell may have a corner of 180 degrees (narrow crest); only the diagonal from that corner cuts it well.
    """
    a, b, c, d = quads.T
    first = np.stack([np.stack([a, b, c], 1), np.stack([a, c, d], 1)], 1)
    second = np.stack([np.stack([a, b, d], 1), np.stack([b, c, d], 1)], 1)
    smallest = [np.minimum(_area(x, z, cut[:, 0]), _area(x, z, cut[:, 1])) for cut in (first, second)]
    triangles = np.where((smallest[0] >= smallest[1])[:, None, None], first, second).reshape(-1, 3)
    area = _area(x, z, triangles)
    return triangles[area > 1e-12 * np.nanmax(area)]


def _lines(
    x: np.ndarray, z: np.ndarray, zone: np.ndarray, column: bool, full: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Segments where two materials meet; none on the axis (first vertices) nor on either side of a column."""
    padded = np.pad(zone, ((1, 1), (0, 1)), constant_values=NONE)
    if column:
        padded[:, -1] = padded[:, -2]
    left = np.full_like(padded[:, :1], NONE) if full else padded[:, :1]
    padded = np.concatenate([left, padded], axis=1)
    number = np.arange((zone.shape[0] + 1) * (zone.shape[1] + 1)).reshape(zone.shape[0] + 1, -1)
    upright = np.stack([number[:-1], number[1:]], axis=-1).reshape(-1, 2)
    level = np.stack([number[:, :-1], number[:, 1:]], axis=-1).reshape(-1, 2)
    segments = np.concatenate([upright, level])
    one = np.concatenate([padded[1:-1, :-1].ravel(), padded[:-1, 1:-1].ravel()])  # left of, below the segment
    two = np.concatenate([padded[1:-1, 1:].ravel(), padded[1:, 1:-1].ravel()])  # right of, above it
    low, high = np.minimum(one, two), np.maximum(one, two)
    differ = low != high
    on_surface = differ & (low == NONE) & (high != GROUND)
    on_ground = differ & (high == GROUND)
    inside = differ & (low != NONE) & (high != GROUND)
    along = np.stack([x[segments[:, 1]] - x[segments[:, 0]], z[segments[:, 1]] - z[segments[:, 0]]], axis=1)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)  # to the right of upright, below level ones
    towards_two = np.where(np.arange(len(segments)) < len(upright), 1.0, -1.0)
    into_pile = normal * (towards_two * np.where(two == NONE, -1.0, 1.0))[:, None]
    length = np.hypot(*into_pile.T)[:, None]
    into_pile /= np.where(length > 0, length, 1.0)
    return segments[on_surface], segments[inside], segments[on_ground], into_pile[on_surface]


def segment_points(section: HalfSection, segments: np.ndarray) -> np.ndarray:
    """Coordinates [m] of line segments given by vertex indices: (k, 2 ends, 2)."""
    return np.stack([section.x[segments], section.z[segments]], axis=-1)


def mirror_lines(lines: np.ndarray, mirrored: bool, odd: bool = False) -> np.ndarray:
    """Segments or paths (k, n, 2) with their mirror images; `odd` keeps only the images."""
    if not mirrored:
        return lines[:0] if odd else lines
    image = lines * np.array([-1.0, 1.0])
    return image if odd else np.concatenate([lines, image])


def whole(
    section: HalfSection, triangles: np.ndarray, values: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """x, z, triangles and values as drawn, mirrored if there is an axis; triangles with NaN are left out.

    Parameters
    ----------
    triangles : (m, 3) int
        `section.solid` or `section.pile`.
    values : (nz, nx) or (n,) array
        One field at one time.
    """
    flat = np.asarray(values, dtype=float).ravel()
    used = triangles[np.isfinite(flat[triangles]).all(axis=1)]
    nodes, local = np.unique(used, return_inverse=True)
    local = local.reshape(used.shape)
    x, z, flat = section.x[nodes], section.z[nodes], flat[nodes]
    if not section.mirrored:
        return x, z, local, flat
    return (
        np.concatenate([x, -x]),
        np.concatenate([z, z]),
        np.concatenate([local, local[:, ::-1] + len(nodes)]),
        np.concatenate([flat, flat]),
    )
