"""comparison.png: which designs leave cold edges and which starve in the core, in one picture."""

from __future__ import annotations

import textwrap

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from pilesim.show import page, style
from pilesim.show.matrix_picture import draw_matrices, matrices_height
from pilesim.show.risk_table import UNKNOWN, Risks, VariedKey, acceptable_shares, read_risks
from pilesim.show.values import value_with_error
from pilesim.show.window import cover_windows
from pilesim.show.window_block import Block, draw_block, draw_key, plan_block
from pilesim.show.window_picture import BAND, COLD_LOOK, STARVED_LOOK, draw_risks, draw_window
from pilesim.study.ties import order_of, rank_text, tied_with_best, ties

MOST_BARS, MOST_BARS_WITH_WINDOWS = 16, 8
_WIDTH, _LEFT, _RIGHT, _ABOVE, _FOOTER = 13.6, 0.75, 0.3, 0.66, 0.75  # [inches]
_CURVES = 4.0  # [inches]
_LONGEST_TIE = 215  # characters
_BAR, _BAR_HEAD, _BAR_FOOT = 0.31, 0.62, 0.82  # one design, key names above, axis and note below


def comparison_figure(table: xr.Dataset, units: str = "metric") -> Figure:
    """All designs in one picture: cold-edge share, anaerobic share on day 14, window of cover leakance.

    One varied key gives two curves, two keys three matrices (cold, starved, the worse of the two), more keys
    a list ranked by the worse share. Failed designs are hatched. Where the permeability or the thickness of
    the cover varies, the two-sided window is drawn too, with the leakance that minimises the larger share.

    Parameters
    ----------
    table : xarray.Dataset
        As returned by ``pilesim.compare``: one dim per varied key, measures as variables.
    units : {"metric", "us"}

    Raises
    ------
    ScenarioError
        For an unknown unit system.
    """
    risks = read_risks(table, units)
    windows = cover_windows(risks)
    block = plan_block(risks, windows, table.attrs, units, _WIDTH)
    many = len(risks.keys) not in (1, 2)
    with style.picture_style():
        designs = _designs_height(risks, block)
        extra = block.height if block and len(risks.keys) != 1 else 0.0
        figure = page.new_figure(_WIDTH, _ABOVE + designs + extra + _FOOTER)
        if len(risks.keys) == 1:
            _curves(figure, risks, _FOOTER, block)
        elif not many:
            draw_matrices(figure, risks, _FOOTER + extra)
        else:
            _ranked_bars(figure, risks, _FOOTER, designs, _most_bars(block))
        if block and len(risks.keys) != 1:  # with many keys the windows say more than the list, and stand first
            draw_block(figure, block, _FOOTER + (designs if many else 0.0))
        _head(figure, table, risks, units)
        _tie_line(figure, risks)
    return figure


def _tie_line(figure: Figure, risks: Risks) -> None:
    """One line: how many designs may be the best one, and how many neighbours in rank the errors do not tell apart."""
    stretches = risks.stretches()
    order = order_of(stretches)
    if len(order) < 2:
        return
    found, best = ties(stretches), tied_with_best(stretches)
    first = f"{len(best)} designs are tied for the smallest" if len(best) > 1 else "one design is best beyond the errors"
    pairs = "all neighbours in rank differ by more than their errors together"
    if found:
        index = list(np.ndindex(risks.cold.shape))
        names = [", ".join(key.value_text(at) for key, at in zip(risks.keys, index[k], strict=True))
                 for k in (found[0].first, found[0].second)]
        spread = value_with_error(found[0].difference, found[0].error) if found[0].error else "0"
        pairs = (f"{len(found)} of {len(order) - 1} pairs of neighbours in rank cannot be told apart by the grid: "
                 f"{names[0]} and {names[1]} differ by {spread} %" + (", and so on" if len(found) > 1 else ""))
    text = page.one_line(f"Worse share: {first}; {pairs}.", _LONGEST_TIE)
    figure.text(0.12 / _WIDTH, 0.62 / figure.get_figheight(), text, fontsize=8, va="bottom", parse_math=False, gid="ties")


def _most_bars(block: Block | None) -> int:
    return MOST_BARS_WITH_WINDOWS if block else MOST_BARS


def _designs_height(risks: Risks, block: Block | None) -> float:
    if len(risks.keys) == 1:
        return _CURVES + (0.3 + block.key_height if block else 0.0)
    if len(risks.keys) == 2:
        return matrices_height(risks, _WIDTH)
    return _BAR_HEAD + _BAR * min(risks.cold.size, _most_bars(block)) + _BAR_FOOT


