"""Probe planning: the held temperature against brute force, and that the places chosen are the coldest there are."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pilesim.assess.histories import History
from pilesim.assess.parcels import places_in
from pilesim.assess.probe_plan import held_temperature, plan_probes
from pilesim.assess.shares import mix_pieces
from pilesim.base.errors import ScenarioError
from pilesim.build import build
from pilesim.inputs.rules import default_rule
from pilesim.inputs.scenario import Turn, load
from pilesim.show.probes_text import probe_csv, probe_sentences

DAY = 86400.0


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(0.0, 80.0)), min_size=3, max_size=9), st.floats(0.1, 3.0))
def test_held_temperature_is_the_best_window(steps, duration):
    """Against every window that begins on a fine raster: never less than the best of them, and no more than what half a step
    of the raster may hide at the steepest slope. Planted: windows that begin or end at a time only."""
    times = np.concatenate([[0.0], np.cumsum([length for length, _ in steps])])
    values = np.array([20.0, *(value for _, value in steps)])
    found = float(held_temperature(times, values[:, None], duration)[0])
    if times[-1] < duration:
        assert found == values.min()
        return
    starts = np.linspace(0.0, times[-1] - duration, 400)
    raster = max(min([*np.interp([start, start + duration], times, values),
                      *values[(times > start) & (times < start + duration)]]) for start in starts)
    steepest = np.abs(np.diff(values) / np.diff(times)).max()
    room = (starts[1] - starts[0]) * steepest
    assert raster - 1e-9 <= found <= raster + room + 1e-9


def history(cell_level, coldest, turns=()):
    """A pile in which a place is the warmer the farther it lies from `coldest` (x, z) [m]; it is so for ten days."""
    problem = build(load("reference_pile").with_(**{"run.cell": "10 cm"}), cell_level)
    pieces = mix_pieces(problem)
    nodes = np.unique(pieces.quad_nodes)
    away = np.hypot(problem.mesh.x[nodes] - coldest[0], problem.mesh.z[nodes] - coldest[1])
    times = np.array([0.0, 1.0, 10.0]) * DAY
    field = 273.15 + 40.0 + 12.0 * away
    return History(problem, pieces, times, np.stack([np.full(nodes.size, 293.15), field, field]), nodes, turns)


@pytest.mark.parametrize("coldest", ((2.2, 0.4), (0.1, 2.0), (1.0, 0.3)))
@pytest.mark.parametrize("count", (1, 3))
def test_probes_stand_where_it_is_coldest(coldest, count):
    """The first within 10 cm (a cell) of the place that is the coldest by construction, all in the coldest part, no two at
    one place, next to nothing colder than the first. Planted: the warmest of each group taken."""
    fine, coarse = history(2, coldest), history(1, coldest)
    plan = plan_probes(fine, coarse, default_rule(), count)
    assert len(plan.probes) == count
    first = plan.probes[0]
    assert np.hypot(first.x - coldest[0], first.z - coldest[1]) < 0.10
    assert first.hidden < 0.01
    assert [probe.held for probe in plan.probes] == sorted(probe.held for probe in plan.probes)
    places = {(round(probe.x, 3), round(probe.z, 3)) for probe in plan.probes}
    assert len(places) == count
    held = 273.15 + 40.0 + 12.0 * np.hypot(*(places_in(fine.problem, fine.pieces).points - np.array(coldest)).T)
    missed = float((held < 328.15).mean())
    assert all(probe.held <= np.quantile(held, max(missed, 0.10)) + 0.5 for probe in plan.probes)
    assert sum(probe.stands_for for probe in plan.probes) == pytest.approx(max(missed, 0.10), abs=0.01)
    for probe in plan.probes:
        assert np.hypot(probe.x - probe.foot[0], probe.z - probe.foot[1]) == pytest.approx(probe.depth, abs=1e-9)
        assert probe.depth >= 0.2  # the cover at least


def test_what_the_core_hides_is_counted():
    """With the toe cold, the share colder than the core and the sentence about it. Planted: the share warmer than it."""
    fine, coarse = history(2, (2.2, 0.4)), history(1, (2.2, 0.4))
    plan = plan_probes(fine, coarse, default_rule(), 2)
    core = np.hypot(plan.core.x - 2.2, plan.core.z - 0.4)
    points = places_in(fine.problem, fine.pieces).points
    assert plan.core.hidden == pytest.approx((np.hypot(*(points - np.array([2.2, 0.4])).T) < core).mean(), abs=0.02)
    words = " ".join(probe_sentences(plan, "metric"))
    assert "ask your regulator" in words and "not a statement of compliance" in words
    rows = list(csv.DictReader(io.StringIO(probe_csv(plan))))
    assert [row["probe"] for row in rows] == ["1", "2", "core"]
    assert float(rows[0]["held_degC"]) == pytest.approx(plan.probes[0].held - 273.15, abs=0.05)


def test_bad_input_is_refused():
    """A count that is none, and a pile that was turned."""
    fine, coarse = history(2, (2.2, 0.4)), history(1, (2.2, 0.4))
    for count in (0, 9):
        with pytest.raises(ScenarioError, match="1 to 8 probes"):
            plan_probes(fine, coarse, default_rule(), count)
    turned = history(2, (2.2, 0.4), (Turn(DAY, "throughout", 1.0, 20.0, 0.0),))
    with pytest.raises(ScenarioError, match="without turns"):
        plan_probes(turned, coarse, default_rule(), 2)
