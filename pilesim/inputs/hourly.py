"""Hourly weather: the record, its columns with units and ranges, and the check for gaps.

Values at a moment (air, wind, pressure, cloud) belong to the hour's label; means over an hour (sun, longwave, rain,
snowfall) to the hour that ends there. Labels are local standard time, without daylight saving.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np

from pilesim.base.errors import ScenarioError

HOUR = datetime.timedelta(hours=1)
LONGEST_GAP = 6         # hours that are filled; the air swings by 10 K within a day
_FEWEST = 24            # hours that make a file worth reading
_SHOWN_GAPS = 3         # named in a message


@dataclass(frozen=True, slots=True)
class Column:
    """What one column holds: SI unit, range in the unit `shown`, and what a long gap means: refuse, or leave it out."""

    meaning: str
    unit: str
    shown: str
    low: float
    high: float
    required: bool = False
    refuse_gaps: bool = True


COLUMNS: dict[str, Column] = {
    "air_temperature": Column("of the air", "K", "degC", -90.0, 60.0, required=True),
    "relative_humidity": Column("over water", "1", "percent", 0.0, 110.0, required=True),
    "wind_speed": Column("at the height of the station", "m s-1", "m/s", 0.0, 60.0, required=True),
    "wind_direction": Column("it comes from, clockwise from north", "rad", "deg", 0.0, 360.0, refuse_gaps=False),
    "pressure": Column("of the air at the station", "Pa", "Pa", 30000.0, 120000.0),
    "global_sun": Column("on a horizontal plane", "W m-2", "W/m2", -20.0, 1600.0),
    "beam_sun": Column("on a plane that faces the sun", "W m-2", "W/m2", -20.0, 1500.0),
    "diffuse_sun": Column("on a horizontal plane, without the beam", "W m-2", "W/m2", -20.0, 1000.0),
    "sky_longwave": Column("from the sky on a horizontal plane", "W m-2", "W/m2", 30.0, 700.0),
    "cloud": Column("share of the sky under opaque cloud", "1", "percent", 0.0, 100.0, refuse_gaps=False),
    "rain": Column("liquid", "kg m-2 s-1", "mm/hour", 0.0, 305.0, refuse_gaps=False),
    "snowfall": Column("as water", "kg m-2 s-1", "mm/hour", 0.0, 100.0, refuse_gaps=False),
}
CAPS = {"relative_humidity": (0.0, 1.0), "global_sun": (0.0, np.inf), "beam_sun": (0.0, np.inf), "diffuse_sun": (0.0, np.inf)}


@dataclass(frozen=True, slots=True, eq=False)
class HourlyWeather:
    """Weather hour by hour, without gaps; SI and kelvin, angles in radians; columns that the file lacks are None.

    Attributes
    ----------
    source : str
        File name, or how it was made.
    start : datetime.datetime
        Label of the first value, local standard time.
    typical : bool
        One year put together from months of several; it may be repeated.
    latitude, longitude, elevation, utc_offset : float or None
        Of the station [rad, east positive; m; s].
    air_temperature, relative_humidity, wind_speed : (n,) arrays
        [K], [1], [m s-1].
    wind_direction, pressure, global_sun, beam_sun, diffuse_sun, sky_longwave, cloud, rain, snowfall : (n,) arrays or None
        As `COLUMNS` says.
    notes : tuple of str
        Gaps that were filled and columns that were left out, one sentence each.
    """

    source: str
    start: datetime.datetime
    typical: bool
    latitude: float | None
    longitude: float | None
    elevation: float | None
    utc_offset: float | None
    air_temperature: np.ndarray
    relative_humidity: np.ndarray
    wind_speed: np.ndarray
    wind_direction: np.ndarray | None = None
    pressure: np.ndarray | None = None
    global_sun: np.ndarray | None = None
    beam_sun: np.ndarray | None = None
    diffuse_sun: np.ndarray | None = None
    sky_longwave: np.ndarray | None = None
    cloud: np.ndarray | None = None
    rain: np.ndarray | None = None
    snowfall: np.ndarray | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What a reader found, before time and range are checked: labels, their lines in the file, columns in SI (NaN: none)."""

    source: str
    typical: bool
    place: dict[str, float | None]      # latitude, longitude, elevation, utc_offset
    labels: list[datetime.datetime]
    lines: list[int]
    values: dict[str, np.ndarray]
    factors: dict[str, tuple[float, float]]     # SI = offset + factor x the number in the file, for messages


def finish(reading: Reading) -> HourlyWeather:
    """The reading as gapless hours: labels, ranges and gaps checked, short gaps filled.

    Raises
    ------
    ScenarioError
        Naming the line or the dates.
    """
    row = _rows(reading)
    count = int(row[-1]) + 1
    if count < _FEWEST:
        raise ScenarioError(reading.source, f"{count} hours", f"at least {_FEWEST} hours of weather")
    columns: dict[str, np.ndarray] = {}
    notes: list[str] = []
    for name, column in COLUMNS.items():
        whole = np.full(count, np.nan)
        if name in reading.values:
            whole[row] = reading.values[name]
        if np.isnan(whole).all():
            if column.required:
                raise ScenarioError(f"{reading.source}, {name}", "no value", f"a column of {name}, {column.meaning}")
            continue
        filled = _without_gaps(reading, name, column, whole, notes)
        if filled is not None:
            _refuse_outside(reading, name, column)
            columns[name] = np.clip(filled, *CAPS[name]) if name in CAPS else filled
    return HourlyWeather(source=reading.source, start=reading.labels[0], typical=reading.typical, notes=tuple(notes),
                         **reading.place, **columns)  # type: ignore[arg-type]


