"""When to build in winter: start weeks, weather years and designs, all combinations by `compare`; chances, not promises.

A start fails in one year if more of the mix than `acceptable_cold_edge_share` has not met the rule by the end, or half of
it never reaches 55 degC, by more than the numerical error; it is undecided if the limit lies within the error.
"""

from __future__ import annotations

import csv
import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pilesim.base.constants import CONSTANTS, surface_record
from pilesim.base.errors import ScenarioError
from pilesim.inputs.hourly import HOUR, HourlyWeather
from pilesim.inputs.records import FileWeather, MonthlyWeather
from pilesim.inputs.scenario import Scenario
from pilesim.matter.atmosphere import standard_pressure
from pilesim.matter.hourly import years_that_fit
from pilesim.matter.mix import settled_mix
from pilesim.matter.weather_years import synthetic_years
from pilesim.study.compare import compare
from pilesim.study.table import rows
from pilesim.study.ties import COLD, stretch

if TYPE_CHECKING:
    import xarray as xr

DAYS_50, DAYS_95, FROZEN = "days_to_55C_median", "days_to_55C_95", "frozen_fraction_peak"
FACTOR, SPAN = 2.0, 5.0      # unknowns are taken at half and twice their value, temperatures 5 K lower and higher
_DAYS = 365
_WEEK = datetime.timedelta(weeks=1)
_COLUMNS = ("start", "base_width", "cover_thickness", "years", "failed_years", "undecided_years", "chance_of_failure",
            "days_to_50_percent", "days_to_95_percent", "cold_edge_share_mean", "cold_edge_share_worst", "frozen_share_worst")


@dataclass(frozen=True, slots=True)
class StartWeek:
    """What the weather years make of one design started in one week; days are medians, NaN where half the years have none.

    Attributes
    ----------
    month_day : (int, int)
        Day of building.
    width, cover : str
        Base width and cover thickness as typed.
    years, failed, undecided : int
        Members, those that fail, those that the numerical error leaves open.
    days_50, days_95 : float
        Until 50 and 95 percent of the mix have reached 55 degC.
    cold_mean, cold_worst, frozen : float
        Share that has not met the rule, mean and worst of the years; largest frozen share of the worst year [1].
    """

    month_day: tuple[int, int]
    width: str
    cover: str
    years: int
    failed: int
    undecided: int
    days_50: float
    days_95: float
    cold_mean: float
    cold_worst: float
    frozen: float
    reason: str = ""    # why a year has no result; such years count as undecided

    @property
    def chance(self) -> float:
        """Share of the years that fail [1]."""
        return self.failed / self.years

    @property
    def passes(self) -> bool:
        """No year fails, and none is left open by the numerical error."""
        return self.failed + self.undecided == 0


@dataclass(frozen=True, slots=True)
class Decider:
    """What one unknown, taken at both ends of its range, makes of a start: share that has not met the rule [1]."""

    key: str
    texts: tuple[str, str]
    cold: tuple[float, float]
    failed: tuple[bool, bool]

    @property
    def decides(self) -> bool:
        """One end of its range fails and the other does not."""
        return self.failed[0] != self.failed[1]


def start_days(first: str, last: str, every: int) -> list[tuple[int, int]]:
    """Days of building from `first` to `last` ('10-01' is 1 October; the year may turn), every so many weeks.

    Raises
    ------
    ScenarioError
        If a day is none, or `every` is below 1.
    """
    days = []
    for option, text in (("--first", first), ("--last", last)):
        try:
            days.append(datetime.datetime.strptime(f"2001-{text}", "%Y-%m-%d").date())
        except ValueError:
            raise ScenarioError(option, repr(text), "a day of the year as month-day, such as '11-15'") from None
    if every < 1:
        raise ScenarioError("--every", str(every), "at least 1 week")
    day, end = days
    if end < day:
        end = datetime.date(2002, end.month, end.day)
    out = []
    while day <= end:
        out.append((day.month, day.day))
        day += every * _WEEK
    return out


def write_years(scenario: Scenario, years: int, seed: int, folder: Path) -> list[Path]:
    """Made-up years of a scenario's monthly climate as CSV weather files in `folder`.

    Raises
    ------
    ScenarioError
        If the scenario has no monthly climate, or its site no latitude.
    """
    weather, site = scenario.weather, scenario.site
    if not isinstance(weather, MonthlyWeather):
        raise ScenarioError("--years", str(years), "a scenario with monthly weather, or --weather FILE",
                            "Years are made up about a monthly climate; a file brings its own.")
    if site.latitude is None:
        raise ScenarioError("site.latitude", "nothing", "the latitude of the site", "Made-up years need it for their sun.")
    c = surface_record(standard_pressure(site.elevation, surface_record(CONSTANTS["standard_pressure"].value)))
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number, year in enumerate(synthetic_years(weather, site.latitude, site.elevation, years, seed, c), 1):
        paths.append(folder / f"year-{number}.csv")
        paths[-1].write_text(_year_text(year, scenario.run.duration), encoding="utf-8")
    return paths


