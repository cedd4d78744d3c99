"""What seeding does to the profile of a young pile: it must emerge from the growth of the activity, coded nowhere.

Each check is of a difference between two runs that differ in the seed alone, on the reference pile in air of 10 degC.
"Planted" names the faults under which a test was seen to fail.
"""

from __future__ import annotations

import numpy as np
import pytest

from pilesim.balances.physics import Physics
from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.section.distance import distance_from_line
from pilesim.section.grid import MIX
from pilesim.solver.march import DAY, march
from pilesim.solver.step import Controls
from pilesim.study.run import messages

OUTER = 0.2  # m under the cover, by the outward normal
DAYS = (1.0, 2.0, 3.0, 5.0)


@pytest.fixture(scope="module")
def seeded(pile):
    """The reference pile with each seeding, six days on 10 cm cells."""
    return {word: pile(**{"start.seeding": word, "run.cell": "10 cm", "run.duration": "6 day"})
            for word in ("mature", "mixed", "surface")}


def depth_of(problem):
    """Distance of the mix's nodes from the cover [m], (count,); infinite elsewhere."""
    mesh = problem.mesh
    own = mesh.volume[MIX, :-1] > 0
    depth = np.full(mesh.count, np.inf)
    depth[own] = distance_from_line(problem.grid.mix_surface, mesh.x[:-1][own], mesh.z[:-1][own])[0]
    return depth


def ring_and_inside(run, day):
    """Mean temperature of the outer ring and of the rest of the mix [degC]."""
    volume, ring = run.problem.mesh.volume[MIX, :-1], depth_of(run.problem) <= OUTER + 1e-9
    values = run.field("temperature", day)
    return tuple(float(np.average(values, weights=volume * part)) for part in (ring, ~ring))


@pytest.mark.parametrize("day", DAYS)
def test_surface_seed_heats_the_ring_first(seeded, day):
    """The outer 0.2 m is warmer than the inside from day 1 (seen 8.6, 17, 21 and 21 K), as practice reports (common
    practice, no source): the seed burns there while the rest still grows.

    Planted: seed put inside instead of outside the layer.
    """
    ring, inside = ring_and_inside(seeded["surface"], day)
    assert ring > inside + 4.0


@pytest.mark.parametrize("day", DAYS)
def test_surface_seed_beats_the_same_low_activity_everywhere(seeded, day):
    """A ring seeded alone is warmer than the ring of a pile with a low activity throughout (2 %; seen 10 to 34 K):
    the logistic curve starts higher, nothing else differs. Planted: activity without effect on the rate.
    """
    assert ring_and_inside(seeded["surface"], day)[0] > ring_and_inside(seeded["mixed"], day)[0] + 4.0


def test_a_mature_pile_shows_nearly_the_same_ring(seeded):
    """The profile alone proves nothing: without any seeding zone a uniformly mature pile has a warm ring too, within 3 K
    of the seeded one's on days 1 to 5 (seen 0.2 to 1.3 K), because its oxygen ends in the outer few decimetres
    (derived: respiration at full activity uses up what diffuses in within 0.1 to 0.35 m, zero-order uptake).

    Oxygen above 1 % on day 1 is found within 0.35 m of the cover only.

    Planted: mature pile started at the activity of a mixed seed.
    """
    for day in DAYS:
        ring, inside = ring_and_inside(seeded["mature"], day)
        assert ring > inside + 4.0
        assert ring == pytest.approx(ring_and_inside(seeded["surface"], day)[0], abs=3.0)
    mature = seeded["mature"]
    depth, oxygen, volume = depth_of(mature.problem), mature.field("oxygen", 1.0), mature.problem.mesh.volume[MIX, :-1]
    above_floor = mature.problem.mesh.z[:-1] > mature.problem.grid.mix_base + 0.4  # air also comes through the base layer
    deep = (depth > 0.35) & np.isfinite(depth) & above_floor
    assert volume[deep & (oxygen > 1.0)].sum() < 0.02 * volume[deep].sum()


def test_core_of_a_surface_seeded_pile_stays_aerobic_longer(seeded):
    """Longer than in a uniformly mature pile, whose core has used up its oxygen within hours: the unseeded core does not
    respire yet. Core oxygen above 5 % on day 1 (seen 9 against 0 %), less of the mix anaerobic on day 1 (running daily
    mean, below and above a half) and on day 6 (seen 0.14 against 0.72). In between, on days 2 to 4, the ring's uptake
    leaves the inside short of oxygen in both; on day 5 the air breaks through and the share drops from 0.9 to 0.2.

    Planted: unseeded activity 1.
    """
    surface, mature = seeded["surface"], seeded["mature"]
    assert surface.zone_oxygen("core", 1.0) > 5.0 > mature.zone_oxygen("core", 1.0)
    assert mature.series("anaerobic_share", 1.0) > 0.5 > surface.series("anaerobic_share", 1.0)
    assert surface.series("anaerobic_share", 6.0) < mature.series("anaerobic_share", 6.0) - 0.2


def test_mature_start_warms_soonest(seeded):
    """A full start is never behind a partial one before oxygen decides: mean temperature on day 2, mature above surface
    above mixed (seen 28, 26 and 20 degC). Planted: mature pile started at the activity of a mixed seed.
    """
    means = [seeded[word].mean_temperature(2.0) for word in ("mature", "surface", "mixed")]
    assert means[0] > means[1] > means[2]


def hottest(depth_seeded):
    """Depth [m] of the hottest layer of the mix on day 1, layers of 5 cm, for a seeded layer of `depth_seeded` [m]."""
    scenario = load("reference_pile").with_(**{"run.cell": "5 cm", "start.seeding": "surface"})
    problem = build(scenario, 2, Physics(constants={"seeded_depth": depth_seeded}))
    _, state, _ = march(problem, DAY, Controls(), lambda stepper, moment: None)
    depth, volume = depth_of(problem), problem.mesh.volume[MIX, :-1]
    layers = 0.05 * np.arange(8)
    means = [np.average(state.temperature[:-1], weights=volume * (np.abs(depth - layer) < 0.0251)) for layer in layers]
    return float(layers[int(np.argmax(means))])


def test_the_hottest_depth_on_the_next_day():
    """Practice reports the highest temperature 5 to 8 cm below the cover on the next day (common practice, no source).

    The model puts it at 10 cm (10 to 15 cm on cells of 2.5 cm, at -10 to 20 degC outside) with the seed in 20 cm, and at
    5 cm with the seed in 10 cm: the hottest depth is the middle of the seeded layer, drawn outwards no further. So this
    is a fact about where the seed was put, and the model does not confirm 5 to 8 cm for a layer of 20 cm. Held here:
    inside the layer, and deeper for a deeper one. Planted: seeded depth without effect.
    """
    shallow, usual, deep = (hottest(depth) for depth in (0.10, 0.20, 0.30))
    assert 0.0 < shallow < 0.10 and 0.0 < usual < 0.20 and 0.0 < deep < 0.30
    assert shallow < usual < deep


def test_a_seeded_run_says_what_is_known(seeded):
    """One message with the evidence, for a seeded run only. Planted: message for every run."""
    for word, run in seeded.items():
        said = [text for text in messages(run.watch.scenario, run.watch, run.tally, run.measures) if "seed" in text.lower()]
        assert len(said) == (0 if word == "mature" else 1)
        assert all("proves nothing" in text and "tuned" in text for text in said)
