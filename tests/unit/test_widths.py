"""The trainer's figure of base widths: what may be asked, what is computed, what is concluded, what is drawn."""

import csv
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from picture_checks import all_words, artists_called, axis_labels, clipped_texts, overlapping_texts
from synthetic_pile import synthetic_dataset

from pilesim.assess.measures import AEROBIC_SHARE
from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import load
from pilesim.show.figures import widths_figure
from pilesim.show.screen import print_widths
from pilesim.show.widths_text import conclusion, days_text, exceptions, outcome
from pilesim.study.widths import WidthRun, parse_widths, piles, width_run, write_widths

DAYS = np.arange(0.0, 40.5, 0.5)
NAN = float("nan")


def made_up(width, clears, error=1.0, *, name="a", title="Pile A", peak=0.9, reach=0.5, drawn=False, failure="",
            trusted=True):
    """A run whose share rises to `peak` on day 1 and falls straight, through a tenth on day `clears` (NaN: it ends at
    0.19 on day 40; 0: it never reaches a tenth)."""
    if clears == 0.0:
        share = np.where(DAYS > 0, 0.05, 0.0)
    else:
        fall = (peak - AEROBIC_SHARE) / (clears - 1.0) if np.isfinite(clears) else (peak - 0.19) / 39.0
        share = np.where(DAYS < 1.0, peak * DAYS, np.clip(peak - fall * (DAYS - 1.0), 0.0, 1.0))
    section = None
    if drawn:
        names = ["zone", "oxygen", "gas_velocity_x", "gas_velocity_z", "anaerobic_share", "error_of_anaerobic_share"]
        section = synthetic_dataset()[names].isel(time=28)
        section = section.assign_coords(distance=section["distance"] * (width / 5.2))
    measures = {
        "days_to_aerobic": (clears, error),
        "anaerobic_fraction_peak": (float(share.max()), 0.01),
        "anaerobic_fraction_day_14": (float(np.interp(14.0, DAYS, share)), 0.02),
    }
    nothing = np.zeros(0)
    days, share = (nothing, nothing) if failure else (DAYS, share)
    spread = np.full(days.size, 0.02)
    return WidthRun(name, title, width, f"{width:g} m", days, share, 5.0, measures, reach, section, (), failure, spread,
                    trusted)


# ---------------------------------------------------------------------------------- what may be asked
def test_widths_are_sorted_by_size_not_by_letter():
    """120 in are 3.048 m. Planted: texts sorted."""
    assert parse_widths("10 m,6 m, 120 in,4.5 m") == ["120 in", "4.5 m", "6 m", "10 m"]


@pytest.mark.parametrize(
    ("text", "fragment"),
    [
        ("6 m", "2 to 8 widths"),
        ("", "2 to 8 widths"),
        (",".join(f"{k} m" for k in range(2, 11)), "2 to 8 widths"),
        ("4 m,4 kg", "convertible to 'm'"),
        ("4 m,400 cm", "It equals '4 m'"),
        ("4,6", "unit"),
        ("4 m,,6 m", "none of them blank"),
    ],
)
def test_bad_widths_are_refused(text, fragment):
    """Planted: one width allowed."""
    with pytest.raises(ScenarioError, match=fragment):
        parse_widths(text)


@pytest.mark.parametrize(
    ("names", "widths", "duration", "day", "fragment"),
    [
        (["reference_pile"], ["2 m", "6 m"], "40 day", "14 day", "pile.height"),
        (["reference_pile"], ["4 m", "6 m"], "10 day", "14 day", "--day"),
        (["reference_pile"], ["4 m", "6 m"], "10 day", "0 day", "--day"),
        (["reference_pile"], ["4 m", "6 m"], "ten days", "1 day", "--duration"),
        (["reference_pile", "reference_pile"], ["4 m", "6 m"], "40 day", "14 day", "every name once"),
        (["reference_pile", "wide_pile", "dense_wet_pile", "cold_high_pile", "uncovered_pile"], ["4 m", "6 m"], "40 day",
         "14 day", "1 to 4 scenarios"),
    ],
)  # fmt: skip
def test_impossible_piles_are_refused_before_anything_runs(names, widths, duration, day, fragment):
    """A 2 m base under flanks of 50 degrees ends at 1.19 m. Planted: the day not compared with the duration."""
    with pytest.raises(ScenarioError, match=fragment):
        piles([load(name) for name in names], widths, duration, day)


