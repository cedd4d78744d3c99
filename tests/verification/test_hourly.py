"""Hourly weather in a run, and years made of a monthly climate: against their definition, pvlib and the theory of the method.

The climate is invented. "Planted" names the fault under which a test was seen to fail.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from verification.test_sun_and_sky import mean_height

from pilesim.base.errors import ScenarioError
from pilesim.inputs.hourly import HourlyWeather
from pilesim.inputs.records import MonthlyWeather
from pilesim.matter import hourly, weather_years
from pilesim.matter.sky_line import Facing, sky_line
from pilesim.matter.sun import clear_day_clearness, clearness_of_range, declination, inverse_squared_distance
from pilesim.matter.weather import DAY, MONTH_DAYS, air_line
from pilesim.verify.record import outer_record

MEANS = np.array([-10.0, -8, -2, 5, 12, 17, 20, 19, 13, 6, -2, -8]) + 273.15
RANGE = (9.0, 10, 11, 12, 14, 15, 16, 16, 14, 12, 9, 8)
CLIMATE = MonthlyWeather("monthly", tuple(MEANS), (0.6,) * 12, (3.0,) * 12, RANGE, None)
LATITUDE, ELEVATION = math.radians(45.0), 1500.0
YEARS = 30
MONTH_ENDS = np.concatenate([[0], np.cumsum(MONTH_DAYS)]) * 24


@pytest.fixture(scope="module")
def constants():
    return outer_record()


@pytest.fixture(scope="module")
def normal(constants):
    return weather_years.climate_year(CLIMATE, LATITUDE, ELEVATION, constants)


@pytest.fixture(scope="module")
def ensemble(constants):
    return weather_years.synthetic_years(CLIMATE, LATITUDE, ELEVATION, YEARS, 5, constants)


def monthly(values: np.ndarray) -> np.ndarray:
    return np.array([values[a:b].mean() for a, b in pairwise(MONTH_ENDS)])


def sun_above_the_air(day: int, c) -> float:
    """Mean of a day on a horizontal plane [W m-2]: FAO 56, equation 21."""
    height = mean_height(LATITUDE, float(declination(float(day), c)))
    return float(c.solar_constant * inverse_squared_distance(float(day), c) * height)


def made_up(hours: int = 72, start: datetime.datetime = datetime.datetime(2026, 3, 1, 1), **more) -> HourlyWeather:
    k = np.arange(hours)
    values = {"air_temperature": 270.0 + k % 24, "relative_humidity": np.full(hours, 0.5), "wind_speed": 1.0 + 0.1 * (k % 24)}
    place = {"latitude": LATITUDE, "longitude": math.radians(-100.0), "elevation": 1500.0, "utc_offset": -7 * 3600.0}
    return HourlyWeather("made_up.csv", start, False, **(place | values | more))


def test_the_line_goes_through_the_hours(constants):
    """Exact: a file from 01:00 on March 1, a run from midnight of March 2. Planted: labels as hours from midnight."""
    line = hourly.hourly_air_line(made_up(), datetime.date(2026, 3, 2), DAY, constants)
    for hour in (1, 7, 24):
        air = line.mean(hour * 3600.0, hour * 3600.0)
        assert air.temperature == pytest.approx(270.0 + (hour - 1) % 24, abs=1e-9)
        assert air.humidity == pytest.approx(0.5, rel=1e-9)
    assert line.mean(3600.0, 7200.0).temperature == pytest.approx(270.5, abs=1e-9)


def test_wind_is_brought_down_to_the_pile(constants):
    """FAO's factor from 10 m to 2 m is 0.748. Planted: heights swapped."""
    low = hourly.hourly_air_line(made_up(), datetime.date(2026, 3, 2), DAY, constants, 2.0)
    high = hourly.hourly_air_line(made_up(), datetime.date(2026, 3, 2), DAY, constants)
    assert low.values[:, 2] == pytest.approx(0.748 * high.values[:, 2], rel=1e-3)


@pytest.mark.parametrize(("date", "days"), [("2026-02-27", 1.0), ("2026-03-02", 3.5), ("2027-03-01", 1.0)])
def test_a_run_outside_the_file_is_refused(date, days, constants):
    """Planted: the last hour held for days."""
    with pytest.raises(ScenarioError, match=r"start\.date = .*the weather of made_up.csv, 2026-03-01 01:00 to 2026-03-04"):
        hourly.hourly_air_line(made_up(), datetime.date.fromisoformat(date), days * DAY, constants)


def test_a_typical_year_goes_round(normal, constants):
    """Exact: two days from 31 December end with the hours of 1 January. Planted: the last hour held."""
    places = hourly.hour_places(normal, datetime.date(2026, 12, 31), 49)
    assert list(places[:2]) == [8760 - 25, 8760 - 24] and list(places[24:27]) == [8759, 0, 1]
    leap = hourly.hour_places(normal, datetime.date(2028, 2, 29), 2)
    assert list(leap) == list(hourly.hour_places(normal, datetime.date(2028, 3, 1), 2))


