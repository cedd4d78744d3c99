"""Scenarios: what loads, what the more local layer overrides, what survives a round trip through text."""

from __future__ import annotations

import dataclasses
import datetime
import math
import pickle
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.inputs import checks
from pilesim.inputs.scenario import Scenario, bundled, load, set_values, template
from pilesim.inputs.schema import SCHEMA

NAMES = [
    "reference_pile",
    "reference_ordinary_pair",
    "wide_pile",
    "uncovered_pile",
    "dense_wet_pile",
    "cold_high_pile",
]


@pytest.fixture(scope="module")
def reference() -> Scenario:
    return load("reference_pile")


def test_bundled_scenarios_all_load():
    assert set(NAMES) <= set(bundled())
    for name, path in bundled().items():
        scenario = load(name)
        assert scenario == load(path)
        assert scenario.name == name and scenario.title != name
        assert path.read_text(encoding="utf-8").startswith("# ") and "invented" in path.read_text(
            encoding="utf-8"
        )


def test_reference_pile_is_the_agreed_one(reference):
    """Every value in SI. Planted: a wrong default name in the schema (cover for mix): seen to fail."""
    s = reference
    assert dataclasses.astuple(s.site) == (0.0, None, None)
    assert dataclasses.astuple(s.weather) == ("constant", 283.15, 0.7, 2.0, None, None)
    assert dataclasses.astuple(s.pile) == (
        "trapezoid",
        5.2,
        2.0,
        pytest.approx(math.radians(50)),
        None,
        None,
        "half",
        None,
    )
    assert dataclasses.astuple(s.cover) == (
        0.2,
        5e-10,
        550.0,
        0.40,
        0.50,
        0.06,
        pytest.approx(0.008 / 86400),
        None,
        False,
    )
    assert dataclasses.astuple(s.base_layer) == (0.2, 3e-7, 250.0, 0.35, 0.97, None, "closed")
    assert dataclasses.astuple(s.mix) == pytest.approx(
        (500.0, 0.58, 0.80, 5e-8, 1.0, 0.12, 0.20, 0.25, 0.15 / 86400, 0.012 / 86400, 1.4, 0.95), rel=1e-12
    )
    assert dataclasses.astuple(s.start) == (None, 293.15, 0.0, "mature")
    assert dataclasses.astuple(s.ground) == ("soil", 283.15, 1.2, 2.2e6)
    assert dataclasses.astuple(s.run) == (30 * 86400.0, 43200.0, pytest.approx(0.1))
    limits = s.limits.rule_temperature, s.limits.rule_duration, s.limits.anaerobic_oxygen
    assert limits == (pytest.approx(328.15), 3 * 86400.0, 0.05)


def test_defaults_come_from_the_registry():
    """Every constant the schema names exists, in the schema's unit, and its value is in the key's range."""
    reference = load("reference_pile")
    named = [(t, k, spec) for t, keys in SCHEMA.items() for k, spec in keys.items() if spec.constant]
    assert len(named) > 30
    for table, key, spec in named:
        constant = CONSTANTS[spec.constant]
        assert constant.unit.replace("kg kg-1", "1") == spec.unit.replace("kg kg-1", "1"), (table, key)
        bare = f"{constant.value!r} {spec.unit}" if spec.unit not in ("1", "K") else constant.value
        bare = f"{constant.value!r} K" if spec.unit == "K" else bare
        recipe = {"mix.ingredients": "1 m3 of straw"} if key == "volume_loss" else {}
        changed = reference.with_(**{f"{table}.{key}": bare} | recipe)
        assert getattr(getattr(changed, table), key) == pytest.approx(constant.value, rel=1e-12)


@pytest.mark.parametrize("name", NAMES)
def test_text_loads_to_an_equal_scenario(name, tmp_path):
    """Planted: text() without quotes escaped, without the merge of extends: seen to fail."""
    scenario = load(name).with_(**{"title": 'A "quoted" \\ title \u2603 \x7f\n', "start.date": "2025-11-30"})
    path = tmp_path / "copy.toml"
    path.write_text(scenario.text(), encoding="utf-8")
    copy = load(path)
    assert copy == scenario and copy.title == scenario.title and copy.text() == scenario.text()
    assert "extends" not in scenario.text()


def test_template_is_the_reference_pile(tmp_path, reference):
    path = tmp_path / "new.toml"
    path.write_text(template(), encoding="utf-8")
    assert load(path) == reference
    for table, keys in SCHEMA.items():
        for key in keys:
            assert re.search(rf"^(# )?{key} = .* # \w", template(), re.M), f"{table}.{key} is not explained"


