"""What to do in winter: one page of plain text from the start weeks, with cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pilesim.base.constants import CONSTANTS
from pilesim.inputs.scenario import Scenario
from pilesim.show.cautions import SHORT_CAUTIONS
from pilesim.solver.march import DAY
from pilesim.study.winter import FACTOR, SPAN, Decider, StartWeek, smallest_passing, thinnest_passing

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_FOLKLORE = ("What is common practice, without a source: build larger before the frost, keep snow out of the mix, cover at "
             "once, do not turn in deep frost without need.")


def day_text(month_day: tuple[int, int]) -> str:
    """'15 Nov'."""
    return f"{month_day[1]} {_MONTHS[month_day[0] - 1]}"


def days_text(days: float) -> str:
    """Days to the half, or 'never'."""
    return "never" if math.isnan(days) else f"{round(2.0 * days) / 2.0:g}"


def _share_text(share: float, width: int) -> str:
    return f"{100 * share:{width}.0f} %" if math.isfinite(share) else f"{'–':>{width}}  "


def table_lines(weeks: Sequence[StartWeek]) -> list[str]:
    """Head and a line for each start week and design."""
    lines = ["start    base      cover     50 % hot  95 % hot  cold edge  worst    frozen   years failed (open)"]
    for w in weeks:
        shares = f"{_share_text(w.cold_mean, 7)}  {_share_text(w.cold_worst, 4)}   {_share_text(w.frozen, 4)}"
        half, most = (days_text(days) if math.isfinite(w.cold_mean) else "–" for days in (w.days_50, w.days_95))
        lines.append(f"{day_text(w.month_day):<8} {w.width:<9} {w.cover:<9} {half:>8}  {most:>8}  {shares}   "
                     f"{w.failed} of {w.years}"
                     f"{f' ({w.undecided})' if w.undecided else ''}{f'; no result: {w.reason}' if w.reason else ''}")
    return lines


def advice_lines(weeks: Sequence[StartWeek]) -> list[str]:
    """The smallest pile that passes in each start week, and the thinnest cover of the widest one."""
    out = []
    widest = weeks[-1].width
    for day in dict.fromkeys(w.month_day for w in weeks):
        small, thin = smallest_passing(weeks, day), thinnest_passing(weeks, day, widest)
        if small is None:
            out.append(f"Built {day_text(day)}: none of the designs tried passes in every year.")
            continue
        said = f"Built {day_text(day)}: the narrowest that passes is a base of {small.width} under {small.cover}"
        out.append(said + (f"; of {widest} the thinnest cover is {thin.cover}." if thin is not None else "."))
    return out


def decider_lines(deciders: Sequence[Decider]) -> list[str]:
    """Which unknown decides, by what each does when it is lower and higher."""
    if not deciders:
        return []
    named = [one.key for one in deciders if one.decides]
    lines = [f"Which unknown decides (each at 1/{FACTOR:g} and {FACTOR:g} times its value, temperatures {SPAN:g} K lower and "
             "higher), for the start nearest to the limit:"]
    for one in deciders:
        low, high = (f"{100 * cold:.0f} % cold{', fails' if failed else ''}"
                     for cold, failed in zip(one.cold, one.failed, strict=True))
        lines.append(f"  {one.key}: lower {low}; higher {high}{'   <- decides' if one.decides else ''}")
    lines.append(f"The outcome hangs on {', '.join(named)}: measure {'it' if len(named) == 1 else 'them'} before building."
                 if named else "None of them alone turns the outcome.")
    return lines


def what_to_do(scenario: Scenario, weeks: Sequence[StartWeek], deciders: Sequence[Decider], source: str) -> str:
    """The page."""
    limit = 100.0 * CONSTANTS["acceptable_cold_edge_share"].value
    days, limits = scenario.run.duration / DAY, scenario.limits
    hot = limits.rule_temperature - CONSTANTS["celsius_zero"].value
    rule = limits.rule.id or f"{hot:g} degC for {limits.rule_duration / DAY:g} days"
    lines = [
        f"Winter starts of: {scenario.title}", f"Weather: {source}", "",
        f"Passes: within {days:g} days at most {limit:g} % of the mix has not met the rule ({rule}) and "
        "half of it has reached 55 degC, in every year; open: the limit lies within the numerical error.",
        "Days are until 50 and 95 % of the mix have reached 55 degC, the middle of the years.", "",
        *table_lines(weeks), "", *advice_lines(weeks), "", *decider_lines(deciders), *([""] if deciders else []),
        _FOLKLORE, "Cautions", *(f"  {text}" for text in SHORT_CAUTIONS),
    ]
    return "\n".join(lines) + "\n"
