"""The design sheet: amounts against hand arithmetic, flows that balance, sentences that follow from the numbers, the page.

Conversions are checked against NIST Special Publication 811, appendix B: 1 ft = 0.3048 m and 1 short ton (2000 lb) =
907.18474 kg exactly; 1 Btu(IT) h-1 ft-2 degF-1 = 5.678263 W m-2 K-1 (TO CHECK: recalled from memory).
"""

import math

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from picture_checks import all_words, clipped_texts, overlapping_texts
from synthetic_pile import ZONES, synthetic_dataset

import pilesim
from pilesim.assess.design import (
    SINKS,
    Limit,
    amounts,
    coldest_zones,
    course,
    flow_days,
    heat_flows,
    moisture_at_end,
    rivals,
    share_limits,
    water_totals,
)
from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import from_text
from pilesim.result import summarise
from pilesim.show.sheet_picture import HEIGHT, WIDTH, sheet_figure
from pilesim.show.sheet_text import design_sheet, open_run, plain, shown

FOOT, SHORT_TON, YARD = 0.3048, 907.18474, 0.9144
MADE_UP = {  # measure: value, error, unit
    "cold_edge_fraction": (0.05, 0.01, "1"), "anaerobic_fraction_day_14": (0.04, 0.02, "1"),
    "days_to_aerobic": (11.0, 1.0, "day"), "peak_temperature": (71.0, 0.5, "degC"), "share_above_80C": (0.0, 0.0, "1"),
    "frozen_fraction_peak": (0.0, 0.0, "1"), "water_loss": (0.18, 0.01, "1"), "dry_matter_loss": (0.08, 0.005, "1"),
    "air_changes": (0.6, 0.01, "h-1"), "overall_width": (6.0, 0.0, "m"), "overall_height": (2.4, 0.0, "m"),
    "mix_volume": (7.0, 0.0, "m3 m-1"), "mix_mass": (3950.0, 0.0, "kg m-1"), "cover_volume": (1.6, 0.0, "m3 m-1"),
}
RATES = ("heat_released", *SINKS, "air_intake", "water_carried_by_gas", "water_lost_by_film", "metabolic_water", "leachate",
         "rain_taken_up")


def finished(changes=None, zones=(0.5, 0.2, 0.0, 0.0, 0.0), zone_errors=(0.05, 0.02, 0.0, 0.0, 0.0), scenario=None, **made):
    """A made-up finished run: the synthetic fields with all that the sheet reads; `changes` are keys of the scenario."""
    data = synthetic_dataset(**made)
    days = data["time"].values
    data["heat_with_leachate"] = ("time", 0.0 * days, {"units": "W m-1"})
    losses = sum(data[name] for name in SINKS if name in data)
    data["heat_stored"] = ("time", (data["heat_released"] - losses).values, {"units": "W m-1"})
    rates = {"water_carried_by_gas": 2e-4, "water_lost_by_film": 1e-4, "metabolic_water": 5e-5, "leachate": 0.0,
             "rain_taken_up": 0.0}
    for name, rate in rates.items():
        data[name] = ("time", np.full(days.size, rate), {"units": "kg s-1 m-1"})
    for name in RATES:
        data[name].attrs["mean_over_run"] = float(np.trapezoid(data[name], days) / days[-1])
        data[name].attrs["mean_over_run_error"] = 0.02 * abs(data[name].attrs["mean_over_run"])
        data[f"error_of_{name}"] = ("time", 0.03 * np.abs(data[name].values), {"units": data[name].attrs["units"]})
    for name, (value, error, unit) in MADE_UP.items():
        data[name], data[f"{name}_error"] = ((), value, {"units": unit}), ((), error, {"units": unit})
    for name, values in (("", zones), ("_error", zone_errors)):
        data[f"cold_edge_fraction_by_zone{name}"] = ("mix_zone", np.array(values), {"units": "1"})
    data["cover_conductivity"] = ((), 0.17, {"units": "W m-1 K-1"})
    area = np.where(np.isfinite(data["oxygen"].values[0]), 0.01, np.nan)
    data = data.assign_coords(mix_area=(("z", "x"), area), base_area=(("z", "x"), 0.1 * area))
    chosen = (scenario or pilesim.load("reference_pile")).with_(**(changes or {}))
    return data.assign_attrs(scenario=chosen.text(), scenario_name="synthetic", shape=chosen.pile.shape)


def with_measures(data, **values):
    """The run with measures replaced: name=(value, error)."""
    data = data.copy(deep=True)
    for name, (value, error) in values.items():
        data[name].values[...], data[f"{name}_error"].values[...] = value, error
    return data


