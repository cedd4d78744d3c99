"""One panel of section.png: a field, the line that matters, outlines to scale, gas paths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection
from matplotlib.colors import BoundaryNorm, Colormap
from matplotlib.lines import Line2D
from matplotlib.patches import FancyArrowPatch, Patch
from matplotlib.ticker import MaxNLocator
from matplotlib.tri import Triangulation

from pilesim.show import style
from pilesim.show.half_section import HalfSection, mirror_lines, segment_points, whole

_HEADS = (0.35, 0.6, 0.45, 0.7)  # where along a path its arrow head sits: neighbours must not touch
_LINE, _CASING = "white", style.INK  # the line that matters reads on light and on dark colours


@dataclass(frozen=True, slots=True)
class FieldLook:
    """How one field is drawn.

    label : of the colour bar
    levels : edges of the colour steps
    limit, limit_text : value of the line that matters, and its words
    dash : of that line
    gid : name of that line in the picture, for tests and for SVG readers
    """

    label: str
    ramp: Colormap
    levels: np.ndarray
    limit: float
    limit_text: str
    dash: str
    gid: str

    @property
    def norm(self) -> BoundaryNorm:
        """Colour steps."""
        return BoundaryNorm(self.levels, 256)


def in_length_unit(points: np.ndarray, units: str) -> np.ndarray:
    """Coordinates in metres as drawn."""
    return style.shown(points, "m", units)[0]


def draw_field(
    axes: Axes, section: HalfSection, triangles: np.ndarray, values: np.ndarray, look: FieldLook, units: str
) -> None:
    """Filled steps of one field at one time, and the line that matters where it is crossed, labelled once.

    `triangles` is `section.solid` or `section.pile`; `values` (nz, nx) is in the unit drawn.
    """
    x, z, used, flat = whole(section, triangles, values)
    if not len(used):
        return
    mesh = Triangulation(in_length_unit(x, units), in_length_unit(z, units), used)
    inside = np.clip(flat, look.levels[0], look.levels[-1])
    axes.tricontourf(mesh, inside, levels=look.levels, cmap=look.ramp, norm=look.norm, zorder=1)
    if not flat.min() < look.limit < flat.max():
        return
    contour = axes.tricontour(mesh, flat, levels=[look.limit], colors=_LINE, linewidths=1.6, linestyles=look.dash, zorder=7)
    contour.set_path_effects(style.casing(3.4, _CASING))
    contour.set_gid(look.gid)
    points = np.concatenate([path.vertices for path in contour.get_paths()])
    low, high = axes.get_ylim()
    seen = points[(points[:, 1] > low) & (points[:, 1] < high)]
    if len(seen):
        # near the axis and a third of the way up: the label then stands inside the pile
        at = seen[np.argmin(np.abs(seen[:, 0]) + 3.0 * np.abs(seen[:, 1] - 0.35 * high))]
        text = axes.text(at[0], at[1], look.limit_text, fontsize=7.5, fontweight="bold", color=_LINE, zorder=9)
        text.set(ha="center", va="center", path_effects=style.casing(2.6, _CASING))


def draw_outline(axes: Axes, section: HalfSection, units: str) -> None:
    """Ground fill if there is ground, outer surface, lines between materials: drawn to scale, dark with a light casing."""
    if len(section.ground):
        axes.axhspan(axes.get_ylim()[0], 0.0, facecolor=style.GROUND_FILL, zorder=0)
    for segments, width in ((section.interface, 0.8), (section.ground, 0.9), (section.surface, 1.6)):
        points = in_length_unit(segment_points(section, segments), units)
        lines = list(mirror_lines(points, section.mirrored))
        for colour, wide, order in (("white", width + 1.0, 5.9), (style.INK, width, 6.0)):
            look = LineCollection(lines, colors=colour, linewidths=wide, capstyle="round", zorder=order)
            axes.add_collection(look, autolim=False)


def draw_paths(axes: Axes, paths: list[np.ndarray], mirrored: bool) -> None:
    """Thin lines with one arrow head each, mirrored with the section."""
    signs = (1.0, -1.0) if mirrored else (1.0,)
    drawn = [path * np.array([sign, 1.0]) for sign in signs for path in paths]
    effect = style.casing(1.8, "#ffffffa0")
    lines = LineCollection(drawn, colors=style.INK, linewidths=0.8, path_effects=effect, zorder=4)
    lines.set_gid("gas paths")
    axes.add_collection(lines, autolim=False)
    for number, path in enumerate(drawn):
        share = _HEADS[(number % len(paths)) % len(_HEADS)]
        k = max(1, round(share * (len(path) - 1)))
        head = FancyArrowPatch(tuple(path[k - 1]), tuple(path[k]), arrowstyle="-|>", mutation_scale=9, shrinkA=0, shrinkB=0)
        head.set(linewidth=0.5, facecolor=style.INK, edgecolor="white", zorder=5)
        axes.add_patch(head)


def draw_colour_bar(axes: Axes, look: FieldLook) -> None:
    """Stepped colour bar in its own `axes`, with the line that matters marked across it."""
    mappable = ScalarMappable(look.norm, look.ramp)
    bar = axes.figure.colorbar(mappable, cax=axes, spacing="proportional", label=look.label)
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=True, steps=[1, 2, 5, 10]))
    axes.minorticks_off()
    bar.outline.set_linewidth(0.5)
    mark = axes.axhline(look.limit, color=_LINE, linewidth=1.6, linestyle=look.dash)
    mark.set_path_effects(style.casing(3.4, _CASING))


def legend_entries(temperature: FieldLook | None, oxygen: FieldLook, with_ground: bool = True) -> list[Line2D | Patch]:
    """Handles that explain lines and fills; without the temperature line if no temperature is drawn."""
    limits: list[Line2D | Patch] = []
    for look, words in ((temperature, "(rule temperature)"), (oxygen, "oxygen (anaerobic below)")):
        if look is not None:
            handle = Line2D([], [], color=_LINE, linewidth=1.6, label=f"{look.limit_text} {words}")
            handle.set(linestyle=look.dash, path_effects=style.casing(3.4, _CASING))
            limits.append(handle)
    paths = Line2D([], [], color=style.INK, linewidth=0.8, marker=">", markersize=4)
    paths.set_label("gas paths, started at equal shares of the inflow")
    surface = Line2D([], [], color=style.INK, linewidth=1.6, label="outer surface")
    bounds = Line2D([], [], color=style.INK, linewidth=0.8, label="bounds of mix, cover and base layer")
    ground = Patch(facecolor=style.GROUND_FILL, edgecolor=style.INK, linewidth=0.7, label="ground")
    return [*limits, paths, surface, bounds, *([ground] if with_ground else [])]
