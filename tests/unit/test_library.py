"""The libraries of feedstocks and covers, and feedstocks that a scenario adds."""

from __future__ import annotations

import dataclasses
import json
import pickle

import pytest

from pilesim.assess.recipe import stored_cover
from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.sources import SOURCES
from pilesim.inputs.library import CONFIDENCE, WATER, Figure, cover_library, feedstock_library
from pilesim.inputs.scenario import load
from pilesim.inputs.schema import FEEDSTOCK, SCHEMA

WANTED = (  # kinds of material that a yard meets, and a word of a name for each
    "manure with straw", "manure with sawdust", "manure with shavings", "biosolids", "food scraps", "grass clippings",
    "leaves", "coarse yard trimmings", "fine yard trimmings", "straw", "hay", "sawdust", "wood chips", "bark", "paper",
    "corn stalks",
    "compost overs", "coarse finished compost", "fine finished compost")
OWN = """\
extends = "reference_pile"
[mix]
ingredients = ["3 m3 of hop cones", "1 t of dairy manure"]
[feedstock."hop cones"]
moisture = "60 percent"
nitrogen = "2.5 percent"
volatile_solids = "90 percent"
bulk_density = "220 kg/m3"
particle_size = "2 mm"
compaction = "0.2 1/m"
fast_fraction = "20 percent"
fast_rate = "0.12 1/day"
slow_fraction = "25 percent"
slow_rate = "0.012 1/day"
oxygen_demand = "1.3 kg/kg"
respiratory_quotient = 0.98
"""


def figures(feedstock):
    return {key: getattr(feedstock, key) for key in FEEDSTOCK}


def test_the_library_holds_what_a_yard_meets():
    """Planted: 'bark' renamed in the file: seen to fail."""
    library = feedstock_library()
    assert len(library) > 20
    for words in WANTED:
        assert any(words in name for name in library), words


@pytest.mark.parametrize("name", list(feedstock_library()))
def test_every_figure_has_a_range_a_source_and_a_confidence(name):
    """The reader refuses unknown sources and values outside their range; what it lets through is checked again here.

    Planted: a source 'Nobody', a value above its high end, a confidence 'sure': each refused by the reader.
    """
    for key, figure in figures(feedstock_library()[name]).items():
        assert figure.source in SOURCES and figure.confidence in CONFIDENCE, key
        assert figure.low <= figure.value <= figure.high, key
        if name != WATER and key not in ("fast_fraction", "fast_rate"):
            assert figure.low < figure.high, f"{key} without a range"


@pytest.mark.parametrize("name", [name for name in feedstock_library() if name != WATER])
def test_carbon_fits_the_organic_matter(name):
    """Gotaas (1956): carbon is volatile solids / 1.8, 'to within 2 to 10 percent'; what handbooks average apart strays more.

    10 % above is the source's own margin; below, reprinted tables of manures with bedding go to half. Planted: the
    handbook's C:N of laying hen manure beside its nitrogen (48 % carbon in 72 % volatile solids): seen to fail.
    """
    feedstock = feedstock_library()[name]
    share = feedstock.carbon.value / feedstock.volatile_solids.value
    assert 0.30 <= share <= 1.10 / 1.8


@pytest.mark.parametrize("name", [name for name in feedstock_library() if name != WATER])
def test_degradable_shares_follow_lignin(name):
    """Chandler et al. (1980), recalled from memory: degradable = 0.830 - 0.028 lignin (percent of volatile solids).

    The pools of a pile's first weeks may be less, and at most 0.05 more where the line falls towards zero (lignin above
    20 %, where it was not fitted: 0.15). Planted: the pools of food scraps given to wood chips: seen to fail.
    """
    feedstock = feedstock_library()[name]
    line = CONSTANTS["degradable_intercept"].value - CONSTANTS["degradable_slope"].value * feedstock.lignin.value
    slack = 0.15 if feedstock.lignin.value > 0.20 else 0.05
    assert feedstock.fast_fraction.value + feedstock.slow_fraction.value <= max(line, 0.0) + slack


def test_covers_are_what_the_schema_offers():
    """Snow is for orientation only. Planted: 'peat' taken from the schema's words: seen to fail."""
    words = set(SCHEMA["cover"]["material"].words)
    assert set(cover_library()) - words == {"snow"}
    for cover in cover_library().values():
        assert cover.thickness and cover.description and set(cover.figures) <= set(SCHEMA["cover"])
        assert cover.figures["permeability"].low < cover.figures["permeability"].high


def test_a_cover_material_sets_its_properties_and_typed_ones_win():
    """Planted: the material's values laid over typed ones: seen to fail."""
    reference = load("reference_pile")
    straw = reference.with_(**{"cover.material": "straw"})
    expected = cover_library()["straw"].figures
    assert straw.cover.permeability == expected["permeability"].value
    assert straw.cover.bulk_density == expected["bulk_density"].value
    assert straw.cover.thickness == reference.cover.thickness
    both = straw.with_(**{"cover.permeability": "1e-9 m2"})
    assert (both.cover.permeability, both.cover.moisture) == (1e-9, expected["moisture"].value)
    default = reference.with_(**{"cover.material": "coarse compost"})
    assert default.cover == reference.cover


