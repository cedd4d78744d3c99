"""What a recipe promises: every property of the mix, given and derived; heat against water, ammonia, the usual window."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace

import numpy as np

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.units import format_number, from_si
from pilesim.inputs.library import Feedstock, cover_library
from pilesim.inputs.records import Mix, MixFromIngredients
from pilesim.inputs.schema import FEEDSTOCK, SCHEMA
from pilesim.matter.mix import Blend, DerivedMix, at_depth, blend, derive, free_air_space, loose_volumes

WINDOW = {      # target: registry names of its ends
    "moisture": ("target_moisture_low", "target_moisture_high"),
    "carbon_to_nitrogen": ("target_carbon_to_nitrogen_low", "target_carbon_to_nitrogen_high"),
    "free_air_space": ("target_air_space_low", "target_air_space_high"),
}
SOURCE_OF_FIGURES = {
    "secondary copy": "read in a copy of its source", "recalled": "recalled from memory, to be checked",
    "computed": "computed from other numbers", "adjusted": "adjusted within the source's range",
    "no source": "common practice, no source", "guess": "a guess of the right order", "given": "given by the user"}
_JUDGED = {     # property: its name in a sentence, what too little and what too much of it means
    "moisture": ("Moisture", "too dry, it composts slowly", "too wet, it may pack and starve"),
    "carbon_to_nitrogen": ("C:N", "too much nitrogen, expect ammonia", "too little nitrogen, expect a slow start"),
    "free_air_space": ("Free air space", "too dense, expect starved places", "very open, it may dry out and cool"),
    "degradable_carbon_to_nitrogen": ("Degradable carbon over nitrogen", "some ammonia is possible (all nitrogen counted as "
                                      "available, the cautious side)", ""),
    "water_to_degradable": ("Water over degradable matter", "", "the heat hardly lasts, the mix stays wet"),
}
_MANYFOLD = ("permeability", "particle_size")       # known to a factor
_NUDGE = 0.1        # of the batch's mass: how much more of an ingredient the arrows of the picture stand for


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """One property: the value used, what the ingredients alone make, what was given; SI, None where there is none.

    `low` and `high` are the ends of the usual window, `shown` the unit for tables, `least` and `most` the ends of the range
    that those of the feedstocks' figures give (see :func:`ranges`).
    """

    name: str
    used: float
    alone: float | None
    given: float | None
    unit: str
    shown: str
    meaning: str
    low: float | None = None
    high: float | None = None
    least: float | None = None
    most: float | None = None


def recipe_rows(derived: DerivedMix, height: float,
                spread: Mapping[str, tuple[float, float]] | None = None) -> list[RecipeRow]:
    """Every property of the mix, at the surface and under `height` [m] of it, and what follows for heat and ammonia.

    `spread` holds the range of some properties, as :func:`ranges` gives it.
    """
    rows = _property_rows(derived, height) + _balance_rows(derived.used, derived.blend)
    ends = spread or {}
    return [replace(row, least=ends[row.name][0], most=ends[row.name][1]) if row.name in ends and row.given is None else row
            for row in rows]


def ranges(mix: MixFromIngredients) -> dict[str, tuple[float, float]]:
    """Low and high end of every property that the ingredients set, by the ranges of the feedstocks' figures, SI.

    Every figure is moved to its low and its high end, one after the other; the moves of a property, up and down apart,
    are added as independent ones are (root of the sum of squares; of logarithms for permeability and particle size).
    Amounts are taken as loaded, so a bucket of a denser material is a heavier one.
    """
    centre = _values(derive(mix))
    squares = {name: [0.0, 0.0] for name in centre}
    for k, item in enumerate(mix.ingredients):
        for key in FEEDSTOCK if item.amount > 0.0 else ():
            figure = getattr(item.feedstock, key)
            for end in {figure.low, figure.high} - {figure.value}:
                moved = replace(item, feedstock=replace(item.feedstock, **{key: replace(figure, value=end)}))
                others = (*mix.ingredients[:k], moved, *mix.ingredients[k + 1:])
                try:
                    values = _values(derive(replace(mix, ingredients=others)))
                except ScenarioError:       # no bed could be built of it: not a value that this mix can have
                    continue
                for name, value in values.items():
                    step = _step(name, centre[name], value)
                    squares[name][int(step > 0.0)] += step * step
    return {name: _ends(name, centre[name], *squares[name]) for name in centre}


def _values(derived: DerivedMix) -> dict[str, float]:
    used = derived.used
    air = free_air_space(used.bulk_density, used.moisture, used.volatile_solids, derived.blend.c)
    return {**asdict(used), "free_air_space": air, "carbon_to_nitrogen": derived.blend.carbon_to_nitrogen,
            "particle_size": derived.blend.particle_size}


def _step(name: str, centre: float, value: float) -> float:
    if name in _MANYFOLD:
        return math.log(value / centre)
    return value - centre if math.isfinite(value) and math.isfinite(centre) else 0.0


def _ends(name: str, centre: float, down: float, up: float) -> tuple[float, float]:
    if name in _MANYFOLD:
        return centre * math.exp(-math.sqrt(down)), centre * math.exp(math.sqrt(up))
    return max(centre - math.sqrt(down), 0.0), centre + math.sqrt(up)


def _property_rows(derived: DerivedMix, height: float) -> list[RecipeRow]:
    used, alone, sums = derived.used, derived.from_ingredients, derived.blend
    rows = []
    for name, spec in SCHEMA["mix"].items():
        if name in ("ingredients", "bucket", "volume_loss"):
            continue
        value = getattr(used, name)
        low, high = _window(name)
        rows.append(RecipeRow(name, value, getattr(alone, name), value if name in derived.given else None, spec.unit,
                              spec.shown, spec.meaning, low, high))
    air = [free_air_space(mix.bulk_density, mix.moisture, mix.volatile_solids, sums.c) for mix in (used, alone)]
    low, high = _window("free_air_space")
    rows.insert(3, RecipeRow("free_air_space", air[0], air[1], None, "1", "percent", "at the surface of the mix", low, high))
    density, below, permeability = at_depth(used, height, sums.c)
    deep = f"under {height:.3g} m of mix"
    rows += [RecipeRow("floor_bulk_density", density, None, None, "kg m-3", "kg/m3", deep),
             RecipeRow("floor_free_air_space", below, None, None, "1", "percent", deep),
             RecipeRow("floor_permeability", permeability, None, None, "m2", "m2", deep)]
    low, high = _window("carbon_to_nitrogen")
    ratio = sums.carbon_to_nitrogen
    rows.insert(4, RecipeRow("carbon_to_nitrogen", ratio, ratio, None, "1", "", "by mass, all carbon", low, high))
    return rows


def _balance_rows(used: Mix, sums: Blend) -> list[RecipeRow]:
    lasts, balanced = (CONSTANTS[name].value for name in ("usual_water_ratio", "balanced_degradable_carbon_ratio"))
    water, heat, evaporates = heat_against_water(used)
    ratio = sums.degradable_carbon / sums.nitrogen if sums.nitrogen > 0.0 else math.inf
    return [
        RecipeRow("degradable_carbon_to_nitrogen", ratio, ratio, None, "1", "",
                  f"below about {balanced:g} nitrogen may be left over and leave as ammonia", balanced, None),
        RecipeRow("heat_potential", heat, None, None, "J m-3", "MJ/m3", "of all degradable matter, at the surface density"),
        RecipeRow("water_to_degradable", water, None, None, "1", "kg/kg",
                  f"above about {lasts:g} the heat hardly lasts", None, lasts),
        RecipeRow("evaporation_potential", evaporates, None, None, "1", "",
                  "water that all the heat could evaporate, of the water there is; well above 1 the mix can run dry"),
        RecipeRow("particle_size", sums.particle_size, sums.particle_size, None, "m", "mm", "of the Ergun fit, in place"),
    ]


def heat_against_water(mix: Mix) -> tuple[float, float, float]:
    """Water per degradable matter [kg kg-1], heat of all of it per volume [J m-3], water it could evaporate of all [1]."""
    organic = mix.bulk_density * (1.0 - mix.moisture) * mix.volatile_solids
    degradable = organic * (mix.fast_fraction + mix.slow_fraction)
    heat = degradable * mix.oxygen_demand * CONSTANTS["heat_per_oxygen"].value
    water = mix.bulk_density * mix.moisture
    latent = CONSTANTS["latent_heat_of_vaporisation"].value
    return (water / degradable if degradable else math.inf, heat, heat / (water * latent) if water else math.inf)


def _window(name: str) -> tuple[float | None, float | None]:
    if name not in WINDOW:
        return None, None
    low, high = WINDOW[name]
    return CONSTANTS[low].value, CONSTANTS[high].value


def judgements(derived: DerivedMix, height: float) -> list[str]:
    """Plain sentences about what stands outside its usual window, in the order of the table; one line if nothing does."""
    said = []
    for row in recipe_rows(derived, height):
        below = row.low is not None and row.used < row.low
        above = row.high is not None and row.used > row.high
        if row.name in _JUDGED and (below or above):
            limit = row.low if below else row.high
            assert limit is not None
            side = "below" if below else "above"
            name, *meanings = _JUDGED[row.name]
            said.append(f"{name} {shown(row.used, row)} is {side} {shown(limit, row)}: {meanings[int(above)]}.")
    least = CONSTANTS["target_air_space_low"].value
    used, c = derived.used, derived.blend.c
    _, deep, _ = at_depth(used, height, c)
    top = free_air_space(used.bulk_density, used.moisture, used.volatile_solids, c)
    if deep < least <= top:
        said.append(f"At the floor compaction leaves {100 * deep:.0f} percent free air space, below {100 * least:.0f}: "
                    "expect the lowest part to starve longest.")
    return said or ["Moisture, C:N and free air space are in their usual windows."]


def shown(value: float, row: RecipeRow) -> str:
    """A value of a row as text with its unit; C:N without nitrogen is infinite."""
    if math.isinf(value):
        return "infinite"
    if row.name == "heat_potential":
        return f"{format_number(value / 1e6)} MJ/m3"
    if not row.shown or (row.unit == "1" and row.shown == "kg/kg"):
        return f"{format_number(round(value, 1) if abs(value) > 10 else value)} {row.shown}".strip()
    number = from_si(value, row.unit, row.shown)
    return f"{format_number(float(f'{number:.3g}'))} {row.shown}".strip()


def mix_messages(mix: MixFromIngredients) -> list[str]:
    """What a run says of a mix made from ingredients: what was derived, and where a given value stands beside it."""
    derived, spread = derive(mix), ranges(mix)
    used, (least, most) = derived.used, spread["permeability"]
    air = free_air_space(used.bulk_density, used.moisture, used.volatile_solids, derived.blend.c)
    names = ", ".join(feedstock.name for feedstock in derived.blend.feedstocks)
    out = [f"The mix is derived from its ingredients ({names}): {used.bulk_density:.0f} kg/m3, {100 * used.moisture:.0f} "
           f"percent moisture, {100 * air:.0f} percent free air space, permeability {used.permeability:.1e} m2, C:N "
           f"{derived.blend.carbon_to_nitrogen:.0f}. The ranges of the library make the permeability {least:.0e} to "
           f"{most:.0e} m2; measure moisture and bulk density, they can be given beside the ingredients."]
    differing = []
    for name in derived.given:
        spec, given, alone = SCHEMA["mix"][name], getattr(used, name), getattr(derived.from_ingredients, name)
        row = RecipeRow(name, given, alone, given, spec.unit, spec.shown, spec.meaning)
        differing.append(f"{name} {shown(given, row)} (they alone make "
                         f"{shown(alone, row) if math.isfinite(alone) else 'no bed with air in it'})")
    if differing:
        out.append("Given beside the ingredients and used as given: " + "; ".join(differing) + ".")
    return out


def stored_recipe(derived: DerivedMix) -> str:
    """JSON for results: every figure of the feedstocks used with its source, amounts, given and derived properties."""
    loads = zip(derived.blend.feedstocks, derived.blend.masses, strict=True)
    own = [{"mass_kg": float(mass), **asdict(feedstock)} for feedstock, mass in loads]
    alone = {key: value if math.isfinite(value) else None for key, value in asdict(derived.from_ingredients).items()}
    return json.dumps({"ingredients": own, "used": asdict(derived.used), "from_ingredients": alone, "given": derived.given})


def stored_cover(tables: Mapping[str, object]) -> str:
    """JSON for results: the cover's material and those of its figures that were used, with their sources."""
    typed = tables.get("cover")
    given = typed if isinstance(typed, dict) else {}
    material = cover_library()[str(given.get("material", SCHEMA["cover"]["material"].words[0]))]
    used = {key: asdict(figure) for key, figure in material.figures.items() if key not in given}
    return json.dumps({"material": material.name, "figures": used})