def test_each_year_of_a_file_is_a_member(normal):
    """Three winters from October 2020 on: a run of 60 days from 1 December fits three times, one of 300 days twice.

    Planted: the last year taken although the file ends before the run.
    """
    file = made_up(24 * (365 * 2 + 180), datetime.datetime(2020, 10, 1, 1))
    assert [d.year for d in hourly.years_that_fit(file, 12, 1, 60 * DAY)] == [2020, 2021, 2022]
    assert [d.year for d in hourly.years_that_fit(file, 12, 1, 300 * DAY)] == [2020, 2021]
    assert hourly.years_that_fit(file, 10, 1, 1 * DAY)[0] == datetime.date(2020, 10, 1)
    assert hourly.years_that_fit(file, 2, 29, 60 * DAY) == (datetime.date(2021, 3, 1), datetime.date(2022, 3, 1))
    assert len(hourly.years_that_fit(normal, 12, 1, 300 * DAY)) == 1
    for date in hourly.years_that_fit(file, 12, 1, 60 * DAY):
        hourly.hour_places(file, date, 60 * 24 + 1)


def test_a_higher_site_has_thinner_air_and_colder_only_when_asked(constants):
    """U.S. Standard Atmosphere 1976: 89,874.6 Pa at 1,000 m, 70,108.5 at 3,000 m; 6.5 K/km. Planted: lapse always."""
    file = replace(made_up(), elevation=1000.0, pressure=np.full(72, 89874.6))
    high = hourly.at_elevation(file, 3000.0, constants)
    assert high.pressure == pytest.approx(np.full(72, 70108.5), rel=1e-5)
    assert np.array_equal(high.air_temperature, file.air_temperature) and high.elevation == 3000.0
    colder = hourly.at_elevation(file, 3000.0, constants, lapse=True)
    assert file.air_temperature - colder.air_temperature == pytest.approx(np.full(72, 13.0), abs=1e-9)
    with pytest.raises(ScenarioError, match="elevation of the station"):
        hourly.at_elevation(replace(file, elevation=None), 3000.0, constants)


def test_hours_of_the_climate_are_those_of_its_line(normal, constants):
    """Two ways to the same air: the quarter-hour line of the climate and its hourly year, April 10 to 20.

    Tolerance 1e-9 K at the hours, humidity 1e-9. Planted: hours labelled by their start.
    """
    date = datetime.date(2026, 4, 10)
    one = air_line(CLIMATE, date, 10 * DAY, constants)
    other = hourly.hourly_air_line(normal, date, 10 * DAY, constants)
    for time in 3600.0 * np.arange(1, 240):
        assert other.mean(time, time).temperature == pytest.approx(one.mean(time, time).temperature, abs=1e-9)
        assert other.mean(time, time).humidity == pytest.approx(one.mean(time, time).humidity, abs=1e-9)
        assert other.mean(time, time).wind_speed == pytest.approx(one.mean(time, time).wind_speed, abs=1e-9)


def test_the_sun_of_a_file_stands_where_pvlib_puts_it(constants):
    """Against pvlib's own calendar of the site at half past, the zone given as a zone.

    Tolerance 1e-9: one algorithm, two calendars. Planted: end of the hour; offset with the wrong sign.
    """
    import pandas as pd
    from pvlib.location import Location

    weather = made_up()
    course = hourly.sun_course(weather, constants)
    times = pd.date_range("2026-03-01 00:30", periods=72, freq="h", tz=datetime.timezone(datetime.timedelta(hours=-7)))
    found = Location(45.0, -100.0, altitude=1500.0).get_solarposition(times)
    assert np.degrees(np.arcsin(course.sin_altitude)) == pytest.approx(found["elevation"].to_numpy(), abs=1e-9)
    assert np.degrees(course.azimuth) == pytest.approx(found["azimuth"].to_numpy(), abs=1e-9)


def test_without_longitude_the_clock_is_the_suns(constants):
    """Against pvlib on the meridian of its zone, end of February: within 4.5 degrees, of which 3.3 are the equation of time.

    Planted: noon at midnight.
    """
    file = made_up(longitude=math.radians(-105.0))
    one = hourly.sun_course(file, constants)
    other = hourly.sun_course(replace(file, longitude=None), constants)
    unit = [np.stack([np.sqrt(1 - s.sin_altitude**2) * np.sin(s.azimuth), np.sqrt(1 - s.sin_altitude**2) * np.cos(s.azimuth),
                      s.sin_altitude]) for s in (one, other)]
    assert np.degrees(np.arccos(np.clip((unit[0] * unit[1]).sum(axis=0), -1, 1))).max() < 4.5
    with pytest.raises(ScenarioError, match="latitude"):
        hourly.sun_course(replace(file, latitude=None), constants)


