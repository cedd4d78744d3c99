"""The constants registry as text: a list, a search, or one record in full."""

from __future__ import annotations

from pilesim.base.constants import CONSTANTS, Constant
from pilesim.base.errors import ScenarioError
from pilesim.base.sources import SOURCES
from pilesim.show.screen import aligned


def constants_text(name: str | None, unchecked: bool) -> str:
    """One constant in full if `name` is exact, else the list of those whose name contains it.

    Parameters
    ----------
    unchecked : bool
        Only numbers whose place in the source is still to be checked, or that were recalled from memory.

    Raises
    ------
    ScenarioError
        If nothing is found.
    """
    if name in CONSTANTS and not unchecked:
        return "\n".join(_in_full(CONSTANTS[name]))
    found = [c for c in CONSTANTS.values() if (name or "") in c.name and (not unchecked or _is_unchecked(c))]
    if not found:
        advice = "List them with: pilesim constants"
        raise ScenarioError("NAME", repr(name), "a constant or a part of its name", advice)
    lines = [["name", "value", "unit", "low", "high", "source", "where"]]
    for c in found:
        lines.append([c.name, f"{c.value:.7g}", c.unit, f"{c.low:.4g}", f"{c.high:.4g}", c.source, c.where])
    count = sum(map(_is_unchecked, found))
    return "\n".join(
        [*aligned(lines), f"{len(found)} constants, {count} of them to be checked against their source"]
    )


def _is_unchecked(constant: Constant) -> bool:
    return constant.where == "TO CHECK" or "recalled from memory" in constant.note


def _in_full(constant: Constant) -> list[str]:
    source = SOURCES[constant.source]
    lines = [
        ["name", constant.name],
        ["value", f"{constant.value:.12g} {constant.unit}"],
        ["range", f"{constant.low:.6g} to {constant.high:.6g} {constant.unit}"],
        ["source", f"{source.key}: {source.text}"],
        ["where", constant.where],
    ]
    lines += [["note", constant.note]] if constant.note else []
    lines += [["erratum", source.erratum]] if source.erratum else []
    return aligned(lines)
