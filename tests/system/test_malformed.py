"""Every malformed scenario gives one ScenarioError of one line, with the right place and advice."""

from __future__ import annotations

import os

import pytest
from system.malformed import FILES, GOOD, OVERRIDES, File, Override

from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import load, set_values


def assert_one_clear_line(error: ScenarioError, where: str, fragment: str) -> None:
    line = str(error)
    assert line.isprintable() and len(line) < 2500  # isprintable: no line break, no escape sequence
    assert error.where.endswith(where), error.where
    assert fragment in line, line
    assert ": expected " in line
    assert line.endswith((".", "?")) and not line.endswith("..")


def test_the_good_file_loads(tmp_path):
    """Else every file case below could fail for a common reason. Planted: a unit taken from GOOD."""
    (tmp_path / "case.toml").write_text(GOOD, encoding="utf-8")
    assert load(tmp_path / "case.toml").pile.base_width == pytest.approx(5.2, rel=1e-15)


@pytest.mark.parametrize("case", FILES, ids=lambda case: case.case)
def test_bad_file_is_refused_in_one_line(case: File, tmp_path):
    """Planted: reading without the size limit, the recursion guard, the decoder's guard: seen to fail."""
    for name, content in case.beside.items():
        (tmp_path / name).write_bytes(content)
    path = tmp_path / "case.toml"
    path.write_bytes(case.content)
    with pytest.raises(ScenarioError) as caught:
        load(path)
    where = case.where.rstrip("/") or "case.toml"
    assert_one_clear_line(caught.value, "" if case.where == "./" else where, case.fragment)


@pytest.mark.parametrize("case", OVERRIDES, ids=lambda case: case.case)
def test_bad_change_is_refused_in_one_line(case: Override):
    """Planted: ranges not applied, the ton test removed, the crest test removed: seen to fail."""
    reference = load("reference_pile")
    with pytest.raises(ScenarioError) as caught:
        set_values(reference, case.changes)
    assert_one_clear_line(caught.value, case.where, case.fragment)


def test_places_that_are_no_files(tmp_path):
    """A missing file, a folder, a pipe, a loop of links, a long name: one line each, no hang."""
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "loop.toml").symlink_to(tmp_path / "loop.toml")
    (tmp_path / "folder.toml").mkdir()
    cases = {
        "missing.toml": "no such file",
        "folder.toml": "folder",
        "pipe.toml": "not a regular file",
        "loop.toml": "no such file",
        "n" * 300 + ".toml": "cannot be read",
    }
    for name, fragment in cases.items():
        with pytest.raises(ScenarioError, match=fragment) as caught:
            load(tmp_path / name)
        assert_one_clear_line(caught.value, name, fragment)


def test_unknown_bundled_name_lists_and_suggests():
    with pytest.raises(ScenarioError, match="Did you mean 'wide_pile'") as caught:
        load("wide_pil")
    assert "reference_pile" in caught.value.allowed
