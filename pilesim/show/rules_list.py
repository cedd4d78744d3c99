"""Rules on the screen: the list, and one in full with its own words; where they were seen, and that a regulator decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from pilesim.base.errors import ScenarioError
from pilesim.inputs.rules import Rule, bundled_rules, read_rules
from pilesim.inputs.schema import suggestion
from pilesim.show.screen import aligned

ASK = ("What the model says is neither a measurement nor a statement of compliance. Rules change, and these were read on the "
       "day given: show the rule's text, the probes and the model to your regulator, and ask.")


def known_rules(file: Path | None) -> dict[str, Rule]:
    """The bundled rules and those of a user's file, which may not take a bundled id.

    Raises
    ------
    ScenarioError
        If the file is not one of rules.
    """
    known = bundled_rules()
    own = read_rules(file) if file is not None else {}
    for name in own:
        if name in known:
            raise ScenarioError(f"{file}: {name}", "", "an id that no bundled rule has", "Choose another name.")
    return known | own


def chosen_rules(names: Sequence[str], known: Mapping[str, Rule], to_judge: bool) -> list[Rule]:
    """The rules of these ids.

    Raises
    ------
    ScenarioError
        For an unknown one, and for one `to_judge` by whose temperature and time were not read.
    """
    for name in names:
        if name not in known:
            raise ScenarioError("--rule", repr(name), "an id that 'pilesim rules' lists", suggestion(name, known))
        if to_judge and not known[name].alternatives:
            raise ScenarioError("--rule", repr(name), "a rule whose temperature and time were read at a source",
                                f"See what is known of it: pilesim rules --rule {name}.")
    return [known[name] for name in dict.fromkeys(names)]


def rules_list(known: Mapping[str, Rule], system: str) -> list[str]:
    """A line a rule, then what the columns mean."""
    lines = [["id", "where", "asks of the temperature", "turns", "kind", "words seen in", "last checked"]]
    for rule in known.values():
        asks = rule.words(system) or "not read at a source: not judged"
        seen = rule.seen.upper() if rule.seen == "not seen" else rule.seen
        lines.append([rule.id, rule.jurisdiction or "-", asks, str(rule.turns or "-"), rule.kind, seen, rule.checked or "-"])
    unseen = sum(rule.seen != "official text" for rule in known.values())
    return [*aligned(lines), "",
            f"{len(known)} rules; the words of {unseen} of them were not seen in an official text. All of one: pilesim rules "
            "--rule ID. Your own: --file my_rules.toml, in the same form (README).", ASK]


def rule_in_full(rule: Rule, system: str) -> list[str]:
    """All that is known of a rule, its own words among it."""
    rows = [("rule", rule.id), ("where", rule.jurisdiction), ("instrument", rule.instrument), ("kind", rule.kind),
            ("method", rule.method), ("applies to", rule.applies_to), ("precondition", rule.precondition),
            ("its words", f"\"{rule.wording}\"" if rule.wording else "not seen"),
            ("words seen in", f"{rule.seen}: {rule.read_in}" if rule.read_in else rule.seen),
            ("last checked", rule.checked), ("as read here", rule.words(system) or "not judged: its numbers were not read"),
            ("turnings", f"at least {rule.turns}" if rule.turns else "none asked for"), ("coverage", rule.coverage),
            ("probes", rule.probe), ("notes", rule.notes)]
    lines = aligned([[name, text] for name, text in rows if text])
    if rule.seen != "official text":
        lines.append("The words of this rule were not seen at the source.")
    return lines