def test_a_shape_without_a_base_width_is_refused():
    """Planted: the shape not looked at (every width would be the same pile)."""
    column = load("reference_pile").with_(**{"pile.shape": "column"})
    with pytest.raises(ScenarioError, match=r"pile\.shape = 'column'"):
        piles([column], ["4 m", "6 m"], "40 day", "14 day")


def test_the_slope_is_held():
    """A crest of 1.8 m on 5.2 m at 2 m height is a slope of atan(2 / 1.7) = 49.64 degrees, on every width.

    Tolerance: nine digits are typed. Planted: the crest held instead.
    """
    crest = load("reference_pile").with_(**{"pile.crest_width": "1.8 m"})
    jobs = piles([crest, load("wide_pile")], ["4 m", "6 m", "8 m"], "20 day", "14 day")
    assert [job.scenario.pile.base_width for job in jobs] == [4.0, 6.0, 8.0] * 2
    assert [job.scenario.pile.side_slope for job in jobs[:3]] == pytest.approx([np.arctan2(2.0, 1.7)] * 3, rel=1e-7)
    assert [job.section_day for job in jobs] == [14.0, None, 14.0] * 2
    assert all(job.scenario.run.duration == 20 * 86400.0 for job in jobs)


# ---------------------------------------------------------------------------------- what is computed
def test_reach_by_hand():
    """Mix of areas 1, 1, 2 at 1, 2, 3 m: mean distance (1 + 2 + 6) / 4 = 2.25 m. On the last output with at least half
    the peak share, nodes 1 and 3 are starved: (1 + 6) / 3 = 7/3 m, so the reach is 28/27; one output later only node 1
    would be. Planted: the next output taken; areas left out (2 / 2).
    """
    data = xr.Dataset(
        {
            "anaerobic_share": ("time", [0.0, 0.8, 0.4, 0.1]),
            "anaerobic_fraction_peak": 0.8,
            "anaerobic_fraction_day_14": NAN,
            "days_to_aerobic": 3.0,
            "error_of_anaerobic_share": ("time", [0.0, 0.1, 0.1, 0.0]),
            "oxygen": (("time", "z", "x"), [[[20, 20, 20]], [[1, 1, 1]], [[1, 9, 1]], [[1, 9, 9]]]),
            "mix_area": (("z", "x"), [[1.0, 1.0, 2.0]]),
        },
        {"time": [0.0, 1.0, 2.0, 3.0], "distance": (("z", "x"), [[1.0, 2.0, 3.0]])},
        {"anaerobic_oxygen_percent": 5.0, "messages": '["made up"]'},
    )
    for name in ("anaerobic_fraction_peak", "anaerobic_fraction_day_14", "days_to_aerobic"):
        data[f"{name}_error"] = 0.5
    pile = SimpleNamespace(base_width=4.0)
    job = SimpleNamespace(scenario=SimpleNamespace(name="a", title="A", pile=pile), width_text="4 m", section_day=None)
    run = width_run(job, data)
    assert run.reach == pytest.approx(28 / 27)
    assert run.measures["days_to_aerobic"] == (3.0, 0.5) and run.messages == ("made up",)
    data["anaerobic_share"] = ("time", [0.0, 0.5, 0.7, 0.8])
    assert np.isnan(width_run(job, data).reach), "never falls to half its peak"


