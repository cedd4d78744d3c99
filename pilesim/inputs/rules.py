"""Time-temperature rules as data: what a rule asks of a piece of material, where its words were seen, how sure we are.

Rules that come with the package stand in `rules/*.toml`, one table each; a user's own file has the same form, and a
scenario may hold one as its table `[limits.rule]`. Nothing here judges anything; see `assess/exposure.py`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.units import from_si, to_display, to_si
from pilesim.inputs.schema import RULE_DURATION, RULE_TEMPERATURE, Key, suggestion

KINDS = ("regulation", "guidance", "own words")
SEEN = ("official text", "official-looking copy", "secondary page", "not seen")  # the rule's words, best first
CONSECUTIVE = ("yes", "no", "not stated")
BELOW = ("surface", "cover")
PLAIN = "55 degC for 3 day"
_CONDITION_KEYS = ("temperature", "above", "upper_temperature", "duration", "consecutive", "mean_temperature",
                   "hot_temperature", "hot_duration")
_TEXT_KEYS = ("jurisdiction", "instrument", "method", "applies_to", "wording", "read_in", "coverage", "probe",
              "precondition", "notes")
_KEYS = (*_CONDITION_KEYS, *_TEXT_KEYS, "kind", "seen", "checked", "turns", "probe_depth", "probe_below", "alternative", "id")
_LARGEST_FILE = 1_000_000  # bytes


@dataclass(frozen=True, slots=True)
class Condition:
    """What one way to meet a rule asks of a place.

    Attributes
    ----------
    temperature, duration : float
        To hold [K], and how long [s].
    above : bool
        More than `temperature` is asked, not at least.
    upper : float
        Time above this does not count [K]; infinite if there is none.
    consecutive : {"yes", "no", "not stated"}
    mean : float or None
        The mean over `duration` must reach this too [K].
    hot, hot_duration : float or None
        Within one unbroken `duration`, more than `hot` [K] is asked for `hot_duration` [s] altogether.
    """

    temperature: float
    duration: float
    above: bool = False
    upper: float = float("inf")
    consecutive: str = "yes"
    mean: float | None = None
    hot: float | None = None
    hot_duration: float = 0.0

    def words(self, system: str = "metric") -> str:
        """``55 degC for 3 days without a gap``."""
        text = f"{'above ' if self.above else ''}{_degrees(self.temperature, system)}"
        if self.upper != float("inf"):
            text += f" to {_degrees(self.upper, system)}"
        gap = {"yes": " without a gap", "no": " altogether", "not stated": ""}[self.consecutive]
        text += f" for {_time(self.duration)}{gap}"
        if self.mean is not None:
            text += f", with a mean of {_degrees(self.mean, system)}"
        if self.hot is not None:
            text += f", {_time(self.hot_duration)} of it above {_degrees(self.hot, system)}"
        return text


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule with where it comes from. `alternatives`: any one of them meets it; empty where its numbers were not seen.

    turns : turnings asked for at least
    probe_depth : smallest and largest depth [m] below `probe_below` ("surface" of the pile or "cover": where the
        insulating cover meets the mix), or None if the text gives no place
    """

    id: str
    alternatives: tuple[Condition, ...]
    jurisdiction: str = ""
    instrument: str = ""
    kind: str = "own words"
    method: str = ""
    applies_to: str = ""
    wording: str = ""
    read_in: str = ""
    seen: str = "not seen"
    checked: str = ""
    turns: int = 0
    coverage: str = "not stated"
    probe: str = "not stated"
    probe_depth: tuple[float, float] | None = None
    probe_below: str = "surface"
    precondition: str = ""
    notes: str = ""

    def words(self, system: str = "metric") -> str:
        """What it asks of the temperature, in short."""
        return ", or ".join(one.words(system) for one in self.alternatives)

    @property
    def own(self) -> bool:
        """Typed by the user, with no text behind it."""
        return self.kind == "own words" and not self.wording


def plain_rule(temperature: float, duration: float) -> Rule:
    """'55 degC for 3 day' as a rule: without a gap, of no jurisdiction."""
    return Rule("", (Condition(temperature, duration),))


def default_rule() -> Rule:
    """What `limits.rule` is when nothing is given."""
    return plain_rule(CONSTANTS["rule_temperature"].value, CONSTANTS["rule_duration"].value)


def bundled_rules() -> dict[str, Rule]:
    """The rules that come with the package, by id."""
    found: dict[str, Rule] = {}
    for path in sorted((Path(__file__).parent / "rules").glob("*.toml")):
        found |= read_rules(path)
    return found


