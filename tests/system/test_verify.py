"""`pilesim verify` as a user meets it: rows, exit codes, missing libraries."""

import csv
import math

import pytest

from pilesim.cli import main
from pilesim.verify import cases, moist_air, table
from pilesim.verify.check import Case, Check, order, worst_relative


def good():
    return [Check("a sum", "exact", "exact mathematics", 2.0, 2.0 + 1e-12, 1e-9, "K")]


def bad():
    return [Check("another sum", "external", "a table", 2.0, 2.1, 1e-3, "K")]


def raising():
    raise ValueError("no answer")


def test_rows_on_screen_and_in_the_file(tmp_path, monkeypatch, capsys):
    """A failed row, and a case that raises, make exit 1; the others are kept. Planted: exit 0; the raising case left out."""
    monkeypatch.setattr(cases, "CASES", (Case("good", good), Case("bad", bad), Case("raising", raising),
                                         Case("late", good, slow=True)))
    assert main(["verify", "--out", str(tmp_path / "v")]) == 1
    said = capsys.readouterr().out
    assert "FAIL  another sum" in said and "not computed: ValueError: no answer" in said
    assert "3 checks: 1 passed, 2 failed (1 external, 1 exact, 1 of the project's own)" in said
    with open(tmp_path / "v" / "verify.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == table.COLUMNS
    assert [row["passed"] for row in rows] == ["yes", "no", "no"]
    assert float(rows[0]["expected"]) == 2.0 and rows[0]["unit"] == "K" and rows[1]["source"] == "a table"
    monkeypatch.setattr(cases, "CASES", (Case("good", good), Case("late", good, slow=True)))
    assert main(["verify", "--out", str(tmp_path / "v")]) == 2  # not empty
    assert main(["verify", "--all", "--out", str(tmp_path / "v"), "--force"]) == 0
    assert "2 checks: 2 passed" in capsys.readouterr().out


def test_a_library_that_is_not_there_is_skipped(monkeypatch):
    """Planted: the missing library counted as passed."""
    real = moist_air.importlib.import_module

    def absent(name, package=None):
        if name.startswith("CoolProp"):
            raise ModuleNotFoundError(f"No module named '{name}'", name=name)
        return real(name, package)

    monkeypatch.setattr(moist_air.importlib, "import_module", absent)
    rows = table.run_cases([Case("water", moist_air.saturation_of_water), Case("point", moist_air.saturation_at_check_point)])
    assert [row.status for row in rows] == ["skipped", "yes"]
    assert rows[0].check.missing == "CoolProp"


def test_nan_never_passes():
    """Planted: passed as `not difference > tolerance`."""
    nan = math.nan
    assert not Check("x", "exact", "s", 1.0, nan, 1.0).passed
    assert not Check("x", "exact", "s", nan, 1.0, 1.0).passed
    assert not worst_relative("x", "exact", "s", [(1.0, 1.0), (1.0, nan)], 0.1).passed
    assert not order("x", "exact", "s", [0.4, nan, 0.1], 0.5).passed


def test_the_list_is_long_and_sourced():
    """At least thirty checks, each with a name of its own and a source. Planted: a source left empty."""
    quick = [case for case in cases.CASES if case.compute.__module__.endswith("moist_air")]
    rows = [row.check for row in table.run_cases(quick)]
    assert len({row.name for row in rows}) == len(rows) and all(row.source for row in rows)
    assert len(cases.CASES) >= 30 and len({case.name for case in cases.CASES}) == len(cases.CASES)
    assert len(cases.chosen(slow=False)) < len(cases.chosen(slow=True)) == len(cases.CASES)


@pytest.mark.parametrize("words", [["verify", "--bogus"], ["verify", "extra"]])
def test_wrong_words_are_exit_2(words, capsys):
    """Planted: unknown arguments let through."""
    assert main(words) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
