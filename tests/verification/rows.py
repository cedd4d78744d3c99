"""How tests ask for the rows that `pilesim verify` prints."""

from collections.abc import Iterable

from pilesim.verify.check import Check


def assert_pass(checks: Iterable[Check]) -> None:
    """Every row was made and passes; there is at least one."""
    rows = list(checks)
    assert rows
    for row in rows:
        assert not row.missing, f"{row.name}: {row.missing} is not installed"
        said = f"{row.name}: expected {row.expected:.10g} within {row.tolerance:.3g} {row.unit}, got {row.got:.10g}"
        assert row.passed, said