def sentences(data, units="metric"):
    return design_sheet(data, units).limits


@pytest.fixture(scope="module")
def reference():
    """Two hours of the reference pile on coarse cells: amounts as built, and real flows."""
    changes = {"run.cell": "20 cm", "run.duration": "2 hour", "run.output_every": "1 hour"}
    return pilesim.simulate(pilesim.load("reference_pile").with_(**changes))


# ------------------------------------------------------------------------------------------------------------- amounts
def test_amounts_are_those_of_the_trapezoid_by_hand(reference):
    """Volumes from the corners, mass from density and its growth with depth, integrated by hand.

    The mix: base b, crest c = b - 2 h / tan(slope), height h. Depth below the surface at x is the height of the surface
    there, so its integral is c h^2 / 2 under the crest and run h^2 / 3 under the two flanks. Tolerances: volumes are
    exact; the mass is summed cell by cell, and the depth has a kink under the shoulder (measured: 2e-4).

    Seen to fail: the volume in place given as loose; base layer of the half section only.
    """
    scenario = pilesim.load("reference_pile")
    b, h, t, d, slope = 5.2, 2.0, 0.2, 0.2, math.radians(50.0)
    run = h / math.tan(slope)
    c = b - 2.0 * run
    area, depth = 0.5 * (b + c) * h, 0.5 * c * h**2 + run * h**2 / 3.0
    loose = area + 0.12 * depth
    foot = b + 2.0 * d / math.tan(slope)  # width of the base layer at the ground
    base = 0.5 * (b + foot) * d
    outer_foot, outer_crest = foot + 2.0 * t / math.sin(slope), c + 2.0 * t * math.tan(0.5 * slope)
    cover = 0.5 * (outer_foot + outer_crest) * (h + d + t) - area - base
    found = amounts(reference, from_text(reference.attrs["scenario"], "reference"))
    assert found["mix_in_place"].value == pytest.approx(area, rel=1e-9) and found["mix_in_place"].unit == "m3 m-1"
    assert found["cover_volume"].value == pytest.approx(cover, rel=1e-9)
    assert found["base_volume"].value == pytest.approx(base, rel=1e-9)
    assert found["mix_loose"].value == pytest.approx(loose, rel=5e-4)
    assert loose / area > 1.05  # the tolerance is far tighter than what compaction does
    assert found["mix_wet"].value == pytest.approx(500.0 * loose, rel=5e-4) and found["mix_wet"].unit == "kg m-1"
    assert found["mix_dry"].value == pytest.approx(500.0 * 0.42 * loose, rel=5e-4)
    assert found["mix_water"].value == pytest.approx(500.0 * 0.58 * loose, rel=5e-4)
    assert found["cover_wet"].value == pytest.approx(550.0 * cover, rel=1e-9)
    assert found["base_wet"].value == pytest.approx(250.0 * base, rel=1e-9)
    assert scenario.mix.compaction == 0.12 and scenario.mix.bulk_density == 500.0  # what the hand arithmetic assumes


@pytest.mark.parametrize(("value", "unit", "wanted", "label"), [
    (1000.0, "kg m-1", 1000.0 / SHORT_TON * FOOT, "short ton per ft"),
    (1000.0, "kg", 1000.0 / SHORT_TON, "short ton"),
    (1.0, "m3 m-1", FOOT / YARD**3, "yd3 per ft"),
    (2.0, "m", 2.0 / FOOT, "ft"),
    (1.0, "kg s-1 m-1", 3600.0 / (SHORT_TON / 2000.0) * FOOT, "lb/h per ft"),
    (5.678263, "W m-2 K-1", 1.0, "Btu/(h ft2 degF)"),
])
def test_us_units_by_hand(value, unit, wanted, label):
    """Tolerance: NIST prints seven digits, and Btu of the IT and ISO tables differ in the sixth.

    Seen to fail: long tons for short tons.
    """
    got, shown_label = shown(value, unit, "us")
    assert got == pytest.approx(wanted, rel=2e-6) and shown_label == label


def test_whole_pile_is_the_length_times_the_amount_per_metre():
    """Twenty metres of 3.95 t per m are 79 t. Seen to fail: the length left in feet for --units us."""
    data = finished({"pile.length": "20 m"})
    rows = {row[0]: row[1:] for row in design_sheet(data, "metric").amounts.rows}
    assert rows["mix, wet"] == ("3.95", "t per m", "79", "t")
    rows = {row[0]: row[1:] for row in design_sheet(data, "us").amounts.rows}
    assert rows["mix, wet"][2:] == (plain(79000.0 / SHORT_TON), "short ton")
    assert all(len(row) == 3 for row in design_sheet(finished(), "metric").amounts.rows)


