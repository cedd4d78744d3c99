"""The scenario file as data: every table and key, its unit, range, default and meaning; and what comes later.

Ranges are physical or practical limits, wide on purpose; defaults come from the constants registry.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table.

    `kind` is quantity, word, flag, date, points, ingredients, text or rule. For a quantity: `unit` is SI, `shown` that of
    `low`, `high` and of messages, `constant` the registry name of the default. `words` are the allowed words, the
    first one the default. A quantity with neither default nor `required` is optional (None) and has an
    `example` for the template.
    """

    meaning: str
    kind: str = "quantity"
    unit: str = ""
    shown: str = ""
    low: float = 0.0
    high: float = 0.0
    constant: str = ""
    default: float | None = None
    example: str = ""
    required: bool = False
    words: tuple[str, ...] = ()
    later: tuple[str, ...] = ()


def _length(meaning: str, low: float, high: float, constant: str = "", required: bool = False,
            example: str = "") -> Key:
    return Key(meaning, unit="m", shown="m", low=low, high=high, constant=constant, required=required,
               example=example)


def _share(meaning: str, low: float, high: float, constant: str) -> Key:
    return Key(meaning, unit="1", shown="percent", low=low, high=high, constant=constant)


def _temperature(meaning: str, low: float, high: float, constant: str = "", required: bool = False) -> Key:
    return Key(meaning, unit="K", shown="degC", low=low, high=high, constant=constant, required=required)


def _rate(meaning: str, constant: str) -> Key:
    return Key(meaning, unit="s-1", shown="1/day", high=10.0, constant=constant)


def _permeability(meaning: str, constant: str) -> Key:
    return Key(meaning, unit="m2", shown="m2", low=1e-15, high=1e-5, constant=constant)


def _density(meaning: str, constant: str) -> Key:
    return Key(meaning, unit="kg m-3", shown="kg/m3", low=50.0, high=1600.0, constant=constant)


def _conductivity(meaning: str, constant: str = "") -> Key:
    return Key(meaning, unit="W m-1 K-1", shown="W/m/K", low=0.02, high=5.0, constant=constant,
               example="" if constant else "0.18 W/m/K")


def _word(meaning: str, *words: str, later: tuple[str, ...] = ()) -> Key:
    return Key(meaning, kind="word", words=words, later=later)


_COMPUTED = "computed from water and density unless given"

