"""What a series of base widths says, in sentences computed from the runs: nothing here is known beforehand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from pilesim.assess.measures import AEROBIC_SHARE
from pilesim.base.constants import CONSTANTS
from pilesim.show import style
from pilesim.study.widths import WidthRun

_NEAR = 0.05  # relative: a width this near the trade's counts as it
_PERCENT = f"{100 * AEROBIC_SHARE:.0f} %"


def width_label(run: WidthRun, units: str) -> str:
    """Base width as drawn: 6 m, 19.7 ft."""
    shown, unit = style.shown(run.width, "m", units)
    return f"{style.number_text(float(shown))} {unit}"


def days_text(value: float, error: float) -> str:
    """``19 ±2``: days and their numerical error to the day, or to a tenth where the error is smaller."""
    if not math.isfinite(error):
        return f"{value:.0f} (error unknown)"
    places = 0 if error >= 0.95 else 1
    return f"{value:.{places}f} ±{error:.{places}f}"


def never_starves(run: WidthRun) -> bool:
    """Whether the starved share stays below a tenth of the mix from the first day to the last."""
    return not run.failure and run.measures["days_to_aerobic"][0] == 0.0


def never_clears(run: WidthRun) -> bool:
    """Whether a tenth of the mix or more is starved at the end."""
    return not run.failure and math.isnan(run.measures["days_to_aerobic"][0])


def outcome(run: WidthRun) -> str:
    """Days until less than a tenth of the mix is starved, or why there is no such day."""
    if run.failure:
        return "failed"
    value, error = run.measures["days_to_aerobic"]
    doubt = "" if run.errors_trusted else "?"
    if never_starves(run):
        peak, spread = run.measures["anaerobic_fraction_peak"]
        near = not peak + spread < AEROBIC_SHARE
        return f"never above {_PERCENT}{' (within its error)' if near else ''}{doubt}"
    if never_clears(run):
        near = run.share_error.size > 0 and not run.share[-1] - run.share_error[-1] > AEROBIC_SHARE
        return f"not by day {run.days[-1]:.0f}{' (within its error)' if near else ''}{doubt}"
    return f"{days_text(value, error)}{doubt} d"


def exceptions(runs: Sequence[WidthRun], units: str) -> str:
    """The piles of one scenario that have no day of clearing, and why; "" if all have one."""
    without = [run for run in runs if run.failure or never_starves(run) or never_clears(run)]
    return "; ".join(f"{width_label(run, units)}: {outcome(run)}" for run in without)


def conclusion(runs: Sequence[WidthRun], units: str = "metric") -> list[str]:
    """What trade lore says, what these runs say about it, and by how much they differ."""
    done = [run for run in runs if not run.failure]
    if not done:
        return []
    lore, unit = style.shown(CONSTANTS["trade_base_width"].value, "m", units)
    about = f"{float(lore):.0f} {unit}"
    sentences = [f"Trade lore: a base wider than about {about} turns anaerobic."]
    starved = [run for run in done if not never_starves(run)]
    if not starved:
        sentences.append(f"Model: none of these piles does: at no time is {_PERCENT} of the mix below {_limit(done)} oxygen.")
    elif len(starved) == len(done):
        sentences.append(_all_starved(starved, units))
        sentences.append(_waiting(starved, about))
    else:
        sentences.append(_some_starved(runs, units))
    sentences += _not_cleared(starved, units) + not_told_apart(done, units)
    return [sentence for sentence in sentences if sentence]


def _limit(runs: Sequence[WidthRun]) -> str:
    limits = sorted({run.limit for run in runs})
    return " or ".join(f"{style.number_text(limit)} %" for limit in limits)


def _all_starved(runs: Sequence[WidthRun], units: str) -> str:
    """Every pile starves at first, whatever its width; how it clears is looked up in the fields, not assumed."""
    ends = [width_label(pick(runs, key=lambda run: run.width), units) for pick in (min, max)]
    begun = math.ceil(max(float(run.days[np.argmax(run.share >= AEROBIC_SHARE)]) for run in runs))
    within = f"within {max(1, begun)} day{'s' if begun > 1 else ''} of the build"
    way = ", then clears from the flanks inwards" if _inwards(runs) else ""
    between = f"from {ends[0]} to {ends[1]} " if ends[0] != ends[1] else ""
    return (
        f"Model: no width {between}divides piles that turn anaerobic from piles that do not: every pile here, "
        f"the narrowest too, is starved {within}{way}."
    )


def _inwards(runs: Sequence[WidthRun]) -> bool:
    """Whether in every pile that clears by half what is left lies nearer to the axis than the mix as a whole."""
    known = [run.reach for run in runs if math.isfinite(run.reach)]
    return bool(known) and max(known) < 1.0


def _waiting(runs: Sequence[WidthRun], about: str) -> str:
    """The rule as a time, if wider piles do wait longer and clear inwards: days at the trade's width."""
    trade = CONSTANTS["trade_base_width"].value
    there = [run for run in runs if abs(run.width / trade - 1.0) <= _NEAR and not never_clears(run)]
    if not _inwards(runs) or not all(_grows(runs, name) for name in dict.fromkeys(run.scenario for run in runs)):
        return ""
    wider = "wider bases" if any(_tied(one, other) for one, other in _neighbours(runs)) else "every wider base"
    rule = f"The rule is a waiting time: until the oxygen front reaches the axis, longer for {wider}"
    waits = ", ".join(f"{days_text(*run.measures['days_to_aerobic'])} days ({run.title})" for run in there)
    return f"{rule}. A base of about {about} takes {waits}." if there else f"{rule}."


