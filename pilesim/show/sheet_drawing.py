"""The section on the design sheet: materials to scale, with dimension lines. Lengths in metres until they are written."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.patches import Arc

from pilesim.build import crest_width
from pilesim.inputs.scenario import Scenario
from pilesim.show import style
from pilesim.show.half_section import BASE, COVER, MIX, HalfSection, half_section, mirror_lines, segment_points
from pilesim.show.sheet_text import length_text, side_slope

_FILLS = {MIX: "#efefef", COVER: "#c4c4c4", BASE: "#a2a2a2"}
_SIDE, _ABOVE, _BELOW, _GROUND = 1.25, 0.34, 0.66, 0.12  # [inches] around the pile: dimensions; ground drawn
_GAP = 0.24  # [inches] between a pile and the first dimension line, and between two of them
_TEXT = 7.6  # [points]


def draw_section(axes: Axes, dataset: xr.Dataset, scenario: Scenario, units: str) -> None:
    """Fill `axes`, whose size is final, with the section to scale and its dimension lines."""
    section = half_section(dataset)
    right, top = section.half_width, section.top
    left = -right if section.mirrored else 0.0
    box = axes.get_window_extent()
    wide, tall = box.width / axes.figure.dpi, box.height / axes.figure.dpi  # [inches]
    metre = min((wide - 2 * _SIDE) / (right - left), (tall - _ABOVE - _BELOW) / top)  # [inches per metre]
    middle = 0.5 * (left + right)
    axes.set(xlim=(middle - 0.5 * wide / metre, middle + 0.5 * wide / metre))
    floor = -_BELOW / metre - max(0.0, 0.5 * ((tall - _ABOVE - _BELOW) / metre - top))
    axes.set(ylim=(floor, floor + tall / metre), aspect="equal")
    axes.set_axis_off()
    _materials(axes, section, dataset)
    for segments, width in ((section.interface, 0.8), (section.surface, 1.6)):
        lines = mirror_lines(segment_points(section, segments), section.mirrored)
        axes.add_collection(LineCollection(list(lines), colors=style.INK, linewidths=width, capstyle="round", zorder=6),
                            autolim=False)
    if dataset.attrs.get("shape") != "slab":  # which has no ground; elsewhere a band stands for it
        axes.fill_between(axes.get_xlim(), -_GROUND / metre, 0.0, color=style.GROUND_FILL, zorder=0.5, linewidth=0)
        axes.plot(axes.get_xlim(), [0.0, 0.0], color=style.INK, linewidth=0.9, zorder=5)
    _dimensions(axes, section, scenario, (left, right, top), metre, units)


def _materials(axes: Axes, section: HalfSection, dataset: xr.Dataset) -> None:
    """Cells of each material in its grey, with the mirror image."""
    x, z, zone = dataset["distance"].values, dataset["height"].values, dataset["zone"].values
    points = np.stack([x, z], axis=-1)
    ring = np.stack([points[:-1, :-1], points[:-1, 1:], points[1:, 1:], points[1:, :-1]], axis=2)
    for material, colour in _FILLS.items():
        cells = ring[zone == material]
        if not len(cells):
            continue
        if section.mirrored:
            cells = np.concatenate([cells, cells * np.array([-1.0, 1.0])])
        filled = PolyCollection(list(cells), facecolors=colour, edgecolors=colour, linewidths=0.4, zorder=1)
        axes.add_collection(filled, autolim=False)


def _dimensions(axes: Axes, section: HalfSection, scenario: Scenario, box: tuple[float, float, float], metre: float,
                units: str) -> None:
    """Dimension lines outside the pile; the smaller lengths nearer to it."""
    left, right, top = box
    pile, cover = scenario.pile, scenario.cover.thickness
    base = scenario.base_layer.thickness if pile.shape != "slab" else 0.0
    gap = _GAP / metre
    crest, low = top - cover, -_GROUND / metre
    if pile.shape != "column":
        half = 0.5 * pile.base_width
        _level(axes, -half, half, low - gap, base, f"mix {length_text(pile.base_width, units)}", metre)
        _level(axes, left, right, low - 2 * gap, 0.0, f"overall {length_text(right - left, units)}", metre)
        flat = 0.5 * crest_width(scenario)
        if side_slope(scenario) is not None and flat > 0.0:
            _level(axes, -flat, flat, top + 0.5 * gap, crest, f"crest {length_text(2 * flat, units)}", metre)
    else:
        _level(axes, left, right, low - gap, 0.0, f"strip {length_text(right - left, units)}", metre)
    if cover > 0.0:
        _cover_thickness(axes, section, cover, (left, top), metre, units)
    if pile.shape == "slab":
        return
    _upright(axes, right + gap, base, crest, right, f"mix {length_text(crest - base, units)}", metre)
    _upright(axes, right + 3.2 * gap, 0.0, top, right, f"overall {length_text(top, units)}", metre)
    if base > 0.0:
        inner = -0.5 * pile.base_width if pile.shape != "column" else left
        tip, start = (inner + 0.12 / metre, 0.5 * base), (left - gap, 0.5 * base + 0.20 / metre)
        _arrow(axes, start, tip, "-|>")
        _text(axes, *start, f"base layer {length_text(base, units)} ", ha="right", va="center")
    _slope(axes, scenario, base, metre)


def _text(axes: Axes, x: float, z: float, text: str, ha: str, va: str) -> None:
    placed = axes.text(x, z, text, fontsize=_TEXT, zorder=9, parse_math=False, ha=ha, va=va)
    placed.set_path_effects(style.casing(2.5))


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float], heads: str) -> None:
    axes.annotate("", end, start, arrowprops={"arrowstyle": heads, "linewidth": 0.7, "color": style.INK, "shrinkA": 0,
                                              "shrinkB": 0, "mutation_scale": 7}, zorder=8)


def _level(axes: Axes, start: float, end: float, at: float, from_height: float, text: str, metre: float) -> None:
    """Level dimension line at height `at`, with extension lines from the body at `from_height`."""
    beyond = math.copysign(0.05 / metre, at - from_height)
    for x in (start, end):
        axes.plot([x, x], [from_height, at + beyond], color=style.FAINT, linewidth=0.5, zorder=7)
    _arrow(axes, (start, at), (end, at), "<|-|>")
    _text(axes, 0.5 * (start + end), at + 0.02 / metre, text, ha="center", va="bottom")


def _upright(axes: Axes, at: float, low: float, high: float, from_x: float, text: str, metre: float) -> None:
    """Upright dimension line at `at`; the extension lines start at the axis side of the body, drawn over the air only."""
    for z in (low, high):
        axes.plot([from_x if z <= low else 0.0, at + 0.05 / metre], [z, z], color=style.FAINT, linewidth=0.5, zorder=0.8)
    _arrow(axes, (at, low), (at, high), "<|-|>")
    _text(axes, at + 0.05 / metre, 0.5 * (low + high), text.replace(" ", "\n", 1), ha="left", va="center")


def _cover_thickness(axes: Axes, section: HalfSection, cover: float, corner: tuple[float, float], metre: float,
                     units: str) -> None:
    """Double arrow through the cover half way up the left flank, along its normal, and its length beside it."""
    points = segment_points(section, section.surface).mean(axis=1)
    if section.mirrored:
        k = int(np.argmin(np.abs(points[:, 1] - 0.6 * corner[1])))
        outer, inward = points[k] * np.array([-1.0, 1.0]), section.inward[k] * np.array([-1.0, 1.0])
    else:  # a column: its surface is level
        outer, inward = np.array([0.5 * points[:, 0].max(), points[:, 1].max()]), np.array([0.0, -1.0])
    inner = outer + cover * inward
    _arrow(axes, (float(outer[0]), float(outer[1])), (float(inner[0]), float(inner[1])), "<|-|>")
    at = float(outer[0]) - (0.05 if section.mirrored else 0.25) / metre
    _text(axes, at, float(outer[1]) + 0.07 / metre, f"cover {length_text(cover, units)}", ha="right", va="center")


def _slope(axes: Axes, scenario: Scenario, base: float, metre: float) -> None:
    """Arc and angle at the lower right corner of the mix."""
    slope = side_slope(scenario)
    if slope is None:
        return
    degrees, half = math.degrees(slope), 0.5 * scenario.pile.base_width
    radius = min(0.45 / metre, 0.4 * half, 0.6 * scenario.pile.height)
    arc = Arc((half, base), 2 * radius, 2 * radius, theta1=180.0 - degrees, theta2=180.0)
    arc.set(color=style.INK, linewidth=0.7, zorder=8)
    axes.add_patch(arc)
    angle = math.pi - 0.5 * slope
    reach = radius + 0.06 / metre
    _text(axes, half + reach * math.cos(angle), base + reach * math.sin(angle), f"{degrees:.0f}°", ha="right", va="center")