def test_sun_on_flat_ground_is_the_global_sun(constants):
    """Exact: split and put together again. A south flank of 45 degrees gets more than a north one in March.

    Planted: beam and diffuse swapped; the flanks' sides swapped.
    """
    file = made_up()
    course = hourly.sun_course(file, constants)
    total = 700.0 * np.maximum(course.sin_altitude, 0.0)
    sunny, date = replace(file, global_sun=total), datetime.date(2026, 3, 2)
    line = hourly.hourly_air_line(sunny, date, DAY, constants)
    flanks = Facing(math.radians(45.0), 1), Facing(math.radians(45.0), -1), Facing(0.0, 0)
    over = sky_line(sunny, line, flanks, date, DAY, math.pi, False, constants)
    hours = [over.mean(3600.0 * k, 3600.0 * (k + 1)) for k in range(24)]
    assert [hour.ground_sun for hour in hours] == pytest.approx(total[24:48], abs=1e-9)
    south, north, flat = np.sum([hour.sun for hour in hours], axis=0)
    whole = total[24:48].sum()
    assert flat == pytest.approx(whole, rel=1e-12)
    assert south > 1.1 * whole and north < 0.6 * whole
    with pytest.raises(ScenarioError, match="has no sun"):
        hourly.beam_and_diffuse(file, course, constants)


def test_longwave_is_taken_or_made(constants):
    """Given values pass; made ones lie between a clear and a black sky and rise with cloud. Planted: cloud as percent."""
    file = made_up()
    given = np.linspace(200.0, 300.0, 72)
    assert hourly.longwave(replace(file, sky_longwave=given), constants) is given
    clear, half, full, unknown = (hourly.longwave(replace(file, cloud=cloud), constants) for cloud in (
        np.zeros(72), np.full(72, 0.5), np.ones(72), None))
    black = 5.670374419e-8 * file.air_temperature**4
    assert np.all(clear < half) and np.all(half < full) and np.all(full <= black)
    assert unknown == pytest.approx(half, rel=1e-12) and np.all(clear > 0.55 * black)


def test_sun_of_the_normal_year_is_the_climates(normal, constants):
    """Exact: where range and clearness are even over a month's middle, a day's hours add up to Hargreaves' sun of that day.

    Planted: middle of the hour for its mean; beam left out of the global sun.
    """
    even = replace(CLIMATE, daily_range=(10.0,) * 12)
    year = weather_years.climate_year(even, LATITUDE, ELEVATION, constants)
    clearness = float(clearness_of_range(10.0, ELEVATION, constants))
    for day in (1, 100, 172, 355):
        hours = year.global_sun[24 * (day - 1): 24 * day]
        whole = clearness * sun_above_the_air(day, constants)
        assert hours.mean() == pytest.approx(whole, rel=1e-9)
    assert normal.cloud.min() >= 0.0 and normal.cloud.max() <= 1.0
    assert np.all(normal.diffuse_sun <= normal.global_sun + 1e-9)


def test_the_normal_year_keeps_the_monthly_means(normal):
    """Exact but for hours that end in the next month: 0.02 K. Planted: means taken as the values of the middles."""
    assert monthly(normal.air_temperature) == pytest.approx(MEANS, abs=0.02)
    assert monthly(normal.wind_speed) == pytest.approx(np.full(12, 3.0), abs=1e-12)


def standard_error(deviation: float, memory_hours: float, hours: float, years: int = YEARS) -> float:
    """Of the mean over `hours` of each of `years` of a series with exponential memory (long against it)."""
    return deviation * math.sqrt(2.0 * memory_hours / hours / years)


def test_correlated_numbers_have_their_correlation():
    """Theory: deviation 1, exp(-lag/memory), closed over the year's turn; tolerance 4 standard errors of 40 years (0.013).

    Planted: the square root of the spectrum left out; white noise.
    """
    memory = 60.0
    series = np.array([weather_years.correlated(np.random.default_rng(k), memory * 3600.0) for k in range(40)])
    assert series.std() == pytest.approx(1.0, abs=0.05)
    assert series.mean() == pytest.approx(0.0, abs=0.05)
    for lag in (1, 24, 60, 150):
        assert np.mean(series * np.roll(series, lag, axis=1)) == pytest.approx(math.exp(-lag / memory), abs=0.052)
    assert np.abs(series[:, 0] - series[:, -1]).mean() < 0.25      # no jump at New Year: expected 0.145


