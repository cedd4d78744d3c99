"""A value and its numerical error as text, with digits that the error allows."""

from __future__ import annotations

import math

from pilesim.base.units import format_number, to_display

BOTH_GRIDS = "(both grids)"  # behind a value on which both grids agree exactly: no error was found, which is not no error
_ROUND_OFF = 1e-4  # of the value: smaller errors do not show in four digits
_MOST_PLACES = 4  # behind the decimal point of a value with its error


def value_with_error(value: float, error: float, trusted: bool = True) -> str:
    """``0.230 ±0.021``: the error with two digits, the value to the same place.

    Errors too small to show are left out; an unknown one is ``±?``; one that is not to be trusted has a question mark.
    """
    size = abs(error)
    if math.isnan(value) or math.isinf(value):
        return format_number(value)
    if math.isnan(size) or math.isinf(size):
        return f"{format_number(value)} ±?"
    if size < _ROUND_OFF * abs(value) or size == 0.0:
        return format_number(value)
    mark = "" if trusted else "?"
    if size < 0.5 * 10.0**-_MOST_PLACES or abs(value) >= 1e6:
        return f"{format_number(value)} ±{size:.2g}{mark}"
    places = min(_MOST_PLACES, max(0, 1 - math.floor(math.log10(size))))
    return f"{value:.{places}f} ±{size:.{places}f}{mark}"


def estimate(value: float, error: float, trusted: bool = True) -> str:
    """As :func:`value_with_error`, for what the grid might have moved: an error of exactly nought is not passed over."""
    text = value_with_error(value, error, trusted)
    return f"{text} {BOTH_GRIDS}" if error == 0.0 and math.isfinite(value) else text


def shown(value: float | None, error: float | None, unit: str, system: str) -> tuple[float, float, str]:
    """Value, error and unit in the unit system asked for; NaN for None. The unit "1" is left out."""
    number, label = to_display(math.nan if value is None else value, unit, system)
    spread, _ = to_display(math.nan if error is None else error, unit, system, difference=True)
    return number, spread, "" if label == "1" else label
