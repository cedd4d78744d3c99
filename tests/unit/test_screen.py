"""What the commands print and where they write: numbers with errors, closing sentences, tables, folders."""

from __future__ import annotations

import math

import pytest

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import load
from pilesim.result import Measure, Summary
from pilesim.show import folder as folders
from pilesim.show.cautions import gathered
from pilesim.show.registry import constants_text
from pilesim.show.screen import aligned, print_comparison, print_run, progress_on_stderr, value_with_error, verdict
from pilesim.study.compare import check_vary
from pilesim.study.table import table_of_designs

NAMES = ("a.txt", "b.txt")
RULE = {"rule_temperature_degC": 55.0, "rule_duration_days": 3.0, "anaerobic_oxygen_percent": 5.0}


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (0.23049, 0.0213, "0.230 ±0.021"),
        (71.234, 0.51, "71.23 ±0.51"),
        (14.2, 3.1, "14.2 ±3.1"),
        (120.4, 33.0, "120 ±33"),
        (2.5e-9, 1e-10, "2.5e-09 ±1e-10"),
        (0.12345, 1e-6, "0.1235"),
        (0.12345, 3e-5, "0.1235 ±3e-05"),
        (72.0, 7.3e-6, "72"),
        (0.000715, 0.00072, "0.0007 ±0.0007"),
        (0.0, 0.02, "0.000 ±0.020"),
        (1.3, 0.0, "1.3"),
        (0.5, math.nan, "0.5 ±?"),
        (0.5, math.inf, "0.5 ±?"),
        (math.nan, 0.1, "-"),
    ],
)
def test_value_with_error(value, error, text):
    """Planted: one digit more, the error of an exact value written."""
    assert value_with_error(value, error) == text


def design(name, cold, starved, status="ok", error=0.001):
    return {
        "pile.height": name,
        "status": status,
        "cold_edge_fraction": cold,
        "cold_edge_fraction_error": error,
        "anaerobic_fraction_day_14": starved,
        "anaerobic_fraction_day_14_error": error,
    }


def test_verdict_sorts_designs_by_both_limits():
    """Planted: limits exchanged, failed designs judged, the sign of a comparison turned."""
    limit = CONSTANTS["acceptable_cold_edge_share"].value
    designs = [
        design("1 m", limit + 0.01, 0.0),
        design("2 m", 0.0, 0.5),
        design("3 m", 0.9, 0.9),
        design("4 m", 0.0, 0.05),
        design("5 m", math.nan, math.nan, status="failed"),
        design("6 m", 0.2, math.nan),
        design("7 m", limit + 0.01, 0.0, error=0.02),
    ]
    cold, starved, both, neither, unknown = verdict(designs, ["pile.height"], RULE)
    assert cold.startswith("Leave cold edges (more than 10 % of the mix never held 55 degC for 3 days)")
    assert cold.endswith(": pile.height 1 m; pile.height 7 m (within its error of a limit).")
    assert "5 % oxygen on day 14" in starved and starved.endswith(": pile.height 2 m.")
    assert both.endswith(": pile.height 3 m.") and neither.endswith(": pile.height 4 m.")
    assert unknown.endswith(": pile.height 6 m.")


def test_verdict_names_a_dozen_and_counts_the_rest():
    designs = [design(f"{k} m", 0.9, 0.0) for k in range(30)]
    assert verdict(designs, ["pile.height"], RULE)[0].endswith("and 18 more, see comparison.csv.")


def summary():
    measures = {
        "peak_temperature": Measure(70.0, "degC", "hot", 0.5),
        "days_to_aerobic": Measure(None, "d", "day", None),
        "cold_edge_fraction_by_zone": Measure(
            {"toe": 0.5, "core": None}, "1", "share", {"toe": 0.1, "core": None}
        ),
    }
    return Summary("made_up", "0.0.0", False, measures, ["with [brackets]"])


