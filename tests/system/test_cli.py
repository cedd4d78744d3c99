"""The command line as a user meets it: real runs in an empty folder, real interruptions, real exit codes."""

from __future__ import annotations

import csv
import json
import os
import re
import shlex
import signal
import subprocess
import sys
import time
import uuid
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from system.malformed import FILES, OVERRIDES

import pilesim
from pilesim.cli import main
from pilesim.cli.options import COMPARE_FILES, RUN_FILES

ROOT = Path(__file__).resolve().parents[2]
SMALL = """\
title = "Small invented pile [for tests]"
[weather]
air_temperature = "10 degC"
[pile]
base_width = "2.4 m"
height = "0.9 m"
side_slope = "50 deg"
[cover]
thickness = "0.2 m"
[run]
duration = "3 day"
output_every = "1 day"
cell = "0.15 m"
"""
MEASURES = {  # the public contract
    "cold_edge_fraction",
    "cold_edge_fraction_by_zone",
    "anaerobic_fraction_peak",
    "anaerobic_fraction_mean",
    "anaerobic_fraction_day_14",
    "anoxic_fraction_day_14",
    "days_to_aerobic",
    "core_oxygen_day_14",
    "days_to_55C_median",
    "days_to_55C_95",
    "share_above_55C_day_14",
    "peak_temperature",
    "share_above_80C",
    "cover_leakance",
    "frozen_fraction_peak",
    "water_loss",
    "dry_matter_loss",
    "air_changes",
    "overall_width",
    "overall_height",
    "mix_volume",
    "mix_mass",
    "cover_volume",
    "budget_error_heat",
    "budget_error_oxygen",
    "budget_error_water",
    "iteration_defect_temperature",
}


def environment(**more: str) -> dict[str, str]:
    paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
    return os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, paths))} | more


