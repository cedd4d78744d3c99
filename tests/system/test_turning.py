"""`pilesim turning` and `pilesim probes` as a user meets them, and events in a scenario."""

from __future__ import annotations

import csv
import dataclasses
import re

import numpy as np
import pytest
import xarray as xr
from picture_checks import clipped_texts, overlapping_texts, png_size
from system.test_cli import SMALL, call, files

from pilesim.assess.exposure import progress
from pilesim.assess.histories import read_histories
from pilesim.cli.options import PROBES_FILES, TURNING_FILES
from pilesim.inputs.scenario import from_text, load
from pilesim.show.turning_picture import turning_figure
from pilesim.study.turning import MEASURES, exposure

EVENTS = '\n[[event]]\ntime = ["1 day", "2 day"]\nmixing = "outside in"\nshare = "80 percent"\n'


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """A folder with a small pile left standing and one turned twice, set side by side, and probes of the first."""
    folder = tmp_path_factory.mktemp("turning")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    (folder / "moved.toml").write_text('title = "Turned"\nextends = "small.toml"\n' + EVENTS, encoding="utf-8")
    (folder / "yard.toml").write_text(
        '[yard]\ntemperature = "40 degC"\nduration = "6 hour"\nturns = 2\nwording = "warm"\n', encoding="utf-8")
    change = ("--set", "run.duration=3 day")
    both = call("turning", "moved.toml", "small.toml", *change, "--out", "both", cwd=folder)
    runs = [call("run", f"{name}.toml", *change, "--set", "limits.rule=yard.toml", "--out", name, cwd=folder)
            for name in ("small", "moved")]
    for done in (both, *runs):
        assert done.returncode == 0, done.stderr
    return folder, both, runs


def test_two_piles_side_by_side(ran):
    """Files, five sentences with a number each but the last, what is not modelled, and no claim of compliance."""
    folder, done, _ = ran
    assert files(folder / "both") == set(TURNING_FILES)
    assert done.stdout.splitlines()[-1] == "both/turning.png"
    lines = done.stdout.splitlines()
    starts = ("Of the same mix, the model says", "All but the coldest twentieth", "By published decimal times",
              "On average the material", "Of moved", "The two cannot")
    said = [line for line in lines if line.startswith(starts)]
    assert len(said) == 5
    assert all("(moved)" in line and "(small)" in line for line in said[:4]) and "ask your regulator" in said[4]
    assert "Not modelled: settling" in done.stdout
    assert not re.search(r"\bcompl(y|ies)\b|compliant", done.stdout)
    assert "not a statement of compliance" in done.stdout.replace("none of this is a statement", "not a statement")