def test_results_keep_the_figures_of_the_cover_that_were_used():
    """Planted: typed keys stored as if they came from the library: seen to fail."""
    scenario = load("reference_pile").with_(**{"cover.material": "peat", "cover.moisture": "60 %"})
    stored = json.loads(stored_cover(scenario.tables))
    assert stored["material"] == "peat" and "moisture" not in stored["figures"]
    assert stored["figures"]["permeability"]["source"] == "Guess"


def test_an_own_feedstock_in_full(tmp_path):
    """Carbon, left out, follows from volatile solids (Gotaas 1956: / 1.8); every other figure is as given."""
    path = tmp_path / "own.toml"
    path.write_text(OWN, encoding="utf-8")
    own = load(path).mix.ingredients[0].feedstock
    assert own.carbon.value == pytest.approx(0.90 / 1.8, rel=1e-12) and own.carbon.confidence == "computed"
    assert own.particle_size == Figure(pytest.approx(0.002), pytest.approx(0.002), pytest.approx(0.002), "given", "given")


def test_the_slow_fraction_follows_from_lignin(tmp_path):
    """Chandler et al. (1980), recalled from memory: 0.830 - 0.028 x 12 = 0.494 degradable, less 20 % fast: 0.294. Planted:
    the fast fraction not taken off: seen to fail."""
    path = tmp_path / "own.toml"
    path.write_text(OWN.replace('slow_fraction = "25 percent"', 'lignin = "12 percent"'), encoding="utf-8")
    own = load(path).mix.ingredients[0].feedstock
    assert own.slow_fraction.value == pytest.approx(0.294, abs=1e-12) and own.slow_fraction.confidence == "computed"


def test_an_own_feedstock_like_another(tmp_path):
    """`like` takes the rest from a known one; a library name changes only what is given. Planted: replace() without the
    given figures: seen to fail."""
    changes = {"feedstock.trimmings.moisture": "33 %", "feedstock.dairy manure.nitrogen": "3 %"}
    scenario = load("buckets_of_trimmings").with_(**changes)
    trimmings, manure = (item.feedstock for item in scenario.mix.ingredients[:2])
    library = feedstock_library()
    assert trimmings.moisture.value == 0.33 and trimmings.particle_size == library["coarse yard trimmings"].particle_size
    assert manure.nitrogen.value == 0.03 and manure.moisture == library["dairy manure"].moisture


def test_feedstocks_from_a_file(tmp_path):
    """`feedstocks = FILE` is taken in, so that the scenario's text is complete in itself. Planted: text() without the tables
    [feedstock.NAME]: seen to fail."""
    head, tables = OWN.split("[feedstock")
    (tmp_path / "own.toml").write_text("[feedstock" + tables, encoding="utf-8")
    path = tmp_path / "pile.toml"
    path.write_text('feedstocks = "own.toml"\n' + head, encoding="utf-8")
    scenario = load(path)
    (tmp_path / "copy.toml").write_text(scenario.text(), encoding="utf-8")
    assert "feedstocks" not in scenario.text() and load(tmp_path / "copy.toml") == scenario
    assert scenario.mix.ingredients[0].feedstock.name == "hop cones"


def test_ingredients_in_any_measure_and_in_one_text():
    """1 m3, 1.308 yd3 and the mass of 1 m3 are the same load; a list and a text with semicolons the same recipe."""
    reference = load("reference_pile")
    density = feedstock_library()["straw"].bulk_density.value
    texts = ["1 m3 of straw", f"{1 / 0.9144**3!r} yd3 of straw", f"{density!r} kg of straw"]
    from pilesim.matter.mix import masses_of

    masses = [masses_of(reference.with_(**{"mix.ingredients": text}).mix.ingredients, None)[0] for text in texts]
    assert masses == pytest.approx([density] * 3, rel=1e-12)
    one = reference.with_(**{"mix.ingredients": "2 buckets of straw; 1 bucket of dairy manure"})
    assert one == reference.with_(**{"mix.ingredients": ["2 buckets of straw", "1 bucket of dairy manure"]})


def test_ingredients_replace_inherited_properties(tmp_path):
    """The more local of ingredients and the properties they stand for wins, as with a material; keys beside them refine."""
    (tmp_path / "parent.toml").write_text('extends = "reference_pile"\n[mix]\nbulk_density = "700 kg/m3"\n', encoding="utf-8")
    (tmp_path / "child.toml").write_text('extends = "parent.toml"\n[mix]\ningredients = "1 m3 of straw"\nmoisture = "50 %"\n',
                                         encoding="utf-8")
    mix = load(tmp_path / "child.toml").mix
    assert (mix.bulk_density, mix.moisture) == (None, 0.5)
    again = load(tmp_path / "child.toml").with_(**{"mix.bulk_density": "300 kg/m3"}).mix
    assert (again.bulk_density, again.moisture) == (300.0, 0.5)


def test_a_scenario_with_ingredients_can_be_sent_to_a_worker():
    """Comparisons send scenarios to processes; what arrives is equal, feedstocks included."""
    scenario = load("buckets_of_trimmings")
    assert pickle.loads(pickle.dumps(scenario)) == scenario
    assert dataclasses.is_dataclass(scenario.mix.ingredients[0].feedstock)


def test_unknown_feedstock_names_the_nearest():
    with pytest.raises(ScenarioError, match="horse manure with straw"):
        load("reference_pile").with_(**{"mix.ingredients": "1 m3 of horse manure"})
