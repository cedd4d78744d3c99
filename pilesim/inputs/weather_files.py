"""Readers of hourly weather: EPW and TMY3 (values by pvlib), and CSV with units in its header (values by pandas).

Every line is looked at here first, so that what is wrong gets its line; the libraries then take the values.
"""

from __future__ import annotations

import datetime
import io
import math
import os
import re
from collections.abc import Callable, Iterable, Sequence
from csv import QUOTE_NONE
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.units import to_si
from pilesim.inputs.hourly import COLUMNS, HOUR, HourlyWeather, Reading, finish
from pilesim.inputs.schema import suggestion

_LARGEST_FILE = 50_000_000      # bytes; a year of hours has about 2,000,000
_YEARS = (1850, 2200)            # that weather can be of
TYPICAL_YEAR = 2001             # stands for the year of a typical year; not a leap year
_EPW_HEAD, _EPW_FEWEST, _EPW_FIELDS = 8, 22, 35     # lines of its head; fields of a row, from wind speed on
_EPW_RAIN_HOURS = 34
_KINDS = "a weather file: .epw, .csv in the TMY3 layout, or .csv with a line of names and units"
_DEGREE = math.pi / 180.0

Stamp = tuple[int, int, int, int]        # year, month, day, hour that ends
Factors = dict[str, tuple[float, float]]

# our column: (pvlib's column, field of a row or heading in the file, code of "missing" (at least, or at most if negative),
# SI = offset + factor x value)
_EPW = {
    "air_temperature": ("temp_air", 6, 99.9, 273.15, 1.0),
    "relative_humidity": ("relative_humidity", 8, 999.0, 0.0, 0.01),
    "pressure": ("atmospheric_pressure", 9, 999999.0, 0.0, 1.0),
    "sky_longwave": ("ghi_infrared", 12, 9999.0, 0.0, 1.0),
    "global_sun": ("ghi", 13, 9999.0, 0.0, 1.0),
    "beam_sun": ("dni", 14, 9999.0, 0.0, 1.0),
    "diffuse_sun": ("dhi", 15, 9999.0, 0.0, 1.0),
    "wind_direction": ("wind_direction", 20, 999.0, 0.0, _DEGREE),
    "wind_speed": ("wind_speed", 21, 999.0, 0.0, 1.0),
    "cloud": ("opaque_sky_cover", 23, 99.0, 0.0, 0.1),
    "rain": ("liquid_precipitation_depth", 33, 999.0, 0.0, 1.0 / 3600.0),
}
_TMY3 = {
    "air_temperature": ("temp_air", "Dry-bulb (C)", -9900.0, 273.15, 1.0),
    "relative_humidity": ("relative_humidity", "RHum (%)", -9900.0, 0.0, 0.01),
    "pressure": ("pressure", "Pressure (mbar)", -9900.0, 0.0, 100.0),
    "global_sun": ("ghi", "GHI (W/m^2)", -9900.0, 0.0, 1.0),
    "beam_sun": ("dni", "DNI (W/m^2)", -9900.0, 0.0, 1.0),
    "diffuse_sun": ("dhi", "DHI (W/m^2)", -9900.0, 0.0, 1.0),
    "wind_direction": ("wind_direction", "Wdir (degrees)", -9900.0, 0.0, _DEGREE),
    "wind_speed": ("wind_speed", "Wspd (m/s)", -9900.0, 0.0, 1.0),
    "cloud": ("OpqCld (tenths)", "OpqCld (tenths)", -9900.0, 0.0, 0.1),
    "rain": ("Lprecip depth (mm)", "Lprecip depth (mm)", -9900.0, 0.0, 1.0 / 3600.0),
}
_DATE, _TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"
_PLACE = {"latitude": "rad", "longitude": "rad", "elevation": "m", "utc_offset": "s"}
_REMARK = re.compile(r"#\s*([a-z_]+)\s*:\s*(.+)")
_HEADING = re.compile(r"([a-z_]+)\s*(?:\[([^\]]*)\])?")