def test_the_table_of_runs(ran):
    """A row for each pile and for each input that was moved: two for the standing pile, four for the turned one."""
    folder, *_ = ran
    rows = list(csv.DictReader((folder / "both" / "turning.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["scenario"] for row in rows] == ["moved"] * 5 + ["small"] * 3
    assert [row["turn_days"] for row in rows if not row["moved"]] == ["1 2", ""]
    for row in rows:
        if row["moved"]:
            continue
        for name in MEASURES:
            assert float(row[f"{name}_lowest"]) <= float(row[name]) <= float(row[f"{name}_highest"])


def test_what_is_moved_moves_the_runs(ran):
    """Rows of the two ways of one input differ, more air dries more, and a range spans all rows of its pile. Planted, each
    seen to fail: the permeability moved the same way twice; the air not moved."""
    folder, *_ = ran
    rows = list(csv.DictReader((folder / "both" / "turning.csv").read_text(encoding="utf-8").splitlines()))
    lost = {(row["scenario"], row["moved"]): float(row["water_loss"]) for row in rows}
    for pile, what in lost:
        if " times " in what:
            less = lost[pile, what.replace(" times ", " divided by ")]
            assert abs(lost[pile, what] - less) > 1e-3 * less
            assert not what.startswith("air met") or lost[pile, what] > less
    for row in rows:
        if not row["moved"]:
            own = [float(one["water_loss"]) for one in rows if one["scenario"] == row["scenario"]]
            assert (float(row["water_loss_lowest"]), float(row["water_loss_highest"])) == (min(own), max(own))


def test_events_reach_the_run(ran):
    """As typed, and the pile feels them: alike before the first turn, apart after it. Planted, each seen to fail: share and
    mixing of an event ignored; no turn in the march."""
    folder, *_ = ran
    with xr.open_dataset(folder / "moved" / "result.nc") as moved, xr.open_dataset(folder / "small" / "result.nc") as small:
        turns = from_text(moved.attrs["scenario"], "moved").turns
        assert [(turn.time, turn.mixing, turn.share) for turn in turns] == [(86400.0, "outside in", 0.8),
                                                                            (172800.0, "outside in", 0.8)]
        times = small["step_time"].values
        nodes = np.isfinite(small["mix_temperature"].values[0])
        means = [np.interp((0.9, 1.1), one["step_time"], one["mix_temperature"].values[:, nodes].mean(axis=1))
                 for one in (moved, small)]
        assert times[-1] == 3.0 and abs(means[0][0] - means[1][0]) < 0.05
        assert means[0][1] < means[1][1] - 0.5


def test_the_numbers_are_of_material(ran):
    """Exposure and the rule of the screen against the parcels of the result, counted here; of places they would be others.
    Planted, each seen to fail: exposure of places; the rule judged of places."""
    folder, *_ = ran
    with xr.open_dataset(folder / "moved" / "result.nc") as moved:
        scenario, fine, _ = read_histories(moved.load())
    kept = dataclasses.replace(fine, turns=()).parcels()
    parcels = fine.parcels()
    hottest, of_places = (np.quantile(one.temperatures.max(axis=0), 0.05) - 273.15 for one in (parcels, kept))
    rows = csv.DictReader((folder / "both" / "turning.csv").read_text(encoding="utf-8").splitlines())
    row = next(row for row in rows if row["scenario"] == "moved" and not row["moved"])
    assert float(row["hottest_coldest"]) == pytest.approx(hottest, abs=1e-3)  # the file rounds to single precision
    assert abs(of_places - hottest) > 0.1
    rule = scenario.limits.rule
    met, met_by_places = (float((progress(one.times, one.temperatures, rule) >= 1.0 - 1e-9).mean())
                            for one in (parcels, kept))
    assert judge_share(folder) == pytest.approx(met, abs=1e-3)
    assert abs(met - met_by_places) > 0.01


def judge_share(folder):
    """Share of the mix that meets the run's own rule, from rules.csv."""
    done = call("rules", "moved", "--out", "judged", cwd=folder)
    assert done.returncode == 0, done.stderr
    rows = list(csv.DictReader((folder / "judged" / "rules.csv").read_text(encoding="utf-8").splitlines()))
    return float(rows[0]["share_met"])


def test_a_turned_run_says_what_it_is_judged_by(ran):
    """By its words a pile that is turned as often as the rule asks is not called left standing."""
    _, _, (small, moved) = ran
    assert "this pile is left standing" in small.stdout
    assert "this pile is turned 2 times" in moved.stdout
    assert "judged of material that is followed" in moved.stdout


def test_rules_and_hygiene_of_a_turned_run(ran):
    """Both follow the material and say so."""
    folder, *_ = ran
    for command in ("rules", "hygiene"):
        done = call(command, "moved", "--out", command, cwd=folder)
        assert done.returncode == 0, done.stderr
        assert "shares are of material that is followed" in done.stdout


def test_probes_of_a_run(ran):
    """The page is A4 upright and nothing on it is cut off or overlaps; a turned run is refused in one line."""
    folder, *_ = ran
    done = call("probes", "small", "--count", "3", "--out", "map", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert files(folder / "map") == set(PROBES_FILES)
    width, height = png_size(folder / "map" / "probes.png")
    assert height / width == pytest.approx(297 / 210, abs=0.003)
    assert "ask your regulator" in done.stdout
    for words, said in ((("moved",), "a run without turns"), (("small", "--count", "0"), "1 to 8 probes")):
        refused = call("probes", *words, cwd=folder)
        assert refused.returncode == 2 and said in refused.stderr and len(refused.stderr.strip().splitlines()) == 1


def test_what_cannot_be_set_side_by_side_is_refused(ran):
    """One scenario, one twice, or three."""
    folder, *_ = ran
    for words in (("small.toml",), ("small.toml", "small.toml"), ("small.toml", "moved.toml", "small.toml")):
        done = call("turning", *words, cwd=folder)
        assert done.returncode == 2 and "two scenarios" in done.stderr


def test_nothing_in_the_picture_is_cut_off_or_overlaps():
    """In both unit systems."""
    standing = load("reference_pile").with_(**{"run.cell": "25 cm", "run.duration": "4 day"})
    turned = from_text(standing.text().replace("event = []", "") + EVENTS, "turned")
    found = [exposure(turned), exposure(standing)]
    for units in ("metric", "us"):
        figure = turning_figure(found, True, units)
        assert clipped_texts(figure) == []
        assert overlapping_texts(figure) == []


def test_events_survive_writing_and_can_be_taken_away():
    """text() holds them; a layer replaces them as a whole; `event` set to none removes them."""
    text = load("windrow_turned").text()
    assert from_text(text, "again") == load("windrow_turned")
    assert [turn.time / 86400.0 for turn in load("windrow_turned").turns] == [3.0, 6.0, 9.0, 12.0, 15.0]
    assert load("windrow_turned").with_(event="none").turns == ()
    assert load("winter_turned").turns[0].time == 20 * 86400.0
