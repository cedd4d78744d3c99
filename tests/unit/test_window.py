"""The window of cover leakance: its acceptable range, common covers, which way the best leakance moves, in words."""

import json

import numpy as np
import pytest
from picture_checks import all_words, artists_called, clipped_texts, overlapping_texts
from synthetic_pile import fail_design, synthetic_table

from pilesim.base.constants import CONSTANTS
from pilesim.inputs.scenario import load
from pilesim.show.figures import comparison_figure
from pilesim.show.risk_table import read_risks
from pilesim.show.window import (
    acceptable_words,
    common_covers,
    cover_windows,
    movement_words,
    scenario_cover,
    share_text,
    window_cells,
)
from pilesim.study.window import acceptable_ranges, shown_direction, span_of_best

PERMEABILITY = [1e-10, 2e-10, 5e-10, 1e-9, 2e-9, 5e-9]
NAN = float("nan")


# ---------------------------------------------------------------------------------- the acceptable range
@pytest.mark.parametrize(
    ("cold", "starved", "expected"),
    [
        ([0, 0, 40], [50, 0, 0], [(0.8, 1.25, False, False)]),
        ([5, 5, 40], [5, 0, 0], [(0.0, 1 + 5 / 35, True, False)]),
        ([5, 5, 5], [9, 0, 10], [(0.0, 2.0, True, True)]),
        ([0, 14, 60], [14, 0, 0], [(4 / 14, 10 / 14, False, False)]),
        ([0, 40, 80], [40, 0, 0], []),
        ([20, 30, 40], [0, 0, 0], []),
        ([5, 40, 5], [0, 0, 0], [(0.0, 5 / 35, True, False), (2 - 5 / 35, 2.0, False, True)]),
        ([10, 20, 30], [0, 0, 0], [(0.0, 0.0, True, False)]),
        ([5, NAN, 5], [5, NAN, 5], [(0.0, 0.0, True, True), (2.0, 2.0, True, True)]),
        ([40, 5, NAN], [0, 5, 0], [(30 / 35, 1.0, False, True)]),
        ([NAN] * 3, [0, 0, 0], []),
    ],
)
def test_acceptable_range_by_hand(cold, starved, expected):
    """Designs at 1e-10, 1e-9, 1e-8 m, limits 10 and 10; `expected` in decades above 1e-10, by similar triangles.

    First case: starved falls from 50 to 0 in the first decade, so it is 10 after 0.8 of it; cold climbs from 0 to 40 in
    the second and is 10 after 0.25 of it. Fourth: neither design is acceptable, a stretch between them is. Tolerance:
    round-off. Planted, each seen to fail: gaps bridged; only designs looked at, not what lies between; an
    end beside a gap taken as closed.
    """
    leakance = np.array([1e-10, 1e-9, 1e-8])
    found = acceptable_ranges(leakance, np.array(cold, float), np.array(starved, float), (10.0, 10.0))
    assert [(one.low_open, one.high_open) for one in found] == [end[2:] for end in expected]
    ends = [(np.log10(one.low / 1e-10), np.log10(one.high / 1e-10)) for one in found]
    assert np.array(ends).ravel() == pytest.approx(np.array([end[:2] for end in expected]).ravel(), abs=1e-9)


def test_each_share_has_its_own_limit():
    """Cold 5 to 25, limit 20: acceptable up to 0.75; starved 40 to 0, limit 4: from 0.9 on: nothing. With limits
    20 and 16 from 0.6 to 0.75. Planted: the first limit used for both."""
    leakance, cold, starved = np.array([1e-9, 1e-8]), np.array([5.0, 25.0]), np.array([40.0, 0.0])
    assert acceptable_ranges(leakance, cold, starved, (20.0, 4.0)) == []
    (one,) = acceptable_ranges(leakance, cold, starved, (20.0, 16.0))
    assert (one.low, one.high) == (pytest.approx(10**-8.4), pytest.approx(10**-8.25))


