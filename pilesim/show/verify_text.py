"""The checks of `pilesim verify` on the screen: two plain lines each, then what they add up to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from pilesim.verify.table import Row

_MARK = {"yes": "pass", "no": "FAIL", "skipped": "skip"}
_LIMITS = (
    "These checks say that the equations are solved as written, not that a pile obeys them: rates and permeabilities of a "
    "real pile are uncertain by far more. Nothing here is a statement of compliance; see the cautions in README."
)


def verify_lines(rows: Sequence[Row]) -> Iterator[str]:
    """Lines to print: for each check mark and name, then expected, got, tolerance, unit, kind and source."""
    for row in rows:
        c = row.check
        yield f"{_MARK[row.status]}  {c.name}"
        if row.failure:
            yield f"      not computed: {row.failure}"
        elif c.missing:
            yield f"      not made: {c.missing} is not installed | {c.kind}: {c.source}"
        else:
            unit = "" if c.unit == "1" else f" {c.unit}"
            numbers = f"expected {c.expected:.7g}, got {c.got:.7g}, tolerance {c.tolerance:.2g}{unit}"
            yield f"      {numbers} | {c.kind}: {c.source}"
    status, kinds = Counter(row.status for row in rows), Counter(r.check.kind for r in rows if r.status != "skipped")
    yield ""
    skipped = f", {status['skipped']} skipped" if status["skipped"] else ""
    yield (f"{len(rows)} checks: {status['yes']} passed, {status['no']} failed{skipped}"
           f" ({kinds['external']} external, {kinds['exact']} exact, {kinds['self']} of the project's own)")
    yield _LIMITS
