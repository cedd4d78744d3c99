"""Estimates on the screen and in estimate.csv: values, what a run found, formulas with source and validity."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pilesim.base.errors import ScenarioError
from pilesim.base.units import format_number, format_value, to_display, to_si
from pilesim.estimate.against import Beside, alike
from pilesim.estimate.pile import Pile
from pilesim.estimate.rows import Estimate
from pilesim.estimate.words import GROUPS
from pilesim.inputs.records import FileWeather, MonthlyWeather
from pilesim.inputs.scenario import Scenario, from_text
from pilesim.show.screen import aligned
from pilesim.show.sheet_text import shown
from pilesim.show.values import estimate as with_error

if TYPE_CHECKING:
    import xarray as xr

ZERO, LOWEST, HIGHEST = 273.15, 274.15, 363.15  # K; a mix of the last still has dry gas in it up to 3 km
_LABELS = {"1": "", "kg kg-1": "kg/kg", "h-1": "per h", "percent": "%"}
_TABLES = ("site", "weather", "pile", "cover", "base_layer", "mix", "start", "ground", "laws")
_OWN_FORM = ("kg s-1", "kg s-1 m-1", "W", "W m-1", "W m-2 K-1")  # units with a shown form of their own
_OUT = "!"
_NONE = (math.nan, math.nan)


def value_text(value: float, unit: str, units: str, error: float = math.nan) -> tuple[str, str]:
    """Three digits of a value (or as many as its error allows), and its unit."""
    if math.isnan(value):
        return "-", ""
    if math.isinf(value):
        return "never", ""
    number, label = _converted(value, unit, units)
    if math.isfinite(error):
        return with_error(number, _converted(error, unit, units, True)[0]), label
    return format_number(float(f"{number:.3g}")), label


def _converted(value: float, unit: str, units: str, difference: bool = False) -> tuple[float, str]:
    if unit in _OWN_FORM:
        return shown(value, unit, units)
    if unit == "m s-1" and units == "metric":
        return 1e3 * value, "mm/s"
    number, label = to_display(value, unit, units, difference)
    return number, _LABELS.get(label, label)


def temperature_inside(given: str | None, scenario: Scenario) -> float:
    """Temperature of the mix [K]: as typed, or that of the scenario's rule.

    Raises
    ------
    ScenarioError
        If it is not a temperature between the freezing and the boiling of water.
    """
    if given is None:
        return scenario.limits.rule_temperature
    value = to_si(given, "K", "--inside")
    if not LOWEST <= value <= HIGHEST:
        raise ScenarioError("--inside", repr(given), f"{LOWEST - ZERO:g} degC to {HIGHEST - ZERO:g} degC")
    return value


def conditions(pile: Pile, temperature: float, units: str) -> str:
    """What the estimates hold for, in a sentence."""
    air = format_value(pile.air_temperature - ZERO, "degC", units)
    weather = pile.scenario.weather
    of = (" (mean of the month of building)" if isinstance(weather, MonthlyWeather)
          else " (mean of the file's hours during the run)" if isinstance(weather, FileWeather) else "")
    inside = format_value(temperature - ZERO, "degC", units)
    return f"Estimates, nothing simulated: air of {air}{of}, the whole mix at {inside}."


def heading(dataset: xr.Dataset, scenario: Scenario) -> list[str]:
    """What a run is of, and a warning where it is of another scenario than the estimates."""
    attrs = dataset.attrs
    lines = [f"The run: {attrs['title']}, pilesim {attrs['pilesim_version']}, value ±numerical error"]
    ran = from_text(str(attrs["scenario"]), str(attrs["scenario_name"]))
    differing = [table for table in _TABLES if getattr(ran, table) != getattr(scenario, table)]
    if differing:
        lines.append(f"It is of another scenario (other values under {', '.join(differing)}): the two need not agree.")
    return lines


def estimate_lines(found: Sequence[Estimate], temperature: str, run: Beside | None, units: str) -> list[list[str]]:
    """Blocks of lines: the table; what is outside its formula's validity; where run and estimate part; the formulas."""
    blocks = [_table(found, run, units)]
    outside = [one for one in found if one.outside]
    if outside:
        blocks.append([f"{_OUT} Outside the range of its formula, or not for this pile:"])
        reasons: dict[str, list[str]] = {}
        for one in outside:
            reasons.setdefault(one.outside, []).append(one.about.words)
        blocks[-1] += [f"- {', '.join(names)}: {why}." for why, names in reasons.items()]
    if run is not None:
        blocks.append(_partings(found, run, temperature, units))
    blocks.append([f"How each is computed, the whole mix at {temperature}:", *_formulas(found)])
    return blocks