def test_a_round_heap_has_totals_only():
    """Units come from the Dataset. Seen to fail: totals times the length."""
    data = finished({"pile.shape": "round", "pile.length": "20 m"})
    for name in (*MADE_UP, *(f"{name}_error" for name in MADE_UP), *RATES, "mix_water", "mix_dry_matter"):
        data[name].attrs["units"] = data[name].attrs["units"].removesuffix(" m-1")
    sheet = design_sheet(data, "metric")
    assert {row[0]: row[1:] for row in sheet.amounts.rows}["mix, wet"] == ("3.95", "t")
    assert {row[1] for row in sheet.flows.rows[1:]} == {"kg/h", "W"}
    assert "per m" not in " ".join((*sheet.flows.notes, *sheet.limits))


# --------------------------------------------------------------------------------------------------------------- flows
def test_heat_of_a_real_run_balances(reference):
    """What is released leaves or stays: nought is left over, to a millionth of what is released (budgets close to 1e-10
    of throughput; here rates of one step are compared).

    Seen to fail: the ground's uptake counted in what the pile stores; the sign of the surface film turned.
    """
    flows, rest = heat_flows(reference, flow_days(reference))
    assert [one.name for one in flows] == ["heat_released", *SINKS]
    scale = max(abs(value) for one in flows for value in (one.mean, *one.at))
    assert scale > 100.0 and max(abs(value) for value in (rest.mean, *rest.at)) < 1e-6 * scale


def test_means_are_those_of_the_steps_not_of_the_outputs(reference):
    """The mean does not follow how often output is written. Steps are the same, so the tolerance is round-off.

    Seen to fail: the mean taken over the outputs.
    """
    changes = {"run.cell": "20 cm", "run.duration": "2 hour", "run.output_every": "10 minute"}
    often = pilesim.simulate(pilesim.load("reference_pile").with_(**changes))
    for name in ("heat_released", "heat_stored", "air_intake"):
        mean = reference[name].attrs["mean_over_run"]
        assert often[name].attrs["mean_over_run"] == pytest.approx(mean, rel=1e-12)
    outputs = np.trapezoid(reference["heat_stored"], reference["time"]) / float(reference["time"][-1])
    assert abs(outputs / reference["heat_stored"].attrs["mean_over_run"] - 1.0) > 0.01


def test_heat_stored_is_what_the_fields_hold():
    """The mean of what is stored, times the time, is the change of enthalpy summed by hand over the fields at both ends.

    By hand, without compaction: dry matter holds 1500 and 850 J/kg/K (organic, ash), water 4190, above 0 degC, over the
    areas of mix, cover and base layer at each node, both halves. Tolerance: the fields are those of output, their
    temperature differs from the stored one by the iteration defect, and decay is left out (measured: 7e-7).

    Seen to fail: the ground's uptake left in; one half only.
    """
    changes = {"run.cell": "20 cm", "run.duration": "12 hour", "run.output_every": "6 hour", "mix.compaction": "0 1/m"}
    scenario = pilesim.load("reference_pile").with_(**changes)
    data = pilesim.simulate(scenario)
    capacity = 0.0
    for material, area in ((scenario.mix, "mix_area"), (scenario.cover, "cover_area"), (scenario.base_layer, "base_area")):
        dry = material.bulk_density * (1.0 - material.moisture)
        heat = dry * (1500.0 * material.volatile_solids + 850.0 * (1.0 - material.volatile_solids))
        capacity = capacity + heat * data[area]
    water = data["water"] * (data["mix_area"] + data["cover_area"] + data["base_area"])
    held = 2.0 * (data["temperature"] * (capacity + 4190.0 * water)).sum(("z", "x")).values
    stored = data["heat_stored"].attrs["mean_over_run"] * float(data["time"][-1]) * 86400.0
    assert stored == pytest.approx(held[-1] - held[0], rel=5e-5)  # the iteration leaves 2e-5: stored heat carries its defect


def test_what_does_not_balance_is_shown():
    """Seen to fail: a row of noughts whatever the flows are."""
    data = finished()
    assert set(design_sheet(data, "metric").flows.rows[-1][2:-1]) == {"0"}
    data["heat_stored"] = data["heat_stored"].copy(data=data["heat_stored"].values + 50.0)
    assert "-50" in design_sheet(data, "metric").flows.rows[-1]


