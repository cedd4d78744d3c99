"""A cover whose permeability follows its own water: condensate tightens it where the draught is strong.

Signs and wide bands. The reading that this is what keeps covered piles warm in deep cold rests on prototypes made for this
project (common practice, no source, that they stay warm). "Planted" names the faults under which a test was seen to fail.
"""

from __future__ import annotations

import numpy as np
import pytest

from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.section.grid import COVER
from pilesim.solver.march import DAY, march
from pilesim.solver.step import Controls
from pilesim.study.run import messages

DEEP_COLD = {"weather.air_temperature": "-35 degC", "run.cell": "10 cm"}


@pytest.fixture(scope="module")
def pair(pile):
    """The reference pile in deep cold: cover as given, and as a valve."""
    return pile(**DEEP_COLD), pile(**DEEP_COLD, **{"cover.valve": "true"})


def met(run):
    """Share of the mix that meets the rule of three days at 55 degC."""
    return 1.0 - float(run.measures["cold_edge_fraction"])


def test_valve_keeps_more_of_the_mix_hot_in_deep_cold(pair):
    """At -35 degC the same cover keeps more of the mix at 55 degC for three days as a valve, and the pile warm on day 30
    (seen 0.96 against 0.63, and 59 against 13 degC; on cells of 5 cm 0.94 against 0.61, and 60 against 14 degC).

    Planted: the cover's permeability stays as given.
    """
    fixed, valve = pair
    assert met(valve) > met(fixed) + 0.1
    assert met(valve) > 0.85
    assert valve.mean_temperature(30.0) > fixed.mean_temperature(30.0) + 20.0


def test_valve_throttles_the_draught_less_where_it_is_weak(pair, pile):
    """It takes more off a strong draught (-35 degC) than off a weak one (10 degC), on day 14: a valve, not just a tighter
    cover (seen a factor 2.8 against 1.7). Planted: the cover's permeability stays as given.
    """
    mild = {"weather.air_temperature": "10 degC", "run.cell": "10 cm"}
    fixed, valve = pair
    cold_factor = fixed.series("air_intake", 14.0) / valve.series("air_intake", 14.0)
    mild_pair = pile(**mild), pile(**mild, **{"cover.valve": "true"})
    mild_factor = mild_pair[0].series("air_intake", 14.0) / mild_pair[1].series("air_intake", 14.0)
    assert cold_factor > 1.15 * mild_factor
    assert mild_factor > 1.1


def test_condensate_closes_the_crest_first():
    """On day 14 the cover over the crest, through which warm wet gas leaves, is wetter and tighter than built, and than the
    cover of the lower flank, through which cold air enters. Planted: the cover's permeability stays as given.
    """
    problem = build(load("reference_pile").with_(**{"run.cell": "20 cm", "cover.valve": "true"}), 2)
    last = {}

    def observe(stepper, moment):
        last["permeability"] = stepper.props.permeability[COVER].copy()

    march(problem, 14 * DAY, Controls(), observe)
    mesh = problem.mesh
    own = mesh.volume[COVER] > 0
    top = own & (mesh.z > mesh.z[own].max() - 0.15) & (mesh.x < 0.5)
    low = own & (mesh.z > 0.3) & (mesh.z < 0.9)
    built = problem.bed.permeability[COVER]
    crest, flank = (np.average(last["permeability"][part], weights=mesh.volume[COVER][part]) for part in (top, low))
    assert crest < 0.8 * built
    assert crest < 0.8 * flank


def test_a_valve_says_what_its_numbers_are_worth(pair):
    """One message on the error of the cells, with a valve only. Planted: the message left out."""
    for run, expected in zip(pair, (0, 1), strict=True):
        said = [text for text in messages(run.watch.scenario, run.watch, run.tally, run.measures) if "valve" in text]
        assert len(said) == expected
