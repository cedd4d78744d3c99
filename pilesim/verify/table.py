"""Run the checks and write them down."""

from __future__ import annotations

import csv
import io
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pilesim.result import write_text
from pilesim.verify.check import Case, Check

COLUMNS = ("name", "kind", "source", "expected", "got", "tolerance", "unit", "passed", "seconds")


@dataclass(frozen=True, slots=True)
class Row:
    """A check, how long its case took [s], and what went wrong if it could not be computed."""

    check: Check
    seconds: float
    failure: str = ""

    @property
    def status(self) -> str:
        """yes, no, or skipped when a library is not installed."""
        if self.check.missing:
            return "skipped"
        return "yes" if self.check.passed else "no"


def run_cases(cases: Sequence[Case], progress: Callable[[float], None] | None = None) -> list[Row]:
    """Compute every case; one that raises, or makes no check, becomes a failed row and the rest go on."""
    rows: list[Row] = []
    for number, case in enumerate(cases):
        start = time.perf_counter()
        failure = ""
        try:
            checks = case.compute()
            failure = "" if checks else "no check was made"
        except Exception as why:
            checks, failure = [], f"{type(why).__name__}: {why}"
        if failure:
            checks = [Check(case.name, "self", "not computed", math.nan, math.nan, math.nan)]
        seconds = time.perf_counter() - start
        rows += [Row(check, seconds, failure) for check in checks]
        if progress is not None:
            progress((number + 1) / len(cases))
    return rows


def write_checks(rows: Sequence[Row], path: Path) -> None:
    """Write ``verify.csv``: UTF-8, a line for each check; `seconds` are those of all checks computed together."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        c = row.check
        source = f"{c.source} ({c.missing} is not installed)" if c.missing else c.source
        source = f"{source}: {row.failure}" if row.failure else source
        numbers = [_number(value) for value in (c.expected, c.got, c.tolerance)]
        writer.writerow([c.name, c.kind, source, *numbers, c.unit, row.status, f"{row.seconds:.3f}"])
    write_text(out.getvalue(), path)


def _number(value: float) -> str:
    return "NaN" if math.isnan(value) else repr(float(value))
