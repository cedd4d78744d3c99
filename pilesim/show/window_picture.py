"""The window of cover leakance: too tight starves the core, too leaky leaves the edges cold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from pilesim.show import page, style
from pilesim.show.risk_table import Risks, acceptable_shares, best_leakance

COVER_DIMS = ("cover_permeability", "cover_thickness")
COLD_LOOK: dict[str, Any] = {"color": style.COLD, "linestyle": "-", "marker": "s", "markersize": 4.5, "linewidth": 1.8}
STARVED_LOOK: dict[str, Any] = {
    "color": style.STARVED,
    "linestyle": (0, (4, 1.5)),
    "marker": "o",
    "markersize": 5,
    "linewidth": 1.8,
}
BAND = "#e9ece6"


@dataclass(frozen=True, slots=True)
class Window:
    """Designs that differ in cover leakance only: arrays in ascending leakance [m], shares in percent.

    titles : one line per other key
    bare_cold, bare_starved : risks of the design without a cover, NaN if it was not run
    """

    titles: tuple[str, ...]
    leakance: np.ndarray
    cold: np.ndarray
    starved: np.ndarray
    cold_error: np.ndarray
    starved_error: np.ndarray
    bare_cold: float
    bare_starved: float
    failed: int


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
        window = _window(risks, tuple(risks.keys[k].value_text(at) for k, at in fixed.items()), where)
        if np.isfinite(window.leakance).sum() >= 2:
            windows.append(window)
    return windows


def _window(risks: Risks, titles: tuple[str, ...], where: tuple[Any, ...]) -> Window:
    covered = ~np.isinf(risks.leakance[where])
    # the design without a cover may lie on another line of the table (thickness 0, any permeability)
    any_cover = tuple(slice(None) if key.dim in COVER_DIMS else at for key, at in zip(risks.keys, where, strict=True))
    bare = np.isinf(risks.leakance[any_cover])

    def bare_risk(values: np.ndarray) -> float:
        return float(values[any_cover][bare][0]) if bare.any() else np.nan

    return Window(
        titles=titles,
        leakance=risks.leakance[where][covered],
        cold=risks.cold[where][covered],
        starved=risks.starved[where][covered],
        cold_error=risks.cold_error[where][covered],
        starved_error=risks.starved_error[where][covered],
        bare_cold=bare_risk(risks.cold),
        bare_starved=bare_risk(risks.starved),
        failed=int(risks.failed[where].sum()),
    )


def draw_risks(
    axes: Axes, place: np.ndarray, cold: tuple[np.ndarray, np.ndarray], starved: tuple[np.ndarray, np.ndarray]
) -> None:
    """Both curves with error bars over `place`, on a 0 to 100 % axis with the acceptable band.

    `cold` and `starved` are (share, error), in percent.
    """
    for share in acceptable_shares():
        axes.axhspan(0, share, color=BAND, zorder=0, linewidth=0)
    for (values, errors), look in ((cold, COLD_LOOK), (starved, STARVED_LOOK)):
        axes.errorbar(place, values, yerr=errors, capsize=2.5, elinewidth=0.9, **look)
    axes.set_ylim(-3, 113)
    axes.set_yticks(range(0, 101, 20))
    axes.set_ylabel("share of the mix [%]")


def draw_window(axes: Axes, window: Window, day_14: bool) -> None:
    """Both risks over leakance on a log axis, the best one marked, the uncovered design at its own tick."""
    axes.set_xscale("log")
    low, high = np.nanmin(window.leakance), np.nanmax(window.leakance)
    margin = max(0.13 * np.log10(high / low), 0.12)
    bare = np.isfinite(window.bare_cold) or np.isfinite(window.bare_starved)
    at_bare = float(high * 10 ** (2.5 * margin))
    axes.set_xlim(low * 10**-margin, (at_bare if bare else high) * 10 ** (1.3 * margin))
    draw_risks(axes, window.leakance, (window.cold, window.cold_error), (window.starved, window.starved_error))
    if bare:
        axes.axvline(high * 10 ** (1.2 * margin), color=style.FAINT, linewidth=0.8, linestyle=(0, (1, 2)))
        axes.plot([at_bare], [window.bare_cold], **(COLD_LOOK | {"markerfacecolor": "white"}))
        axes.plot([at_bare], [window.bare_starved], **(STARVED_LOOK | {"markerfacecolor": "white"}))
    _ticks(axes, low, high, at_bare if bare else None)
    failed = f" ({window.failed} failed)" if window.failed else ""
    text, title = _mark_best(axes, window, day_14), "\n".join(window.titles)
    page.note(axes, text if title else text + failed, 4)
    page.note(axes, title + failed if title else "", 16, size=8.5, bold=True)
    axes.set_xlabel("cover leakance [m]")


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


def _mark_best(axes: Axes, window: Window, day_14: bool) -> str:
    """Line at the best leakance with tinted, named sides; returns it in words."""
    best, risk, at_edge = best_leakance(window.leakance, window.cold, window.starved)
    if not day_14:
        return "no best: day 14 was not reached"
    if not np.isfinite(best):
        return "no best: no design has both shares"
    bare = max(window.bare_cold, window.bare_starved)
    if bare < risk:
        return f"no cover is best: worse share {bare:.0f} %"
    axes.axvline(best, color=style.INK, linewidth=1.4, zorder=1.5, gid="best leakance")
    text = f"{style.number_text(float(f'{best:.2g}'))} m: worse share {risk:.0f} %"
    if at_edge:
        return f"at the edge: {text}"
    left, right = axes.get_xlim()
    share = np.log(best / left) / np.log(right / left)
    for start, end, colour, words, room in (
        (left, best, style.STARVED, "too tight", share),
        (best, right, style.COLD, "too leaky", 1.0 - share),
    ):
        axes.axvspan(start, end, color=colour, alpha=0.07, linewidth=0, zorder=0.5)
        if room > 0.22:
            x, side = (0.02, "left") if start == left else (0.98, "right")
            name = axes.text(x, 0.985, words, transform=axes.transAxes, color=colour, fontsize=7.5)
            name.set(va="top", ha=side, fontstyle="italic")
    return f"best {text}"