def read_weather(path: str | os.PathLike[str]) -> HourlyWeather:
    """Hourly weather from an EPW, TMY3 or CSV file; see `COLUMNS` for a CSV's names.

    Raises
    ------
    ScenarioError
        One line: the file and its line or dates, what was given, what is allowed, what to do.
    """
    name = Path(path).name
    text = _text(Path(path), name)
    lines = text.splitlines()
    if lines and lines[0].startswith("LOCATION,"):
        return finish(_read_epw(lines, text, name))
    if len(lines) > 1 and lines[1].startswith(_DATE):
        return finish(_read_tmy3(lines, text, name))
    if Path(path).suffix.lower() == ".csv":
        return finish(_read_csv(lines, name))
    if Path(path).suffix.lower() == ".epw":
        raise ScenarioError(f"{name}, line 1", repr(lines[0][:40]), "a first line 'LOCATION,...' of an EPW file")
    raise ScenarioError(name, Path(path).suffix or "no ending", _KINDS)


def read_once(path: str) -> HourlyWeather:
    """`read_weather`, kept for the next scenario with the same file as long as the file does not change.

    Raises
    ------
    ScenarioError
        As `read_weather`.
    """
    try:
        stat = Path(path).stat()
    except (OSError, ValueError):
        return read_weather(path)
    return _read_at(path, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=8)
def _read_at(path: str, changed: int, size: int) -> HourlyWeather:
    return read_weather(path)


