"""A plan of probes as a table, as sentences and as CSV."""

from __future__ import annotations

import csv
import io
import math

from pilesim.assess.probe_plan import NEARBY, Probe, ProbePlan
from pilesim.base.units import from_si, to_display
from pilesim.show.rules_text import percent
from pilesim.show.screen import aligned
from pilesim.show.values import value_with_error
from pilesim.solver.march import DAY

HEADS = ("probe", "from the axis", "above ground", "way in", "held", "hottest", "meets the rule", "nearby")


def probe_rows(plan: ProbePlan, system: str) -> list[list[str]]:
    """A row a probe: where it stands and what the model says it reads; the core last."""
    rows = []
    for number, probe in enumerate((*plan.probes, plan.core), 1):
        name = "core" if probe is plan.core else str(number)
        rows.append([name, *(_length(value, system) for value in (probe.x, probe.z, probe.depth)), held_text(probe, system),
                     _degrees(probe.hottest, system), "never" if math.isnan(probe.day) else f"day {probe.day:.1f}",
                     f"+{_kelvin(probe.nearby, system)}"])
    return rows


def probe_table(plan: ProbePlan, system: str) -> list[str]:
    """The rows under their heads."""
    return [*aligned([list(HEADS), *probe_rows(plan, system)]), "",
            f"Way in: the shortest from the outer surface. Held: for the {_days(plan)} of the rule without a gap, ±numerical "
            f"error. Nearby: how much more a tip within {_length(NEARBY, system)} of its place may read."]


def probe_sentences(plan: ProbePlan, system: str) -> list[str]:
    """What the probes catch, what one in the core hides, and what no plan can promise."""
    first, core = plan.probes[0], plan.core
    share = f"{percent(plan.meets)} of the mix meets '{plan.rule.words(system)}'"
    reads = "never meets it" if math.isnan(core.day) else f"meets it by day {core.day:.1f}"
    caught = max(first.hidden, 0.0)
    return [
        f"The model says that {share}.",
        f"One probe in the core {reads} and holds {_degrees(core.held, system)}; {100.0 * core.hidden:.0f} % of the mix is "
        f"colder than it, and the coldest of these probes holds {_degrees(first.held, system)}.",
        f"{100.0 * caught:.1f} % of the mix is colder than probe 1. The more probes read, the less rests on "
        "one place: each stands at the coldest place of its own part of the coldest tenth.",
        "Places are those of the pile that was computed: wind, rain, a wet load or a thin spot of the cover move the "
        "coldest place. Probe both flanks and several places along the pile, and where it steams least.",
        "A regulator's own places for probes go first; this is not a statement of compliance: ask your regulator.",
    ]


def probe_csv(plan: ProbePlan) -> str:
    """The plan as CSV text, metric."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["probe", "distance_from_axis_m", "height_m", "way_in_m", "surface_x_m", "surface_z_m", "held_degC",
                    "held_error_K", "hottest_degC", "day_rule_met", "nearby_K",
                    "share_of_mix_stood_for", "share_of_mix_colder"])
    for number, probe in enumerate((*plan.probes, plan.core), 1):
        table.writerow(["core" if probe is plan.core else number, *(f"{value:.4g}" for value in (
            probe.x, probe.z, probe.depth, *probe.foot, from_si(probe.held, "K", "degC"), probe.held_error,
            from_si(probe.hottest, "K", "degC"))), "" if math.isnan(probe.day) else f"{probe.day:.4g}",
            *(f"{value:.4g}" for value in (probe.nearby, probe.stands_for, probe.hidden))])
    return out.getvalue()


def held_text(probe: Probe, system: str) -> str:
    """Held temperature with its error."""
    unit = "degF" if system == "us" else "degC"
    value = from_si(probe.held, "K", unit)
    return f"{value_with_error(value, probe.held_error * (1.8 if system == 'us' else 1.0))} {unit}"


def _degrees(kelvin: float, system: str) -> str:
    unit = "degF" if system == "us" else "degC"
    return f"{from_si(kelvin, 'K', unit):.1f} {unit}"


def _kelvin(difference: float, system: str) -> str:
    return f"{1.8 * difference:.0f} degF" if system == "us" else f"{difference:.0f} K"


def _length(value: float, system: str) -> str:
    number, unit = to_display(value, "m", system)
    return f"{number:.2f} {unit}"


def _days(plan: ProbePlan) -> str:
    return f"{plan.rule.alternatives[0].duration / DAY:.3g} days"
