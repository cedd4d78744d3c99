"""The recipe on the screen and in mix.csv: ingredients, properties given and derived, judgement, amounts for targets."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from pilesim.assess.recipe import (
    SOURCE_OF_FIGURES,
    RecipeRow,
    ingredient_shares,
    judgements,
    ranges,
    recipe_rows,
    shown,
)
from pilesim.base.units import format_number
from pilesim.inputs.library import Feedstock
from pilesim.inputs.records import MixFromIngredients
from pilesim.inputs.schema import FEEDSTOCK
from pilesim.matter.mix import Blend, DerivedMix
from pilesim.matter.proportions import Proportions, Targets, air_space
from pilesim.show.screen import aligned

_HEADS = ["ingredient", "amount", "mass", "volume", "moisture", "C:N", "density"]
TARGET_WORDS = {"moisture": "moisture", "carbon_to_nitrogen": "C:N", "free_air_space": "free air space"}


def mix_lines(derived: DerivedMix, mix: MixFromIngredients, height: float) -> list[str]:
    """The recipe as lines of text: ingredients, every property, judgements, where the figures come from."""
    sums = derived.blend
    lines = aligned([_HEADS, *_ingredient_cells(sums, mix.bucket, _measures(mix))])
    properties = aligned(_property_cells(derived, mix, height))
    return [*lines, "", *properties, "", *judgements(derived, height), "", *_provenance(sums)]


def _measures(mix: MixFromIngredients) -> dict[str, str]:
    return {item.feedstock.name: item.measure for item in mix.ingredients}


def amount_text(feedstock: Feedstock, mass: float, measure: str, bucket: float | None) -> str:
    """A mass [kg] in the measure the ingredient was given in; without a size of the bucket a bucket is 1 m3."""
    if measure == "mass":
        return f"{format_number(mass)} kg" if mass < 1e4 else f"{format_number(mass / 1000.0)} t"
    volume = mass / feedstock.bulk_density.value
    if measure == "volume":
        return f"{format_number(volume)} m3"
    count = format_number(round(volume / (bucket or 1.0), 2))
    return f"{count} bucket{'' if count == '1' else 's'}"


def _ingredient_cells(sums: Blend, bucket: float | None, measures: Mapping[str, str]) -> list[list[str]]:
    mass, volume = ingredient_shares(sums.feedstocks, sums.masses)
    rows = []
    for k, feedstock in enumerate(sums.feedstocks):
        ratio = feedstock.carbon.value / feedstock.nitrogen.value if feedstock.nitrogen.value else math.nan
        amount = amount_text(feedstock, float(sums.masses[k]), measures.get(feedstock.name, "mass"), bucket)
        rows.append([feedstock.name, amount, f"{100 * mass[k]:.0f} %", f"{100 * volume[k]:.0f} %",
                     f"{100 * feedstock.moisture.value:.0f} %", "-" if math.isnan(ratio) else f"{ratio:.0f}",
                     f"{feedstock.bulk_density.value:.0f} kg/m3"])
    return rows


def _property_cells(derived: DerivedMix, mix: MixFromIngredients, height: float) -> list[list[str]]:
    cells = [["property", "used", "range", "from the ingredients", "given", "usual", "meaning"]]
    for row in recipe_rows(derived, height, ranges(mix)):
        alone = "" if row.alone is None else "no air left" if math.isnan(row.alone) else shown(row.alone, row)
        given = "" if row.given is None else shown(row.given, row)
        cells.append([row.name, shown(row.used, row), _range(row), alone, given, _usual(row), row.meaning])
    return cells


def _range(row: RecipeRow) -> str:
    if row.least is None or row.most is None or not math.isfinite(row.most):
        return ""
    return f"{shown(row.least, row).split()[0]} to {shown(row.most, row).split()[0]}"


def _usual(row: RecipeRow) -> str:
    if row.low is not None and row.high is not None:
        return f"{shown(row.low, row).split()[0]} to {shown(row.high, row)}"
    if row.low is not None:
        return f"above {shown(row.low, row)}"
    return f"below {shown(row.high, row)}" if row.high is not None else ""


def _provenance(sums: Blend) -> list[str]:
    counts = Counter(getattr(feedstock, key).confidence for feedstock in sums.feedstocks for key in FEEDSTOCK)
    parts = [f"{counts[name]} {text}" for name, text in SOURCE_OF_FIGURES.items() if counts[name]]
    return [f"Of the {sum(counts.values())} numbers of these feedstocks: {'; '.join(parts)}. Each in full: pilesim materials "
            "NAME.", "The range of a property is what the ranges of these numbers make of it. Permeability goes with the "
            "square of particle sizes that are guesses. Moisture and bulk density are easily measured: a sample dried and "
            "weighed, a bucket filled and weighed."]


# ------------------------------------------------------------------------------------------------- amounts for targets
def proportion_lines(found: Proportions, targets: Targets, mix: MixFromIngredients) -> list[str]:
    """Amounts that reach the targets, or a plain statement of what conflicts and what would resolve it."""
    wanted = ", ".join(_target_text(name, value) for name, value in _asked(targets))
    made = found.blend
    head = f"Amounts for {wanted}:"
    if found.missed:
        head = f"No amounts of these ingredients reach {wanted}. The nearest:"
    lines = [head, *aligned([_HEADS, *_ingredient_cells(made, mix.bucket, _measures(mix))]),
             f"They make {_made_text(made, Targets())}."]
    if not found.missed:
        return lines
    lines.append(f"Missed: {', '.join(TARGET_WORDS[name] for name in found.missed)}.")
    for name, alone in found.alone.items():
        others = Targets(**{key: value for key, value in _asked(targets) if key != name})
        if others != Targets():
            lines.append(f"With {_target_text(name, getattr(targets, name))} alone: {_made_text(alone, others)}.")
    if found.helpers:
        helpers = ", ".join(f"{name} ({100 * share:.0f} % of the batch)" for name, share in found.helpers)
        lines.append(f"It would be reached by adding one of: {helpers}.")
    else:
        lines.append("No single material of the library, water included, resolves it: relax a target, free an amount that is "
                     "kept, or add two materials.")
    return lines


def _asked(targets: Targets) -> list[tuple[str, float]]:
    return [(name, value) for name in TARGET_WORDS if (value := getattr(targets, name)) is not None]


def _target_text(name: str, value: float) -> str:
    number = f"{value:.3g}" if name == "carbon_to_nitrogen" else f"{100 * value:.3g} %"
    return f"{TARGET_WORDS[name]} {'of at least ' if name == 'free_air_space' else ''}{number}"


def _made_text(made: Blend, targets: Targets) -> str:
    values = {"moisture": made.moisture, "carbon_to_nitrogen": made.carbon_to_nitrogen, "free_air_space": air_space(made)}
    names = [name for name, _ in _asked(targets)] or list(values)
    texts = [f"{TARGET_WORDS[name]} {values[name]:.1f}".replace("inf", "without nitrogen") if name == "carbon_to_nitrogen"
             else f"{TARGET_WORDS[name]} {100 * values[name]:.1f} %" for name in names]
    return ", ".join(texts)


# ------------------------------------------------------------------------------------------------- mix.csv
def mix_csv(derived: DerivedMix, mix: MixFromIngredients, height: float, found: Proportions | None) -> str:
    """The recipe as CSV: ingredients [kg], properties in SI, and the amounts found for targets [kg]."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["kind", "name", "value", "from_ingredients", "given", "unit", "usual_low", "usual_high", "range_low",
                     "range_high", "meaning"])
    writer.writerows(_mass_rows("ingredient", derived.blend, "wet mass as given"))
    for row in recipe_rows(derived, height, ranges(mix)):
        numbers = ["" if value is None else repr(float(value)) if not np.isnan(value) else "NaN"
                   for value in (row.used, row.alone, row.given)]
        ends = ["" if value is None else repr(float(value)) for value in (row.low, row.high, row.least, row.most)]
        writer.writerow(["property", row.name, *numbers, row.unit, *ends, row.meaning])
    if found is not None:
        what = "wet mass that reaches the targets" if not found.missed else "wet mass nearest to the targets; they conflict"
        writer.writerows(_mass_rows("proportion", found.blend, what))
    return out.getvalue()


def _mass_rows(kind: str, sums: Blend, meaning: str) -> Sequence[list[str]]:
    return [[kind, feedstock.name, repr(float(mass)), "", "", "kg", "", "", "", "", meaning]
            for feedstock, mass in zip(sums.feedstocks, sums.masses, strict=True)]