def test_commented_lines_of_the_template_state_true_defaults(tmp_path, reference):
    """All defaults uncommented change nothing. Planted: a default in the wrong unit: seen to fail.

    Tolerance 1e-5: defaults are printed with six digits. Optional keys carry examples and stay commented.
    """
    optional = ("crest_width", "outline", "latitude", "slope_aspect", "length", "conductivity", "date", "extends",
                "daily_range", "ingredients", "bucket", "volume_loss", "path", "lapse", "wind_direction", "drift_height")
    text = re.sub(rf"^# (?!(?:{'|'.join(optional)}) )(?=\w+ = )", "", template(), flags=re.M)
    path = tmp_path / "all.toml"
    path.write_text(text, encoding="utf-8")
    assert text.count("\n# ") < template().count("\n# ") - 20
    full = load(path)
    for table in SCHEMA:
        ours, theirs = getattr(full, table), getattr(reference, table)
        for field in dataclasses.fields(ours):
            a, b = getattr(ours, field.name), getattr(theirs, field.name)
            assert a == (pytest.approx(b, rel=1e-5) if isinstance(b, float) else b), f"{table}.{field.name}"


def test_the_more_local_of_slope_and_crest_wins(reference, tmp_path):
    crest = reference.with_(**{"pile.crest_width": "1.5 m"})
    assert (crest.pile.side_slope, crest.pile.crest_width) == (None, 1.5)
    slope = crest.with_(**{"pile.side_slope": "45 deg"})
    assert (slope.pile.side_slope, slope.pile.crest_width) == (pytest.approx(math.pi / 4), None)
    child = tmp_path / "child.toml"
    child.write_text('extends = "reference_pile"\n[pile]\ncrest_width = "1.5 m"\n', encoding="utf-8")
    assert load(child) == crest


def test_slope_is_held_when_the_width_varies(reference):
    assert reference.with_(**{"pile.base_width": "7 m"}).pile.side_slope == reference.pile.side_slope


def test_shapes_without_flanks_drop_an_inherited_slope(reference):
    for shape in ("rectangle", "column"):
        pile = reference.with_(**{"pile.shape": shape}).pile
        assert (pile.side_slope, pile.crest_width) == (None, None)


def test_a_column_needs_no_width(tmp_path):
    path = tmp_path / "column.toml"
    path.write_text(
        '[weather]\nair_temperature = "5 degC"\n[pile]\nshape = "column"\nheight = "2 m"\n[run]\n'
        'duration = "5 day"\n',
        encoding="utf-8",
    )
    assert load(path).pile.base_width == checks.COLUMN_WIDTH


def test_a_named_material_replaces_inherited_properties(tmp_path, reference):
    """cover.material stands for the default properties; properties beside it refine it."""
    (tmp_path / "parent.toml").write_text(
        'extends = "reference_pile"\n[cover]\npermeability = "1e-9 m2"\nmoisture = 0.2\n', encoding="utf-8"
    )
    (tmp_path / "child.toml").write_text(
        'extends = "parent.toml"\n[cover]\nmaterial = "coarse compost"\nmoisture = 0.3\n', encoding="utf-8"
    )
    assert load(tmp_path / "parent.toml").cover.permeability == 1e-9
    child = load(tmp_path / "child.toml")
    assert child.cover.permeability == CONSTANTS["cover_permeability"].value
    assert child.cover.moisture == 0.3 and child.cover.thickness == reference.cover.thickness


def test_extends_looks_beside_the_file(tmp_path):
    (tmp_path / "below").mkdir()
    (tmp_path / "parent.toml").write_text(
        'extends = "wide_pile"\n[cover]\nthickness = "0.3 m"\n', encoding="utf-8"
    )
    (tmp_path / "below" / "child.toml").write_text(
        'extends = "../parent.toml"\n[mix]\nmoisture = "50 percent"\n', encoding="utf-8"
    )
    child = load(tmp_path / "below" / "child.toml")
    assert (child.pile.base_width, child.cover.thickness, child.mix.moisture) == (9.0, 0.3, 0.5)


