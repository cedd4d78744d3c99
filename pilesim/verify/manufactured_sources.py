"""What must be supplied at each node so that the manufactured fields are the solution: exact balances of control volumes.

A node's control volume is made of the quarters of the cells around it. Its source is what it stores, plus what the
exact flux of the closed forms carries out through the faces between quarters (two-point Gauss, each face in its own
material), less what the outer edges exchange by the stated laws and what respiration makes. By the divergence theorem
that is the integral of the differential source, the jumps of the fluxes between materials included, so that no second
derivative is needed. The faces are not those along which the scheme takes its differences, and nothing of its forms is used.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.surface import Boundary
from pilesim.build import Problem
from pilesim.section.grid import GROUND
from pilesim.verify import manufactured_fields as fields
from pilesim.verify.manufactured_fields import Materials

GAUSS = 0.5 + 0.5 / np.sqrt(3.0) * np.array([-1.0, 1.0])  # on [0, 1], both with weight one half
INSIDE = np.array([0.3, 0.8])  # m; the pile is convex


class Sources(NamedTuple):
    """Per node, (count + 1,) arrays."""

    heat: np.ndarray  # W m-1
    water: np.ndarray  # kg s-1 m-1
    oxygen: np.ndarray  # mol s-1 m-1
    gas: np.ndarray  # mol s-1 m-1, what respiration takes included
    uptake: np.ndarray  # mol s-1 m-1, oxygen that respiration uses


class Places(NamedTuple):
    """Gauss points of faces or edges."""

    tail: np.ndarray  # (n,) node that the flux leaves
    head: np.ndarray  # (n,) node that it enters; `count` where it is the outside
    x: np.ndarray  # (n, 2) m
    z: np.ndarray
    normal: np.ndarray  # (2, n) m, as long as the face
    material: np.ndarray  # (n,)


def faces(problem: Problem) -> Places:
    """Faces between the quarters of every cell, from its edges' middles to its centre."""
    mesh = problem.mesh
    x, z = mesh.x[mesh.quad_nodes], mesh.z[mesh.quad_nodes]
    parts = []
    # tail, head, and the sign that turns the way to the centre into the normal from tail to head
    for tail, head, sign in ((0, 1, 1.0), (2, 3, -1.0), (0, 2, -1.0), (1, 3, 1.0)):
        start = np.array([0.5 * (x[:, tail] + x[:, head]), 0.5 * (z[:, tail] + z[:, head])])
        way = np.array([x.mean(axis=1), z.mean(axis=1)]) - start
        points = start[:, :, None] + way[:, :, None] * GAUSS
        parts.append(Places(mesh.quad_nodes[:, tail], mesh.quad_nodes[:, head], points[0], points[1],
                            sign * np.array([way[1], -way[0]]), mesh.quad_material))
    return _joined(parts)


def outer_halves(problem: Problem, name: str, material: int) -> Places:
    """Halves of the outer edges of one name, each with its node, normals outwards."""
    mesh, pairs = problem.mesh, problem.grid.edges[name]
    node = mesh.node_at(problem.grid.x.shape)
    ends = node[pairs[:, :, 0], pairs[:, :, 1]]
    parts = []
    for own, other in ((0, 1), (1, 0)):
        start = np.array([mesh.x[ends[:, own]], mesh.z[ends[:, own]]])
        way = 0.5 * (np.array([mesh.x[ends[:, other]], mesh.z[ends[:, other]]]) - start)
        points = start[:, :, None] + way[:, :, None] * GAUSS
        normal = np.array([way[1], -way[0]])
        normal = normal * np.sign(np.sum(normal * (start - INSIDE[:, None]), axis=0))
        parts.append(Places(ends[:, own], np.full(len(ends), mesh.count), points[0], points[1], normal,
                            np.full(len(ends), material)))
    return _joined(parts)


def _joined(parts: list[Places]) -> Places:
    return Places(*(np.concatenate(arrays, axis=-1 if arrays[0].ndim == 1 or arrays[0].shape[0] == 2 else 0)
                    for arrays in zip(*parts, strict=True)))


def fluxes(x: np.ndarray, z: np.ndarray, material: np.ndarray, swing: dict[str, Any], m: Materials,
           c: SimpleNamespace) -> tuple[SimpleNamespace, dict[str, np.ndarray]]:
    """Everything at places (n,) of the pile, and the exact fluxes (2, n) of gas, heat, water and oxygen."""
    f = fields.conduct(fields.at(x, z, material, swing, m, c), material, m, c)

    def grown(a: Any, b: Any) -> tuple[Any, ...]:
        g = fields.at(a, b, material, swing, m, c)
        return g.temperature, g.saturation, g.oxygen, g.ratio, fields.pressure(a, b, swing, m, c)

    along_x = np.imag(np.array(grown(x + 1j * fields.TINY, z + 0j))) / fields.TINY
    along_z = np.imag(np.array(grown(x + 0j, z + 1j * fields.TINY))) / fields.TINY
    warmth, wetness, fraction, ratio, push = np.stack([along_x, along_z], axis=1)
    push[1] -= f.lift
    gas = -f.conductance * push
    vapour = -f.vapour_diffusion * ratio
    liquid = -f.capillary * wetness
    heat = (f.enthalpy * gas - f.conductivity * warmth + c.vapour_diffusion_enthalpy * vapour
            + c.water_heat_capacity * (f.temperature - c.celsius_zero) * liquid)
    return f, {"gas": gas, "heat": heat, "water": f.ratio * gas + vapour + liquid,
               "oxygen": f.oxygen * gas - f.gas_diffusion * fraction}


