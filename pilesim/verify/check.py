"""One row of verification: what was expected, what came out, how far apart they may be."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

Kind = Literal["external", "exact", "self"]
MATHEMATICS = "exact mathematics"


@dataclass(frozen=True, slots=True)
class Check:
    """One compared number.

    Attributes
    ----------
    name : str
        What is checked; says "error" or "order" where that is what stands in `got`.
    kind : str
        external (published value or reference library), exact (mathematics) or self (computed for this project).
    source : str
        Of the expected value.
    expected, got : float
        In `unit`; `got` is NaN when the check could not be made.
    tolerance : float
        Largest accepted difference, in `unit`.
    missing : str
        The library that is not installed; empty when the check was made.
    """

    name: str
    kind: Kind
    source: str
    expected: float
    got: float
    tolerance: float
    unit: str = "1"
    missing: str = ""

    @property
    def passed(self) -> bool:
        """Whether the difference is within the tolerance; a NaN never is."""
        return bool(abs(self.got - self.expected) <= self.tolerance)


@dataclass(frozen=True, slots=True)
class Case:
    """Checks that share one computation."""

    name: str
    compute: Callable[[], list[Check]]
    slow: bool = False


def relative(name: str, kind: Kind, source: str, expected: float, got: float, share: float, unit: str = "1") -> Check:
    """A check whose tolerance is a share of the expected value."""
    return Check(name, kind, source, float(expected), float(got), float(share * abs(expected)), unit)


def largest_error(name: str, kind: Kind, source: str, errors: Sequence[float] | np.ndarray, tolerance: float,
                  unit: str = "1") -> Check:
    """A check that the largest of `errors` is at most `tolerance`; a NaN among them fails it."""
    return Check(name, kind, source, 0.0, float(np.max(np.abs(np.asarray(errors, float)))), tolerance, unit)


def worst_relative(name: str, kind: Kind, source: str, pairs: Sequence[tuple[float, float]], share: float,
                   unit: str = "1") -> Check:
    """Of (expected, got) `pairs` the one that is relatively farthest apart; all must be within `share`."""
    expected, got = max(pairs, key=lambda pair: abs(pair[1] / pair[0] - 1.0) if pair[1] == pair[1] else math.inf)
    return relative(name, kind, source, expected, got, share, unit)


def observed_order(errors: Sequence[float] | np.ndarray, ratio: float = 2.0) -> np.ndarray:
    """Orders of convergence between successive `errors`, each refinement by `ratio`."""
    values = np.abs(np.asarray(errors, float))
    return np.asarray(np.log(values[:-1] / values[1:]) / math.log(ratio))


def order(name: str, kind: Kind, source: str, errors: Sequence[float] | np.ndarray, tolerance: float,
          expected: float = 2.0) -> Check:
    """The observed order that is farthest from `expected`."""
    found = observed_order(errors)
    return Check(f"{name}: order", kind, source, expected, float(found[np.argmax(np.abs(found - expected))]), tolerance)


def not_installed(name: str, kind: Kind, source: str, library: str) -> Check:
    """The row of a check that needs a library which is not there."""
    return Check(name, kind, source, math.nan, math.nan, math.nan, "1", library)
