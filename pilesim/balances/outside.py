"""The air outside: what it is at each time, and what the section's outer edges exchange with it.

Constant weather: surroundings as warm as the air, no sun. Weather that changes: sun, sky, rain and snow where it has them
(a file; a monthly climate with a latitude), else as constant weather.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pilesim.balances.airflow import gas_density
from pilesim.balances.physics import plain_record
from pilesim.balances.skin import Cast, Pieces, Skin, blank_cast, cast_outside, no_skin
from pilesim.balances.surface import Boundary, EdgeArrays, gas_outside
from pilesim.base.constants import CONSTANTS, surface_record
from pilesim.inputs.hourly import HourlyWeather
from pilesim.inputs.records import FileWeather, MonthlyWeather
from pilesim.inputs.scenario import Scenario
from pilesim.matter.hourly import at_elevation, hourly_air_line, mean_before
from pilesim.matter.moist_air import activity_of_air
from pilesim.matter.sky import sky_longwave
from pilesim.matter.sky_line import Sky, SkyLine
from pilesim.matter.surface_gain import film_without_sky
from pilesim.matter.weather import Air, AirLine, air_line
from pilesim.matter.wind import convective_film, vapour_film

DEEP_FILM = 1e4  # W m-2 K-1: holds the deep temperature to 0.2 mK at 2 W m-2, and is kinder to round-off than FIXED


@dataclass(frozen=True, slots=True)
class Outside:
    """Weather that changes: its course, and where the section meets it.

    Attributes
    ----------
    still : EdgeArrays
        Exchange of all edges that do not meet the air.
    facing : (m,) int array
        Which of the sky's facings each piece has.
    is_open : (count + 1,) bool array
        Gas passes.
    constants : np.record
        Constants of weather and outer surface, with the site's pressure; `plain` the same as plain floats.
    """

    line: AirLine
    sky: SkyLine | None
    pieces: Pieces
    facing: np.ndarray
    still: EdgeArrays
    is_open: np.ndarray
    constants: np.record
    plain: Any

    def bare(self) -> Skin:
        """The skin at the start: nothing lies on it."""
        return no_skin(self.pieces.node.size, self.plain)


@dataclass(frozen=True, slots=True)
class Exchange:
    """Boundary exchange over a time, and what the skin needs to be carried through it.

    rain, rain_heat : water that the pile takes up [kg s-1 m-1] and its heat [W m-1], both part of `edges` as if vapour.
    """

    edges: EdgeArrays
    cast: Cast
    air: Air
    sky: Sky | None
    rain: float = 0.0
    rain_heat: float = 0.0


def outer_constants(record: np.record) -> np.record:
    """Constants of weather and outer surface with the values of a run's own record."""
    names = set(record.dtype.names or ())
    return surface_record(float(record.pressure), {name: float(record[name]) for name in CONSTANTS if name in names})


def pile_top(scenario: Scenario) -> float:
    """Height of the covered pile above the ground [m]."""
    return scenario.pile.height + scenario.base_layer.thickness + scenario.cover.thickness


def start_air(scenario: Scenario, record: np.record) -> tuple[Air, AirLine | None]:
    """Air at the start, and its course where it changes."""
    weather = scenario.weather
    if isinstance(weather, FileWeather):
        assert scenario.start.date is not None  # the inputs see to it
        line = hourly_air_line(hours_at_site(scenario, record), scenario.start.date, scenario.run.duration,
                               outer_constants(record), pile_top(scenario))
    elif isinstance(weather, MonthlyWeather):
        assert scenario.start.date is not None
        line = air_line(weather, scenario.start.date, scenario.run.duration, plain_record(record))
    else:
        return Air(weather.air_temperature, weather.relative_humidity, weather.wind_speed), None
    return line.mean(0.0, 0.0), line


def hours_at_site(scenario: Scenario, record: np.record) -> HourlyWeather:
    """The hours of the scenario's file, brought to the site's elevation where asked."""
    weather = scenario.weather
    assert isinstance(weather, FileWeather)
    if not weather.lapse:
        return weather.hours
    return at_elevation(weather.hours, scenario.site.elevation, outer_constants(record), lapse=True)


def air_before(scenario: Scenario, record: np.record) -> float:
    """Mean air temperature that the ground has met as the pile is built [K]: of the month, or of the file's days before."""
    weather, date = scenario.weather, scenario.start.date
    if isinstance(weather, FileWeather):
        assert date is not None
        return mean_before(hours_at_site(scenario, record), date)
    if isinstance(weather, MonthlyWeather):
        assert date is not None
        return weather.air_temperature[date.month - 1]
    return weather.air_temperature