def call(*words: str, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """One real call in a process of its own."""
    command = [sys.executable, "-m", "pilesim", *words]
    return subprocess.run(
        command, cwd=cwd, env=environment(**more), capture_output=True, text=True, timeout=300, check=False
    )


def files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*")}


def without_announcement(stderr: str) -> list[str]:
    """Lines on stderr except the one that tells about compiling, and progress of a slow machine."""
    return [
        line
        for line in stderr.splitlines()
        if "compiling" not in line and not re.search(r"% after \d+ s", line)
    ]


def refuse_constant(word: str) -> None:
    pytest.fail(f"{word} is not JSON")


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def refused(here, capfd):
    """Call the command line in this process and check: exit 2, one plain line on stderr, nothing else, no new file."""

    def check(*words: str) -> str:
        before = files(here)
        assert main(words) == 2
        out, err = capfd.readouterr()
        assert out == ""
        assert err.endswith("\n") and err[:-1].isprintable(), err
        assert files(here) == before
        return err[:-1]

    return check


# ------------------------------------------------------------------------------------------- light commands
def test_version(tmp_path):
    done = call("--version", cwd=tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"pilesim {pilesim.__version__}\n", "")
    assert re.fullmatch(r"\d+\.\d+\.\d+", pilesim.__version__)


@pytest.mark.parametrize("command", ["run", "compare", "sheet", "widths", "verify", "rules", "hygiene", "mix",
                                     "materials", "new", "constants", "winter", "budget"])
def test_every_command_has_help_with_an_example(command, capfd):
    """Plain text, no frames. Planted: rich left on in typer."""
    assert main([command, "--help"]) == 0
    out, err = capfd.readouterr()
    assert f"Example: pilesim {command}" in out and "--debug" in out and err == ""
    assert out.isascii()


def test_help_loads_no_heavy_library(tmp_path):
    """What keeps it fast. Planted: a module-level import of numpy in cli/commands.py."""
    code = (
        "import sys; from pilesim.cli import main; main(['--help']);"
        "print([m for m in ('numpy', 'numba', 'xarray', 'pint', 'matplotlib', 'rich') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env=environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.endswith("[]\n")


def test_new_writes_a_scenario_that_loads(here, capfd, refused):
    assert main(["new", "mine.toml"]) == 0
    assert capfd.readouterr().out == "mine.toml\n"
    assert pilesim.load(here / "mine.toml") == pilesim.load("reference_pile")
    assert "not taken" in refused("new", "mine.toml")
    assert "existing folder" in refused("new", "nowhere/mine.toml")
    assert ".toml" in refused("new", "mine.txt")


def test_constants(capfd, refused):
    assert main(["constants", "mix_permeability"]) == 0
    assert "5e-08 m2" in capfd.readouterr().out
    assert "NAME = 'zzz'" in refused("constants", "zzz")


def test_output_into_a_closed_pipe_is_no_accident(tmp_path):
    """As `pilesim constants | head -1`. Planted: BrokenPipeError not caught."""
    command = f"{shlex.quote(sys.executable)} -m pilesim constants | head -1"
    done = subprocess.run(
        ["bash", "-c", command], cwd=tmp_path, env=environment(), capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("name") and done.stderr == ""


# ------------------------------------------------------------------------------------------------ bad input
@pytest.mark.parametrize(
    ("words", "fragment"),
    [
        ((), "expected one of run, compare, sheet, widths, verify, new, constants"),
        (("walk",), "No such command 'walk'"),
        (("run",), "Missing argument 'SCENARIO'"),
        (("run", "reference_pile", "--fast"), "No such option"),
        (("run", "reference_pile", "--units", "cubits"), "--units"),
        (("run", "reference_pile", "--set", "pile.height"), "KEY=VALUE"),
        (
            ("run", "reference_pile", "--set", "pile.height=2 m", "--set", "pile.height=2 kg"),
            "convertible to 'm'",
        ),
        (("run", "reference_pile", "--set", "pile.[b]=2 m"), "[b]"),
        (("run", "reference_pile", "--resume"), "No such option"),
        (("run", "mix.bulk_density"), "scenario = 'mix.bulk_density'"),
        (("run", "referenz_pile"), "Did you mean 'reference_pile'"),
        (
            ("run", "reference_pile", "--set", "mix.bulk_density=1500 kg/m3", "--set", "mix.moisture=0.1"),
            "air space",
        ),
        (("compare", "reference_pile"), "Missing option '--vary'"),
        (("compare", "reference_pile", "--vary", "pile.height=1 m", "--workers", "0"), "--workers"),
        (("compare", "reference_pile", "--vary", "pile.height=1 m", "--workers", "two"), "--workers"),
        (("compare", "reference_pile", "--vary", "pile.heigth=1 m"), "Did you mean 'pile.height'"),
        (("compare", "reference_pile", "--vary", "pile.height=1 m,2 kg"), "convertible to 'm'"),
        (("compare", "reference_pile", "--vary", "pile.height=1 m,,2 m"), "blank"),
        (("compare", "reference_pile", "--vary", "pile.height=1 m", "--force", "--resume"), "one of the two"),
        (("compare", "reference_pile", "--vary", "pile.height=1 m", "--set", "run.cell=1 mm"), "run.cell"),
        (("constants", "a", "b"), "unexpected extra argument"),
    ],
)
def test_bad_calls_are_refused_in_one_line(refused, words, fragment):
    """Planted: usage errors with exit 1; the physical check of the bed left to the run (after compiling)."""
    assert fragment in refused(*words)


@pytest.mark.parametrize("case", FILES, ids=lambda case: case.case)
def test_malformed_files_are_refused_in_one_line(refused, here, case):
    (here / "case.toml").write_bytes(case.content)
    for name, content in case.beside.items():
        (here / name).write_bytes(content)
    assert case.fragment in refused("run", "case.toml")


TYPED = [case for case in OVERRIDES if all(isinstance(value, str) for value in case.changes.values())]


@pytest.mark.parametrize("case", TYPED, ids=lambda case: case.case)
def test_malformed_values_are_refused_in_one_line(refused, case):
    words = [word for key, value in case.changes.items() for word in ("--set", f"{key}={value}")]
    line = refused("run", "reference_pile", *words)
    assert case.where in line and case.fragment in line


def test_there_are_enough_malformed_cases():
    assert len(FILES) + len(TYPED) >= 25


def test_a_real_process_refuses_the_same_way(tmp_path):
    """The in-process cases stand for this. Planted: main() without sys.exit in __main__.py."""
    (tmp_path / "junk.toml").write_bytes(bytes(range(256)))
    for words in (
        ("run", "junk.toml"),
        ("run", "reference_pile", "--set", "pile.height=5 kg"),
        ("run", "--bogus"),
    ):
        done = call(*words, cwd=tmp_path)
        assert done.returncode == 2 and done.stdout == "" and len(done.stderr.splitlines()) == 1
    assert files(tmp_path) == {"junk.toml"}


def test_a_bad_drawing_backend_is_refused_before_anything_runs(tmp_path):
    """Planted: the figures imported after the simulation."""
    start = time.monotonic()
    done = call("run", "reference_pile", "--set", "run.cell=0.04 m", cwd=tmp_path, MPLBACKEND="nonsense")
    assert done.returncode == 2 and done.stderr.startswith("MPLBACKEND = 'nonsense'"), done.stderr
    assert len(done.stderr.splitlines()) == 1 and files(tmp_path) == set()
    assert time.monotonic() - start < 20.0  # the run itself takes minutes


def test_debug_shows_the_traceback(here, capfd):
    assert main(["run", "reference_pile", "--set", "pile.height=5 kg", "--debug"]) == 2
    assert "Traceback" in capfd.readouterr().err


def test_a_folder_that_is_not_empty_is_refused(refused, here):
    (here / "full").mkdir()
    (here / "full" / "mine.txt").write_text("keep", encoding="utf-8")
    (here / "file").write_text("", encoding="utf-8")
    assert "--force" in refused("run", "reference_pile", "--out", "full")
    assert "not a folder" in refused("run", "reference_pile", "--out", "file")
    vary = ("--vary", "pile.height=1 m")
    assert "nothing to resume" in refused("compare", "reference_pile", *vary, "--out", "full", "--resume")


# ---------------------------------------------------------------------------------------------------- a run
@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    return folder, call("run", "small.toml", cwd=folder)


def test_run_writes_its_four_files_and_says_so(ran):
    folder, done = ran
    assert done.returncode == 0, done.stderr
    assert without_announcement(done.stderr) == []
    assert files(folder / "out" / "small-run") == set(RUN_FILES)
    assert done.stdout.splitlines()[0] == "Small invented pile [for tests]"
    assert done.stdout.splitlines()[-4:] == [f"out/small-run/{name}" for name in RUN_FILES]
    for word in ("cold_edge_fraction", "fire service", "ask your regulator", "Limits of the model"):
        assert word in done.stdout
    for name in ("section.png", "history.png"):
        assert (folder / "out" / "small-run" / name).read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_summary_holds_every_measure_of_the_contract(ran):
    """Planted: a measure left out; NaN written."""
    text = (ran[0] / "out" / "small-run" / "summary.json").read_text(encoding="utf-8")
    summary = json.loads(text, parse_constant=refuse_constant)
    assert list(summary) == ["schema", "scenario", "version", "freezing_modelled", "errors_trusted", "measures", "messages"]
    assert summary["scenario"] == "small" and summary["version"] == pilesim.__version__
    assert set(summary["measures"]) == MEASURES
    for name, measure in summary["measures"].items():
        assert list(measure) == ["value", "unit", "meaning", "error"], name
        assert measure["unit"] and len(measure["meaning"]) > 5, name
    zones = summary["measures"]["cold_edge_fraction_by_zone"]
    assert set(zones["value"]) == set(zones["error"]) == {"toe", "floor", "crest", "flank", "core"}
    for name in ("anaerobic_fraction_day_14", "core_oxygen_day_14", "share_above_55C_day_14"):
        assert summary["measures"][name]["value"] is None, "the run ends before day 14"
    assert 0.0 <= summary["measures"]["cold_edge_fraction"]["value"] <= 1.0
    assert summary["measures"]["overall_height"]["value"] == pytest.approx(0.9 + 0.2 + 0.2, abs=1e-9)


def test_result_opens_with_plain_xarray(ran):
    """Numeric time in days: nothing is decoded into dates. Planted: units 'days', which xarray turns into durations."""
    with xr.open_dataset(ran[0] / "out" / "small-run" / "result.nc") as plain:
        assert plain["time"].values == pytest.approx([0.0, 1.0, 2.0, 3.0], abs=1e-9)
        assert plain["temperature"].dims == ("time", "z", "x")
        for name, unit in (("temperature", "degC"), ("oxygen", "percent"), ("moisture", "percent")):
            assert plain[name].attrs["units"] == unit
        assert plain["days_to_55C_median"].dtype == np.float64
        assert plain.attrs["Conventions"] == "CF-1.11" and plain.attrs["scenario_name"] == "small"
        assert 20.0 < float(plain["temperature"].isel(time=-1).max()) < 90.0


def test_units_change_the_screen_only_and_runs_repeat_exactly(ran):
    """Planted: the unit system passed to the files; a random start."""
    folder, first = ran
    again = call("run", "small.toml", "--out", "us", "--units", "us", cwd=folder)
    assert again.returncode == 0, again.stderr
    for done, unit in ((first, "degC"), (again, "degF")):
        assert any(
            line.startswith("peak_temperature") and unit in line.split() for line in done.stdout.splitlines()
        )
    one, two = ((folder / place / "summary.json").read_bytes() for place in ("out/small-run", "us"))
    assert one == two


# ---------------------------------------------------------------------------------------------- comparisons
VARY = ("--vary", "pile.height=0.7 m,3 m", "--vary", "cover.thickness=0.1 m,0.2 m")


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    folder = tmp_path_factory.mktemp("compare")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    words = ("compare", "small.toml", *VARY, "--set", "run.duration=1 day", "--set", "pile.base_width=1.5 m")
    return folder, [call(*words, "--workers", str(n), "--out", f"w{n}", cwd=folder) for n in (1, 2)]


def table(path: Path) -> list[dict[str, str]]:
    with open(path, encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_compare_keeps_a_failed_design_as_a_row(compared):
    """On a base of 1.5 m the flanks meet below 0.9 m: 0.7 m stands, 3 m does not, nor does the file's own 0.9 m.

    Planted: the error of a design raised; the changes of --set judged without the varied values.
    """
    folder, (done, _) = compared
    assert done.returncode == 0, done.stderr
    assert without_announcement(done.stderr) == []
    assert files(folder / "w1") == set(COMPARE_FILES)
    designs = table(folder / "w1" / "comparison.csv")
    assert [(d["pile.height"], d["cover.thickness"], d["status"]) for d in designs] == [
        ("0.7 m", "0.1 m", "ok"),
        ("0.7 m", "0.2 m", "ok"),
        ("3 m", "0.1 m", "failed"),
        ("3 m", "0.2 m", "failed"),
    ]
    assert "flanks meet" in designs[2]["message"] and designs[2]["cold_edge_fraction"] == "NaN"
    assert float(designs[0]["cover_leakance"]) == pytest.approx(
        2 * float(designs[1]["cover_leakance"]), rel=1e-9
    )
    assert done.stdout.splitlines()[-1] == "w1/comparison.png"
    assert "ask your regulator" in done.stdout and "failed: pile.height 3 m" in done.stdout


def test_numbers_do_not_depend_on_workers(compared):
    """Planted: the threads of a worker not limited; members gathered as they finish."""
    folder, (_, other) = compared
    assert other.returncode == 0, other.stderr
    assert (folder / "w1" / "comparison.csv").read_bytes() == (folder / "w2" / "comparison.csv").read_bytes()


def test_comparison_dataset_matches_the_csv(compared):
    folder, _ = compared
    with xr.open_dataset(folder / "w1" / "comparison.nc") as data:
        assert data["peak_temperature"].dims == ("pile_height", "cover_thickness")
        assert (
            data["pile_height"].values == pytest.approx([0.7, 3.0])
            and data["pile_height"].attrs["units"] == "m"
        )
        first = table(folder / "w1" / "comparison.csv")[0]
        assert float(data["peak_temperature"][0, 0]) == float(first["peak_temperature"])


def test_all_failed_is_exit_1(tmp_path):
    words = ("compare", "reference_pile", "--vary", "pile.height=8 m,9 m", "--out", "o")
    nowhere = "/proc/nowhere"  # no home to write to: nothing is said about it
    done = call(*words, cwd=tmp_path, HOME=nowhere, XDG_CONFIG_HOME=nowhere, MPLBACKEND="TkAgg")
    assert done.returncode == 1
    assert without_announcement(done.stderr) == ["every design failed; the reasons stand in the table"]
    assert [row["status"] for row in table(tmp_path / "o" / "comparison.csv")] == ["failed", "failed"]


def wait_for(condition, process, seconds=200.0):
    end = time.monotonic() + seconds
    while not condition():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        time.sleep(0.05)


def living(mark: str) -> list[str]:
    """Processes that carry the mark in their environment."""
    found = []
    for path in Path("/proc").glob("[0-9]*/environ"):
        try:
            if mark.encode() in path.read_bytes():
                found.append(path.parent.name)
        except OSError:
            continue
    return found


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="looks for left processes in /proc")
def test_an_interrupted_comparison_goes_on_where_it_stopped(tmp_path):
    """A finished design is marked by hand; the resumed table must show the mark, so it was not computed again.

    Planted: parts ignored on resume. (Workers left alive: tests/unit/test_executor.py.)
    """
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    heights = ",".join(f"0.{k} m" for k in range(60, 96, 3))
    words = ["compare", "small.toml", "--vary", f"pile.height={heights}", "--workers", "2", "--out", "o"]
    mark = uuid.uuid4().hex
    process = subprocess.Popen(
        [sys.executable, "-m", "pilesim", *words],
        cwd=tmp_path,
        env=environment(TEST_MARK=mark),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    parts = tmp_path / "o" / ".parts"
    wait_for(lambda: list(parts.glob("0*.json")), process)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130 and out == ""
    line = without_announcement(err)
    assert len(line) == 1 and "--resume" in line[0]
    assert files(tmp_path / "o") == {".parts", *(f".parts/{part.name}" for part in parts.iterdir())}
    assert living(mark) == []

    other = call(
        "compare", "small.toml", "--vary", "pile.height=0.5 m", "--out", "o", "--resume", cwd=tmp_path
    )
    assert other.returncode == 2 and "What differs: --vary." in other.stderr

    kept = sorted(parts.glob("0*.json"))
    assert 1 <= len(kept) < 12
    member = json.loads(kept[0].read_text(encoding="utf-8"))
    member["measures"]["peak_temperature"]["value"] = 12.345
    kept[0].write_text(json.dumps(member), encoding="utf-8")
    resumed = subprocess.run(
        ["bash", "-c", line[0].split("go on with: ")[1]],
        cwd=tmp_path,
        env=environment(),
        capture_output=True,
        text=True,
        check=False,
    )
    assert resumed.returncode == 0, resumed.stderr
    designs = table(tmp_path / "o" / "comparison.csv")
    assert designs[int(kept[0].stem)]["peak_temperature"] == "12.345"
    assert [d["status"] for d in designs] == ["ok"] * 12
    assert not parts.exists()


def test_an_interrupted_run_leaves_nothing(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-m", "pilesim", "run", "reference_pile", "--set", "run.cell=0.05 m"],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(4.0)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130 and out == ""
    assert without_announcement(err) == ["interrupted; nothing was written"]
    assert files(tmp_path) == set()