def _text(path: Path, name: str) -> str:
    """The whole file as text; the names of places in old files may be Latin-1."""
    if not path.exists():
        raise ScenarioError(name, "", _KINDS, f"There is no file {path}.")
    if not path.is_file():
        raise ScenarioError(name, "", _KINDS, "This is not a regular file.")
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise ScenarioError(name, "", _KINDS, f"It is larger than {_LARGEST_FILE // 1_000_000} MB.")
        content = path.read_bytes()
    except OSError as why:
        raise ScenarioError(name, "", _KINDS, f"It cannot be read: {why.strerror}.") from None
    if not content.strip() or b"\0" in content:
        raise ScenarioError(name, "", _KINDS, "It is empty." if not content.strip() else "It is not a text file.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _number(text: str, where: str, allowed: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ScenarioError(where, repr(text.strip()), allowed) from None
    if not math.isfinite(value):
        raise ScenarioError(where, repr(text.strip()), allowed)
    return value


def _place(latitude: float, longitude: float, hours: float, elevation: float, where: str) -> dict[str, float | None]:
    for label, value, limit in (("latitude", latitude, 90.0), ("longitude", longitude, 180.0), ("time zone", hours, 14.0)):
        if abs(value) > limit:
            raise ScenarioError(where, f"{label} {value:g}", f"{label} from {-limit:g} to {limit:g}")
    return {"latitude": latitude * _DEGREE, "longitude": longitude * _DEGREE, "elevation": elevation,
            "utc_offset": 3600.0 * hours}


def _is_composite(stamps: Sequence[Stamp]) -> bool:
    """Whether the years of (year, month, day, hour) change anywhere but at the turn of a year, by one."""
    return any(a[0] != b[0] and not (b[0] == a[0] + 1 and a[1] == 12 and b[1] == 1) for a, b in pairwise(stamps))


def _labels(stamps: Sequence[Stamp], lines: Sequence[int], name: str) -> tuple[list[datetime.datetime], bool]:
    """Ends of the hours (1 to 24) of the days; whether they are a typical year, whose years are then made one."""
    typical = _is_composite(stamps)
    labels = []
    for (year, month, day, hour), line in zip(stamps, lines, strict=True):
        given = f"{year}-{month:02d}-{day:02d} hour {hour}"
        try:
            date = datetime.datetime(TYPICAL_YEAR if typical else year, month, day)
        except ValueError:
            advice = "A typical year has no 29 February." if (month, day) == (2, 29) else ""
            raise ScenarioError(f"{name}, line {line}", given, "a day of the calendar", advice) from None
        if not 0 <= hour <= 24 or not _YEARS[0] <= year <= _YEARS[1]:
            raise ScenarioError(f"{name}, line {line}", given, f"hours 0 to 24 of the years {_YEARS[0]} to {_YEARS[1]}")
        labels.append(date + hour * HOUR)
    return labels, typical


def _numbers(series: Any) -> np.ndarray:
    """A column of a table as numbers; what is none, here only blanks, becomes NaN."""
    import pandas as pd

    return np.asarray(pd.to_numeric(series, errors="coerce").to_numpy(dtype=float))


def _columns(frame: Any, table: dict[str, Any], there: Iterable[str]) -> tuple[dict[str, np.ndarray], Factors]:
    """Columns in SI with NaN for what is missing, and how they came from the numbers of the file."""
    values, factors = {}, {}
    for name in there:
        theirs, _, missing, offset, factor = table[name]
        raw = _numbers(frame[theirs])
        gone = (raw <= missing) if missing < 0 else (raw >= missing)
        values[name] = np.where(gone, np.nan, offset + factor * raw)
        factors[name] = (offset, factor)
    return values, factors


def _read_epw(lines: list[str], text: str, name: str) -> Reading:
    head = lines[0].split(",")
    if len(head) < 10:
        allowed = "10 fields: LOCATION, names, latitude, longitude, zone, height"
        raise ScenarioError(f"{name}, line 1", f"{len(head)} fields", allowed)
    latitude, longitude, zone, height = (
        _number(head[k], f"{name}, line 1", "a number in fields 7 to 10") for k in (6, 7, 8, 9))
    place = _place(latitude, longitude, zone, height, f"{name}, line 1")
    periods = lines[_EPW_HEAD - 1].split(",") if len(lines) > _EPW_HEAD else []
    if len(periods) < 3 or periods[0].strip().upper() != "DATA PERIODS":
        given, allowed = repr(",".join(periods)[:40]), "'DATA PERIODS,...' and rows of hours below it"
        raise ScenarioError(f"{name}, line {_EPW_HEAD}", given, allowed, "The head of an EPW file has eight lines.")
    if periods[2].strip() != "1":
        raise ScenarioError(f"{name}, line {_EPW_HEAD}", f"{periods[2].strip()} values per hour", "hourly values")
    stamps, numbers = [], []
    used = [*(field for _, field, *_ in _EPW.values()), _EPW_RAIN_HOURS]
    for number, line in enumerate(lines[_EPW_HEAD:], _EPW_HEAD + 1):
        if not line.strip():
            continue
        fields = line.split(",")
        where = f"{name}, line {number}"
        if not _EPW_FEWEST <= len(fields) <= _EPW_FIELDS:
            raise ScenarioError(where, f"{len(fields)} fields", f"{_EPW_FEWEST} to {_EPW_FIELDS} fields, as in an EPW file")
        stamps.append(_stamp(fields[:4], where))
        _check_numbers(fields, used, where)
        numbers.append(number)
    labels, typical = _labels(stamps, numbers, name)
    from pvlib.iotools import read_epw

    frame = _taken(read_epw, text, TYPICAL_YEAR if typical else None, name, len(labels))
    there = [column for column, (theirs, *_) in _EPW.items() if frame[theirs].notna().any()]
    values, factors = _columns(frame, _EPW, there)
    if "rain" in values:
        hours = _numbers(frame["liquid_precipitation_quantity"])
        values["rain"] /= np.where((hours > 0.0) & (hours < 99.0), hours, 1.0)
    return Reading(name, typical, place, labels, numbers, values, factors)


def _taken(reader: Callable[..., Any], text: str, year: int | None, name: str, rows: int) -> Any:
    """The library's table of a text that was looked at; what it still stumbles over is said in one line."""
    try:
        frame, _ = reader(io.StringIO(text), coerce_year=year)
    except Exception as why:
        raise ScenarioError(name, "", _KINDS, f"The reader says: {why}.") from None
    if len(frame) != rows:
        given = f"{len(frame)} rows for the reader"
        raise ScenarioError(name, given, f"{rows} rows, one a line", "Look for quotation marks.")
    return frame


def _stamp(fields: Sequence[str], where: str) -> Stamp:
    if not all(re.fullmatch(r"\s*[0-9]{1,4}\s*", field) for field in fields):
        raise ScenarioError(where, repr(",".join(fields)), "year, month, day and hour as whole numbers")
    year, month, day, hour = map(int, fields)
    if not 1 <= hour <= 24:
        raise ScenarioError(where, f"hour {hour}", "hours 1 to 24", "An hour is labelled by its end.")
    return year, month, day, hour


def _check_numbers(fields: Sequence[str], used: Iterable[int], where: str) -> None:
    """Refuse text where a number belongs; an empty field is a missing value."""
    for k in used:
        if k < len(fields) and fields[k].strip():
            _number(fields[k], f"{where}, field {k + 1}", "a number")


def _read_tmy3(lines: list[str], text: str, name: str) -> Reading:
    head = lines[0].split(",")
    if len(head) < 7:
        allowed = "7 fields: station, name, state, zone, latitude, longitude, height"
        raise ScenarioError(f"{name}, line 1", f"{len(head)} fields", allowed)
    zone, latitude, longitude, height = (
        _number(head[k], f"{name}, line 1", "a number in fields 4 to 7") for k in (3, 4, 5, 6))
    names = [part.strip() for part in lines[1].split(",")]
    needed = (_DATE, _TIME, *(_TMY3[column][1] for column in COLUMNS if COLUMNS[column].required))
    lacking = [heading for heading in needed if heading not in names]
    if lacking:
        raise ScenarioError(f"{name}, line 2", "", f"the headings {', '.join(lacking)}", "They are missing.")
    there = [column for column, (_, heading, *_) in _TMY3.items() if heading in names]
    used = [names.index(_TMY3[column][1]) for column in there]
    stamps, numbers = [], []
    for number, line in enumerate(lines[2:], 3):
        if not line.strip():
            continue
        fields, where = line.split(","), f"{name}, line {number}"
        if len(fields) != len(names):
            raise ScenarioError(where, f"{len(fields)} fields", f"{len(names)} fields, as in line 2")
        stamps.append(_tmy3_stamp(fields[names.index(_DATE)], fields[names.index(_TIME)], where))
        _check_numbers(fields, used, where)
        numbers.append(number)
    labels, typical = _labels(stamps, numbers, name)
    from pvlib.iotools import read_tmy3

    frame = _taken(read_tmy3, _plain_station(text), TYPICAL_YEAR, name, len(labels))
    values, factors = _columns(frame, _TMY3, there)
    place = _place(latitude, longitude, zone, height, f"{name}, line 1")
    return Reading(name, typical, place, labels, numbers, values, factors)


def _plain_station(text: str) -> str:
    """The file with a station number that the library can read; the number itself is not used."""
    first, rest = text.split("\n", 1)
    return "0," + first.split(",", 1)[1] + "\n" + rest


def _tmy3_stamp(date: str, time: str, where: str) -> Stamp:
    found = re.fullmatch(r"\s*(\d{1,2})/(\d{1,2})/(\d{4})\s*", date), re.fullmatch(r"\s*(\d{1,2}):(\d{2})\s*", time)
    if found[0] is None or found[1] is None or found[1][2] != "00":
        raise ScenarioError(where, repr(f"{date} {time}"), "a full hour as MM/DD/YYYY,HH:00")
    month, day, year = (int(part) for part in found[0].groups())
    return year, month, day, int(found[1][1])


def _read_csv(lines: list[str], name: str) -> Reading:
    place: dict[str, float | None] = dict.fromkeys(_PLACE)
    start = 0
    while start < len(lines) and (lines[start].startswith("#") or not lines[start].strip()):
        remark = _REMARK.match(lines[start])
        if remark and remark[1] in _PLACE:
            place[remark[1]] = to_si(remark[2].strip(), _PLACE[remark[1]], f"{name}, line {start + 1}, {remark[1]}")
        start += 1
    if start >= len(lines):
        raise ScenarioError(name, "", "a line of column names with units", "There are only remarks.")
    units = _headings(lines[start], f"{name}, line {start + 1}")
    import pandas as pd

    width = len(units)
    numbers = [k for k in range(start + 1, len(lines)) if lines[k].strip()]
    for k in numbers:
        if lines[k].count(",") != width - 1:
            given, allowed = f"{lines[k].count(',') + 1} fields", f"{width} fields, as in line {start + 1}"
            raise ScenarioError(f"{name}, line {k + 1}", given, allowed)
    if not numbers:
        raise ScenarioError(name, "", "lines of hours below the column names", "There are none.")
    body = io.StringIO("\n".join(lines[k] for k in numbers))
    frame = pd.read_csv(body, header=None, names=list(units), dtype=str, keep_default_na=False, index_col=False,
                        quoting=QUOTE_NONE)
    labels = [_moment(text, f"{name}, line {k + 1}") for text, k in zip(frame["time"], numbers, strict=True)]
    values, factors = {}, {}
    for column, (offset, factor) in units.items():
        if column == "time":
            continue
        raw = _numbers(frame[column].str.strip().replace("", "nan"))
        for k in map(int, np.flatnonzero(~np.isfinite(raw))):
            cell = str(frame[column].iloc[k]).strip()
            if cell.lower() not in ("", "nan"):
                where = f"{name}, line {numbers[k] + 1}, {column}"
                raise ScenarioError(where, repr(cell), "a number, or nothing where it is missing")
        values[column], factors[column] = offset + factor * raw, (offset, factor)
    return Reading(name, False, place, labels, [k + 1 for k in numbers], values, factors)


def _headings(line: str, where: str) -> Factors:
    """Column names of a CSV, each with SI = offset + factor x number; `time` has (0, 1)."""
    found: Factors = {}
    for part in line.split(","):
        heading = _HEADING.fullmatch(part.strip())
        known = ("time", *COLUMNS)
        if heading is None or heading[1] not in known:
            given = repr(part.strip())
            raise ScenarioError(where, given, f"names such as 'air_temperature [degC]' out of {', '.join(known)}",
                                suggestion(part.split("[")[0].strip(), known))
        column, unit = heading[1], heading[2]
        if column in found:
            raise ScenarioError(where, repr(column), "each column once")
        if column == "time":
            found[column] = (0.0, 1.0)
        elif unit is None or not unit.strip():
            raise ScenarioError(where, repr(column), f"a unit, such as '{column} [{COLUMNS[column].shown}]'")
        else:
            found[column] = _unit(column, unit.strip(), where)
    needed = ("time", *(column for column in COLUMNS if COLUMNS[column].required))
    lacking = [column for column in needed if column not in found]
    if lacking:
        raise ScenarioError(where, "", f"columns {', '.join(lacking)}", "They are missing.")
    return found


def _unit(column: str, unit: str, where: str) -> tuple[float, float]:
    """SI = offset + factor x number for a column given in `unit`; rain and snow also as depth of water per time."""
    wanted, water = COLUMNS[column].unit, 1.0
    if wanted == "kg m-2 s-1" and "kg" not in unit:
        wanted, water = "m s-1", CONSTANTS["water_density"].value
    if wanted == "1" and unit == "1":
        return 0.0, 1.0
    zero, one = (to_si(f"{number} {unit}", wanted, f"{where}, {column}") for number in ("0", "1"))
    return water * zero, water * (one - zero)


def _moment(text: str, where: str) -> datetime.datetime:
    try:
        moment = datetime.datetime.fromisoformat(text.strip())
    except ValueError:
        raise ScenarioError(where, repr(text.strip()), "a time such as 2026-01-31 05:00") from None
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        raise ScenarioError(where, repr(text.strip()), f"a time of the years {_YEARS[0]} to {_YEARS[1]}")
    if moment.tzinfo is not None:
        raise ScenarioError(where, repr(text.strip()), "local standard time, without a zone",
                            "Give the zone once, as '# utc_offset: -7 hour' above the column names.")
    return moment

