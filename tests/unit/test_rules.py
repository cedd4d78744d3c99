"""Rules as data: what each bundled rule must state, that its numbers stand in its own words, and what is refused."""

from __future__ import annotations

import re

import pytest

from pilesim.base.errors import ScenarioError
from pilesim.inputs.rules import bundled_rules, read_rules
from pilesim.inputs.scenario import from_text, load

RULES = bundled_rules()
OWN = """
[yard]
temperature = "60 degC"
duration = "2 day"
consecutive = "no"
turns = 2
probe_depth = ["30 cm", "60 cm"]
wording = "hot for two days"
"""
COUNTS = {2: "two", 3: "three", 5: "five", 15: "fifteen"}


@pytest.mark.parametrize("name", RULES)
def test_every_rule_says_where_it_comes_from(name):
    """Instrument, jurisdiction, kind, where and when its words were seen; words unless they were not seen; numbers only
    where words were. Planted: a rule without words that has numbers; one without a date."""
    rule = RULES[name]
    assert rule.instrument and rule.jurisdiction and rule.method and re.fullmatch(r"20\d\d-\d\d-\d\d", rule.checked)
    assert rule.kind in ("regulation", "guidance")
    assert bool(rule.wording) == (rule.seen != "not seen")
    assert bool(rule.wording) == bool(rule.read_in) or not rule.wording
    if rule.alternatives:
        assert rule.wording and rule.read_in
    else:
        assert "read" in rule.notes or "reached" in rule.notes


@pytest.mark.parametrize("name", [name for name, rule in RULES.items() if rule.alternatives])
def test_numbers_stand_in_the_rule_s_own_words(name):
    """Temperature in degC or degF, days (in weeks for the German two), and turnings are found in the quotation.
    Planted: 56 degC; 4 days; six turnings; an upper limit of 160 degF."""
    rule = RULES[name]
    words = rule.wording.lower()
    numbers = set(re.findall(r"\d+(?:\.\d+)?", words))

    def stated(kelvin):
        return {f"{kelvin - 273.15:.4g}", f"{(kelvin - 273.15) * 1.8 + 32:.4g}"} & numbers

    for one in rule.alternatives:
        days = one.duration / 86400.0
        assert stated(one.temperature)
        time = {f"{days:.4g}", f"{days / 7:.4g}" if "woche" in words else "", f"{days * 24:.4g}" if days < 1 else ""}
        in_words = COUNTS.get(round(days), "?") in words or ("thirty (30) minutes" in words and days < 1)
        assert time & numbers or in_words
        assert one.upper == float("inf") or stated(one.upper)
        assert one.mean is None or stated(one.mean)
        assert one.hot is None or (stated(one.hot) and f"{one.hot_duration / 3600:.4g}" in numbers)
    if rule.turns:
        assert str(rule.turns) in numbers or COUNTS[rule.turns] in words


def test_nothing_is_consecutive_that_does_not_say_so():
    """Where the quotation has neither 'consecutive' nor 'continuous' nor 'remains', the rule does not claim it; the rule
    with a mean is read as one stay and named here. Planted: the federal sludge rule as consecutive."""
    for name, rule in RULES.items():
        claims = any(one.consecutive == "yes" for one in rule.alternatives)
        says = any(word in rule.wording for word in ("consecutive", "continuously", "remains at"))
        assert claims == (says and "not necessarily" not in rule.wording) or name == "us503_vector", name


def test_a_rule_of_your_own(tmp_path):
    """From a file, beside the scenario or by path; as a table of the scenario; the text of a scenario holds it whole."""
    (tmp_path / "mine.toml").write_text(OWN)
    (tmp_path / "pile.toml").write_text('extends = "base.toml"\n[limits]\nrule = "mine.toml"\n')
    (tmp_path / "base.toml").write_text(load("reference_pile").text())
    pile = load(tmp_path / "pile.toml")
    rule = pile.limits.rule
    assert rule == read_rules(tmp_path / "mine.toml")["yard"]
    assert (rule.id, rule.turns, rule.own, rule.probe_depth) == ("yard", 2, False, (0.3, 0.6))
    assert rule.alternatives[0].consecutive == "no" and rule.alternatives[0].duration == 2 * 86400.0
    assert from_text(pile.text(), "x") == pile
    assert load("reference_pile").with_(**{"limits.rule": f"{tmp_path}/mine.toml:yard"}) == pile
    table = {"temperature": "60 degC", "duration": "1 day"}
    again = pile.with_(**{"limits.rule": table})
    assert again.limits.rule.turns == 0 and from_text(again.text(), "x") == again  # replaced as a whole, not key by key
    bundled = load("reference_pile").with_(**{"limits.rule": "us_sc_manure"})
    assert from_text(bundled.text(), "x").limits.rule.id == "us_sc_manure"


def test_alternatives_survive_as_text(tmp_path):
    """A file's rule with three alternatives, written into the scenario's text, reads back equal."""
    path = tmp_path / "three.toml"
    path.write_text('[a]\n' + "".join(f'[[a.alternative]]\ntemperature = "{t} degC"\nduration = "{d} day"\n'
                                      for t, d in ((55, 14), (60, 6), (65, 3))))
    pile = load("reference_pile").with_(**{"limits.rule": str(path)})
    assert len(pile.limits.rule.alternatives) == 3 and from_text(pile.text(), "x") == pile


@pytest.mark.parametrize(("given", "says"), [
    ("us_nyy", "Did you mean 'us_ny'?"),
    ("eu_fertilising_products", "not read at a source"),
    ("nothing.toml", "No such file"),
    ({"temperature": "55 degC"}, "limits.rule.duration"),
    ({"temperature": "55 degC", "duration": "3 day", "turn": 5}, "Did you mean 'turns'?"),
    ({"temperature": "155 degC", "duration": "3 day"}, "25 degC to 90 degC"),
    ({"temperature": "55 degC", "duration": "3 day", "upper_temperature": "50 degC"}, "more than the temperature"),
    ({"temperature": "55 degC", "duration": "3 day", "consecutive": "maybe"}, "yes, no, not stated"),
    ({"temperature": "55 degC", "duration": "3 day", "hot_temperature": "60 degC"}, "both hot_temperature and hot_duration"),
    ({"temperature": "55 degC", "duration": "3 day", "mean_temperature": "60 degC", "consecutive": "no"}, "not consecutive"),
    ({"temperature": "55 degC", "duration": "3 day", "probe_depth": ["60 cm", "30 cm"]}, "the smaller first"),
    ({"temperature": "55 degC", "duration": "3 day", "turns": True}, "whole number"),
    ({"alternative": ["x"]}, "tables"),
    ({"temperature": "55 degC", "alternative": [{"temperature": "55 degC", "duration": "3 day"}]}, "not both"),
])
def test_bad_rules_get_one_line(given, says):
    with pytest.raises(ScenarioError) as caught:
        load("reference_pile").with_(**{"limits.rule": given})
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_files_that_are_none(tmp_path):
    """Bytes, plain text, a file of bare keys and an empty one are refused in one line; so are two rules without an id."""
    for name, content in (("a.toml", b"\xff\xfe\x00"), ("b.toml", b"not toml"), ("c.toml", b'x = "1"'), ("d.toml", b"")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ScenarioError, match="one table a rule"):
            read_rules(tmp_path / name)
    (tmp_path / "two.toml").write_text(OWN + OWN.replace("yard", "barn"))
    with pytest.raises(ScenarioError, match=r"two\.toml:barn"):
        load("reference_pile").with_(**{"limits.rule": str(tmp_path / "two.toml")})