def _rows(reading: Reading) -> np.ndarray:
    """Hours since the first label, of each row of the file; labels must be whole hours and grow."""
    first = reading.labels[0]
    rows = np.empty(len(reading.labels), dtype=int)
    for k, (label, line) in enumerate(zip(reading.labels, reading.lines, strict=True)):
        hours, rest = divmod(label - first, HOUR)
        where = f"{reading.source}, line {line}"
        if rest or label.minute or label.second:
            raise ScenarioError(where, shown_time(label, reading.typical), "hourly values on the full hour",
                                "Average finer values over each hour, and label it by its end.")
        if k and hours <= rows[k - 1]:
            last = shown_time(reading.labels[k - 1], reading.typical)
            raise ScenarioError(where, shown_time(label, reading.typical), f"an hour after {last}, the line before",
                                "Sort the lines, remove hours that come twice, and keep to standard time all year.")
        rows[k] = hours
    return rows


def shown_time(label: datetime.datetime, typical: bool = False) -> str:
    """A label as text; of a typical year without the year, which is none of the file's."""
    return label.strftime("%m-%d %H:%M" if typical else "%Y-%m-%d %H:%M")


def _refuse_outside(reading: Reading, name: str, column: Column) -> None:
    offset, factor = reading.factors[name]
    low, high = (_in_si(name, bound) for bound in (column.low, column.high))
    values = reading.values[name]
    wrong = np.flatnonzero((values < low) | (values > high))
    if wrong.size:
        k = int(wrong[0])
        given = f"{(values[k] - offset) / factor:g}"
        advice = f"{wrong.size} values are outside; check the column and its unit." if wrong.size > 1 else "Check its unit."
        raise ScenarioError(f"{reading.source}, line {reading.lines[k]}, {name}", given,
                            f"{column.low:g} to {column.high:g} {column.shown}", advice)


def _in_si(name: str, value: float) -> float:
    offset, factor = SHOWN[name]
    return offset + factor * value


SHOWN: dict[str, tuple[float, float]] = {   # SI = offset + factor x value in the unit `shown` of COLUMNS
    name: {"degC": (273.15, 1.0), "percent": (0.0, 0.01), "deg": (0.0, float(np.pi) / 180.0),
           "mm/hour": (0.0, 1.0 / 3600.0)}.get(column.shown, (0.0, 1.0))
    for name, column in COLUMNS.items()
}


def _gaps(values: np.ndarray) -> list[tuple[int, int]]:
    """First and one-past-last index of each run of NaN."""
    missing = np.concatenate([[False], np.isnan(values), [False]])
    edges = np.flatnonzero(missing[1:] != missing[:-1])
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _without_gaps(reading: Reading, name: str, column: Column, values: np.ndarray, notes: list[str]) -> np.ndarray | None:
    """The column with short gaps filled, or None if a long gap leaves it out; a note tells either."""
    gaps = _gaps(values)
    long = [gap for gap in gaps if gap[1] - gap[0] > LONGEST_GAP]
    if long:
        shown = "; ".join(_gap_text(reading, gap) for gap in long[:_SHOWN_GAPS])
        more = f"; and {len(long) - _SHOWN_GAPS} more" if len(long) > _SHOWN_GAPS else ""
        if column.refuse_gaps:
            advice = f"Values are missing from {shown}{more}: fill them from a station nearby, or take another year."
            raise ScenarioError(f"{reading.source}, {name}", "", f"gaps of at most {LONGEST_GAP} hours", advice)
        missing = int(np.isnan(values).sum())
        notes.append(f"{name} is left out: {missing} of {values.size} hours are missing (from {shown}{more}).")
        return None
    if gaps:
        count = f"{len(gaps)} gap{'s' if len(gaps) > 1 else ''}"
        notes.append(f"{name}: {int(np.isnan(values).sum())} missing hours in {count} filled by straight lines.")
    return _filled(values, name == "wind_direction")


def _gap_text(reading: Reading, gap: tuple[int, int]) -> str:
    first, last = (shown_time(reading.labels[0] + k * HOUR, reading.typical) for k in (gap[0], gap[1] - 1))
    return f"{first} to {last} ({gap[1] - gap[0]} hours)"


def _filled(values: np.ndarray, is_direction: bool) -> np.ndarray:
    """Straight lines over the NaN; the ends are held; a direction turns the shorter way."""
    known = np.flatnonzero(~np.isnan(values))
    places = np.arange(values.size)
    if not is_direction:
        return np.interp(places, known, values[known])
    turned = np.interp(places, known, np.unwrap(values[known])) % (2.0 * np.pi)
    return np.where(np.isnan(values), turned, values)