def _table(found: Sequence[Estimate], run: Beside | None, units: str) -> list[str]:
    cells = [["", "estimate", "unit", "", *(["the run", "taken"] if run is not None else [])]]
    for one in found:
        text, label = value_text(one.value, one.unit, units)
        line = [f"  {one.about.words}", text, label, _OUT if one.outside else ""]
        if run is not None:
            own, error = run.values.get(one.name, _NONE)
            line += [value_text(own, one.unit, units, error)[0] if one.about.measured else "", one.about.measured]
        cells.append(line)
    head, *lines = aligned(cells)
    out, group = [head], ""
    for one, text in zip(found, lines, strict=True):
        out += [GROUPS[one.about.group]] if one.about.group != group else []
        out.append(text)
        group = one.about.group
    return out


def _partings(found: Sequence[Estimate], run: Beside, temperature: str, units: str) -> list[str]:
    mean = format_value(run.temperature, "degC", units)
    when = f"That day is day {run.day:.1f}, when the mean of the run's mix first is at {temperature}."
    if not run.reached:
        when = f"That day is day {run.day:.1f}: the mean of the run's mix never is at {temperature}; its highest is {mean}."
    close, apart = [], []
    for one in found:
        own = run.values.get(one.name, _NONE)[0]
        if not one.about.measured or math.isnan(own) or math.isnan(one.value):
            continue
        if alike(one.value, own):
            close.append(one.about.words)
            continue
        apart.append((one, own))
    lines = [when]
    if close:
        lines.append(f"Within a fifth of the run: {', '.join(close)}.")
    reasons: dict[str, list[str]] = {}
    for one, own in apart:
        reasons.setdefault(one.about.parts, []).append(f"{one.about.words} ({_ratio(one.value, own)})")
    if apart:
        lines.append("Where they part, and why:")
    lines += [f"- {', '.join(names)}: {why}" for why, names in reasons.items()]
    return lines


def _ratio(value: float, own: float) -> str:
    if math.isinf(own) or math.isinf(value):
        return "the run: never" if math.isinf(own) else "the estimate: never"
    if value <= 0.0 or own <= 0.0:
        return "one of the two is nought"
    return f"the run has {own / value:.2g} times as much"


def _formulas(found: Sequence[Estimate]) -> list[str]:
    return [f"- {one.about.words}: {one.about.formula}. Source: {one.about.source}. Holds for: {one.about.validity}."
            for one in found]


# ------------------------------------------------------------------------------------------------- estimate.csv
def estimate_csv(found: Sequence[Estimate], run: Beside | None) -> str:
    """All estimates as CSV: values in SI (days, per cent and degC where the unit says so), and the run's."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["name", "value", "unit", "within_validity", "why_not", "run", "run_error", "run_taken", "formula",
                     "source", "validity", "why_they_part"])
    for one in found:
        about = one.about
        own, error = run.values.get(one.name, _NONE) if run is not None and about.measured else _NONE
        writer.writerow([one.name, _number(one.value), one.unit, "no" if one.outside else "yes", one.outside, _number(own),
                         _number(error), about.measured if run is not None else "", about.formula, about.source,
                         about.validity, about.parts if run is not None else ""])
    return out.getvalue()


def _number(value: float) -> str:
    return "" if math.isnan(value) else repr(float(value))
