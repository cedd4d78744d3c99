"""What the model says of a run by a rule, on the screen and as CSV: with the rule's own words, never of compliance."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import numpy as np

from pilesim.assess.judge import Judgement, Share
from pilesim.assess.shares import ZONES
from pilesim.base.units import to_display
from pilesim.inputs.rules import Rule
from pilesim.show.rules_list import rule_in_full
from pilesim.show.screen import aligned, value_with_error
from pilesim.solver.march import DAY

_SMALL = 0.0005  # of a zone: not worth naming
LONG = 0.75  # of the run: a rule that takes longer than this may not fit in


def judgement_lines(found: Judgement, system: str) -> list[str]:
    """What the model says of one rule: the rule's own words, the share of the mix, where it is not met, the probes."""
    rule = found.rule
    lines = [*rule_in_full(rule, system), ""] if not rule.own else [f"rule  {rule.words(system)} (your own words)", ""]
    part = "meets the temperature part of it" if rule.turns or rule.precondition else "meets it"
    lines.append(f"The model says that {percent(found.share)} of the mix {part} by the end of the run, "
                 f"read as: {_read_as(rule, system)}.")
    if found.lenient is not None and abs(found.lenient.value - found.share.value) > _SMALL:
        lines.append(f"With time counted altogether, gaps or not, it is {percent(found.lenient)}: the rule does not say "
                     "which.")
    lines.append(_where_not(found))
    lines += _probe_lines(found, system)
    longest = min(one.duration for one in rule.alternatives) / DAY
    if longest > LONG * found.days:
        lines.append(f"The run ends on day {found.days:.4g}, the rule asks for {longest:.4g} days after the pile has warmed "
                     "up: a longer run may say more.")
    if rule.coverage.startswith("all"):
        lines.append(f"It asks this of {rule.coverage}.")
    if rule.turns > found.turns:
        does = f"is turned {found.turns} times" if found.turns else "is left standing"
        lines.append(f"It asks for at least {rule.turns} turnings, and this pile {does}: by its words that is not "
                     "enough. The share above is its temperature part alone.")
    elif rule.turns:
        lines.append(f"It asks for at least {rule.turns} turnings, and this pile is turned {found.turns} times; whether they "
                     "fall within the time it asks for is not judged.")
    if rule.precondition:
        lines.append(f"Not judged here: {rule.precondition}.")
    if rule.applies_to:
        lines.append(f"It applies to: {rule.applies_to}.")
    return lines


def _read_as(rule: Rule, system: str) -> str:
    silent = any(one.consecutive == "not stated" for one in rule.alternatives)
    return rule.words(system) + (" (consecutive, the stricter reading)" if silent else "")


def percent(share: Share) -> str:
    """``95.2 ±0.8 %``."""
    return f"{value_with_error(round(100.0 * share.value, 6), 100.0 * share.error)} %"


def _where_not(found: Judgement) -> str:
    share = found.share
    zones = [(1.0 - share.by_zone[k], share.by_zone_error[k], zone) for k, zone in enumerate(ZONES)
             if np.isfinite(share.by_zone[k]) and 1.0 - share.by_zone[k] > _SMALL]
    if not zones:
        return "There is no part of the mix that does not."
    texts = [f"{zone} {value_with_error(100.0 * value, 100.0 * error)} % of it"
             for value, error, zone in sorted(zones, reverse=True)]
    return f"Not met in: {', '.join(texts)} (see rules.png)."


def _probe_lines(found: Judgement, system: str) -> list[str]:
    probes, rule = found.probes, found.rule
    if probes is None:
        return ["Probes placed as it says would not stand in the mix."]
    gap = 100.0 * found.gap
    if not probes.stated:
        says = "" if rule.own else "It does not give a depth for probes. "
        if probes.met[0]:
            return [f"{says}One probe in the middle of the mix would read it met by day {probes.day[0]:.3g}, and does not "
                    f"show the {max(gap, 0.0):.1f} % of the mix that never meets it."]
        return [f"{says}One probe in the middle of the mix would not read it met, though {percent(found.share)} of the mix "
                "does."]
    assert rule.probe_depth is not None
    (low, unit), (high, _) = (to_display(depth, "m", system) for depth in rule.probe_depth)
    place = "the surface of the pile" if rule.probe_below == "surface" else "the underside of the cover"
    verdict = "as much as of the mix" if abs(gap) < 0.1 else (
        f"{abs(gap):.1f} points {'more' if gap > 0.0 else 'less'} than of the mix: such probes "
        f"{'flatter' if gap > 0.0 else 'are colder than'} it")
    return [f"Probes placed as it says ({low:.2f} to {high:.2f} {unit} below {place}; here read all the time and at every "
            f"place along the section) would read it met at {100.0 * probes.share:.1f} % of their places, {verdict}."]


def judgement_table(found: Sequence[Judgement], system: str) -> list[str]:
    """A line a rule: what share of the mix meets its temperature part, and what probes would read."""
    lines = [["rule", "asks", "mix that meets it", "if gaps are allowed", "probes that read it met", "turns asked"]]
    for one in found:
        probes = "-" if one.probes is None else (f"{100.0 * one.probes.share:.0f} %" if one.probes.stated else
                                                 "middle: " + ("met" if one.probes.met[0] else "not met"))
        lines.append([one.rule.id or "the run's own", one.rule.words(system), percent(one.share),
                      percent(one.lenient) if one.lenient else "-", probes,
                      str(one.rule.turns) if one.rule.turns else "-"])
    return aligned(lines)


def judgement_csv(found: Sequence[Judgement]) -> str:
    """The same as CSV text, metric, with the rules' sources."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    zones = [f"share_met_{zone}" for zone in ZONES]
    table.writerow(["rule", "jurisdiction", "instrument", "asks", "turns_asked", "share_met", "share_met_error",
                    "share_met_gaps_allowed", *zones, "probe_places", "probe_share_met", "gap", "words_seen_in",
                    "last_checked", "wording"])
    for one in found:
        rule, probes = one.rule, one.probes
        table.writerow([rule.id, rule.jurisdiction, rule.instrument, rule.words(), rule.turns, _number(one.share.value),
                        _number(one.share.error), _number(one.lenient.value) if one.lenient else "",
                        *(_number(value) for value in one.share.by_zone), len(probes.met) if probes else 0,
                        _number(probes.share) if probes else "", _number(one.gap), rule.seen, rule.checked, rule.wording])
    return out.getvalue()


def _number(value: float) -> str:
    return "" if not np.isfinite(value) else f"{value:.6g}"