@dataclass(frozen=True, slots=True)
class Pull:
    """Where the batch goes with more of one ingredient: moisture, C:N, free air space before and after."""

    name: str
    before: Mapping[str, float]
    after: Mapping[str, float]


def pulls(derived: DerivedMix, volume_loss: float) -> list[Pull]:
    """What a tenth of the batch's mass more of each ingredient does."""
    sums = derived.blend
    before = place(sums)
    out = []
    for k, feedstock in enumerate(sums.feedstocks):
        more = sums.masses.copy()
        more[k] += _NUDGE * sums.masses.sum()
        out.append(Pull(feedstock.name, before, place(blend(sums.feedstocks, more, volume_loss, sums.c))))
    return out


def place(sums: Blend) -> dict[str, float]:
    """Moisture, C:N and free air space of a blend at its own density [1]."""
    return {"moisture": sums.moisture, "carbon_to_nitrogen": sums.carbon_to_nitrogen,
            "free_air_space": free_air_space(sums.bulk_density, sums.moisture, sums.volatile_solids, sums.c)}


def ingredient_shares(feedstocks: tuple[Feedstock, ...], masses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shares of wet mass and of loose volume [1], (n,) arrays."""
    volumes = loose_volumes(feedstocks, masses)
    return masses / masses.sum(), volumes / volumes.sum()
