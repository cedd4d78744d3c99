"""One look for all pictures: colours, line styles, and the units written on axes.

The four colour ramps climb or fall evenly in lightness (CIE L*), so that they read in grey and with any
colour vision: temperature from night blue to straw, oxygen from brown (starved) to pale cyan (fresh), and a
blue and a brown one for the two risks, cold edges and starved core. Categories differ in dash pattern too.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib.style
import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patheffects import AbstractPathEffect, withStroke

from pilesim.base.units import check_unit_system, from_si

INK, FAINT, GROUND_FILL, WARNING = "#20242b", "#7c838c", "#d9d2c5", "#8c1c13"
COLD, STARVED = "#255092", "#b96c38"
ACCEPTABLE, ACCEPTABLE_PALE = "#2f6b3a", "#a9cfa6"


def _ramp(name: str, colours: str) -> LinearSegmentedColormap:
    return LinearSegmentedColormap.from_list(name, [f"#{colour}" for colour in colours.split()])


TEMPERATURE_MAP = _ramp(
    "pilesim_temperature", "1e2355 372b6f 583182 7f3487 ab3574 c9435c de574f ef6d45 fb8641 fea255 ffbc6c ffd684 feef97"
)
OXYGEN_MAP = _ramp(
    "pilesim_oxygen", "421e11 56272d 66344d 6e456f 6f598f 6c6ea9 6683be 6099ce 60afd9 6bc3e0 80d6e7 a0e7ed c6f7f6"
)
COLD_MAP = _ramp("pilesim_cold", "eff8fd d1e8f7 b6d7f0 9cc7e9 85b6e0 6fa5d7 5a93cd 4982c2 3b71b4 3060a3 255092 1c4180 13326d")
STARVED_MAP = _ramp(
    "pilesim_starved", "fcf6ec f6e2c6 f0cda3 e9b985 dfa56c d39259 c67f47 b96c38 a95b29 974b1c 843c12 70300b 5b2406"
)
GREY_MAP = _ramp("pilesim_grey", "f7f7f7 c1c1c1 8f8f8f 606060 363636")

_RAISED = (("m2", "m²"), ("m3", "m³"), ("ft2", "ft²"), ("yd3", "yd³"), (" degC", " °C"), (" degF", " °F"))
_POWER = re.compile(r"\b\d(?:\.\d+)?e[-+]?\d+\b")
HATCH: dict[str, Any] = {"facecolor": "#f4f4f4", "edgecolor": FAINT, "hatch": "////", "linewidth": 0.0}
_RC = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 9.5,
    "axes.labelsize": 9.0,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "legend.fontsize": 8.0,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "hatch.linewidth": 0.6,
    "hatch.color": FAINT,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "legend.frameon": False,
    "savefig.facecolor": "white",
    "figure.facecolor": "white",
}
_SHOWN = {  # unit of the Dataset -> (metric unit, its label, US unit, its label)
    "degC": ("degC", "°C", "degF", "°F"),
    "K": ("degC", "°C", "degF", "°F"),
    "m": ("m", "m", "ft", "ft"),
    "m2": ("m2", "m²", "m2", "m²"),
    "m-1": ("m-1", "1/m", "ft-1", "1/ft"),
    "percent": ("percent", "%", "percent", "%"),
    "1": ("percent", "%", "percent", "%"),
    "rad": ("degree", "°", "degree", "°"),
    "s": ("day", "d", "day", "d"),
    "s-1": ("day-1", "1/d", "day-1", "1/d"),
    "m s-1": ("mm s-1", "mm/s", "ft min-1", "ft/min"),
    "kg m-3": ("kg m-3", "kg/m³", "lb yd-3", "lb/yd³"),
    "kg s-1 m-1": ("kg h-1 m-1", "kg/h per m", "lb h-1 ft-1", "lb/h per ft"),
    "W m-1": ("W m-1", "W per m", "Btu h-1 ft-1", "Btu/h per ft"),
    "kg s-1": ("kg h-1", "kg/h", "lb h-1", "lb/h"),
    "W": ("W", "W", "Btu h-1", "Btu/h"),
    "kg": ("kg", "kg", "lb", "lb"),
    "kg m-1": ("kg m-1", "kg per m", "lb ft-1", "lb per ft"),
}
_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


@dataclass(frozen=True, slots=True)
class LineStyle:
    """Colour, dash pattern and width [points] of one category."""

    colour: str
    dash: str | tuple[int, tuple[float, ...]] = "-"
    width: float = 1.6


ZONE_STYLES = {
    "crest": LineStyle("#d1495b"),
    "core": LineStyle("#6b1230", width=2.2),
    "flank": LineStyle("#e08a2e", (0, (6, 1.5))),
    "floor": LineStyle("#4f7fb0", (0, (4, 1.5, 1, 1.5))),
    "toe": LineStyle("#12305a", (0, (2, 1))),
}
RULE_STYLE = LineStyle(INK, (0, (1, 1.2)), 1.1)


@contextmanager
def picture_style() -> Iterator[None]:
    """Draw in the project's style whatever matplotlibrc says; the previous settings come back afterwards."""
    with matplotlib.style.context(["default", _RC], after_reset=True):
        yield


def shown(values: Any, unit: str, system: str = "metric") -> tuple[np.ndarray, str]:
    """Numbers as drawn and the unit to write on the axis.

    Parameters
    ----------
    values : array of any shape
        In `unit`; NaN passes through.
    unit : str
        As in the Dataset's attributes ("degC", "W m-1", "1"; "K" is a temperature); others are drawn as is.
    system : {"metric", "us"}

    Raises
    ------
    ScenarioError
        For an unknown system.
    """
    check_unit_system(system)
    numbers = np.asarray(values, dtype=float)
    if unit not in _SHOWN:
        return numbers, unit
    metric, metric_label, us, us_label = _SHOWN[unit]
    target, label = (metric, metric_label) if system == "metric" else (us, us_label)
    start, end = (from_si(float(x), unit, target) for x in (0, 1))  # every unit here is a linear scale
    return start + (end - start) * numbers, label


def number_text(value: float) -> str:
    """A number for a label, three significant digits: 0.2, 5×10⁻¹⁰, −20."""
    if not np.isfinite(value):
        return "∞" if value > 0 else "–"
    value = 0.0 if value == 0 else float(f"{value:.3g}")
    if value == 0 or 1e-2 <= abs(value) < 1e5:
        return f"{value:g}".replace("-", "−")
    mantissa, exponent = f"{value:.2e}".split("e")
    power = f"10{str(int(exponent)).translate(_SUPERSCRIPT)}"
    return power if float(mantissa) == 1 else f"{float(mantissa):g}×{power}".replace("-", "−")


def as_printed(text: str) -> str:
    """Units and powers of a sentence as in print: °C, m², 5×10⁻¹⁰. A command is left as it is typed."""
    if "--" in text:
        return text
    for plain, raised in _RAISED:
        text = text.replace(plain, raised)
    return _POWER.sub(lambda found: number_text(float(found[0])), text)


def casing(width: float, colour: str = "white") -> list[AbstractPathEffect]:
    """Path effect that keeps a line or a text readable on any colour."""
    return [withStroke(linewidth=width, foreground=colour)]


def dark(colour: Any) -> bool:
    """Whether white text reads better than dark text on an RGB(A) colour (weights: luma of ITU-R BT.601)."""
    return bool(np.asarray(colour)[:3] @ np.array([0.299, 0.587, 0.114]) < 0.55)
