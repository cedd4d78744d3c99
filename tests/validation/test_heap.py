"""How a round heap differs from a ridge of the same height and slope (kind: behaviour; common practice, no source).

A cone has half again the flank per volume of the ridge: more of it stays cold, and air reaches all of it sooner.
"""

import pytest

from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.study.run import observed_run, simulate


@pytest.fixture(scope="module")
def ridge():
    changes = {"pile.shape": "ridge", "run.cell": "25 cm", "run.duration": "14 day", "run.output_every": "1 day"}
    return load("reference_pile").with_(**changes)


def test_a_round_heap_is_colder_at_the_edge_and_aerobic_sooner(ridge):
    """Fault that fails it: conductances of the heap left those of a plane section."""
    heap = ridge.with_(**{"pile.shape": "round", "pile.crest_width": "0 m"})
    (_, _, tally), cone = observed_run(heap, build(heap, 2), lambda share: None)
    _, prism = observed_run(ridge, build(ridge, 2), lambda share: None)
    assert cone["cold_edge_fraction"] > 1.1 * prism["cold_edge_fraction"]
    assert cone["days_to_aerobic"] < prism["days_to_aerobic"] - 1.0
    for name in ("heat", "oxygen", "water"):  # what the project asks of every run
        assert cone[f"budget_error_{name}"] < 1e-3
    assert tally.oxygen_unfinished == 0


def test_a_heap_reports_totals(ridge):
    """Faults that fail it: units, or words, left per metre; volumes left those of a plane section."""
    heap = ridge.with_(**{"pile.shape": "round", "pile.crest_width": "0 m", "run.duration": "1 day"})
    result = simulate(heap)
    units = [result[name].attrs["units"] for name in ("mix_volume", "mix_mass", "air_intake", "heat_released", "mix_area")]
    assert units == ["m3", "kg", "kg s-1", "W", "m3"]
    assert result.attrs["shape"] == "round"
    assert float(result["mix_volume"]) == pytest.approx(3.14159265 * 2.6**2 * 2.0 / 3.0)
    assert "whole heap" in result["mix_mass"].attrs["long_name"]
