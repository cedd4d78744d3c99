"""The window of cover leakance: too tight starves the core, too leaky leaves the edges cold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from pilesim.show import page, style
from pilesim.show.risk_table import UNKNOWN, acceptable_shares
from pilesim.show.window import Window, acceptable_words, leakance_text, share_text

COLD_LOOK: dict[str, Any] = {"color": style.COLD, "linestyle": "-", "marker": "s", "markersize": 4.5, "linewidth": 1.8}
STARVED_LOOK: dict[str, Any] = {
    "color": style.STARVED,
    "linestyle": (0, (4, 1.5)),
    "marker": "o",
    "markersize": 5,
    "linewidth": 1.8,
}
BAND = "#e9ece6"
_FLOOR, _BAR = -21.0, (-8.5, -2.5)  # [%] lower end of a window, and the bar of the acceptable range under the curves


def draw_risks(
    axes: Axes, place: np.ndarray, cold: tuple[np.ndarray, np.ndarray], starved: tuple[np.ndarray, np.ndarray]
) -> None:
    """Both curves with error bars over `place`, on a 0 to 100 % axis with the acceptable band.

    `cold` and `starved` are (share, error), in percent.
    """
    for share in acceptable_shares():
        axes.axhspan(0, share, color=BAND, zorder=0, linewidth=0)
    for (values, errors), look in ((cold, COLD_LOOK), (starved, STARVED_LOOK)):
        within = np.array([np.minimum(errors, values), np.minimum(errors, 100.0 - values)])  # a share is 0 to 100 %
        unknown = np.flatnonzero((errors >= UNKNOWN) & np.isfinite(values))
        within[:, unknown] = 0.0
        for k in unknown:
            axes.annotate("±?", (place[k], values[k]), (4, 4), textcoords="offset points", fontsize=7.5, color=look["color"])
        axes.errorbar(place, values, yerr=np.clip(within, 0.0, None), capsize=2.5, elinewidth=0.9, **look)
    axes.set_ylim(-3, 113)
    axes.set_yticks(range(0, 101, 20))
    axes.set_ylabel("share of the mix [%]")


def draw_window(axes: Axes, window: Window, covers: Sequence[tuple[float, str]], joiner: str = "\n") -> None:
    """Both risks over leakance on a log axis; the best one, the acceptable range and common covers marked.

    `covers` holds (leakance, letter). The uncovered design stands at a tick of its own.
    """
    axes.set_xscale("log")
    low, high = np.nanmin(window.leakance), np.nanmax(window.leakance)
    margin = max(0.13 * np.log10(high / low), 0.12)
    bare = np.isfinite(window.bare_cold) or np.isfinite(window.bare_starved)
    at_bare = float(high * 10 ** (2.5 * margin))
    axes.set_xlim(low * 10**-margin, (at_bare if bare else high) * 10 ** (1.3 * margin))
    draw_risks(axes, window.leakance, (window.cold, window.cold_error), (window.starved, window.starved_error))
    axes.set_ylim(_FLOOR, 113)
    axes.axhline(0.0, color=style.FAINT, linewidth=0.6, zorder=0.8)
    if bare:
        axes.axvline(high * 10 ** (1.2 * margin), color=style.FAINT, linewidth=0.8, linestyle=(0, (1, 2)))
        axes.plot([at_bare], [window.bare_cold], **(COLD_LOOK | {"markerfacecolor": "white"}))
        axes.plot([at_bare], [window.bare_starved], **(STARVED_LOOK | {"markerfacecolor": "white"}))
    _ticks(axes, low, high, at_bare if bare else None)
    _mark_acceptable(axes, window)
    _mark_covers(axes, covers, float(high * 10 ** (1.15 * margin)) if bare else np.inf)
    failed = f" ({window.failed} failed)" if window.failed else ""
    best, title = _mark_best(axes, window), joiner.join(window.titles)
    words = acceptable_words(window)
    page.note(axes, words, 4)
    page.note(axes, best if title else best + failed, 15)
    page.note(axes, title + failed if title else "", 27, size=8.5, bold=True)
    axes.set_xlabel("cover leakance [m]")


def _mark_acceptable(axes: Axes, window: Window) -> None:
    """A bar along the axis over the acceptable range, dark where it also holds with the numerical errors added."""
    for with_errors, colour, gid in (
        (False, style.ACCEPTABLE_PALE, "acceptable range"),
        (True, style.ACCEPTABLE, "acceptable with errors"),
    ):
        for stretch in window.acceptable(with_errors):
            if stretch.low < stretch.high:
                axes.fill_between([stretch.low, stretch.high], *_BAR, color=colour, linewidth=0, zorder=2, gid=gid)
            else:
                axes.plot([stretch.low], [sum(_BAR) / 2], "|", color=colour, markersize=6, zorder=2, gid=gid)


def _mark_covers(axes: Axes, covers: Sequence[tuple[float, str]], end: float) -> None:
    """The letter of each common cover at its leakance, with a tick that points at the axis."""
    low, high = axes.get_xlim()
    for leakance, letter in covers:
        if low < leakance < min(high, end):
            name = axes.text(leakance, _FLOOR + 4.0, letter, fontsize=7.5, fontweight="bold", color=style.INK)
            name.set(ha="center", va="bottom", gid="common cover", zorder=3)
            axes.plot([leakance, leakance], [_FLOOR, _FLOOR + 4.0], color=style.INK, linewidth=1.2, zorder=3)


def window_handles() -> list[Line2D]:
    """What the marks of a window mean, for a legend."""
    bar: dict[str, Any] = {"linewidth": 5.0, "solid_capstyle": "butt"}
    cold, starved = acceptable_shares()
    limit = f"both shares {cold:.0f} % or less" if cold == starved else f"cold {cold:.0f}, starved {starved:.0f} % or less"
    return [
        Line2D([], [], color=style.INK, linewidth=1.4, label="best: the worse of both shares is smallest"),
        Line2D([], [], color=style.ACCEPTABLE_PALE, **bar, label=f"acceptable: {limit}"),
        Line2D([], [], color=style.ACCEPTABLE, **bar, label="acceptable with the numerical errors added"),
    ]


def _ticks(axes: Axes, low: float, high: float, at_bare: float | None) -> None:
    """Labelled ticks at 1, 2, 5 (or coarser), at most four, and the one without a cover."""
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    ticks: list[float] = []
    for steps in ((1, 2, 5), (1, 3), (1,)):
        ticks = [m * 10.0**e for e in decades for m in steps if 0.99 * low <= m * 10.0**e <= 1.01 * high]
        if len(ticks) <= 4:
            break
    ticks = ticks or ([float(low), float(high)] if high > 2 * low else [float(low)])
    labels = [style.number_text(tick) for tick in ticks]
    if at_bare is not None:
        ticks, labels = [*ticks, at_bare], [*labels, "no cover"]
    axes.set_xticks(ticks, labels)
    axes.set_xticks([], minor=True)


def _mark_best(axes: Axes, window: Window) -> str:
    """Line at the best leakance; named tints on both sides of the acceptable range, or of the best; best in words."""
    best, _, at_edge = window.best
    if not window.day_14:
        return "no best: day 14 was not reached"
    if not np.isfinite(best):
        return "no best: no design has both shares"
    if window.bare_is_best:
        return f"no cover is best: worse share {share_text(max(window.bare_cold, window.bare_starved))}"
    axes.axvline(best, color=style.INK, linewidth=1.4, zorder=1.5, gid="best leakance")
    text = f"{leakance_text(best)}: worse share {window.best_risk_text}"
    ranges = window.acceptable()
    left, right = axes.get_xlim()
    sides = []
    if not (ranges[0].low_open if ranges else at_edge):
        sides.append((left, ranges[0].low if ranges else best, style.STARVED, "too tight"))
    if not (ranges[-1].high_open if ranges else at_edge):
        sides.append((ranges[-1].high if ranges else best, right, style.COLD, "too leaky"))
    for start, end, colour, words in sides:
        axes.axvspan(start, end, color=colour, alpha=0.07, linewidth=0, zorder=0.5)
        if np.log(end / start) / np.log(right / left) > 0.22:
            x, side = (0.02, "left") if start == left else (0.98, "right")
            name = axes.text(x, 0.985, words, transform=axes.transAxes, color=colour, fontsize=7.5)
            name.set(va="top", ha=side, fontstyle="italic")
    return f"at the edge: {text}" if at_edge else f"best {text}"
