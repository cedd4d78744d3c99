"""Units at the door: text with a unit becomes a plain SI number, and results become text again.

This is the only module that imports pint, and it does so on first use, so that `import pilesim` stays fast.
The text is taken apart here before pint sees it: a number, then unit names with single-digit powers. Nothing
is ever evaluated as an expression.
"""

from __future__ import annotations

import math
import re
from functools import cache
from numbers import Real
from typing import Any

from pilesim.base.cache import cache_folder
from pilesim.base.errors import ScenarioError

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?(?![0-9.])")
_PIECE = re.compile(r"(?P<name>[A-Za-z_%]+)(?:(?:\*\*|\^)?(?P<power>[+-]?[0-9]))?(?![0-9A-Za-z_%^])"
                    r"|(?P<sign>[*/()])|(?P<one>1)(?![0-9.])|(?P<space>\s+)")
_AMBIGUOUS = frozenset({"ton", "tons", "Ton", "Tons", "TON"})
_PURE = frozenset({"percent", "permille", "ppm"})        # dimensionless units that a share may carry
_ANGLES = frozenset({"degree", "radian", "arcminute", "arcsecond", "turn"})
_LOOKALIKE = {"C": "degC", "F": "degF", "c": "degC", "f": "degF", "deg": "degC", "Deg": "degC"}
_TYPOGRAPHY = str.maketrans({"\u2212": "-", "\u00b2": "2", "\u00b3": "3", "\u00b7": "*", "\u00a0": " "})
_LONGEST_TEXT = 100


@cache
def _registry() -> Any:
    import pint

    kept = cache_folder() / f"units-{pint.__version__}"  # parsing pint's list of units takes longer than reading it back
    try:
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=kept)
    except Exception:  # half written by another process, or damaged
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


def _pint_units(text: str) -> str | None:
    """`text` ('kg/m3', 'W m-1 K-1') in the spelling pint reads, or None if it is not a product of units."""
    out: list[str] = ["1"] if text.startswith("/") else []      # "0.15 /day" is common
    position, joined = 0, not out        # joined: at the start or after an operator, where a unit may follow
    while position < len(text):
        piece = _PIECE.match(text, position)
        if piece is None:
            return None
        position = piece.end()
        if piece["space"]:
            continue
        sign = piece["sign"]
        if sign in ("*", "/", ")") and joined:
            return None
        if sign:
            out.append(sign if joined or sign != "(" else "*(")
            joined = sign != ")"
            continue
        power = f"**({piece['power']})" if piece["power"] else ""
        factor = piece["one"] or piece["name"].replace("%", "percent") + power
        out.append(factor if joined else f"*{factor}")
        joined = False
    return None if joined and out else "".join(out)


def _split(text: str, unit: str, where: str) -> tuple[float, str]:
    """The number in front of `text` and the rest, which should be the unit."""
    expected = _expected(unit)
    if not text.strip():
        raise ScenarioError(where, repr(text), expected, "The text is empty.")
    if len(text) > _LONGEST_TEXT:
        raise ScenarioError(where, repr(text), expected, f"The text has {len(text)} characters.")
    clean = text.translate(_TYPOGRAPHY).replace("\u00b0C", "degC").replace("\u00b0F", "degF")
    clean = clean.replace("\u00b0", "deg").strip()
    number = _NUMBER.match(clean)
    if number is None:
        raise ScenarioError(where, repr(text), expected, "It must start with a finite number in digits.")
    rest = clean[number.end():].strip()
    if rest[:1] == ",":
        raise ScenarioError(where, repr(text), expected, "Write a decimal point, and no thousands signs.")
    return float(number.group()), rest


def _expected(unit: str) -> str:
    if unit in ("", "1"):
        return "a plain number or a share such as '58 percent'"
    return f"a quantity convertible to '{unit}'"


def _example(unit: str) -> str:
    return {"K": "degC", "rad": "deg", "delta_degC": "delta_degC"}.get(unit, unit)


