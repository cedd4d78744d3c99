"""The comparison table as pictures need it: two risks of each design, its keys as text, the best leakance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from pilesim.base.constants import CONSTANTS
from pilesim.show import page, style
from pilesim.study.ties import Stretch, ranks

COLD_NAME, STARVED_NAME = "cold_edge_fraction", "anaerobic_fraction_day_14"
FALLBACK_NAME = "anaerobic_fraction_mean"  # for runs too short for day 14
_WORDLESS = ("pile_", "weather_", "site_")  # tables whose keys speak for themselves


UNKNOWN = 100.0  # [%] error of a share of which nothing is known: it may be any share


@dataclass(frozen=True, slots=True)
class VariedKey:
    """One varied scenario key.

    dim : name in the table
    words, unit : for axis labels
    texts : values as drawn
    numbers : values as numbers in `unit`, or None for words and dates
    si : values as numbers in SI, or None
    """

    dim: str
    words: str
    unit: str
    texts: tuple[str, ...]
    numbers: np.ndarray | None
    si: np.ndarray | None

    @property
    def label(self) -> str:
        """Axis label with its unit."""
        return f"{self.words} [{self.unit}]" if self.unit else self.words

    def value_text(self, number: int) -> str:
        """Name, value and unit of one value: 'cover thickness 0.2 m'."""
        return f"{self.words} {self.texts[number]} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Risks:
    """Two risks of all designs; arrays have one axis per varied key, shares in percent, NaN if undefined.

    cold, starved : share of the mix that missed the rule, and that is anaerobic on day 14
    cold_error, starved_error : numerical errors; `UNKNOWN` where unknown or not to be trusted
    failed : designs that could not be run
    leakance : cover permeability over thickness [m], infinite without a cover
    day_14 : False if no design reached day 14; `starved` is then the mean over the run
    """

    keys: tuple[VariedKey, ...]
    cold: np.ndarray
    starved: np.ndarray
    cold_error: np.ndarray
    starved_error: np.ndarray
    failed: np.ndarray
    leakance: np.ndarray
    day_14: bool

    @property
    def worse(self) -> np.ndarray:
        """The larger of the two risks [%]; NaN if either is missing."""
        return np.maximum(self.cold, self.starved)

    def stretches(self) -> list[Stretch]:
        """Where the worse share of each design lies within the errors, in the order of ``np.ndindex``."""
        parts = (self.cold, self.cold_error), (self.starved, self.starved_error)
        low, high = (np.maximum(*(value + sense * error for value, error in parts)).ravel() for sense in (-1.0, 1.0))
        return [Stretch(*map(float, one)) for one in zip(self.worse.ravel(), low, high, strict=True)]

    def ranks(self) -> list[tuple[int, int]]:
        """Best and worst rank by the worse share that the errors allow, in the order of ``np.ndindex``."""
        return ranks(self.stretches())

    @property
    def starved_words(self) -> str:
        """What `starved` is."""
        return "anaerobic on day 14" if self.day_14 else "anaerobic, mean of the run"


def acceptable_shares() -> tuple[float, float]:
    """Cold-edge and anaerobic shares [%] up to which a design counts as acceptable, from the registry."""
    names = "acceptable_cold_edge_share", "acceptable_anaerobic_share"
    return 100.0 * CONSTANTS[names[0]].value, 100.0 * CONSTANTS[names[1]].value


def read_risks(table: xr.Dataset, units: str = "metric") -> Risks:
    """Pick the two risks out of a comparison table; keys with a single value are dropped.

    Parameters
    ----------
    table : xarray.Dataset
        As returned by ``pilesim.compare``: one dim per varied key, `status`, measures, ``<measure>_error``.
        A table whose designs all failed has no measures.
    units : {"metric", "us"}
    """
    status = table["status"]
    single = {str(dim): 0 for dim in status.dims if table.sizes[dim] == 1}
    table = table.isel(single)
    order = [str(dim) for dim in status.dims if dim not in single]
    cold = 100.0 * _numbers(table, COLD_NAME, order)
    day_14 = bool(np.isfinite(_numbers(table, STARVED_NAME, order)).any()) or np.isnan(cold).all()
    starved_name = STARVED_NAME if day_14 else FALLBACK_NAME
    failed = table["status"].transpose(*order).values.astype(str) == "failed"
    leakance = _numbers(table, "cover_leakance", order)
    return Risks(
        keys=tuple(_key(table, dim, units) for dim in order),
        cold=cold,
        starved=100.0 * _numbers(table, starved_name, order),
        cold_error=_errors(table, COLD_NAME, order),
        starved_error=_errors(table, starved_name, order),
        failed=failed,
        day_14=bool(day_14),
        leakance=np.where(np.isnan(leakance) & ~failed, np.inf, leakance),
    )  # null: no cover


def _numbers(table: xr.Dataset, name: str, order: list[str]) -> np.ndarray:
    if name not in table:
        return np.full([table.sizes[dim] for dim in order], np.nan)
    return table[name].transpose(*order).values.astype(float)


def _errors(table: xr.Dataset, name: str, order: list[str]) -> np.ndarray:
    """Errors of a share [%]; `UNKNOWN` where there is none or it means nothing."""
    errors = 100.0 * _numbers(table, f"{name}_error", order)
    if "errors_trusted" in table:
        errors = np.where(_numbers(table, "errors_trusted", order) == 0.0, np.nan, errors)
    return np.nan_to_num(errors, nan=UNKNOWN)


def _key(table: xr.Dataset, dim: str, units: str) -> VariedKey:
    coordinate = table[dim]
    short = next((dim.removeprefix(head) for head in _WORDLESS if dim.startswith(head)), dim)
    clash = any(str(other) != dim and str(other).endswith(short) for other in table["status"].dims)
    words = (dim if clash else short).replace("_", " ")
    unit = str(coordinate.attrs.get("units", ""))
    if not unit:
        return VariedKey(dim, words, "", tuple(page.one_line(value, 24) for value in coordinate.values), None, None)
    raw = coordinate.values.astype(float)
    numbers, label = (raw, "m/s") if unit == "m s-1" else style.shown(raw, unit, units)  # wind, not pore gas
    return VariedKey(dim, words, label, tuple(style.number_text(value) for value in numbers), numbers, raw)