def test_a_path_wins_over_a_bundled_name(tmp_path, monkeypatch, reference):
    text = reference.with_(**{"pile.height": "1.9 m"}).text()
    (tmp_path / "reference_pile.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert load("reference_pile.toml").pile.height == load("./reference_pile.toml").pile.height == 1.9
    assert load("reference_pile").pile.height == 2.0


def test_a_file_saved_with_a_byte_order_mark_and_crlf_loads(tmp_path, reference):
    (tmp_path / "windows.toml").write_bytes(b"\xef\xbb\xbf" + reference.text().replace("\n", "\r\n").encode())
    assert load(tmp_path / "windows.toml") == reference


@pytest.mark.parametrize("given_date", ["2025-11-30", datetime.date(2025, 11, 30)])
def test_dates(reference, given_date):
    changed = reference.with_(**{"start.date": given_date})
    assert changed.start.date == datetime.date(2025, 11, 30)
    assert 'date = "2025-11-30"' in changed.text()


def test_monthly_weather(tmp_path, reference):
    """Lists in SI, one value for all months, differences as such; text() loads to an equal scenario.

    Planted: the daily range read as a temperature; inner tables lost by text(); the old kind's keys kept.
    """
    winter = load("winter_start")
    weather = winter.weather
    assert weather.air_temperature[0] == pytest.approx(269.15) and weather.air_temperature[6] == pytest.approx(294.15)
    assert weather.daily_range[0] == 10.0 and len(weather.wind_speed) == len(weather.relative_humidity) == 12
    snap = weather.cold_snap
    assert (snap.start, snap.duration, snap.temperature_drop) == (16 * 86400.0, 5 * 86400.0, 12.0)
    colder = winter.with_(**{"weather.cold_snap.temperature_drop": "36 delta_degF", "weather.daily_range": "18 delta_degF"})
    assert colder.weather.cold_snap.temperature_drop == pytest.approx(20.0) and colder.weather.cold_snap.start == snap.start
    assert colder.weather.daily_range == pytest.approx((10.0,) * 12) and winter.weather.cold_snap == snap
    (tmp_path / "colder.toml").write_text(colder.text(), encoding="utf-8")
    assert load(tmp_path / "colder.toml") == colder
    back = winter.with_(**{"weather.kind": "constant", "weather.air_temperature": "10 degC"})
    assert back.weather == reference.weather


def test_rules(reference):
    rule = reference.with_(**{"limits.rule": "131 degF for 15 consecutive days"}).limits
    assert (rule.rule_temperature, rule.rule_duration) == (pytest.approx(328.15, rel=1e-12), 15 * 86400.0)


def test_the_highest_possible_trapezoid_is_accepted_and_a_little_more_refused(reference):
    """The printed limit itself must work: rounding goes down."""
    with pytest.raises(ScenarioError, match="at most") as caught:
        reference.with_(**{"pile.height": "9 m"})
    limit = re.search(r"at most ([0-9.]+) m", str(caught.value)).group(1)
    highest = 2.6 * math.tan(math.radians(50))
    assert float(limit) == pytest.approx(highest, abs=1e-3) and float(limit) <= highest
    reference.with_(**{"pile.height": f"{limit} m"})
    reference.with_(**{"pile.height": f"{highest!r} m"})
    with pytest.raises(ScenarioError, match="flanks meet"):
        reference.with_(**{"pile.height": f"{highest + 1e-3} m"})


@pytest.mark.parametrize(
    ("changes", "pattern"),
    [
        ({"run.cell": "2 mm"}, r"at least ([0-9.]+ m)"),
        ({"run.cell": "0.8 m"}, r"at most ([0-9.]+ m)"),
        ({"run.duration": "3000 day", "run.output_every": "1 minute"}, r"at least ([0-9.]+ minute)"),
        ({"pile.crest_width": "6 m"}, r"to ([0-9.]+ m)"),
        ({"pile.base_width": "20 m", "pile.crest_width": "1 m"}, r"from ([0-9.]+ m)"),
        ({"mix.fast_fraction": "90 percent"}, r"at most ([0-9.]+ percent)"),
    ],
)
def test_limits_named_in_messages_are_accepted(reference, changes, pattern):
    """Planted: limits rounded to nearest instead of inward: the cell case fails."""
    with pytest.raises(ScenarioError, match=pattern) as caught:
        reference.with_(**changes)
    limit = re.search(pattern, str(caught.value)).group(1)
    reference.with_(**{**changes, caught.value.where: limit})


def test_with_leaves_the_original_alone(reference):
    before = reference.text()
    changed = reference.with_(**{"mix.moisture": "45 percent"})
    assert changed.mix.moisture == 0.45 and reference.mix.moisture == 0.58 and reference.text() == before
    with pytest.raises(dataclasses.FrozenInstanceError):
        reference.mix.moisture = 0.3


def test_spelling_does_not_matter_for_equality(reference):
    assert (
        reference.with_(**{"pile.base_width": "520 cm", "mix.moisture": 0.58, "title": "other"}) == reference
    )
    assert reference.with_(**{"pile.base_width": "5.3 m"}) != reference
    assert hash(reference.with_(title="other")) == hash(reference)


def test_scenarios_cross_process_borders(reference):
    copy = pickle.loads(pickle.dumps(reference))
    assert copy == reference and copy.text() == reference.text()


_WIDTHS = st.floats(1.5, 12.0).map(lambda v: f"{v:.3f} m")
_SMALL = st.floats(0.0, 1.0).map(lambda v: f"{v:.3f} m")


@settings(max_examples=100, deadline=None)
@given(
    width=_WIDTHS, height=st.floats(0.3, 4.0), crest=st.one_of(st.none(), _SMALL), cover=_SMALL, base=_SMALL
)
def test_what_is_accepted_has_a_possible_outline(width, height, crest, cover, base):
    """Property: an accepted trapezoid closes at or above its height, its slope is allowed, its cover fits."""
    changes = {
        "pile.base_width": width,
        "pile.height": f"{height} m",
        "cover.thickness": cover,
        "base_layer.thickness": base,
        "run.cell": "0.05 m",
    }
    if crest is not None:
        changes["pile.crest_width"] = crest
    try:
        s = set_values(load("reference_pile"), changes)
    except ScenarioError as error:
        assert str(error).isprintable()
        return
    slope, half = s.pile.side_slope, 0.5 * s.pile.base_width
    if slope is None:
        slope = math.atan2(s.pile.height, half - 0.5 * s.pile.crest_width)
    assert math.radians(20) * (1 - 1e-6) <= slope <= math.radians(85) * (1 + 1e-6)
    assert half - s.pile.height / math.tan(slope) >= -1e-6
    assert s.cover.thickness < min(s.pile.height, half)
