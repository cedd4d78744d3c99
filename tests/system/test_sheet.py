"""`pilesim sheet` as a user meets it: in an empty folder, on a real run, with results that are none."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from picture_checks import png_size
from system.test_cli import SMALL, call, files, without_announcement

from pilesim.cli import main


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """A folder in which small.toml was run."""
    folder = tmp_path_factory.mktemp("sheet")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    done = call("run", "small.toml", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def refused(ran, monkeypatch, capfd):
    """Call the command in this process and check: exit 2, one plain line on stderr, nothing else, no new file."""
    monkeypatch.chdir(ran)

    def check(*words: str) -> str:
        before = files(ran)
        assert main(("sheet", *words)) == 2
        out, err = capfd.readouterr()
        assert out == "" and err.endswith("\n") and err[:-1].isprintable(), err
        assert files(ran) == before
        return err[:-1]

    return check


def test_the_sheet_of_a_run(ran):
    """The folder and the file give the same words; files are the one page, 150 dots per inch of A4.

    Seen to fail: a title that is not the run's own.
    """
    folder, file = "out/small-run", "out/small-run/result.nc"
    done = call("sheet", folder, cwd=ran)
    assert done.returncode == 0 and without_announcement(done.stderr) == [], done.stderr
    assert files(ran / "out" / "small-sheet") == {"sheet.png"}
    assert png_size(ran / "out" / "small-sheet" / "sheet.png") == (1240, 1753)
    lines = done.stdout.splitlines()
    assert lines[0] == "Small invented pile [for tests]: design sheet" and lines[-1] == "out/small-sheet/sheet.png"
    for word in ("Sizes", "Amounts", "Air and heat", "Cover", "What limits it", "not judged (not reached)", "fire service",
                 "ask your regulator", "Limits of the model"):
        assert word in done.stdout
    assert "nan" not in done.stdout
    again = call("sheet", file, "--out", "again", cwd=ran)
    assert again.returncode == 0 and again.stdout.splitlines()[:-1] == lines[:-1]
    assert (ran / "again" / "sheet.png").read_bytes() == (ran / "out" / "small-sheet" / "sheet.png").read_bytes()


def test_us_units_on_the_screen(ran):
    """Seen to fail: metric words with --units us."""
    done = call("sheet", "out/small-run", "--units", "us", "--out", "us", cwd=ran)
    assert done.returncode == 0, done.stderr
    for word in ("short ton per ft", "yd3 per ft", "Btu/h per ft", "degF", "7.9 ft"):
        assert word in done.stdout
    assert " kg" not in done.stdout and " per m\n" not in done.stdout


def test_a_used_folder_needs_force_and_keeps_other_files(ran, refused):
    (ran / "used").mkdir()
    (ran / "used" / "mine.txt").write_text("keep", encoding="utf-8")
    assert "--force" in refused("out/small-run", "--out", "used")
    done = call("sheet", "out/small-run", "--out", "used", "--force", cwd=ran)
    assert done.returncode == 0 and files(ran / "used") == {"mine.txt", "sheet.png"}


def test_results_that_are_none(ran, refused):
    """Seen to fail: an empty folder taken for a damaged file."""
    (ran / "empty").mkdir()
    (ran / "junk.nc").write_bytes(bytes(range(256)))
    strange = xr.Dataset({"a": ("x", np.arange(3.0))})
    strange.to_netcdf(ran / "strange.nc", engine="h5netcdf")
    done = call("compare", "small.toml", "--vary", "pile.height=0.9 m", "--out", "compared", cwd=ran)
    assert done.returncode == 0, done.stderr
    for name in ("nowhere", "nowhere/result.nc", "empty", "x" * 300):
        assert "RESULT = " in refused(name) and "pilesim run SCENARIO" in refused(name)
    for name in ("junk.nc", "strange.nc", "small.toml", "compared/comparison.nc", "out/small-run/summary.json"):
        assert "written by" in refused(name)
    assert "Missing argument 'RESULT'" in refused()
    assert "--units" in refused("out/small-run", "--units", "cubits")
    assert "--debug" not in refused("nowhere", "--set", "pile.height=1 m")


def test_debug_shows_the_traceback(ran, monkeypatch, capfd):
    monkeypatch.chdir(ran)
    assert main(["sheet", "nowhere", "--debug"]) == 2
    assert "Traceback" in capfd.readouterr().err