def test_csv_holds_measures_and_whole_days(tmp_path):
    """A row a pile, NaN where there is no number. Planted: outputs written as if they were days (two a day)."""
    runs = [made_up(4.0, 9.0), made_up(6.0, NAN, NAN), made_up(8.0, NAN, NAN, failure="no, it broke")]
    write_widths(runs, tmp_path / "widths.csv")
    with open(tmp_path / "widths.csv", encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [(row["scenario"], row["base_width"], row["status"]) for row in rows] == [
        ("a", "4 m", "ok"), ("a", "6 m", "ok"), ("a", "8 m", "failed")]  # fmt: skip
    assert rows[0]["days_to_aerobic"] == "9.0" and rows[1]["days_to_aerobic"] == "NaN"
    assert float(rows[0]["anaerobic_share_day_9"]) == pytest.approx(AEROBIC_SHARE)
    assert float(rows[1]["anaerobic_share_day_40"]) == pytest.approx(0.19)
    assert rows[2]["anaerobic_share_day_1"] == "NaN" and rows[2]["message"] == "no, it broke"


# ---------------------------------------------------------------------------------- what is concluded
def test_all_starved_at_first_and_cleared_later():
    """Planted: any width taken for the trade's; days of the wrong pile."""
    runs = [made_up(4.0, 9.2, 0.6), made_up(6.2, 18.1, 2.1), made_up(10.0, 33.0, 4.0)]
    lore, model, rule = conclusion(runs)
    assert lore == "Trade lore: a base wider than about 6 m turns anaerobic."
    assert model.startswith("Model: no width from 4 m to 10 m divides piles")
    assert model.endswith("the narrowest too, is starved within 1 day of the build, then clears from the flanks inwards.")
    assert rule.endswith("A base of about 6 m takes 18 ±2 days (Pile A).")
    assert "longer for every wider base" in rule
    without = conclusion([runs[0], runs[2]])
    assert without[2].endswith("longer for every wider base.")


def test_it_does_not_say_what_the_runs_do_not_show():
    """Clearing from the inside; wider piles clearing sooner. Planted: both phrases written always."""
    inside = conclusion([made_up(4.0, 9.0, reach=1.1), made_up(6.0, 18.0)])
    assert len(inside) == 2 and "inwards" not in inside[1]
    sooner = conclusion([made_up(4.0, 19.0), made_up(6.0, 18.0)])
    assert len(sooner) == 3 and "waiting" not in " ".join(sooner)
    assert sooner[2] == "The grid cannot tell apart: 4 m and 6 m differ by 1 ±2 days (Pile A)."
    close = conclusion([made_up(4.0, 18.0, 2.0), made_up(6.0, 19.0, 2.0), made_up(8.0, 20.0, 2.0)])
    assert "longer" not in " ".join(close) and "4 m and 6 m differ by 1 ±4 days" in close[-1], "not beyond the errors"


def test_never_starved():
    """Planted: a share below a tenth taken as starved."""
    _, model = conclusion([made_up(4.0, 0.0), made_up(6.0, 0.0)])
    assert model == "Model: none of these piles does: at no time is 10 % of the mix below 5 % oxygen."
    assert outcome(made_up(4.0, 0.0)) == "never above 10 %"


def test_some_never_starve():
    """A real limit of width, found between two widths of one scenario and not in the other. Planted: the widths on
    either side exchanged; scenarios mixed."""
    runs = [made_up(4.0, 0.0), made_up(6.0, 0.0), made_up(8.0, 9.0), made_up(10.0, 12.0)]
    assert conclusion(runs)[1] == "Model: up to 6 m none starves, from 8 m on they do at first (Pile A)."
    runs += [made_up(4.0, 9.0, name="b", title="Pile B"), made_up(6.0, 12.0, name="b", title="Pile B")]
    assert conclusion(runs)[1].endswith("(Pile A); every one starves at first (Pile B).")
    odd = [made_up(4.0, 0.0), made_up(6.0, 9.0), made_up(8.0, 0.0)]
    assert "those of 6 m starve at first, without order in width" in conclusion(odd)[1]


def test_not_reached():
    """Still starved at the end: said with the share, and it counts as longer than any day. Planted: NaN compared as a
    number (no waiting time said); NaN taken as never starved."""
    runs = [made_up(4.0, 9.0), made_up(6.0, 20.0), made_up(10.0, NAN, NAN)]
    texts = conclusion(runs)
    assert texts[2].endswith("A base of about 6 m takes 20 ±1 days (Pile A).")
    assert texts[3] == ("Not clear by day 40: 10 m (Pile A, 19 ±2 % starved); these runs do not say when, or whether, "
                        "they clear.")  # fmt: skip
    assert exceptions(runs, "metric") == "10 m: not by day 40"
    always = conclusion([made_up(4.0, NAN, NAN), made_up(6.0, NAN, NAN)])
    assert always[-1].startswith("Not clear by day 40: 4 m") and "A base of about" not in " ".join(always)


def test_failed_piles_are_left_out_and_named():
    """Planted: failed piles kept among those that are judged."""
    failed = made_up(8.0, NAN, NAN, failure="it broke")
    assert conclusion([failed]) == []
    texts = conclusion([made_up(4.0, 9.0), made_up(6.0, 20.0), failed])
    assert len(texts) == 3 and "8 m" not in " ".join(texts)
    assert exceptions([failed], "metric") == "8 m: failed"


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [(18.4, 2.1, "18 ±2"), (14.23, 0.68, "14.2 ±0.7"), (9.0, 0.96, "9 ±1"), (25.0, NAN, "25 (error unknown)")],
)
def test_days_show_no_more_digits_than_their_error(value, error, text):
    assert days_text(value, error) == text