def test_run_is_printed_with_units_messages_and_cautions(capsys):
    """A difference in degF is 1.8 times that in degC. Planted: the error converted as a temperature."""
    print_run(summary(), "A title [of sorts]", "us")
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "A title [of sorts]"
    text = [" ".join(line.split()) for line in lines]
    assert "peak_temperature 158.00 ±0.90 degF hot" in text
    assert "days_to_aerobic not reached day" in text
    assert "toe 0.50 ±0.10" in text and "core -" in text
    assert "- with [brackets]" in text
    joined = " ".join(text)
    for word in (
        "fire service",
        "confined spaces",
        "spores",
        "collapse",
        "ask your regulator",
        "Limits of the model",
    ):
        assert word in joined


def test_messages_that_differ_in_a_percentage_are_one():
    """The least and the most of them, in numbers, not in letters; others stay as they are. Planted: least and most of
    the texts ("100 to 9"); every number taken, so that other messages fall together."""
    found = gathered(["Opened 51 percent of the mix.", "Ends on day 3.", "Opened 9 percent of the mix.", "Ends on day 5.",
                      "Opened 100 percent of the mix.", "Ends on day 3."])
    assert [text for text, _ in found] == ["Opened 9 to 100 percent of the mix.", "Ends on day 3.", "Ends on day 5."]
    assert found[0][1] == {f"Opened {share} percent of the mix." for share in (9, 51, 100)}


def test_columns_line_up():
    assert aligned([["a", "b", "c"], ["long", "x", ""]]) == ["a     b  c", "long  x"]


def test_progress_in_a_pipe_is_at_most_a_line_every_ten_seconds(capsys, monkeypatch):
    """Planted: a line at every call."""
    clock = iter([0.0, 1.0, 9.9, 10.1, 15.0, 20.5])
    monkeypatch.setattr("pilesim.show.screen.time.monotonic", lambda: next(clock))
    with progress_on_stderr("name") as progress:
        for fraction in (0.1, 0.2, 0.3, 0.4, 0.5):
            progress(fraction)
    out, err = capsys.readouterr()
    assert out == "" and err.splitlines() == ["name: 30% after 10 s", "name: 50% after 20 s"]


def test_constants_are_listed_searched_and_shown_in_full():
    assert len(constants_text(None, False).splitlines()) == len(CONSTANTS) + 2
    found = constants_text("permeability", False)
    assert "cover_permeability" in found and "gravity" not in found
    full = constants_text("mix_permeability", False)
    assert "5e-08 m2" in full and "source" in full
    unchecked = constants_text(None, True)
    assert all(name in unchecked for name, c in CONSTANTS.items() if c.where == "TO CHECK")
    with pytest.raises(ScenarioError, match="NAME = 'zzz'"):
        constants_text("zzz", False)


# ------------------------------------------------------------------------------------------------- folders
def deliver(folder, **files):
    with folders.delivery(folder, NAMES) as place:
        for name, text in files.items():
            (place / f"{name}.txt").write_text(text, encoding="utf-8")


def content(folder):
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


def test_new_and_empty_folders_are_used(tmp_path):
    for folder in (tmp_path / "new" / "deep", tmp_path / "empty"):
        if folder.name == "empty":
            folder.mkdir()
        folders.check_folder(folder, NAMES)
        deliver(folder, a="1", b="2")
        assert content(folder) == {"a.txt": "1", "b.txt": "2"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "new"]


def test_checking_changes_nothing(tmp_path):
    folders.check_folder(tmp_path / "x" / "y", NAMES)
    assert list(tmp_path.iterdir()) == []