def test_flows_in_changing_air_are_daily_means():
    """A sinusoid of one day on a ramp: its mean over the day before is the ramp half a day earlier, from day 1 on.

    Eight outputs a day: a trapezoid over whole periods of a sinusoid is exact. Seen to fail: half a day's mean.
    """
    days = np.arange(0.0, 10.01, 0.125)
    data = finished(times=days)
    data["heat_released"] = data["heat_released"].copy(data=100.0 * days + 400.0 * np.sin(2.0 * np.pi * days))
    late = days >= 1.0
    assert np.allclose(course(data, "heat_released")[late], 100.0 * (days[late] - 0.5), atol=1e-9)
    still = data.assign(air_temperature=("time", np.full(days.size, 10.0), {"units": "degC"}))
    assert np.array_equal(course(still, "heat_released"), data["heat_released"].values)


def test_water_by_hand():
    """3e-4 kg/s lost and 5e-5 made over 30 days: 777.6 and 129.6 kg per m. Seen to fail: the film left out."""
    totals = water_totals(finished())
    assert totals["lost"].value == pytest.approx(777.6) and totals["made"].value == pytest.approx(129.6)
    assert totals["leached"].value == 0.0 and totals["lost"].unit == "kg m-1"
    notes = " ".join(design_sheet(finished(), "metric").flows.notes)
    assert "778 ±16 lost as vapour, 129.6 ±2.6 made by respiration, 0 leached" in notes


# -------------------------------------------------------------------------------------------------------- what limits it
@pytest.mark.parametrize(("value", "error", "limit", "state"), [
    (0.3, 0.1, 0.1, "exceeded"), (0.05, 0.02, 0.1, "kept"), (0.15, 0.15, 0.1, "open"), (0.08, 0.05, 0.1, "open"),
    (0.0, 0.0, 0.0, "kept"), (0.0, 2e-16, 0.0, "kept"), (0.01, 0.001, 0.0, "exceeded"),
])
def test_a_limit_inside_the_error_is_left_open(value, error, limit, state):
    """Seen to fail: errors ignored; round-off taken for heat above 80 degC."""
    assert Limit("cold", value, error, limit).state == state


def test_where_errors_mean_nothing_no_limit_is_certain_and_no_alarm_is_raised():
    """A starved core far beyond its limit stays open, no share above 80 degC stays none, moisture has no error. Seen to
    fail: an unknown error taken for none; heat above 80 degC called possible where there is no sign of it."""
    data = with_measures(finished(), anaerobic_fraction_day_14=(0.6, 0.01)).assign_attrs(errors_trusted="false")
    text = " ".join(sentences(data))
    assert "60 ±? % of the mix is below 5 % oxygen on day 14 (wanted: at most 10 %; the error leaves it open)" in text
    assert "fire service" not in text and "freezing" not in text and "none of it passes 80 degC" in text
    assert "±? % moisture" in text and "; kept)" not in text and "exceeded" not in text.replace("limit is exceeded", "")


def test_rivals_are_those_within_the_two_errors():
    """0.40 ±0.05 against 0.32 ±0.04 cannot be told apart, against 0.30 ±0.04 it can. Seen to fail: one error only."""
    first = Limit("cold", 0.40, 0.05, 0.1)
    near, far = Limit("starved", 0.32, 0.04, 0.1), Limit("starved", 0.30, 0.04, 0.1)
    assert rivals(first, [first, near]) == [near] and rivals(first, [first, far]) == []


def test_moisture_at_the_end_by_hand():
    """W = 2300 x 0.82 and D = 1650 x 0.92 kg: 55.4 percent; the errors of both losses move it by 0.0055 at most.

    Seen to fail: error of the water alone.
    """
    data = finished()
    value, error = moisture_at_end(data, summarise(data).measures)
    water, dry = 2300.0 * 0.82, 1650.0 * 0.92
    worst = (water + 23.0) / (water + 23.0 + dry - 8.25) - water / (water + dry)
    assert value == pytest.approx(water / (water + dry)) and error == pytest.approx(worst, rel=0.02)


def test_the_coldest_zones_are_those_the_error_cannot_tell_apart():
    """Seen to fail: the worst zone alone named."""
    found = coldest_zones(summarise(finished(zones=(0.5, 0.44, 0.3, 0.0, np.nan))).measures)
    assert [zone for zone, _, _ in found] == [ZONES[0], ZONES[1]]
    assert coldest_zones(summarise(finished(zones=(0.0,) * 5)).measures) == []


