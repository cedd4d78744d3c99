"""Where the section meets the outside: pieces of its surface and how they lie, wind on the flanks, drifted snow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pilesim.balances.outside import Outside, air_boundaries, air_density, hours_at_site, outer_constants
from pilesim.balances.physics import plain_record
from pilesim.balances.skin import Pieces
from pilesim.balances.surface import Boundary, EdgeArrays, gather_edges, half_edges
from pilesim.base.errors import ScenarioError
from pilesim.inputs.hourly import HourlyWeather
from pilesim.inputs.records import FileWeather, MonthlyWeather
from pilesim.inputs.scenario import Scenario
from pilesim.matter.sky_line import Facing, flank_coefficient, sky_line
from pilesim.matter.weather import Air, AirLine
from pilesim.matter.weather_years import climate_year
from pilesim.matter.wind import wind_pressure

_SLOPES = 1e-3  # rad, to which slopes count as one


def close_drifted(scenario: Scenario, named_edges: dict[str, np.ndarray], node: np.ndarray, z: np.ndarray) -> None:
    """Give the part of the surface below `weather.drift_height` a name of its own, which lets no gas pass.

    Raises
    ------
    ScenarioError
        If that is all of it.
    """
    height = scenario.weather.drift_height
    if height is None or height <= 0.0:
        return
    pairs = named_edges["surface"]
    low = z[node[pairs[:, :, 0], pairs[:, :, 1]]].mean(axis=1) < height
    if low.all():
        raise ScenarioError("weather.drift_height", f"{height:g} m", "less than the height of the pile",
                            "A pile under drifts all over gets no air at all.")
    named_edges["drifted"] = pairs[low]
    named_edges["surface"] = pairs[~low]


def meet_outside(
    scenario: Scenario, air: Air, line: AirLine | None, edges: Mapping[str, np.ndarray], ground: frozenset[str],
    node: np.ndarray, x: np.ndarray, z: np.ndarray, record: np.record, axisymmetric: bool,
) -> tuple[EdgeArrays, Outside | None]:
    """Boundary exchange in the `air` of the start, and the outside where it changes; arguments as for `gather_edges`.

    Raises
    ------
    ScenarioError
        If a weather file does not cover the run.
    """
    boundaries = air_boundaries(scenario, air, record)
    start = gather_edges(edges, boundaries, ground, node, x, z, record, axisymmetric)
    if line is not None:
        return start, changing_air(line, scenario, edges, boundaries, ground, node, x, z, record, axisymmetric)
    if scenario.pile.section == "full":
        steady_wind(scenario, start, find_pieces(edges, node, x, z, axisymmetric, True), air, record)
    return start, None


def steady_wind(scenario: Scenario, edges: EdgeArrays, parts: tuple[Pieces, np.ndarray, tuple[Facing, ...]], air: Air,
                record: np.record) -> None:
    """Put the pressure of constant wind on the flanks into `edges` of a full section, where its direction is given."""
    weather, aspect = scenario.weather, scenario.site.slope_aspect
    if isinstance(weather, FileWeather) or weather.wind_direction is None or aspect is None:
        return
    c, (pieces, facing, facings), density = outer_constants(record), parts, air_density(air, record)
    pressure = [wind_pressure(air.wind_speed, flank_coefficient(one, weather.wind_direction, aspect, c), density)
                for one in facings]
    edges.pressure[pieces.node] = np.where(edges.is_open[pieces.node], np.array(pressure)[facing], 0.0)


def find_pieces(edges: Mapping[str, np.ndarray], node: np.ndarray, x: np.ndarray, z: np.ndarray, axisymmetric: bool,
                is_full: bool) -> tuple[Pieces, np.ndarray, tuple[Facing, ...]]:
    """Pieces of the outer surface, the number of each one's facing, and the facings."""
    found: list[tuple[np.ndarray, ...]] = []
    for name in ("surface", "drifted", "ground_surface"):
        area, tilt, side = (np.zeros(x.size) for _ in range(3))
        pairs = edges.get(name)
        if pairs is None or not len(pairs):
            continue
        ends = node[pairs[:, :, 0], pairs[:, :, 1]]
        dx, dz = x[ends[:, 1]] - x[ends[:, 0]], z[ends[:, 1]] - z[ends[:, 0]]
        length, slope = np.hypot(dx, dz), np.arctan2(np.abs(dz), np.abs(dx))
        rises = np.where(np.abs(dx) > _SLOPES * length, np.sign(dx * dz), -np.sign(x[ends].sum(axis=1)))
        for end, half in zip((ends[:, 0], ends[:, 1]), half_edges(x[ends], length, axisymmetric), strict=True):
            np.add.at(area, end, half)
            np.add.at(tilt, end, half * slope)
            np.add.at(side, end, np.where(slope > _SLOPES, -rises, 0.0) * half)
        at = np.flatnonzero(area)
        lies = _SLOPES * np.round(tilt[at] / area[at] / _SLOPES)
        found.append((at, area[at], lies, np.full(at.size, name != "ground_surface"), np.full(at.size, name == "surface"),
                      np.sign(side[at]) if is_full else 0.0 * lies))
    number, area, slope, is_pile, breathes, side = (np.concatenate(parts) for parts in zip(*found, strict=True))
    kinds, facing = np.unique(np.stack([slope, side], axis=1), axis=0, return_inverse=True)
    return (Pieces(number, area, slope, is_pile, breathes), facing.ravel(), tuple(Facing(float(a), int(b)) for a, b in kinds))


def changing_air(
    line: AirLine, scenario: Scenario, edges: Mapping[str, np.ndarray], boundaries: Mapping[str, Boundary],
    ground: frozenset[str], node: np.ndarray, x: np.ndarray, z: np.ndarray, record: np.record, axisymmetric: bool,
) -> Outside:
    """Where the section meets air that follows `line`, and the sky over it; the other arguments as for `gather_edges`.

    Raises
    ------
    ScenarioError
        If a weather file does not cover the run.
    """
    rest = {name: boundary for name, boundary in boundaries.items() if name == "ground_bottom"}
    still = gather_edges(edges, rest, ground, node, x, z, record, axisymmetric)
    air = gather_edges(edges, boundaries, ground, node, x, z, record, axisymmetric)
    is_full = scenario.pile.section == "full"
    pieces, facing, facings = find_pieces(edges, node, x, z, axisymmetric, is_full)
    c = outer_constants(record)
    weather, site = scenario.weather, scenario.site
    hours: HourlyWeather | None = None
    if isinstance(weather, FileWeather):
        hours = hours_at_site(scenario, record)
    elif isinstance(weather, MonthlyWeather) and site.latitude is not None:
        hours = climate_year(weather, site.latitude, site.elevation, c)
        if weather.wind_direction is not None:
            hours = with_wind_from(hours, weather.wind_direction)
    sky = None
    if hours is not None:
        assert scenario.start.date is not None
        sky = sky_line(hours, line, facings, scenario.start.date, scenario.run.duration, site.slope_aspect, is_full, c)
    return Outside(line, sky, pieces, facing, still, air.is_open, c, plain_record(c))


def with_wind_from(hours: HourlyWeather, direction: float) -> HourlyWeather:
    """The hours with wind from one `direction` [rad]."""
    return replace(hours, wind_direction=np.full(hours.wind_speed.size, direction))