def test_force_replaces_known_files_only(tmp_path):
    """Of a run that writes fewer files nothing old stays. Planted: the folder emptied; stale files kept."""
    deliver(tmp_path / "out", a="1", b="2")
    (tmp_path / "out" / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(ScenarioError, match="--force"):
        folders.check_folder(tmp_path / "out", NAMES)
    folders.check_folder(tmp_path / "out", NAMES, force=True)
    deliver(tmp_path / "out", a="3")
    assert content(tmp_path / "out") == {"a.txt": "3", "mine.txt": "keep"}


def test_a_failure_while_writing_leaves_nothing(tmp_path):
    """Planted: no clean-up; files written straight into the folder."""
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "a.txt").write_text("old", encoding="utf-8")
    for folder in (tmp_path / "new" / "deep", tmp_path / "old"):
        with pytest.raises(RuntimeError, match="halfway"), folders.delivery(folder, NAMES) as place:
            (place / "a.txt").write_text("x", encoding="utf-8")
            raise RuntimeError("halfway")
    assert content(tmp_path / "old") == {"a.txt": "old"}
    assert [path.name for path in tmp_path.iterdir()] == ["old"]


def test_resume_needs_unfinished_work(tmp_path):
    folder = tmp_path / "out"
    folders.check_folder(folder, NAMES, resume=True)  # nothing there yet: the same as a first start
    deliver(folder, a="1")
    with pytest.raises(ScenarioError, match="nothing to resume"):
        folders.check_folder(folder, NAMES, resume=True)
    (folder / ".parts").mkdir()
    folders.check_folder(folder, NAMES, resume=True)
    with pytest.raises(ScenarioError, match="or --resume to go on"):
        folders.check_folder(folder, NAMES, resume=False)
    with pytest.raises(ScenarioError, match="one of the two"):
        folders.check_folder(folder, NAMES, force=True, resume=True)


def test_places_that_cannot_hold_results(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    (tmp_path / "odd" / "a.txt").mkdir(parents=True)
    for place in ("file", "file/below", "dangling", "x" * 300, "odd"):
        with pytest.raises(ScenarioError) as caught:
            folders.check_folder(tmp_path / place, NAMES, force=True)
        assert caught.value.where == "--out" and str(caught.value).isprintable()


@pytest.mark.parametrize(("unit", "system", "heading"), [
    ("kg m-1", "metric", "mix [t m-1]"), ("kg", "metric", "mix [t]"),
    ("kg m-1", "us", "mix [lb ft-1]"), ("kg", "us", "mix [lb]")])
def test_heaps_are_listed_in_total(unit, system, heading, capsys):
    """Planted: tonnes per metre whatever the unit is."""
    measures = {name: {"value": value, "unit": of, "meaning": "", "error": 0.0} for name, value, of in (
        ("cold_edge_fraction", 0.1, "1"), ("anaerobic_fraction_day_14", 0.1, "1"), ("mix_mass", 8530.0, unit))}
    vary = {"pile.height": ["2 m"]}
    members = [{"status": "ok", "messages": [], "measures": measures}]
    table = table_of_designs(load("reference_pile"), vary, check_vary(vary), members)
    print_comparison(table, system)
    printed = capsys.readouterr().out
    assert heading in printed and ("8.53 " in printed) == (system == "metric")


def test_search_of_the_registry_flags_what_is_unchecked_and_names_users():
    """Words of names, notes and sources are found, in any case; one record in full says who uses it and whether its place
    in the source is still open. Planted: the search without notes, users() without the schema: seen to fail."""
    found = constants_text("LIGNIN degradable", False)
    row = next(line for line in found.splitlines() if line.startswith("degradable_slope"))
    assert row.endswith("?") and "(?)" in found
    assert "capillary_diffusivity" not in found
    assert "activity_growth_rate" in constants_text("logistic", False)     # a word of its note only
    full = constants_text("mix_permeability", False)
    assert "default of mix.permeability" in full and "unchecked" in full
    used = constants_text("oxygen_half_saturation", False)
    assert "matter/biology.py" in used and "base/constants.py" not in used
    checked = constants_text("saturation_a", False)
    assert "recalled from memory" in checked and "unchecked" in checked
