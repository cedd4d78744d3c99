"""`pilesim widths` as a user meets it: real runs of small piles in an empty folder, real exit codes."""

from __future__ import annotations

import csv
import json

import pytest
from system.test_cli import SMALL, call, files, here, refused, without_announcement

from pilesim.cli import main
from pilesim.cli.options import WIDTHS_FILES

__all__ = ["here", "refused"]  # fixtures
ASKED = ("--widths", "3 m,2.2 m", "--duration", "3 day", "--day", "2 day")


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    folder = tmp_path_factory.mktemp("widths")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    (folder / "tight.toml").write_text('title = "Tight"\nextends = "small.toml"\n[mix]\npermeability = "1e-9 m2"\n',
                                       encoding="utf-8")  # fmt: skip
    (folder / "empty").mkdir()
    words = ("widths", "small.toml", "tight.toml", *ASKED)
    return folder, [call(*words, "--workers", str(n), "--out", out, cwd=folder) for n, out in ((1, "empty"), (2, "new"))]


def test_widths_writes_its_two_files_and_says_so(ran):
    """An empty folder is used, a new one made. Planted: the widest pile left out of the rows."""
    folder, results = ran
    for done, out in zip(results, ("empty", "new"), strict=True):
        assert done.returncode == 0, done.stderr
        assert without_announcement(done.stderr) == []
        assert files(folder / out) == set(WIDTHS_FILES)
        assert done.stdout.splitlines()[-1] == f"{out}/widths.png"
        for words in ("Trade lore", "Model:", "fire service", "ask your regulator"):
            assert words in done.stdout
    assert (folder / "new" / "widths.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_rows_are_ordered_and_do_not_depend_on_workers(ran):
    """Planted: rows in the order in which the piles finish (the widest starts first)."""
    folder, _ = ran
    texts = [(folder / out / "widths.csv").read_text(encoding="utf-8") for out in ("empty", "new")]
    assert texts[0] == texts[1]
    rows = list(csv.DictReader(texts[0].splitlines()))
    assert [(row["scenario"], row["base_width"], row["status"]) for row in rows] == [
        ("small", "2.2 m", "ok"), ("small", "3 m", "ok"), ("tight", "2.2 m", "ok"), ("tight", "3 m", "ok")]  # fmt: skip
    assert list(rows[0])[-2:] == ["anaerobic_share_day_3", "anaerobic_share_day_3_error"]


def test_a_pile_is_the_same_as_alone(ran):
    """`pilesim run` with the same width and duration gives the same peak. Planted: the width not passed on."""
    folder, _ = ran
    words = ("--set", "pile.base_width=3 m", "--set", "run.duration=3 day", "--set", "run.output_every=6 hour")
    done = call("run", "small.toml", *words, "--out", "alone", cwd=folder)
    assert done.returncode == 0, done.stderr
    measures = json.loads((folder / "alone" / "summary.json").read_text(encoding="utf-8"))["measures"]
    with open(folder / "new" / "widths.csv", encoding="utf-8", newline="") as stream:
        row = list(csv.DictReader(stream))[1]
    for suffix, part in (("", "value"), ("_error", "error")):
        assert float(row[f"anaerobic_fraction_peak{suffix}"]) == measures["anaerobic_fraction_peak"][part]


@pytest.mark.parametrize(
    ("words", "fragment"),
    [
        (("--widths", "4 kg,6 m"), "convertible to 'm'"),
        (("--widths", "6 m"), "--widths"),
        (("--widths", "2 m,6 m"), "pile.height"),
        (("--day", "50 day"), "--day"),
        (("--duration", "0 day"), "--day"),
        (("--workers", "0"), "--workers"),
        (("nowhere.toml",), "no such file"),
        (("reference_pile", "reference_pile"), "every name once"),
        (("reference_pile", "--set", "pile.shape=column"), "pile.shape"),
    ],
)
def test_bad_calls_are_refused_in_one_line(refused, words, fragment):
    """Exit 2, one line, nothing written."""
    assert fragment in refused("widths", *words)


def test_a_folder_that_is_not_empty_is_refused(refused, here):
    (here / "full").mkdir()
    (here / "full" / "mine.txt").write_text("keep", encoding="utf-8")
    assert "--force" in refused("widths", "reference_pile", "--out", "full")


def test_when_every_pile_fails_the_reasons_are_told(here, capsys):
    """The physical check of the bed fails in every width: exit 1, a row each. Planted: exit 0."""
    (here / "small.toml").write_text(SMALL, encoding="utf-8")
    words = ("--set", "mix.bulk_density=1500 kg/m3", "--set", "mix.moisture=0.1")
    assert main(["widths", "small.toml", *ASKED, *words, "--out", "o"]) == 1
    out, err = capsys.readouterr()
    assert "every pile failed" in err and out.count("failed: small, pile.base_width") == 2
    assert files(here / "o") == set(WIDTHS_FILES)
