"""What ingredients and density do to a pile: directions and published contrasts, from the feedstock library to the
measures."""

from __future__ import annotations

import pytest

import pilesim
from pilesim.inputs.scenario import load
from pilesim.matter.mix import free_air_space, settled_mix


def run(scenario):
    """Measures of a run: name to (value, error)."""
    measures = pilesim.summarise(pilesim.simulate(scenario)).measures
    return {name: (measure.value, measure.error) for name, measure in measures.items()}


@pytest.fixture(scope="module")
def trimmings():
    scenario = load("buckets_of_trimmings")
    return {name: run(scenario.with_(**{"feedstock.trimmings.like": f"{name} yard trimmings"}))
            for name in ("coarse", "fine")}


@pytest.fixture(scope="module")
def densities():
    """The same ingredients, loaded loosely and pressed: permeability and free air space follow from the density."""
    recipe = {"mix.ingredients": "4 buckets of coarse yard trimmings; 1 bucket of dairy manure"}
    pile = load("reference_pile").with_(**recipe)
    return {density: run(pile.with_(**{"mix.bulk_density": f"{density} kg/m3"})) for density in (500, 750)}


def apart(coarse, fine):
    """Whether `fine` is above `coarse` by more than both errors together."""
    return fine[0] - coarse[0] > coarse[1] + fine[1]


def test_fine_trimmings_starve_the_core(trimmings):
    """Fine material has a tenth of the permeability and less free air space: oxygen in the core on day 14 falls, the
    anaerobic share grows, by more than their errors. Common practice, no source, for the direction; at 10 cm 16.5 ±0.2 %
    and 0.3 ±0.3 % of oxygen. Planted: `like` of
    the scenario's own feedstock not followed: seen to fail. (The particle size alone set to that of coarse: not seen.)"""
    coarse, fine = trimmings["coarse"], trimmings["fine"]
    for name in ("anaerobic_fraction_day_14", "anaerobic_fraction_mean"):
        assert apart(coarse[name], fine[name]), name
    assert apart(fine["core_oxygen_day_14"], coarse["core_oxygen_day_14"])


def test_fine_trimmings_leave_more_of_the_pile_cold(trimmings):
    """Where oxygen is what is missing, less air is less heat: behind the same cover at -10 degC more of the starved mix
    has not held 55 degC by day 30. (A mix that is blown cold would gain from being tighter: that is the other side of the
    window, and the coarse mix here stands on it with its toe only.) At 10 cm 0.29 ±0.05 and 0.58 ±0.11."""
    assert apart(trimmings["coarse"]["cold_edge_fraction"], trimmings["fine"]["cold_edge_fraction"])


def test_dense_piles_run_at_a_few_percent_of_oxygen_or_less(densities):
    """The same pile at about 500 and 750 kg/m3: core oxygen on day 14 differs at least threefold, and is below 3 % in the
    dense one. Veeken (2002), straw and pig manure, recalled from memory: about 560 kg/m3 aerobic, 700 partly, 1,100
    anaerobic. At 10 cm 8.9 ±2.1 and 0.00 ±0.004 %. Planted: the given density not used: seen
    to fail."""
    loose, dense = (densities[density]["core_oxygen_day_14"] for density in (500, 750))
    assert loose[0] - loose[1] >= 3.0 * (dense[0] + dense[1])
    assert dense[0] + dense[1] < 3.0


def test_library_mixes_have_permeabilities_of_the_order_of_piles():
    """Recipes of the library against what was read off piles: coarse and bulked 1e-8 to 2e-7 m2, ordinary fine mixes 1e-9
    to 1e-8, broiler litter about 1e-9 or less (three times that allowed; the library's own spread is a factor of six).
    These orders are tuned or read off one log each, no published table."""
    reference = load("reference_pile")
    for text, low, high in (
        ("4 buckets of coarse yard trimmings; 1 bucket of dairy manure with straw", 1e-8, 2e-7),
        ("4 buckets of fine yard trimmings; 1 bucket of dairy manure", 1e-9, 1e-8),
        ("1 bucket of broiler litter", 3e-10, 3e-9),
    ):
        mix = settled_mix(reference.with_(**{"mix.ingredients": text}).mix)
        assert low <= mix.permeability <= high, text
        assert 0.35 < free_air_space(mix.bulk_density, mix.moisture, mix.volatile_solids) < 0.75, text
