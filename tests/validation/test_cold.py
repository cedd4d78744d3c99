"""What frost does to a pile, and what it does not (kind: behaviour).

Signs, orders and wide bands. "Common practice, no source" marks a fact of the trade that we hold without a
publication. "Planted" names the fault under which a check was seen to fail. Cells of 20 cm.
"""

from __future__ import annotations

import numpy as np
import pytest

from pilesim.assess.shares import ZONES

FROST = ("-15 degC", "-25 degC", "-35 degC")


def ice_in_toe(run, day):
    """Share of the toe's dry matter at nodes that hold ice."""
    weight = run.watch.pieces.zone_node_weight[ZONES.index("toe")][:-1]
    return float(weight[np.nan_to_num(run.field("ice", day)) > 0.0].sum())


@pytest.mark.parametrize("edge", ["open", "closed"])
@pytest.mark.parametrize("air", FROST)
def test_the_toe_freezes_while_the_core_is_hot(pile, edge, air):
    """At -15 degC and colder the toe, where the cold air enters, freezes in the first week though the core is hot by
    then: at least a tenth of the toe holds ice on day 6 (seen 0.30 to 0.84 under a closed edge, 0.46 to 0.76 with an
    open one), the core above 40 degC (seen 60 and more, 45 and more with an open edge). The ice is at the toe: it
    holds more than its share of it.

    Derivation: gas of less than -15 degC passes the toe before anything has warmed it. A stand-still of the foot of
    windrows in frost is common practice, no source. Planted: air of 10 degC whatever is given.
    """
    run = pile(**{"base_layer.edge": edge, "weather.air_temperature": air})
    assert run.measures["frozen_fraction_peak"] > 0.0
    frozen = ice_in_toe(run, 6)
    assert frozen > 0.1 and frozen > 2.0 * run.series("frozen_share", 6)
    assert run.zone_temperature("core", 6) > 40.0


@pytest.mark.parametrize("edge", ["open", "closed"])
def test_nothing_freezes_in_mild_weather(pile, edge):
    """The other side: no ice at all in air of 10 degC (second law: nothing is colder than the wet bulb, 7.5 degC).

    Planted: ice reported wherever it is below 20 degC.
    """
    run = pile(**{"base_layer.edge": edge, "weather.air_temperature": "10 degC"})
    assert run.measures["frozen_fraction_peak"] == 0.0
    assert np.nanmax(run.every("ice")[:, run.in_pile]) == 0.0


def test_an_open_base_layer_chills_the_toe(pile):
    """A base layer open at its edge draws the frost in under the pile: at -15 degC its toe is below freezing on day 14
    when that of a closed one is more than 15 K warmer (seen 38), and more of the mix freezes. Plugging passive inlets
    in winter is common practice, no source. Planted: open edge treated as closed.
    """
    runs = [pile(**{"base_layer.edge": edge, "weather.air_temperature": "-15 degC"}) for edge in ("open", "closed")]
    toes = [run.zone_temperature("toe", 14) for run in runs]
    assert toes[0] < 0.0 and toes[1] > toes[0] + 15.0
    assert ice_in_toe(runs[0], 14) > ice_in_toe(runs[1], 14)
    assert runs[0].measures["frozen_fraction_peak"] > 2.0 * runs[1].measures["frozen_fraction_peak"]


def test_a_pile_frozen_throughout_does_not_start_by_itself(pile):
    """Built at -10 degC in air of -10 degC: nothing oxidises in ice, so nothing thaws it but the ground; within 30 days
    the mix stays below 5 degC everywhere (cardinal minimum of 2 degC; common practice, no source, that frozen heaps
    stand until spring). The same pile built at 5 and at 10 degC starts and passes 65 degC.

    Planted: cardinal minimum of the biology far below freezing.
    """
    frost = {"weather.air_temperature": "-10 degC"}
    frozen = pile(**frost, **{"start.temperature": "-10 degC"})
    assert frozen.measures["frozen_fraction_peak"] > 0.99
    assert frozen.watch.hottest[:-1][frozen.in_mix].max() - 273.15 < 5.0
    assert frozen.measures["dry_matter_loss"] < 1e-3
    for start in ("5 degC", "10 degC"):
        started = pile(**frost, **{"start.temperature": start})
        assert started.measures["peak_temperature"] > 65.0, start
        assert started.measures["cold_edge_fraction"] < 0.3, start


def test_permeable_pile_without_a_cover_is_blown_cold_in_frost(pile):
    """Without a cover the draught of a permeable pile in frost carries off more than the biology makes: within two weeks
    its mean is below 20 degC and most of it never met the rule; the covered pile of the same mix is above 45 degC on
    that day. Common practice, no source. Planted: the reference pile's cover kept; air of 10 degC.
    """
    frost = {"weather.air_temperature": "-10 degC"}
    bare, covered = pile("uncovered_pile", **frost), pile(**frost)
    assert bare.mean_temperature(14) < 20.0 and covered.mean_temperature(14) > 45.0
    assert bare.measures["cold_edge_fraction"] > 0.5
    assert bare.measures["frozen_fraction_peak"] > covered.measures["frozen_fraction_peak"] + 0.1