def test_screen(capsys):
    """Planted: cautions left out; the sentences of the picture not printed."""
    print_widths([made_up(4.0, 9.0), made_up(6.0, NAN, NAN), made_up(8.0, NAN, NAN, failure="it broke")], "metric")
    out = capsys.readouterr().out
    for words in ("9 ±1 d", "not by day 40", "failed: a, pile.base_width 8 m: it broke", "Trade lore", "fire service"):
        assert words in out


# ---------------------------------------------------------------------------------- what is drawn
LONG = "A pile whose title is much too long for a quarter of a sheet of paper, as titles are"
SERIES = {
    "one scenario": [made_up(4.0, 9.0, drawn=True), made_up(6.0, 19.0), made_up(10.0, 33.0, drawn=True)],
    "two scenarios": [
        made_up(width, day, name=name, title=title, drawn=width in (4.0, 8.0))
        for name, title, late in (("a", "Pile A", 0.0), ("b", "Pile B, of a mix with a long name", 6.0))
        for width, day in ((4.0, 9.0 + late), (6.0, 19.0 + late), (8.0, NAN))
    ],
    "four scenarios": [
        made_up(width, day, name=name, title=LONG, drawn=True) for name in "abcd" for width, day in ((4.0, 9.0), (6.0, 19.0))
    ],
    "eight widths": [made_up(float(k), 3.0 * k - 4.0, drawn=k in (4, 11)) for k in range(4, 12)],
    "days close together": [made_up(4.0, 9.0, drawn=True), made_up(4.2, 10.5), made_up(9.0, 30.0, drawn=True)],
    "a failed pile": [made_up(4.0, 9.0, drawn=True), made_up(6.0, NAN, NAN, failure="it broke")],
    "all failed": [made_up(4.0, NAN, NAN, failure="it broke"), made_up(6.0, NAN, NAN, failure="it broke")],
    "never starved": [made_up(4.0, 0.0, drawn=True), made_up(8.0, 12.0, drawn=True)],
}


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("case", SERIES)
def test_every_series_can_be_read(case, units):
    """No text overlaps or leaves the picture, axes carry units. Planted: days never upright; names not cut."""
    figure = widths_figure(SERIES[case], units)
    assert overlapping_texts(figure) == []
    assert clipped_texts(figure) == []
    assert all("[" in label for label in axis_labels(figure))


def test_curves_dots_and_errors_are_the_numbers_of_the_runs():
    """Curves in percent; dots at a tenth on the day of clearing with its error to both sides; wider is darker, and
    neighbours differ in dash, so that grey print tells them apart. Planted: shares drawn as fractions; the error
    halved; one dash for all."""
    runs = SERIES["one scenario"]
    figure = widths_figure(runs)
    axes = figure.axes[0]
    curves = artists_called(figure, "width")
    for curve, run in zip(curves, runs, strict=True):
        assert curve.get_xdata() == pytest.approx(run.days) and curve.get_ydata() == pytest.approx(100 * run.share)
    for band, run in zip(artists_called(figure, "error band"), runs, strict=True):
        (low, high), level = np.percentile(band.get_paths()[0].vertices[:, 1], [0, 100]), 100 * (run.share + 0.02)
        assert high == pytest.approx(min(level.max(), 100.0)) and low == 0.0
    for container, run in zip(axes.containers, runs, strict=True):
        dot, _, (bar,) = container
        day, error = run.measures["days_to_aerobic"]
        assert (dot.get_xdata()[0], dot.get_ydata()[0]) == (day, 100 * AEROBIC_SHARE)
        assert bar.get_segments()[0][:, 0] == pytest.approx([day - error, day + error])
    grey = [sum(int(curve.get_color()[k : k + 2], 16) for k in (1, 3, 5)) for curve in curves]
    assert grey == sorted(grey, reverse=True) and len(set(grey)) == 3
    dashes = [str(curve._dash_pattern) for curve in curves]
    assert all(one != two for one, two in pairwise(dashes))


def test_sections_of_narrowest_and_widest_share_one_scale_and_say_what_they_show():
    """Planted: each section scaled to its own width; the day of the run's end written."""
    figure = widths_figure(SERIES["two scenarios"])
    sections = [axes for axes in figure.axes if axes.get_aspect() == 1.0]
    assert len(sections) == 4 and len({axes.get_xlim() for axes in sections}) == 1
    words = all_words(figure)
    assert "base 4 m, day 14: " in words and "base 8 m, day 14: " in words and "base 6 m, day" not in words
    assert "Trade lore" in words and "10 m" not in words
    assert len(artists_called(figure, "gas paths")) == 4 and artists_called(figure, "oxygen line")