def test_words_of_the_range():
    """From ... to ..., "or less" where the designs end inside it, none and the nearest; a failed design leaves a gap.

    Planted: "or less" and "or more" exchanged; the range written where day 14 was not reached.
    """
    table = synthetic_table(cover_permeability=PERMEABILITY)
    assert acceptable_words(cover_windows(read_risks(table))[0]).startswith("none of these is acceptable; nearest ")
    table["cold_edge_fraction"][:] = [0.0, 0.0, 0.0, 0.0, 0.4, 0.4]
    table["anaerobic_fraction_day_14"][:] = [0.5, 0.5, 0.0, 0.0, 0.0, 0.0]
    # leakance is permeability over 0.2 m; 2e-10 to 5e-10: 0.8 of log10(2.5) decades; 1e-9 to 2e-9: 0.25 of log10(2)
    low, high = 1e-9 * 2.5**0.8, 5e-9 * 2**0.25
    words = acceptable_words(cover_windows(read_risks(table))[0])
    assert words == f"acceptable from {low * 1e9:.1f}×10⁻⁹ m to {high * 1e9:.1f}×10⁻⁹ m"
    gap = fail_design(table, cover_permeability=2e-10)
    assert acceptable_words(cover_windows(read_risks(gap))[0]).startswith("acceptable from 2.5×10⁻⁹ m or less to")
    table["anaerobic_fraction_day_14"][:] = 0.0
    assert acceptable_words(cover_windows(read_risks(table))[0]).startswith("acceptable from 5×10⁻¹⁰ m or less to")
    table["cold_edge_fraction"][:] = 0.0
    assert acceptable_words(cover_windows(read_risks(table))[0]).endswith("to 2.5×10⁻⁸ m or more")
    table["anaerobic_fraction_day_14"][:] = np.nan
    assert acceptable_words(cover_windows(read_risks(table))[0]) == ""


def test_rounding_never_hides_a_share_above_its_limit():
    """Planted: shares always without decimals."""
    limit = 100.0 * CONSTANTS["acceptable_cold_edge_share"].value
    assert share_text(limit) == f"{limit:.0f} %" and share_text(limit + 0.02) == f"{limit:.0f}.1 %"
    assert share_text(limit + 0.32) == f"{limit:.0f}.4 %" and share_text(limit - 0.4) == f"{limit:.0f} %"


# ---------------------------------------------------------------------------------- marks in the picture
def test_bar_and_letters_stand_where_they_should():
    """The bar spans the acceptable range, the dark one what is left with the errors of 2 % added; letters stand at
    permeability over thickness.

    By hand: limits 10; cold 0 to 40 between 5e-9 and 1e-8 m is 10 at 0.25, with 2 added 8 at 0.2 of the doubling.
    Planted: errors subtracted; letters placed at the permeability.
    """
    table = synthetic_table(cover_permeability=PERMEABILITY)
    table["cold_edge_fraction"][:] = [0.0, 0.0, 0.0, 0.0, 0.4, 0.4]
    table["anaerobic_fraction_day_14"][:] = [0.5, 0.5, 0.0, 0.0, 0.0, 0.0]
    figure = comparison_figure(table)
    for gid, shares in (("acceptable range", (0.8, 0.25)), ("acceptable with errors", (0.84, 0.2))):
        (bar,) = artists_called(figure, gid)
        x = bar.get_paths()[0].vertices[:, 0]
        assert (x.min(), x.max()) == (pytest.approx(1e-9 * 2.5 ** shares[0]), pytest.approx(5e-9 * 2 ** shares[1]))
    letters = {text.get_text(): text.get_position()[0] for text in artists_called(figure, "common cover")}
    named = {"A": CONSTANTS["cover_permeability"].value, "B": load("reference_ordinary_pair").cover.permeability}
    assert letters == pytest.approx({letter: value / 0.2 for letter, value in named.items()})
    words = all_words(figure)
    assert "C loose chips, 5×10⁻⁸ m" in words  # beyond the axis: named, not drawn
    assert "Common covers, 0.2 m thick: A this scenario's and the default, 2.5×10⁻⁹ m" in words


def test_nothing_is_called_acceptable_before_day_14():
    """A short run shows the mean over the run, which is not what is judged. Planted: the bar drawn from the mean."""
    table = synthetic_table(cover_permeability=PERMEABILITY)
    for name in ("cold_edge_fraction", "anaerobic_fraction_mean"):
        table[name][:] = 0.0
    table["anaerobic_fraction_day_14"][:] = np.nan
    figure = comparison_figure(table)
    assert artists_called(figure, "acceptable range") == [] and "acceptable from" not in all_words(figure)
    assert artists_called(figure, "common cover") != []


def test_common_covers_follow_the_scenario_and_share_marks():
    """Registry, bundled pair and the scenario's own text are the only homes of these numbers.

    Planted: the scenario's cover left out; names sorted, not values.
    """
    attrs = {"scenario": '[cover]\npermeability = "3e-9 m2"\nthickness = "30 cm"\n'}
    assert scenario_cover(attrs) == (pytest.approx(3e-9), pytest.approx(0.3))
    found = common_covers(attrs)
    assert [name for _, name in found] == [
        "the default",
        "the ordinary pair's and dry compost in the literature",
        "this scenario's",
        "loose chips",
    ]
    assert [value for value, _ in found] == sorted(value for value, _ in found)
    assert found[0][0] == CONSTANTS["cover_permeability"].value
    assert scenario_cover({}) == (CONSTANTS["cover_permeability"].value, CONSTANTS["cover_thickness"].value)


