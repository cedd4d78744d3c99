"""The constants registry as text: a list, a search, or one record in full with those who use it."""

from __future__ import annotations

import re
from pathlib import Path

from pilesim.base.constants import CONSTANTS, Constant
from pilesim.base.errors import ScenarioError
from pilesim.base.sources import SOURCES
from pilesim.inputs.laws import laws
from pilesim.inputs.schema import known_keys, suggestion
from pilesim.show.screen import aligned

UNCHECKED = "?"  # flag of a number whose place in its source is still to be checked
_NOT_USERS = ("base/constants.py", "base/sources.py")


def constants_text(name: str | None, unchecked: bool) -> str:
    """One constant in full if `name` is exact, else the list of those whose name, note or source contains it.

    Parameters
    ----------
    name : str or None
        A name, or words to search for, all of which must be found; upper and lower case are the same.
    unchecked : bool
        Only numbers whose place in the source is still to be checked, or that were recalled from memory.

    Raises
    ------
    ScenarioError
        If nothing is found.
    """
    if name in CONSTANTS and not unchecked:
        return "\n".join(_in_full(CONSTANTS[name]))
    words = (name or "").lower().split()
    found = [c for c in CONSTANTS.values() if _matches(c, words) and (not unchecked or is_unchecked(c))]
    if not found:
        closest = suggestion(name or "", CONSTANTS)
        advice = f"{closest} List them with: pilesim constants".strip()
        raise ScenarioError("NAME", repr(name), "a constant, a part of its name, or words of its note or source", advice)
    lines = [["name", "value", "unit", "low", "high", "source", "where", ""]]
    for c in found:
        flag = UNCHECKED if is_unchecked(c) else ""
        lines.append([c.name, f"{c.value:.7g}", c.unit, f"{c.low:.4g}", f"{c.high:.4g}", c.source, c.where, flag])
    count = sum(map(is_unchecked, found))
    return "\n".join(
        [*aligned(lines), f"{len(found)} constants, {count} of them to be checked against their source ({UNCHECKED}). "
                          "One in full: pilesim constants NAME"]
    )


def is_unchecked(constant: Constant) -> bool:
    """Whether the number's place in its source is still to be checked, or the number was recalled from memory."""
    return constant.where == "TO CHECK" or "recalled from memory" in constant.note


def users(name: str) -> list[str]:
    """Who uses a constant: modules of the package that name it, and the scenario keys whose default it is."""
    package = Path(__file__).resolve().parents[1]
    whole = re.compile(rf"\b{re.escape(name)}\b")
    modules = [path.relative_to(package).as_posix() for path in sorted(package.rglob("*.py"))]
    found = [module for module in modules if module not in _NOT_USERS and whole.search((package / module).read_text("utf-8"))]
    keys = [f"default of {key}" for key, spec in known_keys().items() if spec.constant == name]
    return [*keys, *found]


def _options(name: str) -> list[tuple[str, str]]:
    """Options of [laws] that replace a constant: the key, and what they put and why."""
    return [(key, f'"{law.name}" puts {law.constants[name]:.6g} ({law.source}: {law.why})')
            for key, options in laws().items() for law in options.values() if name in law.constants]


def _matches(constant: Constant, words: list[str]) -> bool:
    source = SOURCES[constant.source]
    text = " ".join((constant.name, constant.note, source.key, source.text)).lower()
    return all(word in text for word in words)


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
    lines += [[f"[laws] {key}", text] for key, text in _options(constant.name)]
    lines += [["used by", ", ".join(users(constant.name))]]
    lines += [["unchecked", "yes: the number still has to be read in its source"]] if is_unchecked(constant) else []
    return aligned(lines)