def test_the_worst_limit_is_named_first_and_exceeds_most():
    """Seen to fail: limits in a fixed order."""
    data = with_measures(finished(), anaerobic_fraction_day_14=(0.6, 0.05), cold_edge_fraction=(0.3, 0.02))
    said = sentences(data)
    assert said[0] == "The model says that this pile is limited most by a starved core."
    assert said[1].startswith("The model says 60.0 ±5.0 % of the mix is below 5 % oxygen on day 14 (wanted: at most 10 %;")
    assert "; exceeded)" in said[1]
    assert [one.kind for one in share_limits(summarise(data).measures)][:2] == ["starved", "cold"]
    assert any("cover pulls both ways" in text for text in said)


def test_two_within_their_errors_are_not_ranked():
    """Seen to fail: the larger named although the errors overlap."""
    said = sentences(with_measures(finished(), anaerobic_fraction_day_14=(0.32, 0.05), cold_edge_fraction=(0.30, 0.02)))
    assert "limited by a starved core and cold edges" in said[0] and "does not say which is worse" in said[0]


def test_an_open_limit_is_called_open_and_a_kept_one_kept():
    """Seen to fail: "exceeded" for 15 ±15 percent against 10."""
    said = sentences(with_measures(finished(), anaerobic_fraction_day_14=(0.15, 0.15)))
    assert "does not say for certain that any limit is exceeded; a starved core may be" in said[0]
    assert "the error leaves it open" in said[1]
    said = sentences(finished())
    assert said[0].startswith("The model says that none of the limits looked at is exceeded")
    assert not any("compare" in text for text in said)


def test_what_was_not_reached_says_so():
    """Seen to fail: "nan" in a sentence; the short run judged as if it kept the limit."""
    short = with_measures(finished(), anaerobic_fraction_day_14=(np.nan, np.nan), days_to_aerobic=(np.nan, np.nan))
    assert "The run is shorter than 14 days: whether the core starves is not judged (not reached)." in sentences(short)
    long = with_measures(finished(), anaerobic_fraction_day_14=(0.8, 0.1), days_to_aerobic=(np.nan, np.nan))
    assert any("less than a tenth of it is: not reached" in text for text in sentences(long))
    one_grid = with_measures(finished(), days_to_aerobic=(14.0, np.nan))
    assert any("error unknown" in text for text in sentences(one_grid))
    assert not any("nan" in text for data in (short, long, one_grid) for text in sentences(data))


def test_drying_limits_only_beyond_its_error():
    """Half the water lost: 1150 of 1150 + 1518 kg is 43 percent, kept; two thirds lost is 33.5, missed.

    Seen to fail: drying never named.
    """
    wet, dry = finished(), finished()
    wet["mix_water"] = wet["mix_water"].copy(data=2300.0 * (1.0 - 0.5 * wet["time"].values / 30.0))
    dry["mix_water"] = dry["mix_water"].copy(data=2300.0 * (1.0 - 2.0 / 3.0 * dry["time"].values / 30.0))
    assert any("ends at 43.1" in text and "kept" in text for text in sentences(wet))
    said = sentences(dry)
    assert said[0] == "The model says that this pile is limited most by drying." and any("missed" in text for text in said)
    assert any("wetter mix" in text for text in said)


def test_heat_above_80_degrees_comes_before_all_else():
    """Seen to fail: no word of the fire service."""
    data = with_measures(finished(), share_above_80C=(0.02, 0.001))
    assert sentences(data)[0] == "The model says that this pile is limited most by heat above 80 degC."
    assert "fire service" in sentences(data)[1]
    assert any("no evidence" in text for text in sentences(finished()))
    assert any("above 176 degF" in text or "passes 176 degF" in text for text in sentences(data, "us"))


@pytest.mark.parametrize("changes", [{}, {"cover.thickness": "0 m"}])
@pytest.mark.parametrize("cold", [0.02, 0.4])
@pytest.mark.parametrize("starved", [0.02, 0.7])
def test_advice_fits_the_pile_and_promises_nothing(changes, cold, starved):
    """Every claim is the model's, every piece of advice sends to a run, an uncovered pile gets no word on its cover's
    permeability, and nothing is said to comply. Seen to fail: advice on the leakance of a pile without cover."""
    data = with_measures(finished(changes), cold_edge_fraction=(cold, 0.01), anaerobic_fraction_day_14=(starved, 0.01))
    said = sentences(data)
    words = " ".join(said)
    assert ("pilesim compare SCENARIO" in words) == (cold > 0.1 or starved > 0.1)
    assert not any(word in words for word in ("will ", "must ", "comply", "compliant", "guarantee"))
    if changes:
        assert "leakier" not in words and "cover.permeability" not in words and "thicker" not in words