def air_density(air: Air, record: np.record) -> float:
    """Density of the ambient air column [kg m-3]."""
    activity = activity_of_air(air.temperature, air.humidity, record)
    return float(gas_density(air.temperature, activity, record.ambient_oxygen, record))


def air_boundaries(scenario: Scenario, air: Air, record: np.record) -> dict[str, Boundary]:
    """What each named outer edge of a pile's section exchanges in steady `air`, with surroundings as warm as it."""
    c = outer_constants(record)
    film = film_without_sky(air.wind_speed, air.temperature, c)
    return {
        "surface": Boundary(
            flow_open=True, heat_film=film, temperature=air.temperature, humidity=air.humidity,
            gas_film=vapour_film(convective_film(air.wind_speed, c), air.temperature, c), oxygen=record.ambient_oxygen),
        "drifted": Boundary(heat_film=film, temperature=air.temperature),
        "ground_surface": Boundary(heat_film=film, temperature=air.temperature),
        "ground_bottom": Boundary(heat_film=DEEP_FILM, temperature=scenario.ground.deep_temperature),
        "floor_air": Boundary(flow_open=True, temperature=air.temperature, humidity=air.humidity,
                              oxygen=record.ambient_oxygen),
    }


def exchange_over(outside: Outside, record: np.record, start: float, end: float, temperature: np.ndarray,
                  room: np.ndarray, skin: Skin) -> Exchange:
    """Boundary exchange with the mean weather from `start` to `end` [s]; sets the ambient density of `record` to match.

    Parameters
    ----------
    temperature : (count + 1,) array
        Of the nodes as the time begins [K]: radiation is taken linear about it.
    room : (count + 1,) array
        Water that still fits into the pores of each node [kg m-1].
    skin : Skin
        As the time begins.
    """
    air, c, pieces = outside.line.mean(start, end), outside.plain, outside.pieces
    sky = None if outside.sky is None else outside.sky.mean(start, end)
    record["ambient_density"] = air_density(air, record)
    convection = convective_film.py_func(air.wind_speed, c)
    mass_film = vapour_film(convection, air.temperature, outside.constants)
    sun = np.zeros(pieces.node.size)
    longwave, rain = sky_longwave.py_func(air.temperature, 1.0, c), 0.0
    if sky is not None:
        longwave, rain = sky.longwave, sky.rain
        sun = np.where(pieces.is_pile, sky.sun[outside.facing], sky.ground_sun)
    cast = blank_cast(sun.size)
    cast_outside(temperature[pieces.node], room[pieces.node] / pieces.area, skin, pieces.slope, pieces.is_pile, sun,
                 air.temperature, convection, mass_film, longwave, rain, end - start, cast, outside.constants)
    return _gathered(outside, record, air, sky, cast)


def _gathered(outside: Outside, c: np.record, air: Air, sky: Sky | None, cast: Cast) -> Exchange:
    pieces, still, enters = outside.pieces, outside.still, outside.is_open
    ratio, concentration, enthalpy = gas_outside(air.temperature, air.humidity, c)
    count = still.film.size

    def at_nodes(values: np.ndarray) -> np.ndarray:
        return np.bincount(pieces.node, values, count)

    film, ground = cast.film * pieces.area, np.where(pieces.is_pile, 0.0, cast.film * pieces.area)
    flows = at_nodes(np.where(pieces.breathes, cast.gas_film * pieces.area * concentration, 0.0))
    taken = cast.taken * pieces.area
    rain = at_nodes(taken)
    warmth = c.water_heat_capacity * max(air.temperature - c.celsius_zero, 0.0)     # of meltwater too: its own is nothing
    pressure = still.pressure
    if sky is not None:
        pressure = still.pressure.copy()
        pressure[pieces.node] = np.where(enters[pieces.node], sky.pressure[outside.facing], 0.0)
    own = still.ground_film + at_nodes(ground)
    edges = still._replace(
        film=still.film + at_nodes(film),
        film_heat=still.film_heat + at_nodes(film * cast.outside) + (warmth - c.vapour_diffusion_enthalpy) * rain,
        ground_film=own, ground_film_heat=still.ground_film_heat + at_nodes(ground * cast.outside),
        gas_film=still.gas_film + flows, gas_film_vapour=still.gas_film_vapour + flows * ratio + rain,
        gas_film_oxygen=still.gas_film_oxygen + flows * c.ambient_oxygen,
        is_open=still.is_open | enters, is_fixed=still.is_fixed | enters, pressure=pressure,
        enthalpy_in=np.where(enters, enthalpy, still.enthalpy_in),
        vapour_in=np.where(enters, ratio, still.vapour_in), oxygen_in=np.where(enters, c.ambient_oxygen, still.oxygen_in),
    )
    return Exchange(edges, cast, air, sky, float(rain.sum()), warmth * float(rain.sum()))
