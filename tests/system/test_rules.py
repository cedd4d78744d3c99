"""`pilesim rules` and `pilesim hygiene` as a user meets them: lists, a real run judged, own rules, results that are none."""

from __future__ import annotations

import csv

import numpy as np
import pytest
from picture_checks import clipped_texts, overlapping_texts, png_size
from system.test_cli import SMALL, call, files, without_announcement

from pilesim.assess.histories import read_histories
from pilesim.assess.hygiene import hygiene
from pilesim.assess.judge import judge
from pilesim.cli import main
from pilesim.inputs.rules import bundled_rules
from pilesim.result import read_result
from pilesim.show.maps_picture import hygiene_figure, rules_figure

OWN = '[yard]\ntemperature = "40 degC"\nduration = "6 hour"\nturns = 3\nwording = "warm for a quarter of a day"\n'


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """A folder in which small.toml was run, with a file of own rules."""
    folder = tmp_path_factory.mktemp("rules")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    (folder / "mine.toml").write_text(OWN, encoding="utf-8")
    (folder / "tables.toml").write_text('[pile]\nheight = "2 m"\n', encoding="utf-8")
    done = call("run", "small.toml", "--set", "limits.rule=mine.toml", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "The rule yard asks for at least 3 turnings" in done.stdout
    return folder


def said(capfd, *words):
    code = main(words)
    out, err = capfd.readouterr()
    return code, out, err


def test_the_list_and_one_rule_in_full(capfd, tmp_path):
    """Every rule on a line, those not seen in capitals; in full with its own words. Planted: the column of what was seen
    left out."""
    code, out, err = said(capfd, "rules")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert [line.split()[0] for line in lines[1 : len(bundled_rules()) + 1]] == list(bundled_rules())
    assert sum("NOT SEEN" in line for line in lines) == sum(rule.seen == "not seen" for rule in bundled_rules().values()) > 0
    assert "regulator, and ask" in out
    code, out, _ = said(capfd, "rules", "--rule", "us_ny", "--rule", "eu_fertilising_products", "--units", "us")
    assert code == 0 and bundled_rules()["us_ny"].wording in out and "131 degF for 3 days" in out
    assert "its numbers were not read" in out and out.count("not seen at the source") == 1
    (tmp_path / "mine.toml").write_text(OWN)
    assert "\nyard" in said(capfd, "rules", "--file", str(tmp_path / "mine.toml"))[1]


def test_a_run_is_judged(ran):
    """The run's own rule first, then all of them; CSV and screen agree; the picture is whole. Planted: the bundled rules
    without the file's."""
    done = call("rules", "out/small-run", "--file", "mine.toml", "--rule", "yard", "--rule", "us_ca_windrow", cwd=ran)
    assert done.returncode == 0 and without_announcement(done.stderr) == [], done.stderr
    assert files(ran / "out" / "small-rules") == {"rules.csv", "rules.png"}
    assert min(png_size(ran / "out" / "small-rules" / "rules.png")) > 400
    with (ran / "out" / "small-rules" / "rules.csv").open(encoding="utf-8") as stream:
        rows = {row["rule"]: row for row in csv.DictReader(stream)}
    judged = [name for name, rule in bundled_rules().items() if rule.alternatives]
    assert list(rows)[:2] == ["yard", "us_ca_windrow"] and set(rows) == {"yard", *judged}
    dataset = read_result(ran / "out" / "small-run" / "result.nc")
    assert 1.0 - float(rows["yard"]["share_met"]) == pytest.approx(float(dataset["cold_edge_fraction"]), abs=1e-5)
    assert 0.0 < float(rows["yard"]["share_met"]) < 1.0
    for words in ("warm for a quarter of a day", "The model says that", "at least 3 turnings", "ask your regulator",
                  "fire service", "were not seen at the source"):
        assert words in done.stdout
    assert "nan" not in done.stdout and "ompliant" not in done.stdout and "complies" not in done.stdout
    again = call("rules", "out/small-run", "--out", "again", cwd=ran)
    assert again.returncode == 0 and "warm for a quarter of a day" in again.stdout  # the run's own rule, from its scenario


def test_hygiene_of_a_run(ran):
    done = call("hygiene", "out/small-run/result.nc", cwd=ran)
    assert done.returncode == 0 and without_announcement(done.stderr) == [], done.stderr
    assert files(ran / "out" / "small-hygiene") == {"hygiene.png"}
    for words in ("13.2 days at 50 degC, 2.63 days at 55 degC, 12.6 h at 60 degC, 30.1 min at 70 degC", "sewage sludge",
                  "J. Food Prot. 66 (10), 1771", "heat-shocked", "tailed", "The studies disagree", "ask your regulator",
                  "hardly fit in"):
        assert words in done.stdout
    assert "nan" not in done.stdout and "ompliant" not in done.stdout
    us = call("hygiene", "out/small-run", "--units", "us", "--out", "us", cwd=ran)
    assert us.returncode == 0 and "13.2 days at 122 degF" in us.stdout


@pytest.mark.parametrize("units", ["metric", "us"])
def test_no_text_is_cut_or_covered(ran, units):
    """Of both pictures. Seen to fail: a panel's second line of 120 characters."""
    dataset = read_result(ran / "out" / "small-run" / "result.nc")
    _, fine, coarse = read_histories(dataset)
    rules = [rule for rule in bundled_rules().values() if rule.alternatives]
    longest = sorted(rules, key=lambda rule: -len(rule.words()))[:2]
    found = [judge(fine, coarse, rule) for rule in (bundled_rules()["us_ca_windrow"], *longest)]
    for figure in (rules_figure(dataset, found, units), hygiene_figure(dataset, hygiene(fine, coarse), units)):
        assert clipped_texts(figure) == []
        assert overlapping_texts(figure) == []


@pytest.mark.parametrize(("words", "says"), [
    (("rules", "--rule", "us_nyy"), "Did you mean 'us_ny'?"),
    (("rules", "out/small-run", "--rule", "us_ca_static"), "pilesim rules --rule us_ca_static"),
    (("rules", "nowhere"), "a result.nc or the folder that holds it"),
    (("hygiene", "small.toml"), "a result.nc written by pilesim"),
    (("rules", "--file", "nowhere.toml"), "No such file"),
    (("rules", "--file", "small.toml"), "one table a rule"),
    (("rules", "--file", "tables.toml"), "one of temperature"),
    (("rules", "out/small-run", "--out", "out/small-run"), "--force"),
])
def test_refusals(ran, monkeypatch, capfd, words, says):
    """Exit 2, one plain line, no new file."""
    monkeypatch.chdir(ran)
    before = files(ran)
    code, out, err = said(capfd, *words)
    assert code == 2 and out == "" and says in err and err[:-1].isprintable()
    assert files(ran) == before


def test_a_clash_of_names(ran, monkeypatch, capfd, tmp_path):
    (tmp_path / "mine.toml").write_text(OWN.replace("yard", "us_ny"))
    monkeypatch.chdir(ran)
    assert "no bundled rule has" in said(capfd, "rules", "--file", str(tmp_path / "mine.toml"))[2]


def test_results_of_before_are_refused(ran, tmp_path, capfd):
    """A result without the histories says which and what to do."""
    dataset = read_result(ran / "out" / "small-run" / "result.nc").drop_vars("mix_temperature")
    dataset.to_netcdf(tmp_path / "result.nc", engine="h5netcdf")
    code, out, err = said(capfd, "rules", str(tmp_path))
    assert code == 2 and out == "" and "lacks mix_temperature. Run the scenario again." in err
    assert np.isfinite(float(dataset["cold_edge_fraction"]))