def _grows(runs: Sequence[WidthRun], scenario: str) -> bool:
    """Whether the widest pile of a scenario takes longer than the narrowest beyond their errors, and no pile takes less long
    than a narrower one beyond theirs; those that do not clear in time are the longest."""
    own = sorted((run for run in runs if run.scenario == scenario), key=lambda run: run.width)
    spans = [_span(run) for run in own]
    if len(own) < 2 or not all(run.errors_trusted for run in own):
        return False
    falls = any(wider[2] < narrower[0] or wider[1] < narrower[1] for narrower, wider in pairwise(spans))
    return not falls and (spans[0][2] < spans[-1][0] or spans[0][0] == math.inf)


def _span(run: WidthRun) -> tuple[float, float, float]:
    """Earliest, computed and latest day of clearing within the error; infinite where it does not clear in time."""
    day, error = run.measures["days_to_aerobic"]
    if math.isnan(day):
        return math.inf, math.inf, math.inf
    return (day - error, day, day + error) if math.isfinite(error) else (-math.inf, day, math.inf)


def _neighbours(runs: Sequence[WidthRun]) -> list[tuple[WidthRun, WidthRun]]:
    """Pairs of neighbouring widths of one scenario that both have numbers."""
    pairs = []
    for name in dict.fromkeys(run.scenario for run in runs):
        own = sorted((run for run in runs if run.scenario == name and not run.failure), key=lambda run: run.width)
        pairs += list(pairwise(own))
    return pairs


def _tied(one: WidthRun, other: WidthRun) -> bool:
    """Whether both clear in time, and their days differ by no more than both errors."""
    first, second = _span(one), _span(other)
    if math.inf in (first[1], second[1]) or any(never_starves(run) or not run.errors_trusted for run in (one, other)):
        return False
    return first[2] >= second[0] and second[2] >= first[0]


def not_told_apart(runs: Sequence[WidthRun], units: str) -> list[str]:
    """Neighbouring widths whose days of clearing differ by no more than their errors; piles whose errors mean nothing."""
    pairs = []
    for one, other in _neighbours(runs):
        if _tied(one, other):
            first, second = _span(one), _span(other)
            spread = days_text(abs(second[1] - first[1]), first[2] - first[1] + second[2] - second[1])
            pairs.append(f"{width_label(one, units)} and {width_label(other, units)} differ by {spread} days ({one.title})")
    out = [f"The grid cannot tell apart: {'; '.join(pairs)}."] if pairs else []
    doubtful = [f"{width_label(run, units)} ({run.title})" for run in runs if not run.failure and not run.errors_trusted]
    if doubtful:
        out.append(f"Errors not to be trusted, for plumes that no grid settles: {', '.join(doubtful)}.")
    return out


def _some_starved(runs: Sequence[WidthRun], units: str) -> str:
    """Where some piles starve and others never do: between which widths, scenario by scenario."""
    parts = []
    for name in dict.fromkeys(run.scenario for run in runs):
        own = sorted((run for run in runs if run.scenario == name and not run.failure), key=lambda run: run.width)
        states = [never_starves(run) for run in own]
        if not own:
            continue
        title = own[0].title
        if all(states):
            parts.append(f"none starves ({title})")
        elif not any(states):
            parts.append(f"every one starves at first ({title})")
        elif states == sorted(states, reverse=True):
            last, first = (width_label(own[k], units) for k in (states.count(True) - 1, states.count(True)))
            parts.append(f"up to {last} none starves, from {first} on they do at first ({title})")
        else:
            which = ", ".join(width_label(run, units) for run, state in zip(own, states, strict=True) if not state)
            parts.append(f"those of {which} starve at first, without order in width ({title})")
    return f"Model: {'; '.join(parts)}."


def _share_at_end(run: WidthRun) -> str:
    error = 100 * run.share_error[-1] if run.share_error.size else math.nan
    return f"{100 * run.share[-1]:.0f}" + (f" ±{max(error, 1.0):.0f}" if math.isfinite(error) else " ±?")


def _not_cleared(runs: Sequence[WidthRun], units: str) -> list[str]:
    """Which piles are still starved when the runs end; a run cannot say whether they ever clear."""
    still = [run for run in runs if never_clears(run)]
    if not still:
        return []
    names = ", ".join(f"{width_label(run, units)} ({run.title}, {_share_at_end(run)} % starved)" for run in still)
    return [f"Not clear by day {still[0].days[-1]:.0f}: {names}; these runs do not say when, or whether, they clear."]