def _through(places: Places, flux: np.ndarray, out: np.ndarray) -> None:
    """Add what leaves each node: `flux` (2, 2 n) at the Gauss points, the points of a face in turn."""
    amount = np.sum(places.normal[:, :, None] * flux.reshape(2, -1, 2), axis=0).mean(axis=1)
    np.add.at(out, places.tail, amount)
    np.add.at(out, places.head, -amount)


def _points(places: Places, chosen: np.ndarray) -> tuple[Places, np.ndarray, np.ndarray, np.ndarray]:
    some = Places(places.tail[chosen], places.head[chosen], places.x[chosen], places.z[chosen], places.normal[:, chosen],
                  places.material[chosen])
    return some, some.x.ravel(), some.z.ravel(), np.repeat(some.material, 2)


class Frame(NamedTuple):
    """What stays through a run: the places, and what the edges exchange with."""

    faces: Places
    surface: Places
    ground_surface: Places
    ground_bottom: Places
    air: SimpleNamespace
    boundaries: dict[str, Boundary]
    materials: Materials
    constants: SimpleNamespace
    moving: bool  # whether the fields change in time


def sources(problem: Problem, frame: Frame, time: float) -> Sources:
    """Sources of all nodes at `time` [s]."""
    n1, c, m = problem.mesh.count + 1, frame.constants, frame.materials
    swing = fields.swings(time, frame.moving, c)
    out = {name: np.zeros(n1) for name in Sources._fields}
    pile, x, z, material = _points(frame.faces, frame.faces.material != GROUND)
    _, carried = fluxes(x, z, material, swing, m, c)
    for name, flux in carried.items():
        _through(pile, flux, out[name])
    ground, x, z, _ = _points(frame.faces, frame.faces.material == GROUND)
    warmth = fields.slope(lambda a, b: fields.temperature(a, b, swing["temperature"]), x, z)
    _through(ground, -m.conductivity[GROUND] * np.array(warmth), out["heat"])
    _air(frame, swing, out)
    for name in ("ground_surface", "ground_bottom"):
        outside, halves = frame.boundaries[name], getattr(frame, name)
        length = np.hypot(*halves.normal)
        warm = fields.temperature(halves.x, halves.z, swing["temperature"]).mean(axis=1)
        np.add.at(out["heat"], halves.tail, outside.heat_film * length * (warm - outside.temperature))
    _inside(problem, frame, time, out)
    for array in out.values():
        array[-1] = 0.0
    return Sources(**out)


def _air(frame: Frame, swing: dict[str, Any], out: dict[str, np.ndarray]) -> None:
    """What the surface exchanges with the air: gas in with the air's values and out with the pile's, and films."""
    c, air, b, halves = frame.constants, frame.air, frame.boundaries["surface"], frame.surface
    f, flux = fluxes(halves.x.ravel(), halves.z.ravel(), np.repeat(halves.material, 2), swing, frame.materials, c)
    length = np.hypot(*halves.normal)
    outwards = np.sum(np.repeat(halves.normal / length, 2, axis=1) * flux["gas"], axis=0)
    leaving, entering = np.maximum(outwards, 0.0), np.maximum(-outwards, 0.0)
    film = b.gas_film * air.amount
    evaporated = film * (f.ratio - air.ratio)
    lost = {"gas": outwards, "water": leaving * f.ratio - entering * air.ratio + evaporated,
            "oxygen": leaving * f.oxygen - entering * air.oxygen + film * (f.oxygen - air.oxygen),
            "heat": (leaving * f.enthalpy - entering * air.enthalpy + b.heat_film * (f.temperature - air.temperature)
                     + c.vapour_diffusion_enthalpy * evaporated)}
    for name, values in lost.items():
        np.add.at(out[name], halves.tail, length * values.reshape(-1, 2).mean(axis=1))


def _inside(problem: Problem, frame: Frame, time: float, out: dict[str, np.ndarray]) -> None:
    """What is stored, and what respiration makes, by the midpoint of each quarter."""
    mesh, c, m = problem.mesh, frame.constants, frame.materials
    x, z, volume = mesh.quarter_x.ravel(), mesh.quarter_z.ravel(), mesh.quarter_volume.ravel()
    node, material = mesh.quad_nodes.ravel(), np.repeat(mesh.quad_material, 4)
    own = material != GROUND
    swing = fields.swings(time, frame.moving, c)
    ahead = fields.swings(time + 1j * fields.TINY, frame.moving, c)
    place = x[own], z[own], material[own]
    f = fields.at(*place, swing, m, c)
    g = fields.at(*place, ahead, m, c)

    def rate(values: Any) -> np.ndarray:
        return np.asarray(np.imag(values) / fields.TINY)

    burnt = fields.burnt(f, fields.substrate_share(x[own], z[own]), material[own], m, c)
    made, uptake = c.metabolic_water * burnt, burnt * c.oxygen_demand / c.oxygen_molar_mass
    release = (c.oxygen_demand * c.heat_per_oxygen * burnt
               + c.water_heat_capacity * (f.temperature - c.celsius_zero) * made)
    for name, values in (("heat", rate(g.stored) - release), ("water", rate(g.water) - made),
                         ("oxygen", c.store_oxygen * f.air * f.amount * rate(g.oxygen) + uptake), ("uptake", uptake)):
        np.add.at(out[name], node[own], volume[own] * values)
    warming = rate(fields.temperature(x[~own], z[~own], ahead["temperature"]))
    np.add.at(out["heat"], node[~own], volume[~own] * m.capacity[GROUND] * warming)