def test_letters_follow_the_thickness_of_each_window():
    """With permeability and thickness varied, A is the default's permeability over the window's own thickness.

    Planted: the scenario's thickness used in every window.
    """
    table = synthetic_table(cover_permeability=PERMEABILITY, cover_thickness=[0.1, 0.4])
    at = [text.get_position()[0] for text in artists_called(comparison_figure(table), "common cover")
          if text.get_text() == "A"]  # fmt: skip
    assert at == pytest.approx([CONSTANTS["cover_permeability"].value / thick for thick in (0.1, 0.4)])


def test_other_sweeps_have_no_window():
    """Neither its marks nor its words."""
    figure = comparison_figure(synthetic_table(pile_base_width=[4.0, 6.0], mix_moisture=[0.5, 0.6]))
    assert "leakance" not in all_words(figure) and artists_called(figure, "common cover") == []


@pytest.mark.parametrize("air", [[283.15, 263.15, 238.15], [283.15, 263.15], [283.15, 278.15, 273.15, 268.15, 263.15]])
def test_two_other_keys_make_a_grid(air):
    """Windows of one elevation in one row, of one temperature in one column, in the order typed; texts readable.

    Planted: rows and columns exchanged in the order of drawing.
    """
    table = synthetic_table(cover_permeability=PERMEABILITY, weather_air_temperature=air, site_elevation=[0.0, 2900.0])
    figure = comparison_figure(table)
    assert overlapping_texts(figure) == [] and clipped_texts(figure) == []
    panels = [axes for axes in figure.axes if any("air temperature" in text.get_text() for text in axes.texts)]
    titles = {next(t.get_text() for t in axes.texts if "air temperature" in t.get_text()): axes for axes in panels}
    assert len(titles) == 2 * len(air)
    low = [axes.get_position().y0 for name, axes in titles.items() if name.endswith("elevation 2900 m")]
    if len(air) <= 4:
        assert len(set(np.round(low, 6))) == 1
        warm = [axes.get_position().x0 for name, axes in titles.items() if "temperature 10 °C" in name]
        assert len(set(np.round(warm, 6))) == 1 and warm[0] == min(axes.get_position().x0 for axes in panels)


# ---------------------------------------------------------------------------------- which way it moves
def test_span_of_best_by_hand():
    """cold = 10 + 40 s, starved = 90 - 60 s, both wrong by 5: they cross at s = 0.7 to 0.9 (15 + 40 s = 85 - 60 s and
    5 + 40 s = 95 - 60 s). Planted: both errors with the same sign (0.8 only)."""
    leakance, s = np.array([1e-10, 1e-9, 1e-8]), np.array([0.0, 0.5, 1.0])
    error = np.full(3, 5.0)
    low, high = span_of_best(leakance, 10 + 40 * s, 90 - 60 * s, error, error)
    assert (low, high) == (pytest.approx(10**-8.6), pytest.approx(10**-8.2))


def test_span_is_open_where_the_designs_end_and_unknown_beside_a_gap():
    """Planted: the edge taken as the best; leakances compared with an absolute tolerance (all are below 1e-8)."""
    leakance, none = np.array([1e-10, 1e-9, 1e-8]), np.zeros(3)
    rising, falling = np.array([10.0, 20.0, 30.0]), np.array([9.0, 5.0, 1.0])
    assert span_of_best(leakance, rising, falling, none, none) == (0.0, pytest.approx(1e-10))
    assert span_of_best(leakance, falling, rising[::-1], none, none) == (pytest.approx(1e-8), np.inf)
    gap = np.array([10.0, NAN, 30.0])
    assert np.isnan(span_of_best(leakance, gap, falling, none, none)).all()


def test_direction_needs_more_than_the_errors():
    """Planted: middles compared."""
    assert shown_direction((1.0, 2.0), (2.1, 3.0)) == 1 and shown_direction((2.1, 3.0), (1.0, 2.0)) == -1
    assert shown_direction((1.0, 2.0), (1.9, 9.0)) == 0 and shown_direction((NAN, NAN), (1.0, 2.0)) == 0


def _moves(table):
    risks = read_risks(table)
    return movement_words(risks, cover_windows(risks))


