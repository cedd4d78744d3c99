"""pilesim estimate as a user meets it: the screen, estimate.csv, refusals, and that nothing is compiled."""

from __future__ import annotations

import csv
import math
import os
import re
import subprocess
import sys
import time

import numpy as np
import pytest

from pilesim.cli.main import main
from pilesim.estimate.against import alike, beside
from pilesim.estimate.pile import pile_of
from pilesim.estimate.rows import estimates
from pilesim.estimate.words import GROUPS, WORDS
from pilesim.inputs.scenario import load
from pilesim.result import write_netcdf
from pilesim.study.run import simulate

NAME = "reference_pile"
SHORT = {"run.cell": "0.25 m", "run.duration": "12 day"}


def call(capsys, *words):
    code = main(list(words))
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A coarse run of the reference pile, long enough for its mean to pass 45 degC."""
    folder = tmp_path_factory.mktemp("run")
    write_netcdf(simulate(load(NAME).with_(**SHORT)), folder / "result.nc")
    return folder


def read(folder):
    with (folder / "estimate.csv").open(encoding="utf-8") as stream:
        return {row["name"]: row for row in csv.DictReader(stream)}


def test_screen_and_csv_hold_every_estimate_with_formula_source_and_validity(tmp_path, capsys):
    """Planted: the group of frost left out of the table: seen to fail."""
    code, out, err = call(capsys, "estimate", NAME, "--out", str(tmp_path / "e"))
    assert (code, err) == (0, "")
    rows, found = read(tmp_path / "e"), estimates(pile_of(load(NAME)), 328.15)
    assert list(rows) == list(WORDS) == [one.name for one in found]
    for one in found:
        about = one.about
        assert about.words in out and f"{about.formula}. Source: {about.source}. Holds for: {about.validity}." in out
        text = rows[one.name]["value"]
        assert (text == "") == math.isnan(one.value) and (text == "" or float(text) == one.value)
        assert (rows[one.name]["within_validity"] == "no") == bool(one.outside)
        assert not one.outside or f"{one.outside}." in out
    assert all(title in out for title in GROUPS.values()) and "Cautions:" in out
    assert max(map(len, out.split("How each")[0].splitlines()[2:-6])) <= 100


def test_outside_the_validity_is_said(tmp_path, capsys):
    """Planted: `outside` not printed: seen to fail."""
    _, out, _ = call(capsys, "estimate", "uncovered_pile", "--out", str(tmp_path / "e"))
    assert "the mix makes 100 % of the resistance" in out and "there is no cover" in out
    _, out, _ = call(capsys, "estimate", NAME, "--set", "base_layer.edge=open", "--out", str(tmp_path / "f"))
    assert "the base layer is open: what enters there is not counted" in out
    _, out, _ = call(capsys, "estimate", NAME, "--set", "start.temperature=1 degC", "--set",
                     "weather.air_temperature=-10 degC", "--out", str(tmp_path / "g"))
    assert "built too cold to start by itself" in out and re.search(r"warm-up of a stirred pile +never", out)


@pytest.mark.parametrize("changes", [
    {"pile.shape": "column", "pile.side_slope": None}, {"pile.shape": "slab", "pile.side_slope": None},
    {"start.temperature": "70 degC"}, {"mix.fast_fraction": "0 percent", "mix.slow_fraction": "0 percent"},
    {"weather.air_temperature": "-30 degC", "ground.deep_temperature": "-2 degC"}, {"weather.air_temperature": "58 degC"},
    {"mix.moisture": "75 percent", "mix.bulk_density": "750 kg/m3"}, {"cover.thickness": "0 m"}, {"cover.valve": True},
    {"base_layer.thickness": "0 m"}, {"start.seeding": "surface"}, {"site.elevation": "5000 m"}])
def test_no_pile_is_too_strange(changes):
    """Every number is a number, infinite, or NaN with a reason. Planted: a reach without draught without reason: seen to
    fail."""
    for temperature in (275.0, 328.15, 345.0, 362.0):
        for one in estimates(pile_of(load(NAME).with_(**changes)), temperature):
            assert one.outside or not math.isnan(one.value), one
            assert not math.isnan(one.value) or one.outside


def test_a_run_stands_beside_with_the_reasons(finished, tmp_path, capsys):
    """What the run found, on the day its mean passed the temperature. Planted: the last day taken instead: seen to fail."""
    code, out, err = call(capsys, "estimate", NAME, "--set", "run.cell=0.25 m", "--set", "run.duration=12 day", "--inside",
                          "45 degC", "--result", str(finished), "--out", str(tmp_path / "e"))
    assert (code, err) == (0, "") and "another scenario" not in out
    day = float(re.search(r"That day is day ([\d.]+), when the mean of the run's mix first is at 45 degC", out)[1])
    assert 5.0 < day < 9.0
    rows = read(tmp_path / "e")
    assert max(map(len, out.split("! Outside")[0].splitlines()[2:])) <= 100
    for one in WORDS:
        assert bool(rows[one]["run"]) <= bool(WORDS[one].measured)
    assert float(rows["warm_up_stirred"]["run"]) == pytest.approx(day, abs=0.05)
    assert float(rows["cover_leakance"]["run"]) == pytest.approx(float(rows["cover_leakance"]["value"]), rel=1e-12)
    close = out.split("Within a fifth of the run:")[1].split("\n")[0]
    apart = out.split("Where they part, and why:")[1].split("How each")[0]
    for name, row in rows.items():
        if row["run"] and row["value"] and not math.isnan(float(row["run"])):
            alone = alike(float(row["value"]), float(row["run"]))
            assert WORDS[name].words in (close if alone else apart)
            assert alone or WORDS[name].parts in apart


def test_estimates_come_near_the_run_where_their_assumptions_do(finished):
    """Air drawn in and heat through the cover on the day the mean passes 45 degC: within a factor of 1.6 (the run has a hot
    ring
    and a cold toe where the estimate has one temperature; 1.2 to 1.4 seen). Planted: half of the pile for the whole: seen to
    fail."""
    import xarray as xr

    pile = pile_of(load(NAME).with_(**SHORT))
    found = {one.name: one.value for one in estimates(pile, 318.15)}
    with xr.open_dataset(finished / "result.nc", engine="h5netcdf") as dataset:
        run = beside(dataset, pile, 318.15)
    for name in ("air_intake", "heat_through_cover"):
        assert 1 / 1.6 < run.values[name][0] / found[name] < 1.6, name
    assert run.reached and run.temperature == pytest.approx(45.0, abs=1e-6)


def test_another_scenario_and_a_day_that_never_comes_are_said(finished, tmp_path, capsys):
    _, out, _ = call(capsys, "estimate", NAME, "--set", "pile.height=1.5 m", "--inside", "80 degC", "--result", str(finished),
                     "--out", str(tmp_path / "e"))
    assert "It is of another scenario (other values under pile)" in out and "never is at 80 degC; its highest is" in out


@pytest.mark.parametrize(("words", "said"), [
    (("--inside", "65"), "--inside = '65'"), (("--inside", "200 degC"), "1 degC to 90 degC"),
    (("--result", "nowhere"), "a result.nc or the folder that holds it"),
    (("--set", "mix.bulk_density=1500 kg/m3"), "free air space"),
])
def test_estimate_refuses_in_one_line(tmp_path, capsys, words, said):
    code, out, err = call(capsys, "estimate", NAME, *words, "--out", str(tmp_path / "e"))
    assert (code, out) == (2, "") and said in err and err.count("\n") == 1
    assert not (tmp_path / "e").exists()


def test_us_units_change_the_screen_alone(tmp_path, capsys):
    _, out, _ = call(capsys, "estimate", NAME, "--units", "us", "--out", str(tmp_path / "e"))
    assert "lb/h per ft" in out and "131 degF" in out and "degC" not in out.split("How each")[0].split("Outside")[0]
    call(capsys, "estimate", NAME, "--out", str(tmp_path / "f"))
    assert (tmp_path / "e" / "estimate.csv").read_text() == (tmp_path / "f" / "estimate.csv").read_text()


def test_nothing_is_compiled(tmp_path):
    """An empty cache stays without machine code, and all of it takes seconds at most. Planted: `gas_density` called as
    compiled:
    seen to fail."""
    cache = tmp_path / "cache"
    code = "import sys; from pilesim.cli.main import main; sys.exit(main(['estimate', 'reference_pile', '--out', 'e']))"
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True,
                          env={**os.environ, "XDG_CACHE_HOME": str(cache)}, check=False)
    assert done.returncode == 0, done.stderr
    assert [path for path in cache.rglob("*") if path.suffix in (".nbi", ".nbc")] == []


def test_milliseconds():
    """Best of five below 0.2 s, for what takes 30 ms: a solver or a compiler would take ten times that."""
    scenario, times = load(NAME), []
    for _ in range(5):
        before = time.perf_counter()
        estimates(pile_of(scenario), 328.15)
        times.append(time.perf_counter() - before)
    assert np.min(times) < 0.2