def _refuse_wrong_kind(quantity: Any, unit: str, text: str, where: str) -> None:
    """Refuse what pint converts silently: angles as shares, shares as angles, differences as temperatures."""
    registry = _registry()
    names = [name for name, _ in quantity.unit_items()]
    if unit == "K" and any(name.startswith("delta_") for name in names):
        raise ScenarioError(where, repr(text), "a temperature such as '20 degC'", "This is a difference.")
    if unit == "rad" and not all(name in _ANGLES for name in names):
        raise ScenarioError(where, repr(text), "an angle such as '50 deg'")
    if unit in ("", "1"):
        strange = [n for n in names if registry.Quantity(1, n).dimensionless and n not in _PURE]
        if strange:
            advice = f"'{strange[0]}' is not a unit of a share."
            raise ScenarioError(where, repr(text), _expected(unit), advice)


def to_si(text: object, unit: str, where: str) -> float:
    """The number that `text` states, in `unit`: ``to_si("-4 degF", "K", "start.temperature")`` is 253.15.

    Parameters
    ----------
    text : str, or a plain number where `unit` is "" or "1"
        A number and its unit, such as "5.5 m", "500 kg/m3", "0.15 1/day", "45 percent".
    unit : str
        SI unit of the result, in the spelling of the constants registry ("kg m-3") or with a slash; "" or "1"
        for shares and ratios; "K" for temperatures (not differences), "delta_degC" for their differences; "rad" for angles.
    where : str
        Dotted key for the message.

    Raises
    ------
    ScenarioError
        For anything but a finite number with a fitting, unambiguous unit.
    """
    pure = unit in ("", "1")
    if isinstance(text, Real) and not isinstance(text, bool):
        if not pure:
            raise ScenarioError(where, repr(text), f"text with a unit, such as \"{text} {_example(unit)}\"",
                                "A bare number is not accepted.")
        return _finite(_as_float(text), repr(text), unit, where)
    if not isinstance(text, str):
        raise ScenarioError(where, repr(text), _expected(unit), f"It is a {type(text).__name__}, not text.")
    number, rest = _split(text, unit, where)
    _finite(number, repr(text), unit, where)
    if not rest:
        if not pure:
            advice = f"Add the unit, such as '{_example(unit)}'."
            raise ScenarioError(where, repr(text), _expected(unit), advice)
        return number
    if pure and rest in ("percent", "%"):
        return number / 100.0           # the nearest float, as 0.58 is to "58 percent"
    return _finite(_converted(number, rest, unit, text, where), repr(text), unit, where)


def _converted(number: float, rest: str, unit: str, text: str, where: str) -> float:
    import pint

    expected = _expected(unit)
    if _AMBIGUOUS & set(re.findall(r"[A-Za-z]+", rest)):
        advice = "'ton' is ambiguous: write tonne, short_ton or long_ton."
        raise ScenarioError(where, repr(text), expected, advice)
    if unit == "delta_degC" and rest.lower() in ("degc", "degf", "c", "f"):
        raise ScenarioError(where, repr(text), "a temperature difference such as '10 delta_degC' or '10 K'",
                            f"Write 'delta_deg{rest[-1].upper()}'.")
    if unit == "K" and rest in _LOOKALIKE:
        raise ScenarioError(where, repr(text), expected, f"Write '{_LOOKALIKE[rest]}'.")
    spelt = _pint_units(rest)
    if spelt is None:
        raise ScenarioError(where, repr(text), expected, f"'{rest}' is not a unit.")
    try:
        quantity = _registry().Quantity(number, spelt)
        result = float(quantity.to(_pint_units(unit) or "dimensionless").magnitude)
    except pint.PintError as why:
        raise ScenarioError(where, repr(text), expected, f"{why}.") from None
    except Exception:       # pint's parser also passes on what Python's tokenizer raises
        raise ScenarioError(where, repr(text), expected, f"'{rest}' is not a unit.") from None
    _refuse_wrong_kind(quantity, unit, text, where)
    return result


