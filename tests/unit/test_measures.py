"""Measures on histories and fields whose answers are known without the package."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pilesim.assess import measures, shares
from pilesim.assess.shares import ZONES, level_exceeded_by, mix_pieces, share_above, share_below, share_below_by_zone
from pilesim.assess.watch import Watch
from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.solver.march import DAY, Moment
from pilesim.solver.nodes import TOTALS
from pilesim.solver.step import Controls, begin, make_stepper
from pilesim.study.run import observed_run

HOUR = 3600.0
RECTANGLE = {"pile.shape": "rectangle", "pile.base_width": "6 m", "pile.height": "2.4 m", "run.cell": "10 cm",
             "base_layer.thickness": "0 m", "mix.compaction": "0 1/m"}


def scenario_with(**changes):
    return load("reference_pile").with_(**changes)


def problem_with(**changes):
    return build(scenario_with(**{"run.cell": "20 cm", **changes}), 2)


def half_plane(polygon, a, b, c):
    """Area of the part of a polygon on which a x + b z < c: cut edge by edge, then the shoelace formula."""
    kept = []
    for (x0, z0), (x1, z1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        f0, f1 = a * x0 + b * z0 - c, a * x1 + b * z1 - c
        if f0 < 0:
            kept.append((x0, z0))
        if (f0 < 0) != (f1 < 0):
            s = f0 / (f0 - f1)
            kept.append((x0 + s * (x1 - x0), z0 + s * (z1 - z0)))
    x, z = np.array(kept or [(0.0, 0.0)]).T
    return 0.5 * abs(np.dot(x, np.roll(z, -1)) - np.dot(z, np.roll(x, -1)))


# --- shares ----------------------------------------------------------------------------------------------------------
corner = st.integers(-8, 8)


@given(corner, corner, corner, st.integers(-20, 20).map(lambda k: 0.5 * k + 0.25))
def test_part_of_a_triangle(a, b, c, level):
    """Linear field on the unit right triangle against the cut polygon. Levels avoid the corners' values, where one of
    both may divide by nothing. Planted: middle and high corner exchanged; the square left out.
    """
    triangle = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])  # field a + (b - a) x + (c - a) z
    expected = 2.0 * half_plane(triangle, b - a, c - a, level - a)
    if a == b == c:
        expected = float(a < level)
    assert shares._part_below.py_func(float(a), float(b), float(c), level) == pytest.approx(expected, abs=1e-12)


def test_levels_on_the_corners():
    """`share_below` is below, `share_above` at or above: a plateau at the level counts as reached."""
    for values, expected in (((1, 1, 1), 0.0), ((0, 1, 1), 1.0), ((0, 0, 1), 1.0), ((1, 2, 3), 0.0)):
        assert shares._part_below.py_func(*map(float, values), 1.0) == expected


@pytest.mark.parametrize("changes", [{}, {"pile.height": "2.6 m"}, {"base_layer.edge": "open"}])
@pytest.mark.parametrize(("a", "b"), [(1.0, 0.0), (0.0, 1.0), (1.0, 2.0), (-1.0, 0.7)])
def test_share_of_a_linear_field_is_exact(changes, a, b):
    """On skewed cells too: a linear field is linear in every triangle. Uniform density, polygon by hand from the
    outline. Tolerance: round-off of some thousand sums. Planted: the centre of a cell given the value of one
    corner.
    """
    problem = problem_with(**{"mix.compaction": "0 1/m", **changes})
    pieces, mesh = mix_pieces(problem), problem.mesh
    foot, top = problem.grid.mix_base, problem.grid.mix_surface
    polygon = np.array([(0.0, foot), *top])
    field = a * mesh.x + b * mesh.z
    inside = field[np.unique(pieces.quad_nodes)]
    whole = half_plane(polygon, 0.0, 1.0, 1e3)
    for level in np.linspace(inside.min() - 0.1, inside.max() + 0.1, 13):
        share = share_below(field, level, pieces)
        assert share == pytest.approx(half_plane(polygon, a, b, level) / whole, abs=1e-10)
        assert share + share_above(field, level, pieces) == pytest.approx(1.0, abs=1e-10)


def test_shares_weigh_dry_matter():
    """Bulk density grows with depth d as 1 + 0.3 d; the lower half of a mix 2.4 m high then holds
    (1.2 + 0.3 (2.4^2 - 1.2^2) / 2) / (2.4 + 0.3 2.4^2 / 2) = 0.566 of the dry matter, not 0.5.

    Tolerance 1e-3: one density per cell. Planted: weights by area.
    """
    problem = problem_with(**{**RECTANGLE, "mix.compaction": "0.3 1/m"})
    expected = (1.2 + 0.3 * (2.4**2 - 1.2**2) / 2) / (2.4 + 0.3 * 2.4**2 / 2)
    pieces = mix_pieces(problem)
    assert share_below(problem.mesh.z, 1.2, pieces) == pytest.approx(expected, abs=1e-3)
    assert pieces.node_weight.sum() == pytest.approx(1.0, abs=1e-12)


def test_level_that_a_share_exceeds():
    """Of a rectangle, 1 percent lies above 0.99 of its height. To 1e-6 of the range. Planted: 1 percent below."""
    problem = problem_with(**RECTANGLE)
    assert level_exceeded_by(0.01, problem.mesh.z, mix_pieces(problem)) == pytest.approx(0.99 * 2.4, abs=1e-5)


# --- zones -----------------------------------------------------------------------------------------------------------
def test_zones_of_a_rectangle():
    """Half a rectangle, 3.0 m wide and 2.4 m high, by hand from the definitions: toe 0.2 x 0.4 beside the cover; floor
    the lowest 0.3 m otherwise; crest and flank within 0.4 m of the cover, parted by the diagonal of the corner; core
    the rest. Cells of 10 cm end on every border but the diagonal, which cuts cells into whole triangles.

    Planted: zone of a cell by its centre; floor before toe; skin of 0.3 m.
    """
    problem = problem_with(**RECTANGLE)
    pieces = mix_pieces(problem)
    toe = 0.2 * 0.4
    floor = 0.3 * 3.0 - 0.2 * 0.3
    crest = 0.4 * 2.6 + 0.5 * 0.4 * 0.4
    flank = 0.5 * 0.4 * 0.4 + 0.4 * (2.0 - 0.3) - 0.2 * 0.1
    core = 2.6 * (2.0 - 0.3)
    areas = np.array([toe, floor, crest, flank, core]) / (3.0 * 2.4)
    assert areas.sum() == pytest.approx(1.0, abs=1e-12)
    got = np.zeros(len(ZONES))
    np.add.at(got, pieces.zone, pieces.weight)
    assert got == pytest.approx(areas, abs=1e-9)
    assert pieces.zone_node_weight.sum(axis=1) == pytest.approx(np.ones(5), abs=1e-12)
    half_floor = share_below_by_zone(problem.mesh.z, 0.15, pieces)[ZONES.index("floor")]
    assert half_floor == pytest.approx(0.5, abs=1e-9)
    mean_x = pieces.zone_node_weight @ problem.mesh.x
    assert mean_x[ZONES.index("core")] == pytest.approx(1.3, abs=1e-9)  # its middle, 2.6 m wide from the axis


def test_zones_of_a_trapezoid():
    """Places whose zone is plain from the definitions: 5.2 m wide, 2.0 m high on a base layer of 0.2 m, 50 degrees.

    Planted: height above ground instead of above the base layer.
    """
    problem = problem_with()
    base = problem.grid.mix_base
    assert base == pytest.approx(0.2, abs=1e-12)
    places = {(0.0, 1.0): "core", (0.0, 1.9): "crest", (0.0, 0.29): "floor", (0.0, 0.31): "core", (2.5, 0.02): "toe",
              (2.25, 0.35): "toe", (1.9, 0.45): "flank", (1.7, 0.2): "floor", (1.4, 1.1): "flank"}
    x, z = np.array(list(places)).T
    found = shares._zones(problem, x, z + base)
    assert [ZONES[k] for k in found] == list(places.values())


def test_empty_zones_are_not_numbers():
    """A column has no flank and no toe: their shares are NaN, and none of the weights is. Planted: zero."""
    pieces = mix_pieces(problem_with(**{"pile.shape": "column"}))
    by_zone = share_below_by_zone(np.zeros_like(pieces.node_weight), 1.0, pieces)
    present = [zone for zone, share in zip(ZONES, by_zone, strict=True) if not np.isnan(share)]
    assert {"toe", "flank"}.isdisjoint(present) and {"crest", "core", "floor"} <= set(present)
    assert np.isfinite(pieces.zone_node_weight).all()


# --- watching a run --------------------------------------------------------------------------------------------------
@cache
def stage():
    """A real pile to tell invented histories to: scenario, stepper, its state at the start, pieces."""
    scenario = scenario_with(**{"run.cell": "25 cm"})
    problem = build(scenario, 1)
    stepper = make_stepper(problem, Controls())
    return scenario, stepper, begin(stepper)[0], mix_pieces(problem)


def watched(times, temperature, oxygen):
    """A Watch that has seen `temperature` [K] and `oxygen` [1], (moments,), the same everywhere, at `times` [s]."""
    scenario, stepper, first, pieces = stage()
    watch = Watch(scenario, pieces, 273.15 + 55.0)
    states = [replace(first, time=float(t), temperature=np.full_like(first.temperature, hot),
                      oxygen=np.full_like(first.oxygen, x))
              for t, hot, x in zip(times, temperature, oxygen, strict=True)]
    none = np.zeros(len(TOTALS)), np.zeros_like(first.oxygen)
    for before, after in zip([states[0], *states[:-1]], states, strict=True):
        watch(stepper, Moment(before, after, after.time - before.time, *none))
    return watch


steps = st.lists(st.tuples(st.integers(1, 30), st.integers(-3, 3), st.integers(0, 20)), min_size=2, max_size=15)


def test_rule_clock_by_hand():
    """Two hours at 60 degC, a dip of two hours to 50, five hours at 60, ramps of an hour: the second run counts, with
    half an hour of each ramp. Planted: the last run instead of the longest.
    """
    hours = np.array([0, 2, 3, 5, 6, 11, 12, 20, 21, 22])
    degrees = np.array([60, 60, 50, 50, 60, 60, 50, 50, 60, 60])
    watch = watched(hours * HOUR, degrees + 273.15, np.full(10, 0.1))
    met = watch.rule_progress()
    assert met[watch.mix_nodes] == pytest.approx(6 / 72, abs=1e-12)
    assert np.delete(met, watch.mix_nodes).max() == 0.0


@settings(deadline=None, max_examples=60)
@given(steps)
def test_daily_mean_of_oxygen(history):
    """Mean over the last 24 hours, since the start before that, of a piecewise linear history: trapezia between all
    knots of the window. Steps shorter and longer than a day. Planted: window of 12 hours; window cut at whole steps.
    """
    hours, _, percent = (np.array(column, float) for column in zip(*history, strict=True))
    times, oxygen = np.concatenate([[0.0], np.cumsum(hours)[1:]]) * HOUR, percent / 100.0
    watch = watched(times, np.full(times.size, 300.0), oxygen)
    expected = [oxygen[0]]
    for end in times[1:]:
        start = max(end - DAY, 0.0)
        knots = np.unique([start, *times[(times > start) & (times < end)], end])
        expected.append(np.trapezoid(np.interp(knots, times, oxygen), knots) / (end - start))
    core = np.array(watch.daily_zone_oxygen)[:, ZONES.index("core")]
    assert core == pytest.approx(np.array(expected), abs=1e-12)
    apart = np.abs(np.array(expected) - 0.05) > 1e-9  # where round-off does not decide
    below = np.array(watch.series["anaerobic_share"])[apart]
    assert below == pytest.approx((np.array(expected)[apart] < 0.05).astype(float), abs=1e-9)


# --- days ------------------------------------------------------------------------------------------------------------
SHARES = np.array([0.9, 0.2, 0.05, 0.3, 0.08, 0.0])
TIMES = np.array([0.0, 4.0, 5.0, 6.0, 10.0, 12.0])


def test_first_day_after_which_a_share_stays_below():
    """Crossing 0.1 for good between days 6 and 10, (0.3 - 0.1) / (0.3 - 0.08) of the way; the first dip does not
    count. Never above: from the start. Above at the end: not reached. Planted: the first crossing.
    """
    assert measures._stays_below(0.1, TIMES, SHARES) == pytest.approx(6.0 + 4.0 * 0.2 / 0.22, abs=1e-12)
    assert measures._stays_below(0.95, TIMES, SHARES) == 0.0
    assert np.isnan(measures._stays_below(0.1, TIMES[:4], SHARES[:4]))


def test_first_day_on_which_a_share_is_reached():
    """Half way between days 4 and 5 the rising share passes 0.5. Planted: the end of the step."""
    rising = np.array([0.0, 0.4, 0.6, 0.6, 0.7, 1.0])
    assert measures._first_reaches(0.5, TIMES, rising) == pytest.approx(4.5, abs=1e-12)
    assert measures._first_reaches(0.0, TIMES, rising) == 0.0
    assert np.isnan(measures._first_reaches(0.99, TIMES[:5], rising[:5]))


def test_value_on_a_day():
    """Linear between steps; a run that ends before has none. Planted: the last value of a shorter run."""
    assert measures._on_day(5.5, TIMES, SHARES) == pytest.approx(0.175, abs=1e-12)
    assert np.isnan(measures._on_day(14.0, TIMES, SHARES))


# --- a whole run -----------------------------------------------------------------------------------------------------
def test_output_times_change_no_measure():
    """Every measure of two runs that differ in `run.output_every` is the same to the last bit, though the rule (six
    hours) is met and the mix reaches 55 degC between outputs. Planted: watching only steps with an output.
    """
    found = []
    for every in ("30 minute", "60 hour"):
        scenario = scenario_with(**{"run.cell": "25 cm", "run.duration": "5 day", "start.temperature": "45 degC",
                                    "limits.rule": "55 degC for 6 hour", "run.output_every": every})
        found.append(observed_run(scenario, build(scenario, 1), lambda share: None)[1])
    assert 0.0 < found[0]["cold_edge_fraction"] < 1.0 and 0.0 < found[0]["days_to_55C_median"] < 5.0
    for name in measures.MEASURES:
        np.testing.assert_array_equal(found[0][name], found[1][name], err_msg=name)


def test_numerical_error_is_the_difference_of_two_grids():
    """Undivided and without sign; not a number where either is none. Planted: a third of it."""
    fine = dict.fromkeys(measures.MEASURES, 1.0) | {"water_loss": np.nan, "cold_edge_fraction_by_zone": np.arange(5.0)}
    coarse = dict.fromkeys(measures.MEASURES, 1.5) | {"cold_edge_fraction_by_zone": np.arange(5.0)[::-1]}
    errors = measures.errors(fine, coarse)
    assert errors["peak_temperature"] == 0.5 and np.isnan(errors["water_loss"])
    assert errors["cold_edge_fraction_by_zone"].tolist() == [4.0, 2.0, 0.0, 2.0, 4.0]
