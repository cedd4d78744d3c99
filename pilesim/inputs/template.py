"""The commented scenario to start from, written from the schema so that nothing is typed twice."""

from __future__ import annotations

from pilesim.base.constants import CONSTANTS
from pilesim.base.units import from_si
from pilesim.inputs import layers
from pilesim.inputs.schema import EVENT, SCHEMA, SUBTABLES, Key

_HEADER = """\
# A scenario for pilesim. Every quantity is text with a unit: "5.2 m", "8 in", "-4 degF", "500 kg/m3", "58 %".
# Lines that start with '# ' and a key show its default; remove the '# ' to change it.
# The values are those of the bundled reference_pile: an invented site, for orientation only.
"""


def template() -> str:
    """Text of a commented scenario equal to the bundled reference pile, with every key explained."""
    tables = layers.read_chain(layers.find_file("reference_pile"))
    lines = [_HEADER + 'title = "A pile to start from"',
             '# extends = "other.toml"     # start from another scenario, give differences only']
    for name, keys in SCHEMA.items():
        lines += ["", f"[{name}]"]
        table = tables.get(name)
        for key, spec in keys.items():
            typed = table.get(key) if isinstance(table, dict) else None
            lines.append(_line(key, spec, typed))
        for inner, specs in SUBTABLES.get(name, {}).items():
            lines.append(f"# [{name}.{inner}]".ljust(46) + " # optional, monthly weather only: " + "; ".join(
                f"{key} ({spec.shown}), {spec.meaning}" for key, spec in specs.items()))
    lines += ["", "# [[event]]".ljust(46) + " # optional, as often as needed: " + "; ".join(
        f"{key} = {default_text(spec)}, {spec.meaning}{_range(spec)}" for key, spec in EVENT.items())]
    return "\n".join(lines) + "\n"


def _line(key: str, spec: Key, typed: object) -> str:
    text = layers.literal(typed) if typed is not None else default_text(spec)
    comment = "" if typed is not None else "# "
    return f"{comment}{key} = {text}".ljust(46) + f" # {spec.meaning}{_range(spec)}"


def _range(spec: Key) -> str:
    if spec.kind == "word":
        return f" ({', '.join(spec.words)})" if len(spec.words) > 1 else ""
    if spec.kind != "quantity":
        return ""
    return f" ({spec.low:g} to {spec.high:g}{' ' + spec.shown if spec.shown else ''})"


def default_text(spec: Key) -> str:
    """The default of a key as TOML, or an example where there is none."""
    if spec.kind == "word":
        return f'"{spec.words[0]}"'
    if spec.kind == "flag":
        return "false"
    if spec.kind in ("points", "ingredients"):
        return spec.example
    if spec.kind == "text":
        return f'"{spec.example}"'
    if spec.kind == "date":
        return '"2025-11-30"'
    if spec.kind == "rule":
        temperature, duration = CONSTANTS["rule_temperature"].value, CONSTANTS["rule_duration"].value
        return f'"{from_si(temperature, "K", "degC"):g} degC for {from_si(duration, "s", "day"):g} day"'
    value = CONSTANTS[spec.constant].value if spec.constant else spec.default
    if value is None:
        return f'"{spec.example}"'
    number = f"{from_si(value, spec.unit, spec.shown):.6g}"
    return f'"{number} {spec.shown}"' if spec.shown else number