def _year_text(year: HourlyWeather, duration: float) -> str:
    """The year, and as much of it again as a run of `duration` [s] begun on its last day needs (years are closed)."""
    assert year.global_sun is not None and year.cloud is not None and year.latitude is not None
    lines = [f"# {year.source}, not measured", f"# latitude: {math.degrees(year.latitude)!r} deg",
             f"# elevation: {year.elevation!r} m",
             "time,air_temperature [K],relative_humidity [1],wind_speed [m/s],global_sun [W/m2],cloud [1]"]
    columns = np.stack([year.air_temperature, year.relative_humidity, year.wind_speed, year.global_sun, year.cloud], axis=1)
    count = len(columns) + math.ceil(duration / HOUR.total_seconds()) + len(columns) // _DAYS
    lines += [f"{(year.start + k * HOUR):%Y-%m-%d %H:%M}," + ",".join(f"{value:.6g}" for value in columns[k % len(columns)])
              for k in range(count)]
    return "\n".join(lines) + "\n"


def plan(scenario: Scenario, days: Sequence[tuple[int, int]], widths: Sequence[str], covers: Sequence[str],
         files: Sequence[Path]) -> dict[str, list[str]]:
    """What `compare` varies: dates of building (of every year that the weather covers), files, widths and covers.

    Raises
    ------
    ScenarioError
        If the weather covers no such start.
    """
    weather, vary = scenario.weather, {}
    if files:
        vary["weather.path"] = [str(path) for path in files]
    dates: list[datetime.date] = []
    for month, day in days:
        if isinstance(weather, FileWeather):
            dates += years_that_fit(weather.hours, month, day, scenario.run.duration)
        else:
            dates.append(datetime.date(2001, month, day))
    if not dates:
        raise ScenarioError("--first", f"{days[0][0]:02d}-{days[0][1]:02d}", "a start from which the weather covers the run",
                            "Shorten run.duration, move --first and --last, or take a longer file.")
    vary["start.date"] = [date.isoformat() for date in dates]
    vary["pile.base_width"] = list(widths)
    vary["cover.thickness"] = list(covers)
    return vary


def judge(table: xr.Dataset) -> list[StartWeek]:
    """Start weeks, widths and covers of a comparison that :func:`plan` planned, with what all their years give."""
    members: dict[tuple[tuple[int, int], str, str], list[dict[str, Any]]] = {}
    for row in rows(table):
        date = datetime.date.fromisoformat(row["start.date"])
        members.setdefault(((date.month, date.day), row["pile.base_width"], row["cover.thickness"]), []).append(row)
    return [_summary(key, years) for key, years in members.items()]


def verdict(row: Mapping[str, Any]) -> str:
    """What one run is: passes, fails, is undecided within its numerical error, or has no result."""
    limit = CONSTANTS["acceptable_cold_edge_share"].value
    lies = stretch(row, COLD)
    if row.get("status", "ok") != "ok":
        return "no result"
    if not lies.known or math.isnan(float(row[DAYS_50])) or lies.low > limit:
        return "fails"
    return "passes" if lies.high <= limit else "undecided"


