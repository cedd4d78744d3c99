"""The window of cover leakance in words: one window per climate or pile, common covers, and which way it moves."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.units import to_display, to_si
from pilesim.inputs.scenario import load
from pilesim.show import style
from pilesim.show.risk_table import Risks, VariedKey, acceptable_shares, read_risks
from pilesim.study.window import LeakanceRange, acceptable_ranges, best_leakance, risk_span, shown_direction, span_of_best

COVER_DIMS = ("cover_permeability", "cover_thickness")
_SAME_PLACE = 0.06  # decades: common covers nearer than this share one mark
_MOVERS = {  # key of the climate: sense in which it is told, and the words
    "weather_air_temperature": (-1, "With colder air"),
    "site_elevation": (1, "With altitude"),
}


@dataclass(frozen=True, slots=True)
class Window:
    """Designs that differ in cover leakance only: arrays in ascending leakance [m], shares in percent.

    at : index of the value of each other key
    titles : one line per other key
    bare_cold, bare_starved : risks of the design without a cover, NaN if it was not run
    day_14 : False if no design reached day 14: nothing is judged then
    """

    at: tuple[int, ...]
    titles: tuple[str, ...]
    leakance: np.ndarray
    cold: np.ndarray
    starved: np.ndarray
    cold_error: np.ndarray
    starved_error: np.ndarray
    bare_cold: float
    bare_starved: float
    failed: int
    day_14: bool

    @property
    def best(self) -> tuple[float, float, bool]:
        """Best leakance [m], its worse share [%], whether designs not run may be better."""
        return best_leakance(self.leakance, self.cold, self.starved)

    @property
    def best_risk_text(self) -> str:
        """The worse share of the best leakance with the stretch its errors allow: ``10.4 % (8 to 13)``."""
        low, high = risk_span(self.leakance, self.cold, self.starved, self.cold_error, self.starved_error)
        return f"{share_text(self.best[1])} ({low:.0f} to {high:.0f})"

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest best leakance [m] that the errors allow."""
        return span_of_best(self.leakance, self.cold, self.starved, self.cold_error, self.starved_error)

    @property
    def bare_is_best(self) -> bool:
        """Whether the design without a cover beats every covered one."""
        return bool(max(self.bare_cold, self.bare_starved) < self.best[1])

    def acceptable(self, with_errors: bool = False) -> list[LeakanceRange]:
        """Where both shares are acceptable, also with their numerical errors added if asked."""
        if not self.day_14:
            return []
        more = 1.0 if with_errors else 0.0
        cold, starved = self.cold + more * self.cold_error, self.starved + more * self.starved_error
        return acceptable_ranges(self.leakance, cold, starved, acceptable_shares())


# ------------------------------------------------------------------------------------------------- reading
def other_keys(risks: Risks) -> tuple[VariedKey, ...]:
    """The varied keys that the windows stand beside each other for."""
    along = next((key.dim for dim in COVER_DIMS for key in risks.keys if key.dim == dim), None)
    return tuple(key for key in risks.keys if key.dim != along)


def cover_windows(risks: Risks) -> list[Window]:
    """One window per combination of the other keys; none if the cover's leakance does not vary.

    With permeability and thickness both varied there is one window a thickness: thickness also insulates.
    """
    dims = [key.dim for key in risks.keys]
    varied = [dim for dim in COVER_DIMS if dim in dims]
    if not varied:
        return []
    along = dims.index(varied[0])
    numbers = risks.keys[along].numbers
    if numbers is None:
        return []
    order = np.argsort(numbers if varied[0] == "cover_permeability" else -numbers)
    others = [k for k in range(len(dims)) if k != along]
    windows = []
    for index in np.ndindex(*(len(risks.keys[k].texts) for k in others)):
        fixed = dict(zip(others, index, strict=True))
        where = tuple(order if k == along else fixed[k] for k in range(len(dims)))
        window = _window(risks, index, tuple(risks.keys[k].value_text(at) for k, at in fixed.items()), where)
        if np.isfinite(window.leakance).sum() >= 2:
            windows.append(window)
    return windows


