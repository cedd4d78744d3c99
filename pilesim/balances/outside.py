"""The air outside: what it is at each time, and what the section's outer edges exchange with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pilesim.balances.airflow import gas_density
from pilesim.balances.physics import plain_record
from pilesim.balances.surface import (
    AirEdges,
    Boundary,
    EdgeArrays,
    edges_in_air,
    film_coefficient,
    gather_edges,
    half_edges,
    mass_film_coefficient,
)
from pilesim.inputs.records import MonthlyWeather
from pilesim.inputs.scenario import Scenario
from pilesim.matter.moist_air import activity_of_air
from pilesim.matter.weather import Air, AirLine, air_line

DEEP_FILM = 1e4  # W m-2 K-1: holds the deep temperature to 0.2 mK at 2 W m-2, and is kinder to round-off than FIXED
AIR_EDGES = frozenset({"surface", "ground_surface", "floor_air"})


@dataclass(frozen=True, slots=True)
class Outside:
    """Air that changes: its course, and where the section meets it."""

    line: AirLine
    where: AirEdges


def start_air(scenario: Scenario, record: np.record) -> tuple[Air, AirLine | None]:
    """Air at the start, and its course where it changes."""
    weather = scenario.weather
    if not isinstance(weather, MonthlyWeather):
        return Air(weather.air_temperature, weather.relative_humidity, weather.wind_speed), None
    assert scenario.start.date is not None  # the inputs see to it
    line = air_line(weather, scenario.start.date, scenario.run.duration, plain_record(record))
    return line.mean(0.0, 0.0), line


def air_density(air: Air, record: np.record) -> float:
    """Density of the ambient air column [kg m-3]."""
    activity = activity_of_air(air.temperature, air.humidity, record)
    return float(gas_density(air.temperature, activity, record.ambient_oxygen, record))


def _surface(air: Air, record: np.record) -> Boundary:
    return Boundary(
        flow_open=True, heat_film=film_coefficient(air.wind_speed, record), temperature=air.temperature,
        humidity=air.humidity, gas_film=mass_film_coefficient(air.wind_speed, record), oxygen=record.ambient_oxygen,
    )


def air_boundaries(scenario: Scenario, air: Air, record: np.record) -> dict[str, Boundary]:
    """What each named outer edge of a pile's section exchanges while the air is `air`."""
    surface = _surface(air, record)
    return {
        "surface": surface,
        "ground_surface": Boundary(heat_film=surface.heat_film, temperature=air.temperature),
        "ground_bottom": Boundary(heat_film=DEEP_FILM, temperature=scenario.ground.deep_temperature),
        "floor_air": Boundary(flow_open=True, temperature=air.temperature, humidity=air.humidity,
                              oxygen=record.ambient_oxygen),
    }


def changing_air(
    line: AirLine, edges: Mapping[str, np.ndarray], boundaries: Mapping[str, Boundary], ground: frozenset[str],
    node: np.ndarray, x: np.ndarray, z: np.ndarray, record: np.record, axisymmetric: bool,
) -> Outside:
    """Where the section meets air that follows `line`; the other arguments as for `gather_edges`."""
    rest = {name: boundary for name, boundary in boundaries.items() if name not in AIR_EDGES}
    still = gather_edges(edges, rest, ground, node, x, z, record, axisymmetric)
    air = gather_edges(edges, boundaries, ground, node, x, z, record, axisymmetric)
    lengths = [_edge_lengths(edges.get(name), node, x, z, axisymmetric) for name in ("surface", "ground_surface")]
    return Outside(line, AirEdges(still, lengths[0], lengths[1], air.is_open))


def _edge_lengths(pairs: np.ndarray | None, node: np.ndarray, x: np.ndarray, z: np.ndarray,
                  axisymmetric: bool) -> np.ndarray:
    """Length of an outer edge that belongs to each node [m], or its area in a round heap [m2]."""
    out = np.zeros(x.size)
    if pairs is not None and len(pairs):
        ends = node[pairs[:, :, 0], pairs[:, :, 1]]
        length = np.hypot(x[ends[:, 1]] - x[ends[:, 0]], z[ends[:, 1]] - z[ends[:, 0]])
        for end, half in zip((ends[:, 0], ends[:, 1]), half_edges(x[ends], length, axisymmetric), strict=True):
            np.add.at(out, end, half)
    return out


def exchange_over(outside: Outside, record: np.record, start: float, end: float) -> EdgeArrays:
    """Boundary exchange with the mean air from `start` to `end` [s]; sets the ambient density of `record` to match."""
    air = outside.line.mean(start, end)
    record["ambient_density"] = air_density(air, record)
    return edges_in_air(outside.where, _surface(air, record), record)
