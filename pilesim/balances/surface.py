"""All exchange across outer edges, as data. Signs: gas flow is positive OUT of the section; heat, vapour and oxygen
supplies are positive INTO the section. Gas enters with the ambient enthalpy, humidity and oxygen and leaves with
those of the node.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pilesim.matter.moist_air import activity_of_air, dry_gas_concentration, moist_enthalpy, vapour_pressure, vapour_ratio

FIXED = 1e6  # film coefficient [W m-2 K-1] that stands for a fixed temperature


@dataclass(frozen=True, slots=True)
class Boundary:
    """What one outer edge exchanges with the outside.

    Attributes
    ----------
    flow_open : bool
        Gas passes, at p' = `pressure`; otherwise the edge is closed to gas.
    heat_film : float
        Heat transfer coefficient [W m-2 K-1]; 0 is insulated, `FIXED` holds the temperature.
    temperature : float
        Outside temperature [K].
    humidity : float
        Outside relative humidity [1].
    gas_film : float
        Mass transfer coefficient of oxygen and vapour [m s-1]; 0 is closed to diffusion.
    oxygen : float
        Outside mole fraction of oxygen in dry gas [1].
    pressure : float
        p' outside [Pa].
    """

    flow_open: bool = False
    heat_film: float = 0.0
    temperature: float = 293.15
    humidity: float = 0.0
    gas_film: float = 0.0
    oxygen: float = 0.2095
    pressure: float = 0.0


class EdgeArrays(NamedTuple):
    """Boundary exchange gathered at the nodes, each of length count + 1 (see :func:`gather_edges`)."""

    is_open: np.ndarray  # bool: gas passes
    is_fixed: np.ndarray  # bool: p' is given
    meets: np.ndarray  # bool: the node lies on an outer edge, exchange or not; kernels skip all that follows for the others
    pressure: np.ndarray  # Pa
    film: np.ndarray  # W K-1 m-1, all heat films
    film_heat: np.ndarray  # W m-1, sum of film x outside temperature
    ground_film: np.ndarray  # W K-1 m-1, the part of the film that belongs to the ground
    ground_film_heat: np.ndarray
    gas_film: np.ndarray  # mol s-1 m-1
    gas_film_vapour: np.ndarray  # kg s-1 m-1
    gas_film_oxygen: np.ndarray  # mol s-1 m-1
    enthalpy_in: np.ndarray  # J mol-1 of entering gas
    vapour_in: np.ndarray  # kg mol-1
    oxygen_in: np.ndarray  # 1


def gas_outside(temperature: float, humidity: float, c: Any) -> tuple[float, float, float]:
    """Air of `temperature` [K] and relative `humidity` [1] as gas: vapour ratio [kg mol-1], dry gas per volume [mol m-3],
    enthalpy [J mol-1]."""
    activity = activity_of_air(temperature, humidity, c)
    ratio = vapour_ratio(temperature, activity, c)[0]
    dry = dry_gas_concentration(temperature, vapour_pressure(temperature, activity, c), c)
    return ratio, c.reference_concentration if c.constant_density > 0 else dry, moist_enthalpy(temperature, ratio, c)


def half_edges(x: np.ndarray, length: np.ndarray, axisymmetric: bool) -> tuple[np.ndarray, np.ndarray]:
    """Share of each end in its edge [m]; for an edge turned about x = 0 the area of its half [m2].

    x : (n, 2) abscissae of the ends; length : (n,) of the edges [m]. Source: Pappus's theorem, exact.
    """
    if not axisymmetric:
        return 0.5 * length, 0.5 * length
    near, far = 0.25 * (3.0 * x[:, 0] + x[:, 1]), 0.25 * (x[:, 0] + 3.0 * x[:, 1])
    return np.pi * near * length, np.pi * far * length


def gather_edges(
    edges: Mapping[str, np.ndarray], boundaries: Mapping[str, Boundary], ground: frozenset[str], node: np.ndarray,
    x: np.ndarray, z: np.ndarray, c: Any, axisymmetric: bool = False,
) -> EdgeArrays:
    """Gather the edges' exchange at the nodes.

    Parameters
    ----------
    edges : mapping of str to (n, 2, 2) int arrays
        Pairs of logical (j, i) vertices of each named edge.
    boundaries : mapping of str to Boundary
        One for each name; names without one are closed and insulated.
    ground : frozenset of str
        Names whose heat exchange is counted as ground.
    node : (nj, ni) int array
        Node number at each vertex, -1 for none.
    x, z : (count + 1,) arrays
        Coordinates [m].
    axisymmetric : bool
        The edges turn about x = 0: exchange is that of the whole round heap, without "per metre".
    """
    count = x.size
    zero = [np.zeros(count) for _ in range(len(EdgeArrays._fields) - 3)]
    out = EdgeArrays(*(np.zeros(count, dtype=bool) for _ in range(3)), *zero)
    for name, pairs in edges.items():
        ends = node[pairs[:, :, 0], pairs[:, :, 1]]
        out.meets[ends] = True
        if name not in boundaries:
            continue
        b = boundaries[name]
        length = np.hypot(x[ends[:, 1]] - x[ends[:, 0]], z[ends[:, 1]] - z[ends[:, 0]])
        ratio, concentration, enthalpy = gas_outside(b.temperature, b.humidity, c)
        for end, half in zip((ends[:, 0], ends[:, 1]), half_edges(x[ends], length, axisymmetric), strict=True):
            heat, exchange = b.heat_film * half, b.gas_film * half * concentration
            np.add.at(out.film, end, heat)
            np.add.at(out.film_heat, end, heat * b.temperature)
            if name in ground:
                np.add.at(out.ground_film, end, heat)
                np.add.at(out.ground_film_heat, end, heat * b.temperature)
            np.add.at(out.gas_film, end, exchange)
            np.add.at(out.gas_film_vapour, end, exchange * ratio)
            np.add.at(out.gas_film_oxygen, end, exchange * b.oxygen)
            if b.flow_open:
                out.is_open[end] = True
                out.is_fixed[end] = True
                out.pressure[end] = b.pressure
                out.enthalpy_in[end] = enthalpy
                out.vapour_in[end] = ratio
                out.oxygen_in[end] = b.oxygen
    return out
