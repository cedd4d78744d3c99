"""What two piles, turned or standing, do to their material, in a table and in five sentences; never of compliance."""

from __future__ import annotations

from collections.abc import Sequence

from pilesim.base.units import from_si
from pilesim.show.screen import aligned
from pilesim.show.values import value_with_error
from pilesim.study.turning import AIR_FACTOR, PERMEABILITY_FACTOR, Exposure, told_apart

_ROWS = (  # measure, what the table calls it, factor to what is shown, unit
    ("share_rule", "material that meets the rule", 100.0, "%"),
    ("hours_median", "hours at 55 degC or more, half of it: at least", 1.0, "h"),
    ("hours_coldest", "all but the coldest twentieth: at least", 1.0, "h"),
    ("hottest_coldest", "all but the coldest twentieth has seen", 1.0, "degC"),
    ("survivors", "E. coli, heat-shocked, that survive (mean)", 100.0, "%"),
    ("anaerobic_days", "days short of oxygen (mean)", 1.0, "day"),
    ("water_loss", "water lost", 100.0, "%"),
    ("dry_matter_loss", "dry matter lost", 100.0, "%"),
)
_BETTER = (  # measure, what is said of the pile that has more of it, and of the one that has less
    ("share_rule", "more of its material meets the rule", "less of its material meets the rule"),
    ("survivors", "more survives", "less survives"),
    ("anaerobic_days", "it is short of oxygen for longer", "it is short of oxygen for a shorter time"),
    ("water_loss", "it dries more", "it dries less"),
)


def exposure_table(found: Sequence[Exposure], system: str) -> list[str]:
    """A line a measure: value ±numerical error of each pile, and the range with the uncertain inputs moved."""
    lines = [["", *(cell for one in found for cell in (one.name, "range"))]]
    for name, words, factor, unit in _ROWS:
        unit = "degF" if unit == "degC" and system == "us" else unit
        cells = []
        for one in found:
            low, high = (_plain(end, name, factor, system) for end in one.ranges[name])
            cells += [_value(one, name, system), f"{low} to {high}"]
        lines.append([f"{words} [{unit}]", *cells])
    return [*aligned(lines), "", f"Value ±numerical error. Range: the permeability of the mix {PERMEABILITY_FACTOR:g} times "
            f"either way, the air that turned material meets {AIR_FACTOR:g} times either way."]


def five_sentences(found: Sequence[Exposure], alike: bool, system: str) -> list[str]:
    """Exposure, the coldest part, survivors, air and water, and what of it can be told apart."""
    first, second = found
    rules = [one.rule for one in found]
    rule = f"'{rules[0]}'" if rules[0] == rules[1] else f"'{rules[0]}' and '{rules[1]}', in this order,"
    mix = "Of the same mix" if alike else "Of two mixes that differ"
    warm = "131 degF" if system == "us" else "55 degC"
    kinds = [bool(one.turn_days) for one in found]
    why = (": turning brings inside what lay cold, standing leaves it where it is" if kinds[0] != kinds[1] else "")
    unit = "degF" if system == "us" else "degC"

    def both(name: str, after: str = "") -> str:
        one, other = (f"{_value(each, name, system)}{after} ({each.name})" for each in found)
        return f"{one} and {other}"

    return [
        f"{mix}, the model says, {both('share_rule', ' %')} of the material meets the temperature part of {rule}, and half "
        f"of the material spends at least {both('hours_median', ' hours')} at {warm} or more.",
        f"All but the coldest twentieth of the material spends at least {both('hours_coldest', ' hours')} there and has at "
        f"some time been at {both('hottest_coldest', ' ' + unit)} or more{why}.",
        f"By published decimal times {both('survivors', ' %')} of heat-shocked E. coli O157:H7 survives as a mean over the "
        "material, counted down to the ten-thousandth that was measured, and the coldest part decides it.",
        f"On average the material is short of oxygen for {both('anaerobic_days', ' days')}, and the mix loses "
        f"{both('water_loss', ' %')} of its water.",
        f"{_verdict(first, second)}; piles, weather and how much air turned material meets are invented, and none of this "
        "is a statement of compliance: ask your regulator.",
    ]


def not_modelled(found: Sequence[Exposure]) -> list[str]:
    """What stands between these numbers and a yard, and the messages of the runs."""
    return ["Not modelled: settling and the smaller pile after it, lumps that do not mix, the ends of the pile, rain and "
            "snow on the open pile, ammonia and odour, spores and dust set free by turning, regrowth, labour and fuel.",
            *(f"- {one.name}: {text}" for one in found for text in one.messages)]


def _verdict(first: Exposure, second: Exposure) -> str:
    """What holds whichever way the inputs are moved, and what cannot be told apart."""
    holds, open_ = [], []
    for name, more, less in _BETTER:
        sign = told_apart(first, second, name)
        if sign:
            holds.append(more if sign > 0 else less)
        else:
            open_.append({"share_rule": "the share that meets the rule", "survivors": "survival", "anaerobic_days":
                          "the time short of oxygen", "water_loss": "drying"}[name])
    parts = []
    if holds:
        parts.append(f"of {first.name} it holds beside {second.name} whichever way the permeability and that air are moved, "
                     f"and beyond the numerical errors, that {_listed(holds)}")
    if open_:
        parts.append(f"the two cannot be told apart in {_listed(open_)}, as the numerical errors or the moved inputs span "
                     "the difference")
    text = ", and ".join(parts)
    return text[0].upper() + text[1:]


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _value(one: Exposure, name: str, system: str) -> str:
    value, error = one.measures[name]
    factor = next(row[2] for row in _ROWS if row[0] == name)
    if name == "hottest_coldest" and system == "us":
        return value_with_error(_fahrenheit(value), 1.8 * error)
    return value_with_error(round(factor * value, 9), factor * error)


def _plain(value: float, name: str, factor: float, system: str) -> str:
    return f"{_fahrenheit(value) if name == 'hottest_coldest' and system == 'us' else factor * value:.3g}"


def _fahrenheit(value: float) -> float:
    return from_si(value + 273.15, "K", "degF")