def test_movement_is_said_as_the_designs_show_it():
    """The synthetic optimum is 3e-9 m times 10^(t/90) times 10^(elevation/9000): 20 to -20 degC is a factor of
    10^(40/90) = 2.8, 0 to 2900 m one of 10^(2900/9000) = 2.1 (2.0 and 2.9, 2.2 allowed: interpolation between designs).

    The order of typing does not matter. Planted: sense of cold turned; first and last as typed; factor upside down.
    """
    keys = {"cover_permeability": list(np.geomspace(1e-10, 5e-9, 12)), "site_elevation": [0.0, 2900.0]}
    for air in ([293.15, 253.15], [253.15, 293.15]):
        cold, high = _moves(synthetic_table(weather_air_temperature=air, **keys))
        assert cold.startswith("With colder air (from 20 to −20 °C) the best leakance falls by a factor of 2.")
        assert high.startswith("With altitude (from 0 to 2900 m) the best leakance rises by a factor of 2")
        assert 2.6 <= float(cold.split()[-1].rstrip(".")) <= 2.9
        assert 1.9 <= float(high.split()[-1].rstrip(".")) <= 2.2


def test_movement_is_not_said_where_it_is_not_shown():
    """Errors larger than the move; lines that disagree; a climate whose designs failed; no climate varied.

    Planted: errors ignored; the first line taken for all.
    """
    keys = {"cover_permeability": PERMEABILITY, "weather_air_temperature": [253.15, 293.15]}
    table = synthetic_table(**keys)
    assert "falls" in _moves(table)[0]
    unsure = table.copy(deep=True)
    unsure["cold_edge_fraction_error"][:] = 0.4
    unsure["anaerobic_fraction_day_14_error"][:] = 0.4
    assert _moves(unsure)[0].endswith("these designs do not show which way the best leakance moves.")
    two = synthetic_table(pile_base_width=[5.0, 5.4], **keys)
    for name in ("cold_edge_fraction", "anaerobic_fraction_day_14"):
        two[name][0] = two[name][0, :, ::-1].values
    assert "do not show" in _moves(two)[0]
    broken = table
    for permeability in PERMEABILITY:
        broken = fail_design(broken, cover_permeability=permeability, weather_air_temperature=253.15)
    assert "do not show" in _moves(broken)[0]
    assert _moves(synthetic_table(cover_permeability=PERMEABILITY, pile_base_width=[4.0, 6.0])) == []


def test_movement_beyond_the_designs_is_a_lower_bound():
    """Only leakances above both optima were run on the cold side: the factor is at least that. Planted: "at least"
    left out."""
    permeability = [4e-10, 8e-10, 1.6e-9]  # 2e-9 to 8e-9 m; the optimum at -20 degC is 1.8e-9 m, at 20 degC 5e-9 m
    table = synthetic_table(cover_permeability=permeability, weather_air_temperature=[253.15, 293.15])
    (words,) = _moves(table)
    assert "falls by a factor of at least 2" in words


# ---------------------------------------------------------------------------------- screen
def test_screen_lists_best_and_range_of_each_window():
    """Keys as typed, best and range rounded to two digits, plain characters.

    Planted: the first value of a key in every row; shares not judged printed as numbers.
    """
    air = [253.15, 293.15]
    table = synthetic_table(cover_permeability=PERMEABILITY, weather_air_temperature=air)
    typed = {"cover.permeability": [f"{value:g} m2" for value in PERMEABILITY]}
    table.attrs["vary"] = json.dumps(typed | {"weather.air_temperature": ["-20 degC", "20 degC"]})
    table["cold_edge_fraction"][:, 1] = 0.0
    table["anaerobic_fraction_day_14"][:, 1] = 0.0
    heads, rows, sentences = window_cells(table, "metric")
    assert heads[0] == "weather.air_temperature" and [row[0] for row in rows] == ["-20 degC", "20 degC"]
    assert rows[0][1].endswith("e-09 m") and rows[0][4:] == ["none", "none"]
    low, high = (float(part.split()[0]) for part in rows[0][2].split(" to "))
    assert low < float(rows[0][1].split()[0]) < high, "the best lies within what the errors allow"
    assert rows[1][4:] == ["5e-10 m or less to 2.5e-08 m or more"] * 2
    assert all(sentence.isascii() for sentence in sentences) and len(sentences) == 1
    table["anaerobic_fraction_day_14"][:] = np.nan
    assert [row[1:] for row in window_cells(table, "metric")[1]] == [["-"] * 5] * 2
    other = synthetic_table(pile_base_width=[4.0, 6.0])
    other.attrs["vary"] = json.dumps({"pile.base_width": ["4 m", "6 m"]})
    assert window_cells(other, "metric")[1] == []