def _window(risks: Risks, at: tuple[int, ...], titles: tuple[str, ...], where: tuple[Any, ...]) -> Window:
    covered = ~np.isinf(risks.leakance[where])
    # the design without a cover may lie on another line of the table (thickness 0, any permeability)
    any_cover = tuple(slice(None) if key.dim in COVER_DIMS else k for key, k in zip(risks.keys, where, strict=True))
    bare = np.isinf(risks.leakance[any_cover])

    def bare_risk(values: np.ndarray) -> float:
        return float(values[any_cover][bare][0]) if bare.any() else np.nan

    return Window(
        at=at,
        titles=titles,
        leakance=risks.leakance[where][covered],
        cold=risks.cold[where][covered],
        starved=risks.starved[where][covered],
        cold_error=risks.cold_error[where][covered],
        starved_error=risks.starved_error[where][covered],
        bare_cold=bare_risk(risks.cold),
        bare_starved=bare_risk(risks.starved),
        failed=int(risks.failed[where].sum()),
        day_14=risks.day_14,
    )


# ------------------------------------------------------------------------------------------------- common covers
def scenario_cover(attrs: Mapping[Any, Any]) -> tuple[float, float]:
    """Permeability [m2] and thickness [m] of the cover that all designs share unless they vary it."""
    try:
        given = tomllib.loads(str(attrs.get("scenario", ""))).get("cover", {})
        return tuple(  # type: ignore[return-value]
            to_si(given[key], unit, f"cover.{key}") if key in given else CONSTANTS[f"cover_{key}"].value
            for key, unit in (("permeability", "m2"), ("thickness", "m"))
        )
    except (tomllib.TOMLDecodeError, ScenarioError):
        return CONSTANTS["cover_permeability"].value, CONSTANTS["cover_thickness"].value


def common_covers(attrs: Mapping[Any, Any]) -> list[tuple[float, str]]:
    """In-place permeability [m2] and name of well-known covers, ascending; near ones share an entry."""
    named = [
        (scenario_cover(attrs)[0], "this scenario's"),
        (CONSTANTS["cover_permeability"].value, "the default"),
        (load("reference_ordinary_pair").cover.permeability, "the ordinary pair's"),
        (CONSTANTS["dry_compost_permeability"].value, "dry compost in the literature"),
        (CONSTANTS["loose_chip_permeability"].value, "loose chips"),
    ]
    covers: list[tuple[float, str]] = []
    for permeability, name in sorted(named, key=lambda cover: cover[0]):
        if covers and np.log10(permeability / covers[-1][0]) < _SAME_PLACE:
            covers[-1] = covers[-1][0], f"{covers[-1][1]} and {name}"
        else:
            covers.append((permeability, name))
    return covers


# ------------------------------------------------------------------------------------------------- words
def leakance_text(value: float) -> str:
    """Two significant digits and the unit: 3.4×10⁻⁹ m."""
    return f"{style.number_text(float(f'{value:.2g}'))} m"


def span_text(span: tuple[float, float], text: Callable[[float], str]) -> str:
    """``1e-09 m to 2e-09 m``, open where the best design is the last one run; "not known" where it cannot be told."""
    low, high = span
    if math.isnan(low) or (low == 0.0 and math.isinf(high)):
        return "not known"
    if low == 0.0 or math.isinf(high):
        return f"{text(high)} or less" if low == 0.0 else f"{text(low)} or more"
    return f"{text(low)} to {text(high)}"


def share_text(share: float) -> str:
    """A share [%] without decimals, unless rounding would hide that it is above the acceptable one."""
    hidden = any(share > limit >= round(share) for limit in acceptable_shares())
    return f"{math.ceil(10.0 * share) / 10.0:.1f} %" if hidden else f"{share:.0f} %"


def range_text(ranges: Sequence[LeakanceRange], text: Callable[[float], str] = leakance_text) -> str:
    """``1×10⁻⁹ m to 4×10⁻⁹ m``, with "or less" or "or more" where the designs end inside the range; "" if empty."""
    parts = []
    for one in ranges:
        low = text(one.low) + (" or less" if one.low_open else "")
        high = text(one.high) + (" or more" if one.high_open else "")
        parts.append(f"{low} to {high}" if one.low < one.high else text(one.low))
    return " and ".join(parts)


