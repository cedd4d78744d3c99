"""The material libraries as text: a list, or one feedstock or cover with every figure's range, source and confidence."""

from __future__ import annotations

from collections.abc import Mapping

from pilesim.assess.recipe import SOURCE_OF_FIGURES
from pilesim.base.errors import ScenarioError
from pilesim.base.sources import SOURCES
from pilesim.base.units import format_number, from_si
from pilesim.inputs.library import WATER, CoverMaterial, Feedstock, Figure, cover_library, feedstock_library
from pilesim.inputs.schema import FEEDSTOCK, SCHEMA, Key, suggestion
from pilesim.matter.mix import conductivity
from pilesim.show.screen import aligned


def materials_text(name: str | None) -> str:
    """All feedstocks and covers, or those called `name` in full.

    Raises
    ------
    ScenarioError
        If there is none.
    """
    feedstocks, covers = feedstock_library(), cover_library()
    if name is None:
        return "\n".join([*_feedstock_list(feedstocks), "", *_cover_list(covers), "",
                          "Each number with range and source: pilesim materials NAME. Values in a library are typical, not "
                          "yours: measure moisture and bulk density of your loads."])
    lines: list[str] = []
    if name in feedstocks:
        lines += _in_full(f"feedstock: {feedstocks[name].description}", _figures(feedstocks[name]), FEEDSTOCK)
    if name in covers:
        cover = covers[name]
        lines += [""] if lines else []
        lines += _in_full(f"cover: {cover.description}; thickness {cover.thickness}", cover.figures, SCHEMA["cover"])
    if not lines:
        known = {**feedstocks, **covers}
        near = [known_name for known_name in known if name.lower() in known_name]
        advice = suggestion(name, known) or (f"Is one of these meant: {', '.join(near[:6])}?" if near else "")
        advice = advice or "List them with: pilesim materials"
        raise ScenarioError("NAME", repr(name), "a feedstock or a cover material", advice)
    return "\n".join(lines)


def _figures(feedstock: Feedstock) -> dict[str, Figure]:
    return {key: getattr(feedstock, key) for key in FEEDSTOCK}


def _shown(value: float, spec: Key) -> str:
    number = format_number(from_si(value, spec.unit, spec.shown))
    return f"{number} %" if spec.shown == "percent" else f"{number} {spec.shown}".strip()


def _feedstock_list(feedstocks: Mapping[str, Feedstock]) -> list[str]:
    lines = [["feedstock", "moisture", "C:N", "density", "degradable", "what"]]
    for name, feedstock in feedstocks.items():
        if name == WATER:
            lines.append([name, "100 %", "-", _shown(feedstock.bulk_density.value, FEEDSTOCK["bulk_density"]), "-",
                          feedstock.description])
            continue
        pools = feedstock.fast_fraction.value + feedstock.slow_fraction.value
        lines.append([
            name, _shown(feedstock.moisture.value, FEEDSTOCK["moisture"]),
            f"{feedstock.carbon.value / feedstock.nitrogen.value:.0f}",
            _shown(feedstock.bulk_density.value, FEEDSTOCK["bulk_density"]), f"{100 * pools:.0f} %", feedstock.description])
    return aligned(lines)


def _cover_list(covers: Mapping[str, CoverMaterial]) -> list[str]:
    lines = [["cover", "permeability", "conductivity", "thickness in practice", "what"]]
    for name, cover in covers.items():
        lines.append([name, _shown(cover.figures["permeability"].value, SCHEMA["cover"]["permeability"]),
                      f"{_conductivity(cover):.2g} W/m/K", cover.thickness, cover.description])
    return aligned(lines)


def _conductivity(cover: CoverMaterial) -> float:
    """As given, else as built from water and density [W m-1 K-1]."""
    if "conductivity" in cover.figures:
        return cover.figures["conductivity"].value
    density, moisture, solids = (cover.figures[key].value for key in ("bulk_density", "moisture", "volatile_solids"))
    return conductivity(density, moisture, solids)


def _in_full(head: str, figures: Mapping[str, Figure], specs: Mapping[str, Key]) -> list[str]:
    lines = [["property", "value", "low", "high", "source", "how well known"]]
    for key, figure in figures.items():
        spec = specs[key]
        low, high = (_shown(value, spec) for value in (figure.low, figure.high))
        lines.append([key, _shown(figure.value, spec), low, high, figure.source, SOURCE_OF_FIGURES[figure.confidence]])
    keys = dict.fromkeys(figure.source for figure in figures.values() if figure.source in SOURCES)
    notes = [line for key in keys for line in _source_lines(key)]
    return [head, *aligned(lines), *notes]


def _source_lines(key: str) -> list[str]:
    source = SOURCES[key]
    return [f"{key}: {source.text}", *([f"  erratum: {source.erratum}"] if source.erratum else [])]
