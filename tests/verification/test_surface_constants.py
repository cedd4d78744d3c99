"""Every number of weather and outer surface matters: moved by 1 %, something of what its laws give moves."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest

from pilesim.balances.skin import blank_cast, cast_outside, no_skin
from pilesim.base.constants import CONSTANTS, constant_record, surface_record
from pilesim.base.surface_constants import SURFACE_ROWS
from pilesim.inputs.hourly import HourlyWeather
from pilesim.inputs.records import MonthlyWeather
from pilesim.matter import film, hourly, sky, sky_line, snow, sun, weather_years, wind
from pilesim.verify.record import outer_record

CLIMATE = MonthlyWeather("monthly", tuple(260.0 + 3.0 * k for k in range(12)), (0.6,) * 12, (3.0,) * 12, (9.0,) * 12, None)


def thin_air(**constants: float):
    """The record of a site at 80 kPa."""
    return outer_record(pressure=80000.0, **constants)


def laws(c) -> list[float]:
    """Values of every law, on either side of each limit."""
    out = []
    for t in (250.0, 272.5, 274.0, 280.0):
        out += [snow.snow_share(t, c), snow.fresh_snow_density(t, c), sky.sky_longwave(t, 0.8, c),
                wind.vapour_film(9.0, t, c)]
    for slope in np.radians([25.0, 32.0, 46.0, 61.0, 80.0]):
        out += [wind.pressure_coefficient(angle, slope, c) for angle in (0.0, 1.0, 2.5)]
        out.append(snow.staying_share(slope, c))
    for clearness in (0.1, 0.221, 0.5, 0.799, 0.9):
        out += [sun.diffuse_share(clearness, c), sky.cloud_of_clearness(clearness, 0.85, c)]
    out += [sun.split_global(70.0, up, 100.0, c)[0] for up in (0.0649, 0.0652, 0.5)]
    out += [sun.clearness_of_range(span, 800.0, c) for span in (9.0, 90.0)]
    out += [sky.clear_sky_emissivity(265.0, 0.1, c), sky.cloudy_emissivity(0.7, 0.6, c)]
    out += [*film.film_after(1.0, 2e-3, 3600.0, c), *film.film_after(1.0, 1e-2, 60.0, c)]
    out += [snow.snow_conductivity(250.0, c), *(snow.settled_density(200.0, wet, 3600.0, c) for wet in (False, True))]
    out += [snow.albedo_after(albedo, fall, wet, 86400.0, c)
            for albedo, fall in ((0.7, 0.0), (0.7, 3.0), (0.501, 0.0)) for wet in (False, True)]
    out += [*snow.snow_after(snow.Snow(50.0, 0.0, 0.0, 250.0, 0.7), 0.0, 0.0, 275.0, 100.0, 0.0, 273.15, 86400.0, c)[0]]
    for wind_speed in (2.0, 30.0):
        skin, cast, sloped = no_skin(3, c), blank_cast(3), np.full(3, 0.9)
        skin.ice[2] = 50.0
        cast_outside(np.full(3, 270.0), np.zeros(3), skin, sloped, np.array([True, False, True]), np.full(3, 250.0), 260.0,
                     wind.convective_film(wind_speed, c), 0.01, 220.0, 0.0, 60.0, cast, c)
        out += [*cast.film, *cast.outside, *cast.top_film, *cast.top_outside]
    return [float(value) for value in out]


def years(c) -> list[float]:
    """A made-up year, and the sky, the sun and the wind of a file."""
    year = weather_years.synthetic_years(CLIMATE, 0.8, 800.0, 1, 1, c)[0]
    out = [float(np.abs(values - values.mean()).sum()) for values in (year.air_temperature, year.wind_speed, year.global_sun)]
    file = HourlyWeather("made up", datetime.datetime(2026, 3, 1, 1), False, 0.8, None, 0.0, None, np.full(72, 270.0),
                         np.full(72, 0.5), np.full(72, 3.0), global_sun=np.full(72, 100.0))
    out.append(float(hourly.longwave(file, c).sum()))
    out.append(float(hourly.at_elevation(file, 900.0, c, lapse=True).air_temperature.sum()))
    date = datetime.date(2026, 3, 2)
    line = hourly.hourly_air_line(file, date, 86400.0, c, 2.0)
    out += [float(line.values.sum())]
    over = sky_line.sky_line(file, line, (sky_line.Facing(0.9, 1),), date, 86400.0, math.pi, False, c)
    out.append(float(over.mean(0.0, 86400.0).sun.sum()))
    return out


@pytest.fixture(scope="module")
def unmoved():
    return laws(thin_air()) + years(thin_air())


@pytest.mark.parametrize("name", [row[0] for row in SURFACE_ROWS])
def test_a_moved_constant_moves_a_law(name, unmoved):
    """Planted: 0.8 typed for `clearness_memory` in matter/weather_years.py."""
    value = next(row[1] for row in SURFACE_ROWS if row[0] == name)
    found = []
    for step in (1.01, 0.99):
        c = thin_air(**{name: value * step})
        found.append(laws(c) + years(c))
    assert any(numbers != unmoved for numbers in found)


def test_nothing_moved_moves_nothing(unmoved):
    """Else the test above could not fail."""
    assert laws(thin_air()) + years(thin_air()) == unmoved


def test_kernels_do_not_carry_these_numbers():
    """Each field of the record costs every call of a kernel (a quarter of it for all of these). Planted: all put there."""
    assert not {row[0] for row in SURFACE_ROWS} & set(constant_record().dtype.names)
    assert {row[0] for row in SURFACE_ROWS} <= set(CONSTANTS) & set(thin_air().dtype.names)
    with pytest.raises(KeyError, match="no constant is called 'sunshine'"):
        surface_record(1e5, {"sunshine": 1.0})
