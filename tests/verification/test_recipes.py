"""Published worked examples of compost recipes, and the laws from ingredients to the bed against hand values."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from verification.rows import assert_pass

from pilesim.assess.recipe import ranges
from pilesim.base.constants import CONSTANTS
from pilesim.inputs.library import WATER, feedstock_library
from pilesim.inputs.scenario import load
from pilesim.matter.mix import at_depth, blend, derive, free_air_space, permeability, settled_mix
from pilesim.matter.proportions import Targets, air_space, reach
from pilesim.verify import recipes
from pilesim.verify.recipes import feedstock

LIBRARY = feedstock_library()
GRASS, LEAVES = recipes.grass_and_leaves()


# ------------------------------------------------------------------------------------------ published worked examples
def test_leaves_for_grass():
    """Richard and Trautmann (Cornell composting): 10 kg of grass clippings at 77 % and leaves at 35 %: 60 % moisture
    needs 6.8 kg (read in a copy), C:N is then 37; C:N 30 needs 3.5 kg, moisture is then 66 % (recalled from memory).
    To the last digit printed. Planted: moisture on the dry basis; carbon of the wet mass: each seen to fail."""
    assert_pass(recipes.leaves_for_grass())


def test_grass_and_leaves_cannot_have_both():
    """The same lesson: with two ingredients moisture 60 % and C:N 30 conflict. Both are named, what each alone gives, and a
    third material that resolves it, which is then tried. Planted: met within half of the
    C:N instead of a hundredth: seen to fail."""
    targets = Targets(moisture=0.60, carbon_to_nitrogen=30.0)
    found = reach([GRASS, LEAVES], np.array([10.0, 4.0]), targets, 0.0, library=LIBRARY)
    assert found.missed == ("moisture", "carbon_to_nitrogen")
    assert found.alone["moisture"].carbon_to_nitrogen == pytest.approx(37.0, abs=0.5)
    assert found.alone["carbon_to_nitrogen"].moisture == pytest.approx(0.66, abs=0.005)
    assert found.helpers and WATER not in dict(found.helpers)      # water makes it wetter
    for name, _ in found.helpers:
        again = reach([GRASS, LEAVES, LIBRARY[name]], np.array([10.0, 4.0, 1.0]), targets, 0.0)
        assert not again.missed, name


def test_hay_scraps_and_coffee():
    """'How to calculate the carbon-to-nitrogen ratio of your compost mix' (a garden leaflet, read in a web copy): 50 lb
    of hay (40 % C, 1 % N), 10 lb of kitchen scraps (10 %, 1 %) and 2 lb of coffee grounds (25 %, 1 %), shares of the mass
    as is: 34.7. Planted: carbon taken of volatile solids: seen to fail."""
    assert_pass(recipes.hay_scraps_and_coffee())


def test_sawdust_and_urea():
    """A state extension service answers (question 351921, August 2016, read in a web copy): a cubic yard of sawdust, 400
    lb with 60 % C and C:N 400 (240 lb C, 0.6 lb N), needs 16 lb of urea (46 % N) for C:N 30. Counted as there: shares of
    the mass as is, no carbon in the urea. Planted: the target row without the nitrogen of the amendment: seen to fail."""
    assert_pass(recipes.urea_for_sawdust())


def test_litter_and_straw_by_parts():
    """A state extension service's algebra, quoted on a web page: litter of C:N 7.5 and straw of 130 for C:N 20 make 0.90
    and 0.10 parts. That shortcut holds where both bring the same nitrogen per mass, and so they are given here; the page
    prints 1.00 : 0.11."""
    assert_pass(recipes.straw_for_litter())


def test_poplar_chips_and_lawn():
    """Biotechnology for Biofuels 5:20 (2012), table 4: yellow poplar (7 % water) and mown lawn (85 %), 1 to 1 by fresh
    weight, are 6 to 1 by dry weight. Planted: water counted on the dry basis: seen to fail."""
    assert_pass(recipes.chips_and_lawn())


def test_free_air_space_of_a_published_optimum():
    """Bulk density 593 kg/m3 (1,000 lb/yd3), 60 % moisture, 85 % organic matter: 0.504 by the phase densities (van Ginkel
    1999), evaluated by hand. Planted: particle density 1000 for organic matter (another handbook's): gives 0.36, seen to
    fail."""
    by_hand = 1.0 - 593.0 * (0.60 / 1000.0 + 0.40 * 0.85 / 1600.0 + 0.40 * 0.15 / 2500.0)
    assert free_air_space(593.0, 0.60, 0.85) == pytest.approx(by_hand, abs=1e-12)
    assert by_hand == pytest.approx(0.504, abs=0.0005)
    assert_pass(recipes.air_of_a_usual_mix())


def test_a_full_bucket_weighed():
    """Supplement adapted from Cooperband (2002), read in a web copy: 9 kg of compost in 20 L make 0.45 kg/L."""
    part = feedstock("compost", bulk_density=9.0 / 0.020)
    made = blend([part], np.array([9.0]), 0.1)      # one material loses no volume
    assert made.bulk_density == pytest.approx(450.0, rel=1e-12)


# ------------------------------------------------------------------------------------------ laws
@pytest.mark.parametrize(("millimetres", "air", "expected"), [
    (0.5, 0.35, 1.7e-10), (1.0, 0.45, 2.0e-9), (2.0, 0.50, 1.3e-8), (3.0, 0.50, 3.0e-8), (10.0, 0.55, 5.5e-7)])
def test_permeability_of_the_ergun_equation(millimetres, air, expected):
    """d^2 e^3 / (150 (1 - e)^2), evaluated by hand to two digits. Planted: 180 for 150 (Carman's form): seen to fail."""
    assert permeability(1e-3 * millimetres, air) == pytest.approx(expected, rel=0.03)


def test_floor_of_the_pile_is_denser_and_tighter():
    """At depth the density grows by the compaction, and permeability as the Kozeny-Carman dependence on what air is left."""
    mix = settled_mix(load("reference_pile").mix)
    density, air, below = at_depth(mix, 2.0)
    assert density == pytest.approx(500.0 * 1.24, rel=1e-12)
    top = free_air_space(500.0, 0.58, 0.80)
    assert air == pytest.approx(1.0 - (1.0 - top) * 1.24, rel=1e-12)
    assert below == pytest.approx(5e-8 * (air / top) ** 3 * ((1 - top) / (1 - air)) ** 2, rel=1e-12)


def test_fines_rule_the_particle_size():
    """Equal solid volumes of 10 mm and 1 mm: the size of equal surface is 2 / (1/10 + 1/1) = 1.818 mm, not the mean 5.5
    mm."""
    parts = [feedstock("coarse", particle_size=0.010), feedstock("fine", particle_size=0.001)]
    assert blend(parts, np.array([1.0, 1.0]), 0.0).particle_size == pytest.approx(0.002 / 1.1, rel=1e-12)


def test_ingredients_of_one_material_give_that_material():
    """A mix of one feedstock has its properties. Planted: the volume loss applied to one material too: seen to fail."""
    straw = LIBRARY["straw"]
    used = derive(load("reference_pile").with_(**{"mix.ingredients": "3 t of straw"}).mix).used
    for name in ("bulk_density", "moisture", "volatile_solids", "compaction", "fast_fraction", "slow_fraction", "fast_rate",
                 "slow_rate", "oxygen_demand", "respiratory_quotient"):
        assert getattr(used, name) == pytest.approx(getattr(straw, name).value, rel=1e-12), name


def test_water_fills_pores():
    """Water adds mass and moisture, no volume: the density of 1 m3 of wood chips with 100 kg of water grows by 100 kg/m3."""
    chips = LIBRARY["wood chips"]
    made = blend([chips, LIBRARY[WATER]], np.array([chips.bulk_density.value, 100.0]), 0.1)
    assert made.bulk_density == pytest.approx(chips.bulk_density.value + 100.0, rel=1e-12)


def test_given_values_win_and_permeability_follows_them():
    """Both are kept: what is given and what the ingredients alone make. Planted: permeability at the density of the
    ingredients where another is given: seen to fail."""
    mix = load("reference_pile").with_(**{"mix.ingredients": "2 m3 of straw; 1 m3 of dairy manure"}).mix
    free = derive(mix)
    pressed = derive(dataclasses.replace(mix, bulk_density=700.0))
    assert pressed.given == ("bulk_density",) and pressed.from_ingredients == free.used
    assert pressed.used.bulk_density == 700.0
    air = free_air_space(700.0, pressed.used.moisture, pressed.used.volatile_solids)
    assert pressed.used.permeability == pytest.approx(permeability(free.blend.particle_size, air), rel=1e-12)


def test_rates_of_a_mix_are_those_of_its_degradable_matter():
    """The mix starts to burn as fast as its parts apart: sum of B k for each pool, and its oxygen. Planted: rates averaged by
    mass: seen to fail."""
    parts = [LIBRARY["food scraps"], LIBRARY["coarse yard trimmings"]]
    masses = np.array([300.0, 900.0])
    made = blend(parts, masses, 0.1)
    burns, oxygen = 0.0, 0.0
    for part, mass in zip(parts, masses, strict=True):
        organic = mass * (1.0 - part.moisture.value) * part.volatile_solids.value
        burns += organic * part.fast_fraction.value * part.fast_rate.value
        oxygen += organic * (part.fast_fraction.value + part.slow_fraction.value) * part.oxygen_demand.value
    assert made.fast * made.fast_rate == pytest.approx(burns, rel=1e-12)
    assert (made.fast + made.slow) * made.oxygen_demand == pytest.approx(oxygen, rel=1e-12)


# ------------------------------------------------------------------------------------------ amounts for targets
@settings(max_examples=60, deadline=None)
@given(shares=st.lists(st.floats(0.05, 1.0), min_size=3, max_size=4),
       order=st.permutations(["coarse yard trimmings", "dairy manure", "grass clippings", "straw"]))
def test_targets_of_a_mix_that_exists_are_reached(shares, order):
    """Any mix is a solution of its own moisture and C:N: from other amounts the search must meet both targets.

    Planted: the nearness weighed as much as the targets: seen to fail.
    """
    parts = [LIBRARY[name] for name in order[: len(shares)]]
    aim = blend(parts, np.array(shares), 0.1)
    found = reach(parts, np.ones(len(parts)), Targets(aim.moisture, aim.carbon_to_nitrogen), 0.1)
    assert not found.missed
    assert found.blend.moisture == pytest.approx(aim.moisture, abs=1e-3)
    assert found.blend.carbon_to_nitrogen == pytest.approx(aim.carbon_to_nitrogen, rel=1e-2)
    assert found.blend.mass == pytest.approx(len(parts), rel=1e-3) and (found.blend.masses >= 0.0).all()


def test_free_air_space_is_a_least_value():
    """A mix that has more air than asked for stays as it is; a dense one gets more of the bulky part until it has just
    enough."""
    parts = [LIBRARY["raw biosolids"], LIBRARY["coarse yard trimmings"]]
    open_mix = reach(parts, np.array([1.0, 3.0]), Targets(free_air_space=0.30), 0.1)
    assert open_mix.blend.masses == pytest.approx([1.0, 3.0], rel=1e-6)
    dense = reach(parts, np.array([3.0, 1.0]), Targets(free_air_space=0.45), 0.1)
    assert not dense.missed and air_space(dense.blend) == pytest.approx(0.45, abs=1e-3)
    assert dense.blend.masses[1] > 1.0


def test_dry_recipe_is_told_to_take_water():
    """Straw and litter at 30 % moisture cannot reach 55 %: water is among the few things that resolve it."""
    parts = [LIBRARY["straw"], LIBRARY["broiler litter"]]
    found = reach(parts, np.array([1.0, 2.0]), Targets(moisture=0.55), 0.1, library=LIBRARY)
    assert found.missed == ("moisture",) and WATER in dict(found.helpers)


def test_default_volume_loss_is_from_the_registry():
    assert load("buckets_of_trimmings").mix.volume_loss == CONSTANTS["mix_volume_loss"].value


# ------------------------------------------------------------------------------------------ ranges
def test_range_of_one_feedstock_is_its_own():
    """One material: each property has exactly the range of its figure; permeability goes with the square of the particle size
    where density and moisture are given. Planted: moves up counted as moves down: seen to fail."""
    straw = LIBRARY["straw"]
    mix = load("reference_pile").with_(**{"mix.ingredients": "3 t of straw"}).mix
    found = ranges(mix)
    for name in ("moisture", "volatile_solids", "compaction", "fast_fraction", "slow_rate", "oxygen_demand"):
        figure = getattr(straw, name)
        assert found[name] == pytest.approx((figure.low, figure.high), rel=1e-9), name
    fixed = dataclasses.replace(mix, bulk_density=200.0, moisture=0.5, volatile_solids=0.9)
    size, (least, most) = straw.particle_size, ranges(fixed)["permeability"]
    here = derive(fixed).used.permeability
    assert least == pytest.approx(here * (size.low / size.value) ** 2, rel=1e-9)
    assert most == pytest.approx(here * (size.high / size.value) ** 2, rel=1e-9)


def test_ranges_of_independent_figures_add_as_squares():
    """Two materials of equal dry organic mass that differ in one figure each: the share moves by half of each figure's move,
    both together by the root of the sum of squares. Planted: each square counted twice: seen to fail."""
    mix = load("reference_pile").with_(**{"mix.ingredients": "1 t of first; 1 t of second", "feedstock.first.like": "straw",
                                          "feedstock.second.like": "straw"}).mix
    low, high = ranges(mix)["fast_fraction"]
    figure = LIBRARY["straw"].fast_fraction
    assert high - figure.value == pytest.approx((figure.high - figure.value) / 2.0 * np.sqrt(2.0), rel=1e-9)
    assert figure.value - low == pytest.approx((figure.value - figure.low) / 2.0 * np.sqrt(2.0), rel=1e-9)