def acceptable_words(window: Window, text: Callable[[float], str] = leakance_text) -> str:
    """``acceptable from ... to ...``, or that none is and which comes nearest; nothing if it cannot be judged."""
    if not window.day_14 or not np.isfinite(window.best[0]):
        return ""
    ranges = window.acceptable()
    cold, starved = acceptable_shares()
    bare = window.bare_cold <= cold and window.bare_starved <= starved
    if ranges:
        single = len(ranges) == 1 and ranges[0].low == ranges[0].high
        return f"acceptable {'at' if single else 'from'} {range_text(ranges, text)}{', or no cover' if bare else ''}"
    if bare:
        return "only no cover is acceptable"
    nearest = best_leakance(window.leakance, window.cold - cold, window.starved - starved)[0]
    return f"none of these is acceptable; nearest {text(nearest)}"


def movement_words(risks: Risks, windows: Sequence[Window]) -> list[str]:
    """Which way the best leakance moves with cold and with altitude, if these designs show it; one sentence a key."""
    others = other_keys(risks)
    by_place = {window.at: window for window in windows}
    sentences = []
    for k, key in enumerate(others):
        if key.dim not in _MOVERS or key.numbers is None or len(key.numbers) < 2 or not risks.day_14:
            continue
        sense, opening = _MOVERS[key.dim]
        ends = np.argsort(sense * key.numbers)[[0, -1]]
        lines = {at[:k] + at[k + 1 :] for at in by_place}
        pairs = [[by_place.get((*rest[:k], int(end), *rest[k:])) for end in ends] for rest in lines]
        sentences.append(_movement(opening, key, (int(ends[0]), int(ends[1])), pairs))
    return sentences


def _movement(opening: str, key: VariedKey, ends: tuple[int, int], pairs: list[list[Window | None]]) -> str:
    from_to = f"from {key.texts[ends[0]]} to {key.texts[ends[1]]} {key.unit}".strip()
    directions, factors, bounds = set(), [], False
    for pair in pairs:
        if any(window is None or window.bare_is_best for window in pair):
            directions.add(0)
            continue
        spans = [span_of_best(w.leakance, w.cold, w.starved, w.cold_error, w.starved_error) for w in pair if w]
        directions.add(shown_direction(spans[0], spans[1]))
        best = [window.best[0] for window in pair if window]
        factors.append(max(best) / min(best))
        bounds |= not np.isfinite(spans).all() or 0.0 in np.ravel(spans)
    if directions not in ({1}, {-1}):
        return f"{opening} ({from_to}) these designs do not show which way the best leakance moves."
    low, high = (f"{edge:.2g}" for edge in (min(factors), max(factors)))
    factor = f"{'at least ' if bounds else ''}{low}" + (f" to {high}" if low != high else "")
    word = "rises" if directions == {1} else "falls"
    return f"{opening} ({from_to}) the best leakance {word} by a factor of {factor}."


# ------------------------------------------------------------------------------------------------- screen
def window_cells(table: xr.Dataset, system: str) -> tuple[list[str], list[list[str]], list[str]]:
    """For the screen: heads, one row of cells per window, and closing sentences; no rows if there is no window."""
    risks = read_risks(table, system)
    windows = cover_windows(risks)

    def text(value: float) -> str:
        number, unit = to_display(value, "m", system)
        return f"{number:.2g} {unit}"

    keys = other_keys(risks)
    vary = {name.replace(".", "_"): (name, texts) for name, texts in json.loads(table.attrs["vary"]).items()}
    heads = [vary[key.dim][0] for key in keys]
    rows = []
    for window in windows:
        best, _, at_edge = window.best
        found, worse = text(best) + (" (at the edge)" if at_edge else ""), window.best_risk_text
        span = span_text(window.span, text)
        if window.bare_is_best:
            found, span, worse = "no cover", "-", share_text(max(window.bare_cold, window.bare_starved))
        ranges = [range_text(window.acceptable(with_errors), text) or "none" for with_errors in (False, True)]
        judged = [found, span, worse, *ranges] if risks.day_14 and np.isfinite(best) else ["-"] * 5
        rows.append([*(vary[key.dim][1][k] for key, k in zip(keys, window.at, strict=True)), *judged])
    heads += ["best\nleakance", "within the\nerrors", "its worse\nshare", "acceptable", "acceptable with\nthe errors added"]
    sentences = movement_words(risks, windows) if windows else []
    return heads, rows, [sentence.replace("−", "-").replace("°", "deg") for sentence in sentences]