def read_rules(path: Path) -> dict[str, Rule]:
    """The rules of a file, by id.

    Raises
    ------
    ScenarioError
        If the file is missing or is not one, naming the rule and the key.
    """
    return {name: _read(table, f"{path}: {name}", name) for name, table in _tables(path).items()}


def inlined_rule(text: object, folder: Path) -> object:
    """A scenario's `limits.rule` that names a file (`my_rules.toml`, or `my_rules.toml:my_id`), as the table it names.

    Anything else comes back as it is. A file with several rules needs the id.
    """
    if not isinstance(text, str) or ".toml" not in text:
        return text
    file, _, name = text.partition(".toml")
    tables = _tables(folder / f"{file}.toml")
    name = name.removeprefix(":")
    if not name and len(tables) == 1:
        name = next(iter(tables))
    if name not in tables:
        allowed = "a file and the id of one of its rules, such as " + ", ".join(f"'{file}.toml:{key}'" for key in tables)
        raise ScenarioError("limits.rule", repr(text), allowed, suggestion(name, tables))
    return {"id": name, **tables[name]}


def read_rule(raw: object, where: str) -> Rule:
    """The rule that a scenario means: '55 degC for 3 day', the id of a bundled rule, or a table of its own.

    Raises
    ------
    ScenarioError
        Also for a rule whose numbers were not seen, which judges nothing.
    """
    allowed = f"a rule such as '{PLAIN}', or the id of one that 'pilesim rules' lists"
    if isinstance(raw, dict):
        rule = _read(raw, where, str(raw.get("id", "own")))
    elif isinstance(raw, str) and " for " in raw:
        return _read_plain(raw, where)
    elif isinstance(raw, str):
        known = bundled_rules()
        if raw not in known:
            raise ScenarioError(where, repr(raw), allowed, suggestion(raw, known))
        rule = known[raw]
    else:
        raise ScenarioError(where, repr(raw), allowed)
    if not rule.alternatives:
        raise ScenarioError(where, repr(raw), allowed, f"The temperature and time of '{rule.id}' were not read at a "
                            "source, so it judges nothing. Read it, and put what it says into a rule of your own.")
    return rule


def _read_plain(raw: str, where: str) -> Rule:
    allowed = f"a rule such as '{PLAIN}'"
    parts = raw.replace(" consecutive ", " ").split(" for ")
    if len(parts) != 2:
        raise ScenarioError(where, repr(raw), allowed)
    try:
        temperature = _quantity(RULE_TEMPERATURE, parts[0], where)
        duration = _quantity(RULE_DURATION, parts[1], where)
    except ScenarioError as why:
        advice = f"For {why.given} use {why.allowed}. {why.advice}"
        raise ScenarioError(where, repr(raw), allowed, advice.strip()) from None
    return plain_rule(temperature, duration)


def _tables(path: Path) -> dict[str, dict[str, object]]:
    allowed = "a file of rules in TOML: one table a rule, such as [my_rule]"
    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST_FILE + 1)
        tables = tomllib.loads(content.decode("utf-8-sig")) if len(content) <= _LARGEST_FILE else {}
    except OSError as why:
        raise ScenarioError(str(path), "", allowed, f"It cannot be read: {why.strerror}.") from None
    except (ValueError, RecursionError) as why:
        raise ScenarioError(str(path), "", allowed, f"The reader says: {why}.") from None
    if not tables or not all(isinstance(table, dict) for table in tables.values()):
        raise ScenarioError(str(path), "", allowed)
    return tables


def _read(table: Mapping[str, object], where: str, name: str) -> Rule:
    """One table as a Rule."""
    for key in table:
        if key not in _KEYS:
            raise ScenarioError(f"{where}.{key}", repr(table[key]), f"one of {', '.join(_KEYS)}", suggestion(key, _KEYS))
    parts = table.get("alternative")
    if parts is not None and (not isinstance(parts, list) or not all(isinstance(part, dict) for part in parts)):
        raise ScenarioError(f"{where}.alternative", repr(parts), "tables, each written as [[...alternative]]")
    alternatives = [_condition(part, f"{where}.alternative {k}") for k, part in enumerate(parts or [], 1)]
    given = [key for key in _CONDITION_KEYS if key in table]
    if given and alternatives:
        raise ScenarioError(f"{where}.{given[0]}", repr(table[given[0]]), "a condition at the top or alternatives, not both")
    if given:
        alternatives = [_condition(table, where)]
    turns = table.get("turns", 0)
    if isinstance(turns, bool) or not isinstance(turns, int) or not 0 <= turns <= 100:
        raise ScenarioError(f"{where}.turns", repr(turns), "a whole number from 0 to 100")
    texts = {key: _text(table, key, where) for key in _TEXT_KEYS if key in table}
    if "checked" in table:
        texts["checked"] = str(table["checked"])
    return Rule(name, tuple(alternatives), kind=_word(table, "kind", where, KINDS, "own words"), turns=turns,
                seen=_word(table, "seen", where, SEEN, "not seen"), probe_depth=_depths(table, where),
                probe_below=_word(table, "probe_below", where, BELOW, "surface"), **texts)