SCHEMA: dict[str, dict[str, Key]] = {
    "site": {
        "elevation": Key("height above sea level; sets the air pressure", unit="m", shown="m", low=-500.0,
                         high=9000.0, default=0.0),
        "latitude": Key("north positive; gives monthly weather its sun and sky; unused by constant weather", unit="rad",
                        shown="deg", low=-90.0, high=90.0, example="45 deg"),
        "slope_aspect": Key("direction the right flank faces, clockwise from north; without it the sun is a mean of all",
                            unit="rad", shown="deg", high=360.0, example="180 deg"),
    },
    "weather": {
        "kind": _word("how the weather is given; monthly: lists of 12 values from January on, and a start.date; file: a path",
                      "constant", "monthly", "file"),
        "path": Key("hourly weather: EPW, TMY3 or CSV file, from this scenario's folder; makes the kind 'file'", kind="text",
                    example="winter.epw"),
        "air_temperature": _temperature("outdoor air; for monthly weather 12 means", -70.0, 60.0, required=True),
        "relative_humidity": _share("outdoor air", 0.0, 100.0, "weather_relative_humidity"),
        "wind_speed": Key("at the pile; sets the surface coefficient", unit="m s-1", shown="m/s", high=50.0,
                          constant="weather_wind_speed"),
        "wind_direction": Key("it comes from, clockwise from north; presses on the flanks of a full section that has a "
                              "site.slope_aspect", unit="rad", shown="deg", high=360.0, example="270 deg"),
        "lapse": Key("file only, true: air temperature from the station's elevation to the site's by the standard lapse rate",
                     kind="flag"),
        "drift_height": _length("snow drifted against the flanks up to here lets no air in, the whole run", 0.0, 15.0,
                                example="0.4 m"),
        "daily_range": Key("monthly only: warmest above coldest hour, one value or 12", unit="delta_degC",
                           shown="delta_degC", high=40.0, example="10 delta_degC"),
    },
    "pile": {
        "shape": _word("outline of the section", "trapezoid", "ridge", "ellipse", "polygon", "rectangle", "column", "round",
                       "slab"),
        "base_width": _length("of the mix, where it stands on the base layer", 0.4, 100.0, required=True),
        "height": _length("of the mix, above the base layer", 0.2, 15.0, required=True),
        "side_slope": Key("flank from the horizontal, held when the width varies (or give crest_width)",
                          unit="rad", shown="deg", low=20.0, high=85.0,
                          example="50 deg"),
        "crest_width": _length("width of the mix at the top (or give side_slope)", 0.0, 100.0,
                               example="1.8 m"),
        "outline": Key("half a convex polygon from toe to axis, as points 'x, z'; sets width and height", kind="points",
                       example='["2.6 m, 0 m", "2.0 m, 1.2 m", "1.0 m, 1.9 m", "0 m, 2.1 m"]'),
        "length": _length("along the pile; for cautions only, results are per metre", 0.5, 10000.0,
                          example="20 m"),
        "section": _word("half: mirrored at the axis; full: both sides computed", "half", "full"),
    },
    "cover": {
        "thickness": _length("normal to the surface, outside the mix; 0 m removes the cover", 0.0, 2.0,
                             "cover_thickness"),
        "material": _word("the default properties below", "coarse compost", "fine compost", "wood chips", "straw", "peat"),
        "permeability": _permeability("to gas, in place and moist", "cover_permeability"),
        "bulk_density": _density("wet", "cover_bulk_density"),
        "moisture": _share("wet basis", 0.0, 95.0, "cover_moisture"),
        "volatile_solids": _share("share of dry matter", 0.0, 100.0, "cover_volatile_solids"),
        "slow_fraction": _share("slowly degradable, of volatile solids", 0.0, 100.0, "cover_slow_fraction"),
        "slow_rate": _rate("decay of the slow fraction at the best conditions", "cover_slow_rate"),
        "conductivity": _conductivity(_COMPUTED),
        "valve": Key("true: permeability follows the cover's own water (gets tighter as condensate wets it)", kind="flag"),
    },
    "base_layer": {
        "thickness": _length("porous layer under the mix; 0 m removes it", 0.0, 2.0, "base_thickness"),
        "material": _word("the default properties below", "wood chips"),
        "permeability": _permeability("to gas, in place", "base_permeability"),
        "bulk_density": _density("wet", "base_bulk_density"),
        "moisture": _share("wet basis", 0.0, 95.0, "base_moisture"),
        "volatile_solids": _share("share of dry matter", 0.0, 100.0, "base_volatile_solids"),
        "conductivity": _conductivity(_COMPUTED),
        "edge": _word("closed: the cover runs down to the ground; open: air enters there", "closed", "open"),
    },
    "mix": {
        "ingredients": Key("amounts of feedstocks (listed by pilesim materials); what is not given below is derived",
                           kind="ingredients", example='["4 buckets of coarse yard trimmings", "1 bucket of dairy manure"]'),
        "bucket": Key("volume of a heaped bucket; needed only where other measures stand beside buckets", unit="m3",
                      shown="m3", low=1e-3, high=50.0, example="2 m3"),
        "volume_loss": _share("of the volumes of the ingredients when they are mixed", 0.0, 60.0, "mix_volume_loss"),
        "bulk_density": _density("wet, at the surface of the mix", "mix_bulk_density"),
        "moisture": _share("wet basis", 0.0, 95.0, "mix_moisture"),
        "volatile_solids": _share("share of dry matter", 0.0, 100.0, "mix_volatile_solids"),
        "permeability": _permeability("to gas, in place, at the surface density; upwards", "mix_permeability"),
        "permeability_ratio": Key("permeability across over upwards; above 1 for a mix laid in layers", unit="1", low=0.1,
                                  high=100.0, constant="mix_permeability_ratio"),
        "compaction": Key("growth of bulk density with depth", unit="m-1", shown="1/m", high=2.0,
                          constant="mix_compaction"),
        "fast_fraction": _share("quickly degradable, of volatile solids", 0.0, 100.0, "mix_fast_fraction"),
        "slow_fraction": _share("slowly degradable, of volatile solids", 0.0, 100.0, "mix_slow_fraction"),
        "fast_rate": _rate("decay of the fast fraction at the best conditions", "mix_fast_rate"),
        "slow_rate": _rate("decay of the slow fraction at the best conditions", "mix_slow_rate"),
        "oxygen_demand": Key("oxygen per substrate oxidised", unit="kg kg-1", shown="kg/kg", low=0.5,
                             high=4.0, constant="mix_oxygen_demand"),
        "respiratory_quotient": Key("mol of carbon dioxide per mol of oxygen", unit="1", low=0.3, high=1.5,
                                    constant="mix_respiratory_quotient"),
    },
    "start": {
        "date": Key("day of building, year-month-day", kind="date"),
        "temperature": _temperature("of all materials when built", -60.0, 80.0, "start_temperature"),
        "ice": Key("share of the mix's water that is snow or ice in it when built; it cools what is beside it", unit="1",
                   shown="percent", high=100.0, default=0.0),
        "seeding": _word("activity of the mix's microbes; mature: full at once; mixed: finished compost mixed in, must grow; "
                         "surface: full in 0.2 m under the cover only", "mature", "mixed", "surface"),
    },
    "ground": {
        "material": _word("moist mineral soil", "soil"),
        "deep_temperature": _temperature("at the bottom of the ground", -30.0, 45.0,
                                         "ground_deep_temperature"),
        "conductivity": _conductivity("of the ground", "ground_conductivity"),
        "heat_capacity": Key("of the ground, per volume", unit="J m-3 K-1", shown="J/m3/K", low=3e5, high=6e6,
                             constant="ground_heat_capacity"),
    },
    "run": {
        "duration": Key("simulated time", unit="s", shown="day", low=1.0 / 24.0, high=3660.0, required=True),
        "output_every": Key("interval of stored fields; changes no measure", unit="s", shown="hour",
                            low=1.0 / 60.0, high=87840.0, constant="run_output_every"),
        "cell": _length("node spacing of the fine grid (coarse partner: twice this)", 0.001, 1.0,
                        "run_cell"),
    },
    "laws": {
        "free_air_space": _word("density of organic matter in the free air space of all materials", "particles", "handbook"),
        "gas_diffusion": _word("how oxygen diffuses in the bed", "moldrup", "millington-quirk", "buckingham", "marshall"),
        "temperature": _word("cardinal temperatures of degradation", "measured", "literature"),
        "oxygen_limit": _word("oxygen at half speed", "measured", "handbook"),
        "oxygen_heat": _word("heat per oxygen used", "composting", "oxycalorific"),
    },
    "limits": {
        "rule": Key("temperature to hold and for how long without a gap, or the id of one: pilesim rules", kind="rule"),
        "anaerobic_oxygen": _share("below it the mix counts as anaerobic", 0.1, 20.9, "anaerobic_oxygen"),
    },
}
SUBTABLES: dict[str, dict[str, dict[str, Key]]] = {
    "weather": {
        "cold_snap": {
            "start": Key("days since the build", unit="s", shown="day", high=3660.0, required=True),
            "duration": Key("of the cold spell, its ramps included", unit="s", shown="day", low=0.5, high=366.0,
                            required=True),
            "temperature_drop": Key("by which the air is colder, a difference", unit="delta_degC", shown="delta_degC",
                                    high=60.0, required=True),
        },
    },
}
FEEDSTOCK: dict[str, Key] = {      # of a table [feedstock.NAME]
    "moisture": _share("wet basis", 0.0, 99.0, ""),
    "nitrogen": _share("of dry matter", 0.0, 50.0, ""),
    "carbon": _share("of dry matter", 0.0, 60.0, ""),
    "volatile_solids": _share("of dry matter", 0.0, 100.0, ""),
    "lignin": _share("of volatile solids", 0.0, 100.0, ""),
    "bulk_density": Key("loose and moist, as loaded", unit="kg m-3", shown="kg/m3", low=10.0, high=1600.0),
    "particle_size": Key("as an Ergun fit of the pressure drop gives it", unit="m", shown="mm", low=0.01, high=200.0),
    "compaction": Key("growth of bulk density with depth", unit="m-1", shown="1/m", high=2.0),
    "fast_fraction": _share("quickly degradable, of volatile solids", 0.0, 100.0, ""),
    "fast_rate": _rate("decay of the fast fraction at the best conditions", ""),
    "slow_fraction": _share("slowly degradable, of volatile solids", 0.0, 100.0, ""),
    "slow_rate": _rate("decay of the slow fraction at the best conditions", ""),
    "oxygen_demand": Key("oxygen per substrate oxidised", unit="kg kg-1", shown="kg/kg", low=0.5, high=4.0),
    "respiratory_quotient": Key("mol of carbon dioxide per mol of oxygen", unit="1", low=0.3, high=1.5),
}
FEEDSTOCK_WORDS = ("like", "description")      # keys of [feedstock.NAME] that are text
EVENT: dict[str, Key] = {      # of a table [[event]]
    "kind": _word("what happens", "turn", later=("water", "cover", "move")),
    "time": Key("since the build, or a list of times", unit="s", shown="day", low=1.0 / 24.0, high=3660.0, required=True,
                example="14 day"),
    "mixing": _word("throughout: material may come to lie anywhere; outside in: what lay outside comes to lie inside",
                    "throughout", "outside in"),
    "share": Key("of the mix that is moved; the rest stays where it is", unit="1", shown="percent", low=1.0, high=100.0,
                 default=1.0),
    "air_exchanged": Key("volumes of outdoor air that a volume of moved material meets", unit="1", high=1000.0,
                         constant="turn_air_exchanged"),
    "loosening": Key("share of the compaction with depth that the turn undoes; it does not settle again", unit="1",
                     shown="percent", high=100.0, default=0.0),
    "cover": _word("put back: turned by itself, and back on; mixed in: it is mix from then on, all of which has to be moved "
                   "throughout; taken away: scraped off before the turn", "put back", "mixed in", "taken away"),
}
RULE_TEMPERATURE = _temperature("to hold", 25.0, 90.0)
RULE_DURATION = Key("to hold it", unit="s", shown="day", low=1.0 / 1440.0, high=365.0)
TOP_KEYS = ("title", "extends", "feedstocks")
LATER_TABLES = ("stage",)
LATER_KEYS: dict[str, tuple[str, ...]] = {}
OPEN_WORDS = ("material",)      # any other material is a word that a later version may know
LATER = "is known, but not in this version: it arrives later"


def known_keys() -> dict[str, Key]:
    """Every key under its dotted name."""
    known = {f"{table}.{name}": key for table, keys in SCHEMA.items() for name, key in keys.items()}
    for table, inner in SUBTABLES.items():
        known |= {f"{table}.{part}.{name}": key for part, keys in inner.items() for name, key in keys.items()}
    return known


def key_of(dotted: str) -> Key | None:
    """What is known of a dotted key, ``feedstock.NAME.KEY`` included, or None."""
    known = known_keys().get(dotted)
    table, _, rest = dotted.partition(".")
    if known is None and table == "feedstock":
        name, _, key = rest.rpartition(".")
        word = Key("name or text", kind="text") if key in FEEDSTOCK_WORDS else None
        return FEEDSTOCK.get(key, word) if name else None
    return known


def suggestion(given: str, allowed: Iterable[str]) -> str:
    """'Did you mean ...?' for the closest allowed name, or nothing."""
    close = difflib.get_close_matches(given, list(allowed), n=1)
    return f"Did you mean '{close[0]}'?" if close else ""