# ----------------------------------------------------------------------------------------------------------------- page
CASES = {
    "as it is": {},
    "no cover, no base layer": {"cover": 0.0, "base": 0.0,
                                "changes": {"cover.thickness": "0 m", "base_layer.thickness": "0 m"}},
    "with a length": {"changes": {"pile.length": "55.5 m"}},
    "two cold days": {"times": [0.0, 0.5, 1.0, 2.0], "air": -20.0},
    "changing air": {"times": np.arange(0.0, 30.1, 0.125)},
}


def worst(data):
    """Every limit exceeded, so that the page has the most to say."""
    return with_measures(data, cold_edge_fraction=(0.41234, 0.0123), anaerobic_fraction_day_14=(0.7, 0.05),
                         frozen_fraction_peak=(0.2, 0.03), share_above_80C=(0.05, 0.01), days_to_aerobic=(14.0, np.nan))


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("case", CASES)
def test_the_page_can_be_read(case, units):
    """A4, no text overlaps another or leaves the page, none below seven points.

    Seen to fail: numbers of the table side by side without room; the drawing as tall whatever the words need; long names
    of rows under the numbers.
    """
    for data in (finished(**CASES[case]), worst(finished(**CASES[case]))):
        figure = sheet_figure(data, design_sheet(data, units), units)
        assert tuple(figure.get_size_inches()) == (8.27, 11.69)  # ISO 216: 210 mm by 297 mm
        assert overlapping_texts(figure) == [] and clipped_texts(figure) == []
        assert min(text.get_fontsize() for text in figure.texts) >= 7.0
        assert min(text.get_position()[1] for text in figure.texts) * HEIGHT > 0.25
        words = all_words(figure)
        for word in ("fire service", "not a statement of compliance", "What limits it", "Limits of the model"):
            assert word in words


def test_the_section_is_drawn_to_scale():
    """One scale both ways, and the cells span the pile. Seen to fail: a fifth too flat; only the half drawn."""
    data = finished()
    figure = sheet_figure(data, design_sheet(data, "metric"), "metric")
    axes = figure.axes[0]
    figure.canvas.draw()
    origin, across, up = axes.transData.transform([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    assert across[0] - origin[0] == pytest.approx(up[1] - origin[1], rel=1e-6)
    cells = [path.vertices for artist in axes.collections if isinstance(artist, PolyCollection)
             for path in artist.get_paths() if len(path.vertices) == 5]
    points = np.concatenate(cells)
    pile = np.isfinite(data["oxygen"].values[0])
    half, top = np.nanmax(data["distance"].values[pile]), np.nanmax(data["height"].values[pile])
    assert np.ptp(points[:, 0]) == pytest.approx(2.0 * half) and points[:, 1].max() == pytest.approx(top)
    assert WIDTH < HEIGHT


def test_dimensions_are_those_of_the_scenario():
    """Seen to fail: the overall height written at the mix."""
    figure = sheet_figure(finished(), design_sheet(finished(), "metric"), "metric")
    texts = {text.get_text() for text in figure.axes[0].texts}
    assert {"mix 5.20 m", "crest 1.84 m", "cover 0.20 m", "base layer 0.20 m ", "50°"} <= texts
    assert {"mix\n2.00 m", "overall\n2.40 m"} <= texts


# ----------------------------------------------------------------------------------------------------------------- input
def test_results_that_cannot_be_read(tmp_path):
    """Seen to fail: a KeyError for a result of an older version; a folder without result.nc read as a file."""
    with pytest.raises(ScenarioError, match=r"RESULT = .*expected a result.nc or the folder that holds it"):
        open_run(tmp_path / "nowhere")
    with pytest.raises(ScenarioError, match="pilesim run SCENARIO"):
        open_run(tmp_path)
    older = finished().drop_vars("heat_stored")
    older["time"].attrs["units"] = "day"  # as results write it
    older.to_netcdf(tmp_path / "result.nc", engine="h5netcdf")
    with pytest.raises(ScenarioError, match=r"lacks heat_stored; run the scenario again"):
        open_run(tmp_path)
    with pytest.raises(ScenarioError, match="--units"):
        shown(1.0, "m", "cubits")
