"""Gas paths for pictures: lines that follow the superficial gas velocity through the half section.

Paths start on the outer surface at equal shares of the gas drawn in, so that their density shows where air
enters. Closed eddies, which no such path can reach, are filled with paths started inside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.tri import Triangulation

from pilesim.show.half_section import HalfSection, segment_points

STILL = 1e-3  # of the largest speed: a path ends where the gas is slower
FASTEST_STILL = 1e-9  # [m s-1]: below this there is no flow worth drawing


def gas_paths(section: HalfSection, velocity_x: np.ndarray, velocity_z: np.ndarray, count: int = 8) -> list[np.ndarray]:
    """Gas paths at one time, each an (n, 2) array of points [m] along the flow; none when it stands still.

    Parameters
    ----------
    velocity_x, velocity_z : (nz, nx) array
        Superficial gas velocity [m s-1], NaN where there is no pore gas.
    count : int
        Paths started on the surface of the half section.
    """
    velocity = np.stack([np.ravel(velocity_x), np.ravel(velocity_z)], axis=1).astype(float)
    triangles = section.pile[np.isfinite(velocity[section.pile]).all(axis=(1, 2))]
    if not len(triangles):
        return []
    nodes, local = np.unique(triangles, return_inverse=True)
    mesh = Triangulation(section.x[nodes], section.z[nodes], local.reshape(-1, 3))
    field = _Field(mesh, velocity[nodes], float(np.hypot(*velocity[nodes].T).max()),
                   min(0.0, float(section.x[nodes].min())))
    if field.fastest < FASTEST_STILL:
        return []
    size = max(section.half_width, section.top)
    step, reach = size / 90.0, round(2.5 * 90.0)
    seeds = _surface_seeds(section, velocity, count, 0.3 * step)
    paths = _follow(field, seeds, step, reach) if len(seeds) else []
    paths = [path for path in paths if len(path) > 3]
    return paths + _eddy_paths(field, section, paths, step, reach)


@dataclass(frozen=True, slots=True)
class _Field:
    """Piecewise linear velocity on the triangles of the pile, the largest speed and the left end."""

    mesh: Triangulation
    velocity: np.ndarray
    fastest: float
    left: float  # m, least x: the axis, or the far toe of a full section

    def at(self, points: np.ndarray) -> np.ndarray:
        """Velocity at (n, 2) points; NaN outside."""
        found = np.asarray(self.mesh.get_trifinder()(points[:, 0], points[:, 1]), dtype=int)
        corners = np.asarray(self.mesh.triangles)[found]
        at = np.stack([self.mesh.x[corners], self.mesh.y[corners]], axis=-1)  # (n, corner, 2)
        edges, here = at[:, 1:] - at[:, :1], points - at[:, 0]
        double_area = edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0]
        second = (here[:, 0] * edges[:, 1, 1] - here[:, 1] * edges[:, 1, 0]) / double_area
        third = (edges[:, 0, 0] * here[:, 1] - edges[:, 0, 1] * here[:, 0]) / double_area
        weights = np.stack([1.0 - second - third, second, third], axis=1)
        result = np.einsum("ni,nij->nj", weights, self.velocity[corners])
        result[found < 0] = np.nan
        return result

    def direction(self, points: np.ndarray) -> np.ndarray:
        """Unit vectors along the flow; NaN outside and where the gas stands still."""
        velocity = self.at(points)
        speed = np.hypot(*velocity.T)[:, None]
        return np.where(speed > STILL * self.fastest, velocity / np.where(speed > 0, speed, 1.0), np.nan)


def _surface_seeds(section: HalfSection, velocity: np.ndarray, count: int, inset: float) -> np.ndarray:
    """Points just inside the surface that split the inflow of the half section into `count` equal shares."""
    ends = segment_points(section, section.surface)
    mean = velocity[section.surface].mean(axis=1)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    inflow = np.clip(np.nan_to_num((mean * section.inward).sum(axis=1)), 0.0, None) * length
    if inflow.sum() <= 0:
        return np.empty((0, 2))
    middle = ends.mean(axis=1)
    if section.turned:
        inflow = inflow * middle[:, 0]  # a ring of that radius draws the air in
    order = np.lexsort((-middle[:, 0], np.round(middle[:, 1], 6)))  # from the toe upwards, then inwards
    total = np.concatenate([[0.0], np.cumsum(inflow[order])])
    wanted = (np.arange(count) + 0.5) / count * total[-1]
    k = np.clip(np.searchsorted(total, wanted, side="right") - 1, 0, len(order) - 1)
    share = ((wanted - total[k]) / (total[k + 1] - total[k]))[:, None]
    chosen = order[k]
    start, end = ends[chosen, 0], ends[chosen, 1]
    upwards = ((end - start) @ np.array([-1e-6, 1.0]) >= 0)[:, None]  # same sense as `order`
    start, end = np.where(upwards, start, end), np.where(upwards, end, start)
    return start + share * (end - start) + inset * section.inward[chosen]


def _follow(field: _Field, seeds: np.ndarray, step: float, reach: int, sense: float = 1.0) -> list[np.ndarray]:
    """Midpoint-rule paths in equal steps of arc length from all seeds, until they leave or the gas stops."""
    track = np.full((reach + 1, len(seeds), 2), np.nan)
    track[0] = seeds
    alive = np.arange(len(seeds))
    for k in range(reach):
        here = track[k, alive]
        half = here + 0.5 * sense * step * field.direction(here)
        half_ok = np.isfinite(half).all(axis=1)
        alive, here, half = alive[half_ok], here[half_ok], half[half_ok]
        there = here + sense * step * field.direction(half)
        inside = np.isfinite(there).all(axis=1) & (there[:, 0] >= field.left)
        alive, there = alive[inside], there[inside]
        if not len(alive):
            break
        track[k + 1, alive] = there
    return [line[np.isfinite(line).all(axis=1)] for line in np.moveaxis(track, 1, 0)]


def _eddy_paths(field: _Field, section: HalfSection, paths: list[np.ndarray], step: float, reach: int) -> list[np.ndarray]:
    """Paths through places far from all others where gas moves at a tenth of the top speed or more."""
    far = 12 * step
    xs, zs = np.arange(field.left + 0.5 * far, section.half_width, far), np.arange(0.5 * far, section.top, far)
    spots = np.stack(np.meshgrid(xs, zs), axis=-1).reshape(-1, 2)
    speed = np.hypot(*field.at(spots).T)
    spots = spots[np.nan_to_num(speed) > 0.1 * field.fastest]
    taken = np.concatenate(paths) if paths else np.empty((0, 2))
    added: list[np.ndarray] = []
    for spot in spots:
        if len(taken) and np.hypot(*(taken - spot).T).min() < far:
            continue
        ahead = _follow(field, spot[None], step, reach // 3)[0]
        behind = _follow(field, spot[None], step, reach // 3, sense=-1.0)[0]
        path = np.concatenate([behind[:0:-1], ahead])
        if len(path) > 8:
            added.append(path)
            taken = np.concatenate([taken, path])
    return added
