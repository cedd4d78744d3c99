"""Errors as a user meets them: beside every measure, in files, in comparisons; and where they are not to be trusted."""

from __future__ import annotations

import csv
import json

import pytest
import xarray as xr
from system.test_cli import SMALL, call

PLUMES = ("--set", "pile.base_width=3.6 m", "--set", "mix.permeability=2e-7 m2", "--set", "run.duration=1 day")
NOT_TRUSTED = "convects in plumes that no grid settles"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("errors")
    (place / "small.toml").write_text(SMALL, encoding="utf-8")
    return place


def done(folder, *words):
    result = call(*words, cwd=folder)
    assert result.returncode == 0, result.stderr
    return result.stdout


def test_run_and_sheet_say_where_errors_mean_nothing(folder):
    """A mix of 2e-7 m2 four times as wide as high: said before the table, at each error, in the summary, the result and
    the sheet, whose limits are then neither kept nor exceeded for certain; none of it for an ordinary pile. Seen to
    fail: the mark left out of the screen; the sheet judging by the errors all the same.
    """
    text = done(folder, "run", "small.toml", *PLUMES, "--out", "plume")
    assert f"(±…?) are not to be trusted: so permeable and wide a mix {NOT_TRUSTED}" in text
    row = next(line for line in text.splitlines() if line.startswith("dry_matter_loss"))
    assert row.split()[2].startswith("±") and row.split()[2].endswith("?")
    assert json.loads((folder / "plume" / "summary.json").read_text(encoding="utf-8"))["errors_trusted"] is False
    sheet = done(folder, "sheet", "plume", "--out", "plume-sheet")
    assert NOT_TRUSTED in sheet and "±? %" in sheet and "the error leaves it open" in sheet
    assert "; kept)" not in sheet and "; exceeded)" not in sheet

    text = done(folder, "run", "small.toml", "--set", "run.duration=1 day", "--out", "plain")
    assert NOT_TRUSTED not in text and "?" not in next(line for line in text.splitlines() if line.startswith("dry_matter"))
    assert "0 (both grids)" in next(line for line in text.splitlines() if line.startswith("frozen_fraction_peak"))
    with xr.open_dataset(folder / "plain" / "result.nc") as data:
        assert data.attrs["errors_trusted"] == "true"
        assert data["error_of_zone_temperature"].dims == ("time", "mix_zone")
        assert 0.0 < float(data["error_of_mean_temperature"][-1]) < 10.0
        assert data["heat_released"].attrs["mean_over_run_error"] > 0.0


def test_comparison_marks_ties_and_what_it_cannot_tell(folder):
    """Two heights that differ by 5 mm are tied and said so; a mix in plumes is told apart from nothing. Seen to fail:
    ranks by the values alone; designs in plumes ranked."""
    vary = ("--vary", "pile.height=0.9 m,0.905 m", "--vary", "mix.permeability=5e-8 m2,2e-7 m2")
    text = done(folder, "compare", "small.toml", *vary, "--set", "pile.base_width=3.7 m", "--set", "run.duration=15 day",
                "--set", "limits.rule=45 degC for 1 day", "--out", "ties")
    assert "Tied for the smallest worse share within their errors: " in text
    assert "In cold edges the grid cannot tell apart: " in text and " differ by " in text
    assert "the errors of 2 of 4 designs" in text
    with open(folder / "ties" / "comparison.csv", encoding="utf-8", newline="") as stream:
        designs = list(csv.DictReader(stream))
    for design in designs:
        places = [int(design[f"worse_share_rank_{end}"]) for end in ("best", "worst")]
        plume = design["mix.permeability"] == "2e-7 m2"
        assert design["errors_trusted"] == ("0" if plume else "1")
        assert places == [1, 4], "the two near ones are a tie, and the others may be anywhere"
    with xr.open_dataset(folder / "ties" / "comparison.nc") as data:
        assert data["errors_trusted"].values.tolist() == [[1, 0], [1, 0]]


def test_widths_say_it_too(folder):
    """Seen to fail: the caution left out of the closing sentences."""
    text = done(folder, "widths", "small.toml", "--widths", "2.4 m,3.7 m", "--duration", "2 day", "--day", "1 day", "--set",
                "mix.permeability=2e-7 m2", "--out", "widths")
    assert "Errors not to be trusted, for plumes that no grid settles: 3.7 m (Small invented pile [for tests])." in text
    assert "longer for every wider base" not in text
    with open(folder / "widths" / "widths.csv", encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["errors_trusted"] for row in rows] == ["1.0", "0.0"]
    assert all(float(row["anaerobic_share_day_1_error"]) >= 0.0 for row in rows)