def _as_float(number: Real) -> float:
    try:
        return float(number)
    except OverflowError:
        return math.inf


def _finite(number: float, given: str, unit: str, where: str) -> float:
    if not math.isfinite(number):
        raise ScenarioError(where, given, _expected(unit), "The number must be finite.")
    return number


def from_si(value: float, unit: str, shown: str) -> float:
    """`value` in SI `unit` as a number in the unit `shown`; "K" to "degC" is for temperatures only."""
    if unit == shown or {unit, shown} <= {"", "1"} or not math.isfinite(value):
        return float(value)
    quantity = _registry().Quantity(value, _pint_units(unit) or "dimensionless")
    return float(quantity.to(_pint_units(shown) or "dimensionless").magnitude)


# ------------------------------------------------------------------------------------------------- output
UNIT_SYSTEMS = ("metric", "us")
_US = {
    "degC": "degF", "K": "delta_degF",
    "m": "ft", "m2": "ft2", "m3": "yd3", "m3 m-1": "yd3 ft-1", "m2 m-1": "ft2 ft-1",
    "kg": "lb", "kg m-1": "lb ft-1", "kg m-2": "lb ft-2", "kg m-3": "lb yd-3", "m s-1": "ft min-1",
    "kg s-1 m-1": "lb h-1 ft-1", "kg h-1 m-1": "lb h-1 ft-1", "kg s-1": "lb h-1", "kg h-1": "lb h-1",
    "W m-1": "Btu h-1 ft-1", "W m-2": "Btu h-1 ft-2", "W m-3": "Btu h-1 yd-3", "J kg-1": "Btu lb-1",
    "W m-1 K-1": "Btu h-1 ft-1 delta_degF-1",
}
_SMALL = 1e-6      # m or m2: smaller lengths and areas are leakances and permeabilities, which stay in SI


def check_unit_system(system: str) -> None:
    """Refuse any but metric and us.

    Raises
    ------
    ScenarioError
        For an unknown system.
    """
    if system not in UNIT_SYSTEMS:
        raise ScenarioError("--units", repr(system), "metric or us")


def to_display(value: float, unit: str, system: str = "metric",
               difference: bool = False) -> tuple[float, str]:
    """A result and its unit in the unit system asked for.

    Parameters
    ----------
    value : float
        Number in `unit`; NaN passes through.
    unit : str
        As in the Dataset's attributes ("degC", "kg m-3", "m3 m-1"); "K" is a temperature difference.
    system : {"metric", "us"}
        "metric" changes nothing. "us" turns m into ft, m3 into yd3, kg into lb, degC into degF and so on;
        shares, times and the tiny lengths and areas of leakance and permeability stay as they are.
    difference : bool
        True for an error or a difference of a temperature given in degC.

    Raises
    ------
    ScenarioError
        For an unknown system.
    """
    check_unit_system(system)
    source = "K" if difference and unit == "degC" else unit
    target = _US.get(source)
    if system == "metric" or target is None or (source in ("m", "m2") and 0.0 < abs(value) < _SMALL):
        return float(value), source
    label = target.replace("delta_", "")
    if math.isnan(value):
        return float(value), label
    start = "delta_degC" if source == "K" else source
    return from_si(value, start, target), label


def format_number(value: float) -> str:
    """Four significant digits, no exponent between 0.001 and a million; "-" for NaN."""
    if math.isnan(value):
        return "-"
    if value == 0.0 or 1e-3 <= abs(value) < 1e6:
        return f"{value:.0f}" if abs(value) >= 1e3 else f"{value:.4g}"
    return f"{value:.3g}"


def format_value(value: float, unit: str, system: str = "metric", difference: bool = False) -> str:
    """`value` as text with its unit: ``format_value(2.0, "m", "us")`` is "6.562 ft"; "1" is left out."""
    number, label = to_display(value, unit, system, difference)
    text = format_number(number)
    return text if label in ("", "1") or text == "-" else f"{text} {label}"
