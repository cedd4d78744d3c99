"""Hygiene of a run in words: shares of the mix by published yardsticks, each with what it leaves out."""

from __future__ import annotations

from pilesim.assess.hygiene import LOG_LEVELS, Hygiene, sludge_time
from pilesim.base.constants import CONSTANTS
from pilesim.base.sources import SOURCES
from pilesim.base.units import from_si, to_display
from pilesim.show.rules_text import LONG, percent
from pilesim.show.screen import aligned
from pilesim.solver.march import DAY

OTHERS = (  # what was read beside the decimal times; authors as far as the copies read show them
    "In heaps E. coli O157:H7 was still found inside through day 14 after a week above 50 degC, and at the surface for up to "
    "4 months (on-farm dairy manure composting, authors not shown); in winter both it and Salmonella for more than 60 days "
    "(Bioresour. Technol. 101, 5407, 2010).",
    "Salmonella: within 1 h at 55 degC and 15 to 20 min at 60 (Gotaas 1956, quoted); 55 degC for 1 h gave 5.6 tenfold "
    "reductions, of heat-shocked cells 1.9 (Singh et al. 2010). No decimal time was read, so none is used.",
    "Ascaris eggs: within 1 h above 50 degC (Gotaas 1956, quoted); all dead on day 4 to 6 in composting that peaked at 65 "
    "and 71 degC (Waste Management 2010, authors not shown). No decimal time was read, so none is used.",
)
WEEDS = (
    "The studies disagree. Larney and Blackshaw (2003): temperature explains only 17 to 29 % of what happens to seeds, and "
    "two species needed more than 60 degC. Dahlquist, Prather and Stapleton (2007): 50 degC and more was lethal to all six "
    "species tried, in the laboratory. Dairy windrows that never reached 60 degC: all gone after 4 to 5 months except "
    "velvetleaf, 14 % alive. Moist seeds die sooner than dry ones, and hard seeds last."
)


def hygiene_lines(found: Hygiene, days: float, system: str) -> list[str]:
    """Of a run of so many `days`: three blocks of shares with what stands behind them, and what they do not see."""
    return [*_sludge_lines(found, system), "", *_coli_lines(found), "", *_seed_lines(found, days, system), "",
            "Survival is set by the coldest material, by tails and by heat-shocked cells, never by the core; what grows "
            "again later is not modelled. Test the finished compost."]


def _sludge_lines(found: Hygiene, system: str) -> list[str]:
    times = []
    for degrees in (50.0, 55.0, 60.0, 70.0):
        hours = sludge_time(degrees + CONSTANTS["celsius_zero"].value) / 3600.0
        shown, unit = to_display(degrees, "degC", system)
        length = f"{hours / 24:.3g} days" if hours >= 24 else f"{hours:.3g} h" if hours >= 1 else f"{60 * hours:.3g} min"
        times.append(f"{length} at {shown:.4g} {unit}")
    low = from_si(CONSTANTS["sludge_lowest_temperature"].value, "K", "degC")
    shown, unit = to_display(low, "degC", system)
    return ["Time and temperature of 40 CFR 503.32(a)(3)",
            f"The model says that {percent(found.sludge)} of the mix fulfils the equation ({', '.join(times)}; nothing below "
            f"{shown:.4g} {unit}) in one unbroken stay.",
            "It is a rule for sewage sludge, written for one temperature held; adding up shares of its time is our reading. "
            f"Source: {SOURCES['CFR503Equation'].text}."]


def _coli_lines(found: Hygiene) -> list[str]:
    rows = [["share of the mix with at least", *(f"{level:g} tenfold" for level in LOG_LEVELS)],
            ["by the decimal times", *(percent(share) for share in found.coli)],
            ["the same, heat-shocked cells", *(percent(share) for share in found.shocked)]]
    return ["E. coli O157:H7 by published decimal times", *aligned(rows),
            "The model says so with 137, 50.3 and 4.1 min a tenfold reduction at 50, 55 and 60 degC, nothing below 50 and no "
            "faster above 60, and claims no more than the four reductions up to which times were measured; survivors tailed. "
            f"Sources: {SOURCES['Jiang2003'].text}; {SOURCES['Singh2010'].text}.", *OTHERS]


def _seed_lines(found: Hygiene, days: float, system: str) -> list[str]:
    rows = [["what a study saw", "asks", "mix that reached it"]]
    rows += [[one.yardstick.instrument, one.yardstick.words(system), percent(one.share)] for one in found.seeds]
    longest = max(condition.duration for one in found.seeds for condition in one.yardstick.alternatives) / DAY
    note = f"The run ends on day {days:.4g}: {longest:.4g} days at a temperature hardly fit in."
    short = [note] if longest > LONG * days else []
    return ["Weed seeds by what studies saw", *aligned(rows), *short, WEEDS]
