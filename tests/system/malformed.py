"""Malformed scenarios as data, for the tests of load() and with_() and for those of the command line.

FILES: whole files that must be refused. OVERRIDES: changes of the reference pile that must be refused.
Each case has the `where` of the error and a fragment that its one line must contain.
"""

from __future__ import annotations

from dataclasses import dataclass, field

GOOD = """\
title = "Invented pile"
[weather]
air_temperature = "10 degC"
[pile]
base_width = "5.2 m"
height = "2 m"
side_slope = "50 deg"
[run]
duration = "30 day"
"""


@dataclass(frozen=True)
class File:
    """A file's bytes; `where` "" stands for the file's own name; `beside` are further files in its folder."""

    case: str
    content: bytes
    where: str
    fragment: str
    beside: dict[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True)
class Override:
    """Dotted changes of the reference pile, as text (or, for Python only, as other objects)."""

    case: str
    changes: dict[str, object]
    where: str
    fragment: str


def _good(old: str, new: str) -> bytes:
    assert old in GOOD
    return GOOD.replace(old, new).encode()


FILES = (
    File("empty file", b"", "weather.air_temperature", "has no default"),
    File("only a title", b'title = "x"', "weather.air_temperature", "has no default"),
    File(
        "no pile table",
        b'[weather]\nair_temperature = "1 degC"\n[run]\nduration = "3 day"',
        "pile.base_width",
        "has no default",
    ),
    File("no run table", GOOD.split("[run]")[0].encode(), "run.duration", "has no default"),
    File("no height", _good('height = "2 m"\n', ""), "pile.height", "has no default"),
    File("neither slope nor crest", _good('side_slope = "50 deg"\n', ""), "pile.side_slope", "crest_width"),
    File(
        "both slope and crest",
        _good('side_slope = "50 deg"', 'side_slope = "50 deg"\ncrest_width = "1 m"'),
        "pile",
        "both side_slope and crest_width",
    ),
    File("binary junk", bytes(range(256)) * 8, "", "UTF-8"),
    File("compressed file", b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03\xab\x56\x00", "", "UTF-8"),
    File("zero bytes", b"\x00" * 64, "", "line 1"),
    File("UTF-16 text", GOOD.encode("utf-16"), "", "UTF-8"),
    File("huge file", b"# filler\n" * 200_000, "", "larger than 1000 kB"),
    File("open quote", _good('"5.2 m"', '"5.2 m'), "", "line 5"),
    File("no quotes", _good('"5.2 m"', "5.2 m"), "", "line 5"),
    File("key twice", _good('height = "2 m"', 'height = "2 m"\nheight = "3 m"'), "", "line 7"),
    File("nested too deeply", b"a = " + b"[" * 100_000, "", "nested too deeply"),
    File("number of 10,000 digits", _good('"5.2 m"', "1" * 10_000), "", "digits"),
    File("bare number", _good('"5.2 m"', "5.2"), "pile.base_width", "bare number"),
    File("true for a width", _good('"5.2 m"', "true"), "pile.base_width", "bool"),
    File("list for a width", _good('"5.2 m"', '["5.2 m"]'), "pile.base_width", "list"),
    File(
        "table for a width", _good('base_width = "5.2 m"', "base_width.m = 5.2"), "pile.base_width", "a table"
    ),
    File("date for a width", _good('"5.2 m"', "2025-01-01"), "pile.base_width", "convertible to 'm'"),
    File("text for a table", b'pile = "5 m"', "pile", "[pile]"),
    File("array for a table", b'[[pile]]\nheight = "2 m"', "pile", "[pile]"),
    File("array of numbers for a table", b"run = [1, 2]", "run", "[run]"),
    File("unknown table", GOOD.encode() + b'[covr]\nthickness = "1 m"', "covr", "Did you mean 'cover'?"),
    File("unknown top key", b'colour = "red"\n' + GOOD.encode(), "colour", "expected one of title, extends"),
    File(
        "escape sequence in a key",
        b'"\\u001b[31m\\nred" = 1\n' + GOOD.encode(),
        "\x1b[31m\nred",
        "\\x1b[31m red",
    ),
    File("title is a number", b"title = 5", "title", "text in quotes"),
    File("float nan", GOOD.encode() + b"[mix]\nmoisture = nan", "mix.moisture", "finite"),
    File("float inf", GOOD.encode() + b"[mix]\nmoisture = inf", "mix.moisture", "finite"),
    File(
        "integer beyond floats", GOOD.encode() + b"[mix]\nmoisture = 1" + b"0" * 400, "mix.moisture", "finite"
    ),
    File(
        "date and time",
        GOOD.encode() + b"[start]\ndate = 2025-11-30T08:00:00",
        "start.date",
        "year-month-day",
    ),
    File("event without a time", GOOD.encode() + b'[[event]]\nkind = "turn"', "event 1.time", "no default"),
    File("event with an unknown key", GOOD.encode() + b'[[event]]\ntme = "5 day"', "event 1.tme", "Did you mean 'time'?"),
    File("event as a table", GOOD.encode() + b'[event]\ntime = "5 day"', "event", "[[event]]"),
    File("event with a bare number", GOOD.encode() + b"[[event]]\ntime = 5", "event 1.time", "unit"),
    File("event of another kind", GOOD.encode() + b'[[event]]\nkind = "water"\ntime = "5 day"', "event 1.kind",
         "known, but not in this version"),
    File("cover that is just left off", GOOD.encode() + b'[[event]]\ncover = "left off"\ntime = "5 day"',
         "event 1.cover", "put back, mixed in, taken away"),
    File("cover mixed in where there is none", GOOD.encode() + b'[cover]\nthickness = "0 m"\n'
         b'[[event]]\ncover = "mixed in"\ntime = "5 day"', "event 1.cover", "without a cover"),
    File("cover mixed into a part", GOOD.encode() + b'[[event]]\ncover = "mixed in"\nshare = "80 %"\ntime = "5 day"',
         "event 1.cover", "share 100 percent"),
    File("cover mixed in and turned outside in", GOOD.encode() + b'[[event]]\ncover = "mixed in"\nmixing = "outside in"\n'
         b'time = "5 day"', "event 1.cover", "'throughout'"),
    File("cover taken away twice", GOOD.encode() + b'[[event]]\ncover = "taken away"\ntime = ["5 day", "8 day"]',
         "event 1.cover", "taken away on day 5"),
    File("cover put back that is gone", GOOD.encode() + b'[[event]]\ncover = "put back"\ntime = "8 day"\n'
         b'[[event]]\ncover = "mixed in"\ntime = "5 day"', "event 1.cover", "cannot come back"),
    File("two turns at once", GOOD.encode() + b'[[event]]\ntime = ["5 day", "120 hour"]', "event", "an hour apart"),
    File("a turn of nothing", GOOD.encode() + b'[[event]]\ntime = "5 day"\nshare = "0 %"', "event 1.share", "from 1 percent"),
    File("stage", GOOD.encode() + b"[[stage]]", "stage", "known, but not in this version"),
    File("ingredient without amount", GOOD.encode() + b'[mix]\ningredients = ["straw"]', "mix.ingredients", "AMOUNT of NAME"),
    File("ingredients as a number", GOOD.encode() + b"[mix]\ningredients = 3", "mix.ingredients", "semicolons between"),
    File("no ingredients", GOOD.encode() + b"[mix]\ningredients = []", "mix.ingredients", "list is empty"),
    File("a feedstock that is no table", GOOD.encode() + b"[feedstock]\nstraw = 3", "feedstock.straw", "a table for each"),
    File("feedstock as text", GOOD.encode() + b'[feedstock.husks]\nlike = 3', "feedstock.husks.like", "text in quotes"),
    File("unknown feedstock key", GOOD.encode() + b'[feedstock.husks]\nmoistur = "3 %"', "feedstock.husks.moistur",
         "Did you mean 'moisture'?"),
    File("half a feedstock", GOOD.encode() + b'[mix]\ningredients = "1 m3 of husks"\n[feedstock.husks]\nmoisture = "9 %"',
         "feedstock.husks.nitrogen", "like ="),
    File("like an unknown", GOOD.encode() + b'[mix]\ningredients = "1 m3 of husks"\n[feedstock.husks]\nlike = "strow"',
         "feedstock.husks.like", "Did you mean 'straw'?"),
    File("more carbon than organic matter holds",
         GOOD.encode() + b'[mix]\ningredients = "1 m3 of straw"\n[feedstock.straw]\ncarbon = "59 %"',
         "feedstock.straw.carbon", "holds no more carbon"),
    File("pools beyond the whole",
         GOOD.encode() + b'[mix]\ningredients = "1 m3 of straw"\n[feedstock.straw]\nfast_fraction = "70 %"',
         "feedstock.straw.fast_fraction", "same volatile solids"),
    File("a file of feedstocks that is missing", b'feedstocks = "none.toml"\n' + GOOD.encode(), "none.toml", "no such file"),
    File("a file of feedstocks with more in it", b'feedstocks = "own.toml"\n' + GOOD.encode(), "own.toml", "[feedstock",
         {"own.toml": b'[pile]\nheight = "2 m"'}),
    File("extends a missing file", b'extends = "nowhere.toml"', "nowhere.toml", "no such file"),
    File(
        "extends an unknown name", b'extends = "reference_pil"', "extends", "Did you mean 'reference_pile'?"
    ),
    File("extends nothing", b'extends = ""', "extends", "reference_pile"),
    File("extends a list", b'extends = ["a.toml"]', "extends", "text in quotes"),
    File("extends itself", b'extends = "case.toml"', "", "case.toml -> case.toml"),
    File(
        "extends in a circle",
        b'extends = "other.toml"',
        "",
        "case.toml -> other.toml -> case.toml",
        {"other.toml": b'extends = "case.toml"'},
    ),
    File(
        "extends a broken file",
        b'extends = "other.toml"',
        "other.toml",
        "case.toml extends",
        {"other.toml": b"[pile"},
    ),
    File("extends a folder", b'extends = "./"', "./", "folder"),
    File("extends with a zero byte", b'extends = "a\\u0000.toml"', "a\x00.toml", "no such file"),
)

MONTHLY = {"weather.kind": "monthly", "weather.air_temperature": ["1 degC"] * 12, "start.date": "2026-01-15"}
SNAP = {
    "weather.cold_snap.start": "8 day",
    "weather.cold_snap.duration": "3 day",
    "weather.cold_snap.temperature_drop": "9 K",
}
OVERRIDES = (
    Override(
        "mass for a width",
        {"pile.base_width": "5 kg"},
        "pile.base_width",
        "Cannot convert from 'kilogram' ([mass]) to 'meter' ([length])",
    ),
    Override("no unit", {"pile.base_width": "5.2"}, "pile.base_width", "Add the unit"),
    Override("unknown unit", {"pile.base_width": "5 furlogs"}, "pile.base_width", "furlogs"),
    Override("empty text", {"pile.base_width": ""}, "pile.base_width", "empty"),
    Override("blank text", {"pile.base_width": " \t\n"}, "pile.base_width", "empty"),
    Override("unit only", {"pile.base_width": "m"}, "pile.base_width", "number"),
    Override("two numbers", {"pile.base_width": "5 6 m"}, "pile.base_width", "not a unit"),
    Override("decimal comma", {"pile.base_width": "5,2 m"}, "pile.base_width", "decimal point"),
    Override("feet and inches", {"pile.base_width": "17 ft 2 in"}, "pile.base_width", "not a unit"),
    Override("expression", {"pile.base_width": "__import__('os') m"}, "pile.base_width", "number"),
    Override("tower of powers", {"pile.base_width": "5 m**9**9**9"}, "pile.base_width", "not a unit"),
    Override("very long text", {"pile.base_width": "5 m" * 10_000}, "pile.base_width", "30000 characters"),
    Override("text nan", {"pile.base_width": "nan m"}, "pile.base_width", "finite"),
    Override("text inf", {"pile.base_width": "inf m"}, "pile.base_width", "finite"),
    Override("overflow", {"pile.base_width": "1e999 m"}, "pile.base_width", "finite"),
    Override("negative width", {"pile.base_width": "-5 m"}, "pile.base_width", "0.4 m to 100 m"),
    Override("zero height", {"pile.height": "0 m"}, "pile.height", "0.2 m to 15 m"),
    Override("ambiguous ton", {"mix.bulk_density": "0.5 ton/m3"}, "mix.bulk_density", "ambiguous"),
    Override("negative cover", {"cover.thickness": "-0.1 m"}, "cover.thickness", "0 m to 2 m"),
    Override("cover thicker than the pile", {"cover.thickness": "2 m"}, "cover.thickness", "less than 2 m"),
    Override(
        "cover thicker than half the width",
        {"pile.base_width": "2.4 m", "pile.height": "1.3 m", "cover.thickness": "1.25 m"},
        "cover.thickness",
        "less than 1.2 m",
    ),
    Override("flanks meet below the height", {"pile.base_width": "3 m"}, "pile.height", "at most 1.787 m"),
    Override("crest wider than the base", {"pile.crest_width": "6 m"}, "pile.crest_width", "to 4.85 m"),
    Override(
        "crest too narrow for 20 deg",
        {"pile.base_width": "20 m", "pile.crest_width": "1 m"},
        "pile.crest_width",
        "value from 9.0101 m",
    ),
    Override(
        "steeper than 85 deg at any crest",
        {
            "pile.base_width": "0.4 m",
            "pile.height": "3 m",
            "pile.crest_width": "0 m",
            "cover.thickness": "0 m",
        },
        "pile.height",
        "at most 2.286 m",
    ),
    Override(
        "slope and crest in one change",
        {"pile.side_slope": "45 deg", "pile.crest_width": "1 m"},
        "pile",
        "one of them",
    ),
    Override(
        "slope of a rectangle",
        {"pile.shape": "rectangle", "pile.side_slope": "50 deg"},
        "pile.side_slope",
        "no such key for a rectangle",
    ),
    Override("slope as a share", {"pile.side_slope": "50 percent"}, "pile.side_slope", "angle"),
    Override("slope without a unit", {"pile.side_slope": "50"}, "pile.side_slope", "'deg'"),
    Override("overhanging slope", {"pile.side_slope": "95 deg"}, "pile.side_slope", "20 deg to 85 deg"),
    Override("share as an angle", {"mix.moisture": "50 deg"}, "mix.moisture", "not a unit of a share"),
    Override("percent forgotten", {"mix.moisture": "58"}, "mix.moisture", "Write '58 percent' or 0.58"),
    Override("moisture above 95 percent", {"mix.moisture": "120 percent"}, "mix.moisture", "95 percent"),
    Override("negative moisture", {"mix.moisture": -0.1}, "mix.moisture", "0 percent"),
    Override("number nan", {"mix.moisture": float("nan")}, "mix.moisture", "finite"),
    Override("fractions above one", {"mix.fast_fraction": "80 percent"}, "mix.fast_fraction", "75 percent"),
    Override("negative rate", {"mix.fast_rate": "-0.1 1/day"}, "mix.fast_rate", "0 1/day"),
    Override("rate per length", {"mix.fast_rate": "0.1 1/m"}, "mix.fast_rate", "Cannot convert"),
    Override("negative permeability", {"mix.permeability": "-5e-8 m2"}, "mix.permeability", "1e-15 m2"),
    Override(
        "permeability as a length", {"mix.permeability": "5e-8 m"}, "mix.permeability", "Cannot convert"
    ),
    Override("coulombs of air", {"weather.air_temperature": "10 C"}, "weather.air_temperature", "degC"),
    Override(
        "temperature difference",
        {"weather.air_temperature": "10 delta_degC"},
        "weather.air_temperature",
        "difference",
    ),
    Override(
        "below absolute zero",
        {"weather.air_temperature": "-300 degC"},
        "weather.air_temperature",
        "-70 degC to 60 degC",
    ),
    Override(
        "celsius read as kelvin", {"weather.air_temperature": "10 K"}, "weather.air_temperature", "-70 degC"
    ),
    Override(
        "monthly weather without its lists", {"weather.kind": "monthly"}, "weather.air_temperature", "list of 12 values"
    ),
    Override(
        "a list for constant weather", {"weather.air_temperature": ["1 degC"] * 12}, "weather.air_temperature", "one value"
    ),
    Override("eleven months", {**MONTHLY, "weather.air_temperature": ["1 degC"] * 11}, "weather.air_temperature", "12"),
    Override(
        "a month without a unit",
        {**MONTHLY, "weather.air_temperature": ["1 degC"] * 11 + [1.0]},
        "weather.air_temperature (December)",
        "bare number",
    ),
    Override(
        "a list in a list",
        {**MONTHLY, "weather.wind_speed": [["1 m/s"], *["1 m/s"] * 11]},
        "weather.wind_speed (January)",
        "one value",
    ),
    Override("no date", {k: v for k, v in MONTHLY.items() if k != "start.date"}, "start.date", "day of building"),
    Override("range as a temperature", {**MONTHLY, "weather.daily_range": "8 degC"}, "weather.daily_range", "delta_degC"),
    Override("range in metres", {**MONTHLY, "weather.daily_range": "8 m"}, "weather.daily_range", "delta_degC"),
    Override("range of constant weather", {"weather.daily_range": "8 K"}, "weather.daily_range", "kind = 'monthly'"),
    Override(
        "snap of constant weather", {"weather.cold_snap.start": "8 day"}, "weather.cold_snap", "kind = 'monthly'"
    ),
    Override("snap as a value", {**MONTHLY, "weather.cold_snap": "8 day"}, "weather.cold_snap", "[weather.cold_snap]"),
    Override("half a snap", {**MONTHLY, "weather.cold_snap.start": "8 day"}, "weather.cold_snap.duration", "no default"),
    Override(
        "snap with an unknown key", {**MONTHLY, "weather.cold_snap.depth": "8 K"}, "weather.cold_snap.depth", "one of start"
    ),
    Override(
        "snap without limit",
        {**MONTHLY, **SNAP, "weather.cold_snap.temperature_drop": "60 K", "weather.daily_range": "40 K"},
        "weather.daily_range",
        "air from -70 to 60 degC",
    ),
    Override("weather file", {"weather.path": "a.epw"}, "a.epw", "There is no file"),
    Override(
        "unknown key", {"mix.bulk_desity": "250 kg/m3"}, "mix.bulk_desity", "Did you mean 'bulk_density'?"
    ),
    Override("unknown key far from all", {"mix.zzz": "1"}, "mix.zzz", "volume_loss, bulk_density, moisture"),
    Override("unknown table", {"cove.thickness": "1 m"}, "cove", "Did you mean 'cover'?"),
    Override("table alone", {"pile": "5 m"}, "pile", "dotted key"),
    Override("three parts", {"pile.base.width": "5 m"}, "pile.base.width", "dotted key"),
    Override("dots alone", {"..": "5 m"}, "..", "dotted key"),
    Override("extends as a change", {"extends": "wide_pile"}, "extends", "dotted key"),
    Override("unknown seeding", {"start.seeding": "mixd"}, "start.seeding", "Did you mean 'mixed'?"),
    Override("unknown shape", {"pile.shape": "trapezium"}, "pile.shape", "Did you mean 'trapezoid'?"),
    Override("shape as a number", {"pile.shape": 3}, "pile.shape", "trapezoid, ridge, ellipse, polygon, "),
    Override("full column", {"pile.shape": "column", "pile.section": "full"}, "pile.section", "'half' for a column"),
    Override("seeding as a flag", {"start.seeding": True}, "start.seeding", "mature, mixed, surface"),
    Override("other cover material", {"cover.material": "tarpaulin"}, "cover.material", "properties one by one"),
    Override("snow as a cover", {"cover.material": "snow"}, "cover.material", "coarse compost, fine compost"),
    Override("unknown feedstock", {"mix.ingredients": "3 m3 of wood chip"}, "mix.ingredients", "meant: wood chips?"),
    Override("part of a feedstock's name", {"mix.ingredients": "3 m3 of coarse trimmings"}, "mix.ingredients",
             "coarse yard trimmings"),
    Override("amount without a unit", {"mix.ingredients": "3 of straw"}, "mix.ingredients", "'4 buckets of straw'"),
    Override("amount in metres", {"mix.ingredients": "3 m of straw"}, "mix.ingredients", "'4 buckets of straw'"),
    Override("ambiguous ton", {"mix.ingredients": "3 ton of straw"}, "mix.ingredients", "short_ton"),
    Override("less than nothing", {"mix.ingredients": "-3 m3 of straw"}, "mix.ingredients", "0 or more"),
    Override("only water", {"mix.ingredients": "3 m3 of water"}, "mix.ingredients", "besides water"),
    Override("a feedstock twice", {"mix.ingredients": "3 m3 of straw; 1 t of straw"}, "mix.ingredients", "feedstock once"),
    Override("buckets of unknown size", {"mix.ingredients": "3 buckets of straw; 1 t of leaves"}, "mix.bucket", "in buckets"),
    Override("bucket without ingredients", {"mix.bucket": "2 m3"}, "mix.bucket", "without mix.ingredients"),
    Override("water as a feedstock of one's own", {"mix.ingredients": "1 m3 of straw", "feedstock.water.nitrogen": "1 %"},
             "feedstock.water", "Water is water"),
    Override("valve without a cover", {"cover.valve": "true", "cover.thickness": "0 m"}, "cover.valve", "without a cover"),
    Override("valve as a word", {"cover.valve": "maybe"}, "cover.valve", "expected true or false"),
    Override("valve as a number", {"cover.valve": 0}, "cover.valve", "expected true or false"),
    Override("edge", {"base_layer.edge": "ajar"}, "base_layer.edge", "closed, open"),
    Override("no such day", {"start.date": "2025-02-30"}, "start.date", "out of range"),
    Override("nonsense date", {"start.date": "next Monday"}, "start.date", "year-month-day"),
    Override("other order of the date", {"start.date": "30.11.2025"}, "start.date", "2025-11-30"),
    Override("week date", {"start.date": "2025-W05-1"}, "start.date", "year-month-day"),
    Override("no duration", {"run.duration": "0 day"}, "run.duration", "day to 3660 day"),
    Override(
        "output later than the end", {"run.output_every": "31 day"}, "run.output_every", "duration, 30 day"
    ),
    Override(
        "too many outputs",
        {"run.duration": "3000 day", "run.output_every": "1 minute"},
        "run.output_every",
        "at least 216 minute",
    ),
    Override("huge grid", {"run.cell": "2 mm"}, "run.cell", "at least 0.0042 m"),
    Override("cell wider than the pile", {"run.cell": "0.9 m"}, "run.cell", "at most 0.5 m"),
    Override("rule without a duration", {"limits.rule": "55 degC"}, "limits.rule", "55 degC for 3 day"),
    Override("rule of wrong units", {"limits.rule": "55 m for 3 day"}, "limits.rule", "convertible to 'K'"),
    Override("rule out of range", {"limits.rule": "155 degC for 3 day"}, "limits.rule", "25 degC to 90 degC"),
    Override("rule as a number", {"limits.rule": 55}, "limits.rule", "55 degC for 3 day"),
    Override(
        "oxygen above that of air",
        {"limits.anaerobic_oxygen": "30 percent"},
        "limits.anaerobic_oxygen",
        "20.9 percent",
    ),
    Override("title as a number", {"title": 7}, "title", "text in quotes"),
    Override("line breaks in a value", {"pile.base_width": "5\nm\rx"}, "pile.base_width", "'5\\nm\\rx'"),
)