def _head(figure: Figure, table: xr.Dataset, risks: Risks, units: str) -> None:
    name = table.attrs.get("title") or table.attrs.get("scenario_name") or "Pile"
    count = "1 design" if risks.cold.size == 1 else f"{risks.cold.size} designs"
    failed = f", {int(risks.failed.sum())} failed" if risks.failed.any() else ""
    title = f"{page.one_line(name, page.LONGEST_TITLE - 30)}: {count}{failed}"
    page.title_and_footer(figure, title, table.attrs, units, page.warning_line(table.attrs))
    cold, starved = acceptable_shares()
    word = "acceptable (ok)" if len(risks.keys) == 2 else "acceptable"
    limit = f"{cold:.0f} % or less" if cold == starved else f"cold {cold:.0f}, starved {starved:.0f} % or less"
    handles = [
        Line2D([], [], **COLD_LOOK, label=f"cold edges: mix that has not met {_rule(table, units)} by the end"),
        Line2D([], [], **STARVED_LOOK, label=f"starved: mix {risks.starved_words}"),
        Patch(facecolor=BAND, edgecolor=style.FAINT, linewidth=0.4, label=f"{word}: {limit}"),
        Patch(**style.HATCH, label="failed"),
    ]
    figure.legend(
        handles=handles if risks.failed.any() else handles[:3],
        loc="upper left",
        ncols=4,
        handlelength=3.4,
        bbox_to_anchor=(0.12 / _WIDTH, 1 - 0.38 / figure.get_figheight()),
        borderaxespad=0.0,
        columnspacing=1.8,
    )


def _rule(table: xr.Dataset, units: str) -> str:
    """The rule in words, if the table states it."""
    try:
        level, days = (float(table.attrs[name]) for name in ("rule_temperature_degC", "rule_duration_days"))
    except KeyError:
        return "the rule"
    shown, unit = style.shown(level, "degC", units)
    return f"{style.number_text(float(shown))} {unit} for {style.number_text(days)} days"


# ---------------------------------------------------------------------------------- one key
def _curves(figure: Figure, risks: Risks, bottom: float, block: Block | None) -> None:
    """Both shares against the one varied key, failed designs as hatched bands; the window beside, its key below."""
    key = risks.keys[0]
    width = _WIDTH - _LEFT - _RIGHT if not block else 0.5 * (_WIDTH - _LEFT - _RIGHT - 0.8)
    if block:
        draw_key(figure, block, bottom + block.key_height)
        bottom += block.key_height
    axes = page.place_axes(figure, _LEFT, bottom + 0.55, width, _CURVES - 1.0)
    place, order, fraction = _places(axes, key, width)
    draw_risks(
        axes, place[order], (risks.cold[order], risks.cold_error[order]), (risks.starved[order], risks.starved_error[order])
    )
    for k in np.flatnonzero(risks.failed):
        half = 0.12 / width
        axes.add_patch(Rectangle((fraction[k] - half, 0), 2 * half, 1, transform=axes.transAxes, zorder=0.5, **style.HATCH))
        axes.text(
            fraction[k],
            0.5,
            "failed",
            transform=axes.transAxes,
            rotation=90,
            ha="center",
            va="center",
            fontsize=8,
            path_effects=style.casing(3.0),
            zorder=3,
        )
    axes.set_xlabel(key.label)
    axes.set_title(f"Designs that differ in {key.words}", fontweight="bold", fontsize=9)
    if block:
        beside = page.place_axes(figure, _LEFT + width + 0.8, bottom + 0.55, width, _CURVES - 1.0)
        draw_window(beside, block.windows[0], block.marks[0])
        page.note(beside, "Window of cover leakance (permeability over thickness)", 27, size=9, bold=True)


