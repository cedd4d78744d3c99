"""What limits a pile, in sentences: computed from the measures with their errors, never a promise.

In which direction a change helps is what runs of the model show for piles like the reference pile
(`tests/validation/test_design_directions.py`); each sentence sends the reader to a run of the pile at hand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from pilesim.assess.design import ANY_SHARE, Limit, coldest_zones, moisture_at_end, rivals, share_limits
from pilesim.base.constants import CONSTANTS
from pilesim.base.units import to_display
from pilesim.inputs.scenario import Scenario
from pilesim.result import Measure, Summary, summarise
from pilesim.show.values import estimate, held_rule

if TYPE_CHECKING:
    import xarray as xr

_SUBJECT = {"hot": "heat above 80 degC", "cold": "cold edges", "starved": "a starved core", "frozen": "freezing"}
_NOTHING_SURE = "Until calibrated, rates are no better than 50 percent either way: read this as a direction."


def judgement(dataset: xr.Dataset, scenario: Scenario, units: str) -> list[str]:
    """Sentences: the limit that binds, each measure against its limit, what to change, what was not judged.

    Parameters
    ----------
    dataset : xarray.Dataset
        A finished run.
    scenario : Scenario
        Its scenario.
    units : {"metric", "us"}
    """
    measures = _errors_that_count(summarise(dataset))
    limits = share_limits(measures)
    moisture = moisture_at_end(dataset, measures)
    dry = moisture[0] + moisture[1] < CONSTANTS["lowest_mix_moisture"].value
    out = [_headline(limits, dry)]
    for one in sorted(limits, key=lambda one: one.kind in ("frozen", "hot") and one.state == "kept"):
        if one.kind == "cold":
            out.append(_cold(one, dataset, measures, units))
        elif one.kind == "starved":
            out.append(_starved(one, dataset, measures))
        elif one.kind == "frozen" and one.value > 0.0:
            share = _percent(one.value, one.error)
            out.append(f"The model says up to {share} of the mix is more than half frozen at a time {_wanted(one)}.")
        elif one.kind == "hot":
            out.append(_hot(one, measures, units))
    if not any(one.kind == "starved" for one in limits):
        out.append("The run is shorter than 14 days: whether the core starves is not judged (not reached).")
    out.append(_moisture(moisture))
    out += advice([one.kind for one in limits if one.state != "kept"] + ["dry"] * dry, scenario)
    return out


def _headline(limits: list[Limit], dry: bool) -> str:
    exceeded = [one for one in limits if one.state == "exceeded"]
    unclear = [one for one in limits if one.state == "open"]
    also = " It also dries out." if dry else ""
    if not exceeded and dry:
        return "The model says that this pile is limited most by drying."
    if exceeded and exceeded[0].kind != "hot":
        near = rivals(exceeded[0], limits)
        if near:
            names = " and ".join(_SUBJECT[one.kind] for one in (exceeded[0], *near))
            return (f"The model says that this pile is limited by {names}; they lie within their errors of each other, so it "
                    f"does not say which is worse.{also}")
    if exceeded:
        return f"The model says that this pile is limited most by {_SUBJECT[exceeded[0].kind]}.{also}"
    if unclear:
        names = " and ".join(_SUBJECT[one.kind] for one in unclear)
        return f"The model does not say for certain that any limit is exceeded; {names} may be, within the error."
    first = next(one for one in limits if one.limit > 0.0)
    return f"The model says that none of the limits looked at is exceeded; nearest to its own is {_SUBJECT[first.kind]}."


def _errors_that_count(summary: Summary) -> dict[str, Measure]:
    """The measures; without their errors where those are not to be trusted: no limit is then kept or exceeded for certain."""
    if summary.errors_trusted:
        return summary.measures
    return {name: replace(one, error={} if isinstance(one.error, dict) else None) for name, one in summary.measures.items()}


def _percent(value: float, error: float) -> str:
    """A share in percent with its error, ``±?`` if nothing is known of it."""
    return f"{estimate(100.0 * value, 100.0 * error if error < ANY_SHARE else math.nan)} %"


def _wanted(one: Limit) -> str:
    state = "the error leaves it open" if one.state == "open" else one.state
    return f"(wanted: at most {100.0 * one.limit:.3g} %; {state})"


def _cold(one: Limit, dataset: xr.Dataset, measures: dict[str, Measure], units: str) -> str:
    end = float(dataset["time"][-1])
    text = (f"The model says {_percent(one.value, one.error)} of the mix has not {held_rule(dataset.attrs, units)} "
            f"by day {end:.4g} {_wanted(one)}")
    zones = coldest_zones(measures)
    if not zones:
        return f"{text}."
    shares = [_percent(value, error) for _, value, error in zones]
    if len(zones) == 1:
        return f"{text}; worst is the {zones[0][0]} ({shares[0]} of it)."
    same = len(set(shares)) == 1
    names = [name if same else f"{name} ({share})" for (name, _, _), share in zip(zones, shares, strict=True)]
    of_each = f" ({shares[0]} of each)" if same else ""
    return f"{text}; worst, and not to be told apart, are {', '.join(names[:-1])} and {names[-1]}{of_each}."


def _starved(one: Limit, dataset: xr.Dataset, measures: dict[str, Measure]) -> str:
    oxygen = float(dataset.attrs["anaerobic_oxygen_percent"])
    aerobic = measures["days_to_aerobic"]
    if not isinstance(aerobic.value, float):
        after = "the day from which on less than a tenth of it is: not reached"
    elif isinstance(aerobic.error, float):
        after = f"less than a tenth of it from day {estimate(aerobic.value, aerobic.error)} on"
    else:
        after = f"less than a tenth of it from day {aerobic.value:.3g} on, error unknown"
    return (f"The model says {_percent(one.value, one.error)} of the mix is below {oxygen:.3g} % oxygen on day 14 "
            f"{_wanted(one)}; {after}.")


def _hot(one: Limit, measures: dict[str, Measure], units: str) -> str:
    watch, unit = to_display(80.0, "degC", units)  # by the name of the measure
    if one.state != "kept":
        return (f"The model says {_percent(one.value, one.error)} of the mix passes {watch:.0f} {unit}: that is a matter of "
                "fire before all others; ask the fire service and the local fire code.")
    peak = measures["peak_temperature"]
    assert isinstance(peak.value, float)
    error, _ = to_display(peak.error if isinstance(peak.error, float) else math.nan, "degC", units, difference=True)
    top, _ = to_display(peak.value, "degC", units)
    zero = CONSTANTS["celsius_zero"].value
    end, _ = to_display(CONSTANTS["temperature_maximum"].value - zero, "degC", units)
    peak_text = estimate(top, error)
    return (f"The model says the mix peaks at {peak_text} {unit} and none of it passes {watch:.0f} {unit}; "
            f"its rate law ends at {end:.0f} {unit}, so this is no evidence that a pile cannot heat itself further.")


def _moisture(moisture: tuple[float, float]) -> str:
    wanted = CONSTANTS["lowest_mix_moisture"].value
    low, high = moisture[0] - moisture[1], moisture[0] + moisture[1]
    state = "missed" if high < wanted else "kept" if low >= wanted else "the error leaves it open"
    return (f"The model says the mix ends at {_percent(*moisture)} moisture on average (wanted: at least "
            f"{100.0 * wanted:.3g} %; {state}).")


def advice(kinds: Sequence[str], scenario: Scenario) -> list[str]:
    """What runs show to help against the limits named, and what it costs; empty if none is named."""
    covered, wide = scenario.cover.thickness > 0.0, scenario.pile.shape not in ("column", "slab")
    cold, starved = "cold" in kinds or "frozen" in kinds, "starved" in kinds
    looser = "a narrower base or a looser mix" if wide else "a looser mix"
    out = []
    if starved and cold and covered:
        out.append("The cover pulls both ways: a leakier or thinner one clears the core sooner and leaves more cold edges, a "
                   f"thicker one the reverse. To clear the core otherwise, runs point to {looser}.")
    elif starved and covered:
        out.append(f"To clear the core sooner, runs point to a leakier or thinner cover, {looser}; such a cover leaves more "
                   "of the edges cold.")
    elif starved:
        out.append(f"To clear the core sooner, runs point to {looser}.")
    elif cold:
        out.append("To warm the edges, runs point to a thicker cover; it lets less air into the core. A tighter material "
                   "is no substitute: in hard frost it leaves more edges cold." if covered else
                   "To warm the edges, runs point to a cover; it lets less air into the core.")
    if "frozen" in kinds:
        out.append("Against freezing, runs point to a mix that does not start cold.")
    if "dry" in kinds:
        out.append("Against drying, runs point to a wetter mix and a thicker or tighter cover.")
    if not out:
        return []
    tries = "cover.permeability" if covered and starved else "cover.thickness"
    values = "2.5e-10 m2,5e-10 m2,1e-9 m2" if covered and starved else "0.1 m,0.2 m,0.3 m"
    return [*out, _NOTHING_SURE, f"Try it: pilesim compare SCENARIO --vary {tries}=\"{values}\""]
