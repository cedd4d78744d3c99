"""Comparisons around the simulations: what may be varied, the table, CSV files, finished members."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest

from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import load
from pilesim.study import store
from pilesim.study.compare import check_vary, compare, parse_vary
from pilesim.study.table import rows, table_of_designs, write_csv, write_units
from pilesim.study.ties import RANKED

VARY = {"pile.height": ["2 m", "1.5 m"], "weather.air_temperature": ["-10 degC", "10 degC", "20 degC"]}


def member(cold, zone=0.5, messages=()):
    """Measures of one design as a worker returns them; the numbers are made up."""
    measures = {
        "cold_edge_fraction": {"value": cold, "unit": "1", "meaning": "share", "error": 0.01},
        "cold_edge_fraction_by_zone": {
            "value": {"toe": zone, "core": None},
            "unit": "1",
            "meaning": "share of the zone",
            "error": {"toe": 0.1, "core": None},
        },
        "days_to_aerobic": {"value": None, "unit": "d", "meaning": "day", "error": None},
    }
    return {"status": "ok", "messages": list(messages), "measures": measures}


FAILED = {"status": "failed", "messages": ["the flanks meet, at 3 m"], "measures": {}}


@pytest.fixture(scope="module")
def table():
    members = [FAILED, *(member(k / 10, messages=["a", "b"] if k == 1 else ["b"]) for k in range(1, 6))]
    scenario = load("reference_pile")
    return table_of_designs(scenario, VARY, check_vary(VARY), members)


# --------------------------------------------------------------------------------- what may be varied
def test_vary_options_are_split_at_commas_outside_quotes():
    """Planted: a plain split at commas."""
    options = [
        "pile.height=1.5 m, 2 m",
        'start.date="2025-11-30",2025-12-24',
        "mix.moisture='55 percent', 0.6",
    ]
    assert parse_vary(options) == {
        "pile.height": ["1.5 m", "2 m"],
        "start.date": ["2025-11-30", "2025-12-24"],
        "mix.moisture": ["55 percent", "0.6"],
    }
    assert parse_vary(['pile.height="1,5 m",2 m'])["pile.height"] == ["1,5 m", "2 m"]


@pytest.mark.parametrize(
    ("options", "fragment"),
    [
        (["pile.height"], "KEY=VALUE"),
        (["=2 m"], "KEY=VALUE"),
        (["pile.height=1 m", "pile.height=2 m"], "given twice"),
        (["pile.height=1 m,,2 m"], "blank"),
        (["pile.height="], "at least one value"),
        (["pile.height=1 m,2 m,100 cm"], "It equals '1 m'"),
        (["pile.heigth=1 m"], "Did you mean 'pile.height'"),
        (["height=1 m"], "a scenario key"),
        (["pile.height=2"], "Add the unit"),
        (["pile.height=2 kg"], "convertible to 'm'"),
        (["pile.height=nan m"], "finite"),
        (["weather.kind=files"], "one of constant"),
        (["pile.shape=banana"], "one of trapezoid"),
        (["start.date=30.11.2025"], "year-month-day"),
        (["limits.rule=55 degC"], "55 degC for 3 day"),
        ([], "at least one KEY"),
    ],
)
def test_what_cannot_be_varied_is_refused_before_anything_runs(options, fragment):
    """Planted: duplicates compared as text; blanks dropped; words not read."""
    with pytest.raises(ScenarioError) as caught:
        check_vary(parse_vary(options))
    assert fragment in str(caught.value)


def test_a_value_outside_its_range_is_left_to_the_design():
    """It can be read, so it is a failed row and no refusal. Planted: read_value in place of to_si."""
    assert check_vary({"pile.height": ["-1 m", "200 cm"]}) == {"pile.height": [-1.0, 2.0]}


def test_too_many_designs_are_refused():
    with pytest.raises(ScenarioError, match="at most 20000 designs"):
        check_vary(
            {
                "pile.height": [f"1.{k:04d} m" for k in range(200)],
                "pile.base_width": [f"5.{k:04d} m" for k in range(101)],
            }
        )


def test_bad_workers_are_refused():
    with pytest.raises(ScenarioError, match="workers = 0: expected at least 1"):
        compare(load("reference_pile"), VARY, workers=0)


# ------------------------------------------------------------------------------------------------- the table
def test_table_has_a_dimension_for_each_key_in_si(table):
    """Planted: coordinates as typed (-10, not 263.15); reshape in the other order."""
    assert table["cold_edge_fraction"].dims == ("pile_height", "weather_air_temperature")
    assert table["weather_air_temperature"].values == pytest.approx([263.15, 283.15, 293.15], rel=1e-12)
    assert table["weather_air_temperature"].attrs["units"] == "K"
    assert list(table["weather_air_temperature_text"].values) == VARY["weather.air_temperature"]
    second_height = table["cold_edge_fraction"].sel(pile_height=1.5).values
    assert second_height == pytest.approx([0.3, 0.4, 0.5], rel=1e-12)
    assert math.isnan(table["cold_edge_fraction"].values[0, 0])
    assert table["status"].values[0, 0] == "failed" and "flanks" in table["message"].values[0, 0]
    assert table["cold_edge_fraction_by_zone"].dims[-1] == "mix_zone"
    assert json.loads(table.attrs["messages"]) == ["a", "b"]


def test_totals_of_a_heap_do_not_stand_in_a_column_per_metre():
    """Planted: unit of the last design for all numbers."""
    ridge, heap = member(0.1), member(0.2)
    ridge["measures"]["mix_mass"] = {"value": 2800.0, "unit": "kg m-1", "meaning": "per metre", "error": 1.0}
    heap["measures"]["mix_mass"] = {"value": 7700.0, "unit": "kg", "meaning": "of the whole heap", "error": 1.0}
    vary = {"pile.shape": ["ridge", "round"]}
    for members, unit, kept in (([ridge, heap], "kg m-1", [2800.0, math.nan]), ([FAILED, heap], "kg", [math.nan, 7700.0])):
        table = table_of_designs(load("reference_pile"), vary, check_vary(vary), members)
        found, said = table["mix_mass"], list(table["message"].values)
        assert ["left out" in text for text in said] == [False, members[0] is ridge]
        assert found.attrs["units"] == unit and found.values == pytest.approx(kept, nan_ok=True)


def test_csv_has_the_contract_columns_in_order(table, tmp_path):
    """Planted: status behind the measures; errors gathered at the end; NaN left blank."""
    write_csv(table, tmp_path / "comparison.csv")
    with open(tmp_path / "comparison.csv", encoding="utf-8", newline="") as stream:
        read = list(csv.reader(stream))
    assert read[0] == [
        "pile.height",
        "weather.air_temperature",
        "status",
        "message",
        "cold_edge_fraction",
        "cold_edge_fraction_error",
        "cold_edge_fraction_by_zone_toe",
        "cold_edge_fraction_by_zone_toe_error",
        "cold_edge_fraction_by_zone_core",
        "cold_edge_fraction_by_zone_core_error",
        "days_to_aerobic",
        "days_to_aerobic_error",
        "errors_trusted",
        *(f"{name}_rank_{end}" for name in RANKED for end in ("best", "worst")),
    ]
    assert len(read) == 7
    assert read[1] == ["2 m", "-10 degC", "failed", "the flanks meet, at 3 m", *["NaN"] * 8, "1", *["0"] * 8]
    assert read[2][:5] == ["2 m", "10 degC", "ok", "a | b", "0.1"]
    assert read[6][:2] == ["1.5 m", "20 degC"]


def test_csv_numbers_are_in_full(tmp_path):
    """Every number reads back to the last bit. Planted: six digits."""
    number = 0.1 + 0.2
    scenario, vary = load("reference_pile"), {"pile.height": ["2 m"]}
    write_csv(table_of_designs(scenario, vary, check_vary(vary), [member(number)]), tmp_path / "c.csv")
    with open(tmp_path / "c.csv", encoding="utf-8", newline="") as stream:
        assert float(next(csv.DictReader(stream))["cold_edge_fraction"]) == number


def test_units_file_names_every_measure_column(table, tmp_path):
    write_csv(table, tmp_path / "c.csv")
    write_units(table, tmp_path / "u.csv")
    header = (tmp_path / "c.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    with open(tmp_path / "u.csv", encoding="utf-8", newline="") as stream:
        units = list(csv.DictReader(stream))
    assert [row["name"] for row in units] == header[4:]
    assert {row["name"]: row["unit"] for row in units}["days_to_aerobic"] == "d"


def test_all_failed_designs_still_make_a_table(tmp_path):
    vary = {"pile.height": ["8 m", "9 m"]}
    table = table_of_designs(load("reference_pile"), vary, check_vary(vary), [FAILED, FAILED])
    write_csv(table, tmp_path / "c.csv")
    assert (tmp_path / "c.csv").read_text(encoding="utf-8").count("failed") == 2
    assert np.isnan(table["cold_edge_fraction"]).all() and table["peak_temperature"].attrs["units"] == "degC"
    assert [row["status"] for row in rows(table)] == ["failed", "failed"]


def test_designs_that_cannot_be_built_need_no_simulation(tmp_path):
    """The whole of compare() on designs whose flanks meet. Planted: an error that is raised, not kept."""
    table = compare(load("reference_pile"), {"pile.height": ["8 m", "9 m"]}, store=tmp_path / "parts")
    assert list(table["status"].values) == ["failed", "failed"]
    assert all("flanks meet" in text for text in table["message"].values)
    assert store.count_members(tmp_path / "parts") == 2


def test_words_and_dates_are_coordinates_as_text():
    vary = {"base_layer.edge": ["closed", "open"]}
    table = table_of_designs(load("reference_pile"), vary, check_vary(vary), [member(0.1), member(0.2)])
    assert list(table["base_layer_edge"].values) == ["closed", "open"]
    assert "units" not in table["base_layer_edge"].attrs
    assert np.isfinite(table["cold_edge_fraction"].sel(base_layer_edge="open"))


# ------------------------------------------------------------------------------------ finished members
MANIFEST = {"scenario": "text", "version": "1", "vary": [["pile.height", ["1 m", "2 m"]]]}


def test_finished_members_are_found_again(tmp_path):
    folder = tmp_path / "a" / ".parts"
    assert store.open_store(folder, MANIFEST) == {}
    store.save_member(folder, 12, member(0.25))
    store.save_member(folder, 3, FAILED)
    assert store.open_store(folder, MANIFEST) == {3: FAILED, 12: member(0.25)}
    assert store.count_members(folder) == 2
    store.remove_store(folder)
    assert not folder.exists()


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"scenario": "other"}, "What differs: scenario."),
        ({"version": "2"}, "What differs: version."),
        ({"vary": [["pile.height", ["2 m", "1 m"]]]}, "What differs: --vary."),
    ],
)
def test_members_of_another_study_are_refused(tmp_path, change, named):
    """Planted: the manifest not compared."""
    store.open_store(tmp_path, MANIFEST)
    with pytest.raises(ScenarioError) as caught:
        store.open_store(tmp_path, MANIFEST | change)
    assert named in str(caught.value)


def test_a_damaged_member_is_computed_again_and_a_damaged_manifest_refused(tmp_path):
    store.open_store(tmp_path, MANIFEST)
    store.save_member(tmp_path, 0, FAILED)
    (tmp_path / "000001.json").write_text('{"status": "o', encoding="utf-8")
    assert list(store.open_store(tmp_path, MANIFEST)) == [0]
    (tmp_path / "manifest.json").write_text("", encoding="utf-8")
    with pytest.raises(ScenarioError, match="--force"):
        store.open_store(tmp_path, MANIFEST)