def _places(axes: Axes, key: VariedKey, width: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Positions of the values, their order, and the positions as a fraction of the axis.

    The axis is logarithmic when the values span more than 20 times; words and dates stand evenly spaced.
    """
    numbers = key.numbers if key.numbers is not None else np.arange(float(len(key.texts)))
    order = np.argsort(numbers)
    log = key.numbers is not None and numbers.min() > 0 and numbers.max() > 20 * numbers.min()
    scaled = np.log10(numbers) if log else numbers
    span = float(np.ptp(scaled))
    low, high = scaled.min() - 0.05 * span, scaled.max() + 0.05 * span
    if log:
        axes.set_xscale("log")
    axes.set_xlim(*(10.0 ** np.array([low, high]) if log else (low, high)))
    fraction = (scaled - low) / (high - low)
    kept: list[int] = []  # labels no closer than a label is wide
    wide = (0.08 * max(len(text) for text in key.texts) + 0.10) / width
    for k in order:
        if not kept or fraction[k] - fraction[kept[-1]] >= wide:
            kept.append(int(k))
    axes.set_xticks(numbers[kept], [key.texts[k] for k in kept])
    axes.set_xticks([], minor=True)
    return numbers, order, fraction


# ---------------------------------------------------------------------------------- none or many keys
def _ranked_bars(figure: Figure, risks: Risks, bottom: float, height: float, most: int) -> None:
    """Designs ranked by the worse share, best first: a column of values a key, a pair of bars a design."""
    designs = sorted(
        np.ndindex(risks.cold.shape),
        key=lambda index: (bool(risks.failed[index]), np.nan_to_num(risks.worse[index], nan=101.0)),
    )
    shown = designs[:most]
    widths = [0.3 + 0.075 * max([11, *(len(text) for text in key.texts)]) for key in risks.keys]
    scale = min(1.0, 7.5 / max(sum(widths), 1.0))
    starts = 0.12 + scale * np.concatenate([[0.0], np.cumsum(widths)])
    left = max(float(starts[-1]), _LEFT)
    width = _WIDTH - left - 1.0
    axes = page.place_axes(figure, left, bottom + _BAR_FOOT, width, height - _BAR_HEAD - _BAR_FOOT)
    for start, (k, key) in zip(starts, enumerate(risks.keys), strict=False):
        _text_column(axes, key, [key.texts[index[k]] for index in shown], (start - left) / width)
    _bars(axes, risks, shown)
    _ranks(axes, risks, shown)
    if len(designs) > len(shown):
        text = f"The {len(shown)} best of {len(designs)} designs by the worse of the two shares; the table has the rest."
        figure.text(left / _WIDTH, (bottom + 0.16) / figure.get_figheight(), text, fontsize=8.5)


def _ranks(axes: Axes, risks: Risks, shown: list[tuple[int, ...]]) -> None:
    """The rank of each design by its worse share, or the ranks that its error leaves open, at the right edge."""
    places = dict(zip(np.ndindex(risks.cold.shape), risks.ranks(), strict=True))
    axes.text(1.06, 1.0, "rank, within\nthe errors", transform=axes.transAxes, fontsize=8, fontweight="bold", va="bottom",
              ha="right")
    for row, index in enumerate(shown):
        axes.text(1.06, row, rank_text(places[index]).replace(" tie", ""), transform=axes.get_yaxis_transform(), fontsize=8.5,
                  va="center", ha="right", gid="rank")


def _text_column(axes: Axes, key: VariedKey, texts: list[str], x: float) -> None:
    header = "\n".join(textwrap.wrap(key.label, 13)[:3])
    axes.text(x, 1.0, header, transform=axes.transAxes, fontsize=8, fontweight="bold", va="bottom", parse_math=False)
    for row, text in enumerate(texts):
        axes.text(x, row, text, transform=axes.get_yaxis_transform(), fontsize=8.5, va="center", parse_math=False)


def _bars(axes: Axes, risks: Risks, designs: list[tuple[int, ...]]) -> None:
    """A cold and a starved bar for each design, with error bars and numbers."""
    for share in acceptable_shares():
        axes.axvspan(0, share, color=BAND, zorder=0, linewidth=0)
    for row, index in enumerate(designs):
        if risks.failed[index]:
            axes.barh(row, 100, height=0.7, **style.HATCH)
            axes.text(50, row, "failed", ha="center", va="center", fontsize=8, path_effects=style.casing(3.0))
            continue
        for values, errors, colour, shift in (
            (risks.cold, risks.cold_error, style.COLD, -0.19),
            (risks.starved, risks.starved_error, style.STARVED, 0.19),
        ):
            value, error = float(values[index]), float(errors[index])
            if not np.isfinite(value):
                axes.text(0.5, row + shift, "undefined", fontsize=7, va="center")
                continue
            axes.barh(
                row + shift,
                value,
                height=0.36,
                facecolor=colour,
                xerr=error if 0 < error < UNKNOWN else None,
                error_kw={"elinewidth": 0.9, "capsize": 2, "ecolor": style.INK},
            )
            place = value + (error if error < UNKNOWN else 0.0) + 0.8
            axes.text(place, row + shift, f"{value:.0f}" + ("" if error < UNKNOWN else " ±?"), fontsize=7, va="center")
    axes.set(xlim=(0, 100), ylim=(len(designs) - 0.45, -0.55), xlabel="share of the mix [%]")
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x", color="#e6e8eb", linewidth=0.6)