def _summary(key: tuple[tuple[int, int], str, str], years: list[dict[str, Any]]) -> StartWeek:
    verdicts = [verdict(row) for row in years]

    def of(name: str) -> np.ndarray:
        return np.array([float(row[name]) for row in years])

    def middle(name: str) -> float:
        ordered = np.sort(np.where(np.isnan(of(name)), np.inf, of(name)))
        value = float(ordered[(ordered.size - 1) // 2])
        return value if math.isfinite(value) else math.nan

    known = [k for k, word in enumerate(verdicts) if word != "no result"]
    lost = [str(row["message"]) for row, word in zip(years, verdicts, strict=True) if word == "no result"]
    cold, frozen = of(COLD)[known], of(FROZEN)[known]
    return StartWeek(*key, len(years), verdicts.count("fails"), verdicts.count("undecided") + len(lost), middle(DAYS_50),
                     middle(DAYS_95), float(cold.mean()) if known else math.nan, float(cold.max()) if known else math.nan,
                     float(frozen.max()) if known else math.nan, lost[0] if lost else "")


def split_list(option: str, text: str | None) -> list[str]:
    """The values of an option, as typed; none without it.

    Raises
    ------
    ScenarioError
        If one is blank.
    """
    parts = [] if text is None else [part.strip() for part in text.split(",")]
    if not all(parts):
        raise ScenarioError(option, repr(text), "values with commas between, such as '10 cm,20 cm'")
    return parts


def hardest(weeks: Sequence[StartWeek]) -> StartWeek:
    """The start that is neither sure to pass nor sure to fail, else the one nearest to it: where an unknown can decide."""
    limit = CONSTANTS["acceptable_cold_edge_share"].value
    return min(weeks, key=lambda week: math.inf if math.isnan(week.cold_worst) else abs(week.cold_worst - limit))


def scenario_of(scenario: Scenario, week: StartWeek, vary: Mapping[str, Sequence[str]]) -> Scenario:
    """The scenario of one start week and design, in the first of its years."""
    month_day = f"-{week.month_day[0]:02d}-{week.month_day[1]:02d}"
    date = next(text for text in vary["start.date"] if text.endswith(month_day))
    changes = {"start.date": date, "pile.base_width": week.width, "cover.thickness": week.cover}
    if "weather.path" in vary:
        changes["weather.path"] = vary["weather.path"][0]
    return scenario.with_(**changes)


def source_of(scenario: Scenario, years: int | None, seed: int) -> str:
    """Where the weather comes from, in words."""
    weather = scenario.weather
    if isinstance(weather, FileWeather):
        return f"{Path(weather.path).name}{', a typical year: no chance of other years' if weather.hours.typical else ''}"
    if years is not None:
        return f"{years} made-up years about the scenario's monthly climate, seed {seed}"
    return "the scenario's own, one year: its chances are none or all"


def smallest_passing(weeks: Sequence[StartWeek], day: tuple[int, int]) -> StartWeek | None:
    """Of the designs that pass on `day`, the narrowest, and of these the one with the thinnest cover; in order of typing."""
    passing = [week for week in weeks if week.month_day == day and week.passes]
    return passing[0] if passing else None


def thinnest_passing(weeks: Sequence[StartWeek], day: tuple[int, int], width: str) -> StartWeek | None:
    """Of the designs of one `width` that pass on `day`, the one whose cover was typed first."""
    passing = [week for week in weeks if week.month_day == day and week.width == width and week.passes]
    return passing[0] if passing else None


def unknowns(scenario: Scenario) -> dict[str, tuple[str, str]]:
    """Keys that are known badly, each with the lower and the higher value to try."""
    mix, cover, start = settled_mix(scenario.mix), scenario.cover, scenario.start
    out = {
        "mix.fast_rate": tuple(f"{mix.fast_rate * factor!r} 1/s" for factor in (1.0 / FACTOR, FACTOR)),
        "mix.permeability": tuple(f"{mix.permeability * factor!r} m2" for factor in (1.0 / FACTOR, FACTOR)),
        "start.temperature": tuple(f"{start.temperature + change!r} K" for change in (-SPAN, SPAN)),
        "ground.deep_temperature": tuple(f"{scenario.ground.deep_temperature + change!r} K" for change in (-SPAN, SPAN)),
    }
    if cover.thickness > 0.0:
        out["cover.permeability"] = tuple(f"{cover.permeability * factor!r} m2" for factor in (1.0 / FACTOR, FACTOR))
    if start.ice > 0.0:
        out["start.ice"] = (repr(start.ice / FACTOR), repr(min(start.ice * FACTOR, 1.0)))
    return {key: (values[0], values[1]) for key, values in out.items()}


def decide(scenario: Scenario, workers: int | None, progress: Callable[[float], None] | None) -> list[Decider]:
    """Each unknown lower and higher, the others as they are.

    Raises
    ------
    ScenarioError
        If the scenario is impossible.
    """
    out, tried = [], unknowns(scenario)
    for done, (key, texts) in enumerate(tried.items()):

        def report(share: float, done: int = done) -> None:
            if progress is not None:
                progress((done + share) / len(tried))

        low, high = rows(compare(scenario, {key: list(texts)}, workers, report))
        failed = verdict(low) == "fails", verdict(high) == "fails"
        out.append(Decider(key, texts, (float(low[COLD]), float(high[COLD])), failed))
    return out


def write_winter(weeks: Sequence[StartWeek], path: Path) -> None:
    """The table as CSV, one row for each start week and design."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(_COLUMNS)
        for w in weeks:
            numbers = (w.chance, w.days_50, w.days_95, w.cold_mean, w.cold_worst, w.frozen)
            writer.writerow([f"{w.month_day[0]:02d}-{w.month_day[1]:02d}", w.width, w.cover, w.years, w.failed, w.undecided,
                             *("" if math.isnan(value) else f"{value:.4g}" for value in numbers)])