def _condition(table: Mapping[str, object], where: str) -> Condition:
    for key in ("temperature", "duration"):
        if key not in table:
            raise ScenarioError(f"{where}.{key}", "nothing", "a temperature and a duration, such as '55 degC' and '3 day'")
    low = _quantity(RULE_TEMPERATURE, table["temperature"], f"{where}.temperature")
    duration = _quantity(RULE_DURATION, table["duration"], f"{where}.duration")
    levels = {}
    for key in ("upper_temperature", "mean_temperature", "hot_temperature"):
        if key in table:
            levels[key] = _quantity(RULE_TEMPERATURE, table[key], f"{where}.{key}")
            if levels[key] <= low:
                raise ScenarioError(f"{where}.{key}", repr(table[key]), f"more than the temperature, {_degrees(low)}")
    above = table.get("above", False)
    if not isinstance(above, bool):
        raise ScenarioError(f"{where}.above", repr(above), "true or false")
    hot_duration = 0.0
    if ("hot_temperature" in table) != ("hot_duration" in table):
        raise ScenarioError(f"{where}.hot_duration", "one of two", "both hot_temperature and hot_duration, or neither")
    if "hot_duration" in table:
        hot_duration = _quantity(RULE_DURATION, table["hot_duration"], f"{where}.hot_duration")
        if hot_duration > duration:
            raise ScenarioError(f"{where}.hot_duration", repr(table["hot_duration"]), f"at most {_time(duration)}")
    consecutive = _word(table, "consecutive", where, CONSECUTIVE, "yes")
    windowed = "mean_temperature" in levels or "hot_temperature" in levels
    if windowed and (consecutive == "no" or len(levels) > 1):
        raise ScenarioError(where, "", "one of mean_temperature and hot_temperature, without upper_temperature, and a "
                            "duration that is not consecutive = \"no\"")
    return Condition(low, duration, above, levels.get("upper_temperature", float("inf")), consecutive,
                     levels.get("mean_temperature"), levels.get("hot_temperature"), hot_duration)


def _depths(table: Mapping[str, object], where: str) -> tuple[float, float] | None:
    raw = table.get("probe_depth")
    if raw is None:
        return None
    if not isinstance(raw, list) or len(raw) != 2:
        raise ScenarioError(f"{where}.probe_depth", repr(raw), "two depths, such as [\"12 in\", \"24 in\"]")
    low, high = (to_si(text, "m", f"{where}.probe_depth") for text in raw)
    if not 0.0 < low <= high <= 10.0:
        raise ScenarioError(f"{where}.probe_depth", repr(raw), "depths from 0 m to 10 m, the smaller first")
    return low, high


def _quantity(key: Key, raw: object, where: str) -> float:
    value = to_si(raw, key.unit, where)
    shown = from_si(value, key.unit, key.shown)
    if not key.low * (1.0 - 1e-9) <= shown <= key.high * (1.0 + 1e-9):
        allowed = f"a value from {key.low:g} {key.shown} to {key.high:g} {key.shown}"
        raise ScenarioError(where, repr(raw), allowed)
    return value


def _word(table: Mapping[str, object], key: str, where: str, words: tuple[str, ...], default: str) -> str:
    word = table.get(key, default)
    if not isinstance(word, str) or word not in words:
        raise ScenarioError(f"{where}.{key}", repr(word), f"one of {', '.join(words)}")
    return word


def _text(table: Mapping[str, object], key: str, where: str) -> str:
    text = table[key]
    if not isinstance(text, str):
        raise ScenarioError(f"{where}.{key}", repr(text), "text in quotes")
    return " ".join(text.split())


def _degrees(kelvin: float, system: str = "metric") -> str:
    number, unit = to_display(from_si(kelvin, "K", "degC"), "degC", system)
    return f"{number:.4g} {unit}"


def _time(seconds: float) -> str:
    days = from_si(seconds, "s", "day")
    hours = 24.0 * days
    number, unit = (days, "day") if days >= 1.0 else (hours, "hour") if hours >= 1.0 else (60.0 * hours, "minute")
    return f"{number:.4g} {unit}{'' if abs(number - 1.0) < 1e-9 else 's'}"
