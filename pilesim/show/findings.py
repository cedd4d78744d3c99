"""Which designs of a comparison the trade would call hot and aerobic, and what that leaves out: the toe."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from pilesim.base.constants import CONSTANTS
from pilesim.base.units import format_number
from pilesim.show.values import estimate, held_rule

Row = dict[str, Any]
_HOT, _STARVED, _TOE = "share_above_55C_day_14", "anaerobic_fraction_day_14", "cold_edge_fraction_by_zone_toe"


def hot_and_aerobic(
    designs: Sequence[Row], name: Callable[[Row], str], listed: Callable[[list[str]], str], attrs: dict[str, Any]
) -> list[str]:
    """One sentence: the designs hot and aerobic enough on day 14, the leakance they need, how much of the toe stays cold.

    Parameters
    ----------
    designs : sequence of dict
        Rows of the table of designs; a failed one, and one that did not reach day 14, is passed over.
    name, listed : callable
        Words for one design, and for a list of them.
    attrs : dict
        Of the table: the rule and the oxygen limit.

    Returns
    -------
    list of str
        Empty where no design reached day 14.
    """
    known = [row for row in designs if row["status"] == "ok" and not math.isnan(_shortfall(row))]
    if not known:
        return []
    found = [row for row in known if _shortfall(row) <= 0.0]
    hot_share, starved_share = 100.0 * _hot_limit(), 100.0 * _starved_limit()
    limits = (f"at least {hot_share:.0f} % of the mix above 55 degC and at most {starved_share:.0f} % below "
              f"{attrs['anaerobic_oxygen_percent']:g} % oxygen; common practice, no source")
    head = f"Hot and aerobic on day 14 ({limits})"
    if not found:
        nearest = min(known, key=_shortfall)
        hot, starved = (_percent(nearest, measure) for measure in (_HOT, _STARVED))
        return [f"{head}: none; nearest is {name(nearest)}, with {hot} % above 55 degC and "
                f"{starved} % below {attrs['anaerobic_oxygen_percent']:g} % oxygen"
                f"{' (within its error of the limits)' if _near(nearest) else ''}."]
    words = [name(row) + (" (within its error of a limit)" if _near(row) else "") for row in found]
    return [f"{head}: {len(found)} of {len(known)}{_leakances(found)}: {listed(words)}.{_toe(found, attrs)}"]


def _hot_limit() -> float:
    return CONSTANTS["hot_share_day_14"].value


def _starved_limit() -> float:
    return CONSTANTS["aerobic_day_14_anaerobic_share"].value


def _shortfall(row: Row) -> float:
    """By how much the worse of the two shares misses its limit; NaN if either is missing."""
    hot, starved = row.get(_HOT, math.nan), row.get(_STARVED, math.nan)
    if math.isnan(hot) or math.isnan(starved):
        return math.nan
    return max(_hot_limit() - hot, starved - _starved_limit())


def _percent(row: Row, measure: str) -> str:
    """A share in percent with its error."""
    trusted = bool(row.get("errors_trusted", 1))
    return estimate(100.0 * row[measure], 100.0 * row.get(f"{measure}_error", math.nan), trusted)


def _near(row: Row) -> bool:
    """Whether the errors leave open if the limits are met: more than they tell, or nothing known of them."""
    hot, starved = row[_HOT] - _hot_limit(), _starved_limit() - row[_STARVED]
    errors = [row.get(f"{measure}_error", math.nan) for measure in (_HOT, _STARVED)]
    if not row.get("errors_trusted", 1):
        return True
    if min(hot, starved) >= 0.0:
        return any(not abs(gap) > error for gap, error in zip((hot, starved), errors, strict=True))
    return not any(gap < 0.0 and -gap > error for gap, error in zip((hot, starved), errors, strict=True))


def _leakances(found: Sequence[Row]) -> str:
    """`` with a cover leakance of 1e-09 to 4e-09 m``, in metres in either unit system."""
    values = sorted({row["cover_leakance"] for row in found if not math.isnan(row.get("cover_leakance", math.nan))})
    if not values:
        return " without a cover"
    texts = list(dict.fromkeys(format_number(value) for value in (values[0], values[-1])))
    bare = any(math.isnan(row.get("cover_leakance", math.nan)) for row in found)
    return f" with a cover leakance of {' to '.join(texts)} m" + (" or without a cover" if bare else "")


def _toe(found: Sequence[Row], attrs: dict[str, Any]) -> str:
    """What the shares of the whole mix hide: how much of the toe of these designs has not met the rule."""
    cold = sorted(row[_TOE] for row in found if not math.isnan(row.get(_TOE, math.nan)))
    if not cold:
        return ""
    errors = [row.get(f"{_TOE}_error", math.nan) if row.get("errors_trusted", 1) else math.nan for row in found]
    worst = max((math.inf if math.isnan(error) else error) for error in errors)
    share = " to ".join(dict.fromkeys(f"{100 * value:.0f}" for value in (cold[0], cold[-1])))
    share += f" ±{max(100 * worst, 1.0):.0f}" if math.isfinite(worst) else " ±?"
    head = "The toe is not among it" if cold[0] > CONSTANTS["acceptable_cold_edge_share"].value else "The toe"
    return f" {head}: {share} % of it never {held_rule(attrs)}."