def test_made_up_years_have_the_climates_means(ensemble, normal, constants):
    """Theory: monthly means of air within 4 standard errors (30 years: 2.2 K in winter, 1.0 K in summer), the year's too.

    Planted: anomalies that are added to the mean twice and once to nothing (mean 0.5 deviations off).
    """
    air = np.mean([monthly(year.air_temperature) for year in ensemble], axis=0)
    memory = constants.anomaly_time / 3600.0
    allowed = [4.0 * standard_error(constants.anomaly_deviation_cold, memory, 24.0 * days) for days in MONTH_DAYS]
    assert np.all(np.abs(air - MEANS) < allowed)
    whole = np.mean([year.air_temperature.mean() for year in ensemble])
    typical = 0.5 * (constants.anomaly_deviation_cold + constants.anomaly_deviation_warm)
    assert whole == pytest.approx(MEANS @ MONTH_DAYS / 365.0, abs=4.0 * standard_error(typical, memory, 8760.0))
    wind = np.mean([year.wind_speed.mean() for year in ensemble])
    assert wind == pytest.approx(3.0, abs=4.0 * standard_error(0.52 * 3.0, constants.wind_memory / 3600.0, 8760.0))
    sun = np.mean([year.global_sun.mean() for year in ensemble])
    assert sun == pytest.approx(normal.global_sun.mean(), rel=0.03)    # 4 standard errors of daily clearness: 2.5 percent


def test_made_up_years_scatter_as_they_should(ensemble, normal, constants):
    """Theory: deviation in the coldest and the warmest month, and day-to-day correlation of daily means.

    The correlation of two means of 24 h of exp(-t/60 h), a day apart, is computed here from the sum over all pairs of
    hours. Tolerances: 4 standard errors of 30 months (10 percent; 0.05). Planted: deviations of winter and summer swapped;
    memory of half a day.
    """
    anomaly = np.array([year.air_temperature - normal.air_temperature for year in ensemble])
    january, july = anomaly[:, 240:504], anomaly[:, MONTH_ENDS[6] + 240: MONTH_ENDS[6] + 504]
    assert january.std() == pytest.approx(constants.anomaly_deviation_cold, rel=0.25)
    assert july.std() == pytest.approx(constants.anomaly_deviation_warm, rel=0.25)
    assert january.std() > 1.5 * july.std()
    hours = np.arange(24)
    memory = constants.anomaly_time / 3600.0
    apart = np.exp(-np.abs(hours[:, None] - hours[None, :] - 24.0) / memory).sum()
    same = np.exp(-np.abs(hours[:, None] - hours[None, :]) / memory).sum()
    daily = (anomaly / anomaly.std(axis=0)).reshape(YEARS, 365, 24).mean(axis=2)
    daily -= daily.mean()
    found = np.mean(daily * np.roll(daily, 1, axis=1)) / daily.var()
    assert found == pytest.approx(apart / same, abs=0.05)


def test_made_up_wind_and_sky_stay_within_bounds(ensemble, constants):
    """Theory: winds above twice the mean have the share exp(-pi) = 0.043 of the Rayleigh distribution (IEC 61400-1 uses it
    for annual winds; TO CHECK); tolerance 0.006: 4 standard errors at half a day of memory. No sky clearer than a clear day.

    Planted: the mean of the distribution taken as 1; clearness above the clear day's.
    """
    wind = np.array([year.wind_speed for year in ensemble])
    assert wind.min() >= 0.0
    assert np.mean(wind > 6.0) == pytest.approx(math.exp(-math.pi), abs=0.006)
    top = clear_day_clearness(ELEVATION, constants)
    for year in ensemble[:3]:
        noon = year.global_sun.reshape(365, 24)[:, 11]
        above = np.array([sun_above_the_air(day, constants) for day in range(1, 366)])
        assert np.all(noon < top * 5.0 * above) and np.all(year.relative_humidity <= 1.0)
        assert np.all((year.cloud >= 0.0) & (year.cloud <= 1.0)) and year.cloud.std() > 0.2


def test_made_up_years_come_back_with_their_seed(ensemble, constants):
    """The same seed gives the same numbers, and the first years of a longer ensemble; other seeds and years differ.

    Planted: one generator for all years (the second then depends on how many series the first drew, the count does not).
    """
    again = weather_years.synthetic_years(CLIMATE, LATITUDE, ELEVATION, 2, 5, constants)
    other = weather_years.synthetic_years(CLIMATE, LATITUDE, ELEVATION, 1, 6, constants)[0]
    for one, two in zip(again, ensemble, strict=False):
        assert np.array_equal(one.air_temperature, two.air_temperature) and np.array_equal(one.global_sun, two.global_sun)
    assert not np.allclose(again[0].air_temperature, again[1].air_temperature)
    assert not np.allclose(again[0].air_temperature, other.air_temperature)
