"""Judging histories of a pile whose temperatures are invented, so that shares and probe readings follow by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import pilesim
from pilesim.assess.exposure import progress
from pilesim.assess.histories import History, read_histories
from pilesim.assess.hygiene import hygiene
from pilesim.assess.judge import judge, judge_all, locate, rule_cautions, share_at_least
from pilesim.assess.shares import ZONES, mix_pieces
from pilesim.base.errors import ScenarioError
from pilesim.build import build
from pilesim.inputs.rules import bundled_rules, plain_rule
from pilesim.inputs.scenario import load
from pilesim.result import read_result, write_netcdf
from pilesim.show.maps_picture import hygiene_figure, rules_figure
from pilesim.show.rules_text import judgement_csv, judgement_lines, judgement_table

DAY, ZERO = 86400.0, 273.15
BLOCK = {"pile.shape": "rectangle", "pile.base_width": "6 m", "pile.height": "2.4 m", "base_layer.thickness": "0 m",
         "mix.compaction": "0 1/m", "cover.thickness": "0 m", "run.cell": "20 cm"}
RULES = bundled_rules()


@cache
def block():
    """Problems of both grids of an uncovered rectangle of 6 m by 2.4 m."""
    scenario = load("reference_pile").with_(**BLOCK)
    return build(scenario, 2), build(scenario, 1)


def told(degrees, days=10.0):
    """Histories of both grids whose temperature, degrees(x, z) [degC], stays as it is for so many days."""
    found = []
    for problem in block():
        pieces = mix_pieces(problem)
        nodes = np.unique(pieces.quad_nodes)
        field = ZERO + degrees(problem.mesh.x[nodes], problem.mesh.z[nodes])
        times = np.linspace(0.0, days * DAY, 41)
        found.append(History(problem, pieces, times, np.tile(field, (41, 1)), nodes))
    return found


def upward(x, z):
    """50 degC at the floor, 62 at the top."""
    return 50.0 + 5.0 * z


def test_share_of_a_layered_pile():
    """55 degC is held above 1 m of 2.4: a share of 1.4 / 2.4. Temperatures are linear in height, so parts of cells find it to
    a ninth of a triangle of a 20 cm cell (0.01); taking the share of the rule as linear within cells does so to a cell
    (0.2 / 2.4), and the error says so. Planted: nodes counted; whole cells only; the error of the grids alone."""
    fine, coarse = told(upward)
    rule = plain_rule(ZERO + 55.0, 3 * DAY)

    def met(times, temperatures):
        return progress(times, temperatures, rule)

    parts = share_at_least(fine, coarse, met, 1.0)
    assert parts.value == pytest.approx(1.4 / 2.4, abs=0.01)
    found = judge(fine, coarse, rule)
    assert abs(found.share.value - 1.4 / 2.4) <= found.share.error < 0.2 / 2.4 + 2e-3
    assert found.lenient is None and found.days == pytest.approx(10.0)
    assert np.nanmax(found.share.by_zone) == 1.0 and found.share.by_zone[ZONES.index("floor")] == 0.0


def test_fields_between_nodes():
    """A field linear in x and z comes out of `locate` to round-off, inside only. Planted: two corners exchanged."""
    fine, _ = told(upward)
    rng = np.random.default_rng(3)
    points = rng.uniform((-0.5, -0.5), (3.5, 3.0), (300, 2))
    nodes, weights, inside = locate(fine, points)
    expected = (points[:, 0] >= 0) & (points[:, 0] <= 3) & (points[:, 1] >= 0) & (points[:, 1] <= 2.4)
    assert (inside == expected).all()
    values = 3.0 * fine.problem.mesh.x - 7.0 * fine.problem.mesh.z
    got = (values[nodes] * weights).sum(axis=1)[inside]
    assert got == pytest.approx((points[inside] @ [3.0, -7.0]), abs=1e-9)


def test_probes_as_the_rule_places_them():
    """California's windrow rule: 12 to 24 in below the surface, here of a side (2.4 m) and half a top (3 m) of a pile that
    holds 55 degC above 1 m for 20 days. All probes below the top (the deepest at 2.4 - 0.61 m) read it met, and a share of
    1.4 / 2.4 of those behind the side. Tolerance: the 5 cm between places. Planted: depths halved;
    outwards; the day of the last step."""
    fine, coarse = told(upward, 20.0)
    found = judge(fine, coarse, RULES["us_ca_windrow"])
    assert found.probes is not None and found.probes.stated
    depth = np.minimum(3.0 - found.probes.points[:, 0], 2.4 - found.probes.points[:, 1])
    assert depth.min() == pytest.approx(0.05 / 2, abs=0.03)  # a row ends half a spacing from the other face
    under_top = np.isclose(2.4 - found.probes.points[:, 1, None], [0.3048, 0.4572, 0.6096], atol=1e-9).any(axis=1)
    on_side = (found.probes.points[:, 0] > 3.0 - 0.62) & ~under_top
    assert found.probes.met[~on_side].all()
    assert found.probes.met[on_side].mean() == pytest.approx(1.4 / 2.4, abs=0.03)
    assert (found.probes.met == (found.probes.points[:, 1] >= 1.0)).all()
    assert found.gap == pytest.approx(found.probes.share - found.share.value)
    assert np.nanmax(found.probes.day) == pytest.approx(15.0, abs=1e-9)  # one of the steps, half a day apart


def test_one_probe_in_the_middle():
    """Without a stated place: one probe at half the height, 1.2 m, which holds 56 degC and says met from day 3 on, though
    the lower 1 m never is. Planted: the hottest place; the last step instead of the first."""
    fine, coarse = told(upward)
    found = judge(fine, coarse, RULES["us_ny"])
    assert found.probes is not None and not found.probes.stated
    assert found.probes.points.tolist() == [[0.0, pytest.approx(1.2)]]
    assert found.probes.met.tolist() == [True] and found.probes.day[0] == pytest.approx(3.0, abs=1e-9)
    assert found.gap == pytest.approx(1.0 - found.share.value)


def test_words_of_a_judgement():
    """The rule's own words, that they were not seen at the source, the turnings, and never a word of compliance but to deny
    it. Planted: no word of turnings."""
    fine, coarse = told(upward, 20.0)
    found = judge_all(fine, coarse, [RULES["us_ca_windrow"], RULES["us_ny"], RULES["us_tx"]])
    text = "\n".join(judgement_lines(found[0], "metric"))
    assert RULES["us_ca_windrow"].wording in text and "were not seen at the source" in text
    assert "at least 5 turnings" in text and "by its words that is not enough" in text and "The model says" in text
    assert "12 to 24 in" in text and "(0.30 to 0.61 m below the surface" in text
    assert "(1.00 to 2.00 ft below the surface" in "\n".join(judgement_lines(found[0], "us"))
    seen = "\n".join(judgement_lines(found[1], "us"))
    assert "not seen at the source" not in seen and "131 degF for 3 days" in seen
    assert all("compl" not in line for one in found for line in judgement_lines(one, "metric"))
    assert len(judgement_table(found, "metric")) == 4 and judgement_csv(found).count("\n") == 4
    assert found[1].share.value == found[2].share.value and found[2].lenient is not None


def test_cautions_of_a_run():
    """A run judged by a bundled rule says so, with turnings and unseen words; one judged by your own words says nothing."""
    assert rule_cautions(plain_rule(330.0, DAY)) == []
    text = " ".join(rule_cautions(RULES["us_ca_windrow"]))
    for words in ("ask your regulator", "5 turnings", "not seen at the source", "consecutive"):
        assert words in text
    assert len(rule_cautions(RULES["us_ny"])) == 1


def test_a_result_is_judged_as_the_run_was(tmp_path):
    """The run's own rule, judged from result.nc, gives the run's cold edges and nearly their error: the file rounds
    temperatures to 4e-6 K, which moves a share by less than 1e-6. Any other rule, the same as if the run had been judged by
    it. Without the histories, or with those of another grid, one line. Planted: output times instead of steps (1e-2); the
    coarse grid's history for the fine one's."""
    base = {"run.cell": "25 cm", "run.duration": "6 day", "start.temperature": "45 degC"}
    found = {}
    for rule in ("55 degC for 6 hour", "us_ny"):
        dataset = pilesim.simulate(load("reference_pile").with_(**base, **{"limits.rule": rule}))
        write_netcdf(dataset, tmp_path / "result.nc")
        found[rule] = read_result(tmp_path / "result.nc")
    scenario, fine, coarse = read_histories(found["55 degC for 6 hour"])
    assert fine.times.size == found["55 degC for 6 hour"].attrs["solver_steps"] + 1
    for name, dataset in found.items():
        share = judge(fine, coarse, RULES.get(name, scenario.limits.rule)).share
        assert 1.0 - share.value == pytest.approx(float(dataset["cold_edge_fraction"]), abs=1e-6)
        assert share.error >= float(dataset["cold_edge_fraction_error"]) - 1e-6
    assert any("us_ny" in text for text in pilesim.summarise(found["us_ny"]).messages)
    old = found["us_ny"].drop_vars("mix_temperature")
    with pytest.raises(ScenarioError, match="lacks mix_temperature"):
        read_histories(old)
    other = found["us_ny"].assign_attrs(scenario=load("reference_pile").text())
    with pytest.raises(ScenarioError, match="grid is another"):
        read_histories(other)


def test_hygiene_of_a_layered_pile():
    """20 days: the equation holds from 50 degC held 13.2 days on, all of the mix; four reductions of E. coli as well; three
    days at 60 degC above 2 m; two weeks at 55 above 1 m; four weeks nowhere."""
    found = hygiene(*told(upward, 20.0))
    assert found.sludge.value == pytest.approx(1.0, abs=1e-6) and found.coli[-1].value == pytest.approx(1.0, abs=1e-6)
    shares = [one.share.value for one in found.seeds]
    assert shares == pytest.approx([1.0, 0.4 / 2.4, 1.4 / 2.4, 0.0], abs=0.01)


def test_pictures():
    """Both pictures draw; probes that would read the rule met and not met are two kinds of marks, mirrored, at their places.
    Planted: the two kinds exchanged; no mirror image."""
    short = {"run.cell": "25 cm", "run.duration": "2 day", "limits.rule": "30 degC for 1 day"}
    scenario = load("reference_pile").with_(**short)
    dataset = pilesim.simulate(scenario)
    _, fine, coarse = read_histories(dataset)
    rule = replace(scenario.limits.rule, probe_depth=(0.3, 0.6))
    found = judge(fine, coarse, rule)
    figure = rules_figure(dataset, [found, found], "us")
    drawn = [artist for artist in figure.findobj() if artist.get_gid() == "probes met"]
    assert found.probes is not None and len(drawn) == 2
    assert len(drawn[0].get_xdata()) == 2 * found.probes.met.sum()
    assert max(drawn[0].get_xdata()) == pytest.approx(found.probes.points[found.probes.met, 0].max() / 0.3048)
    assert sum(drawn[0].get_xdata()) == pytest.approx(0.0, abs=1e-9)
    figure.savefig(_nowhere())
    hygiene_figure(dataset, hygiene(fine, coarse)).savefig(_nowhere())


def _nowhere():
    from io import BytesIO

    return BytesIO()
