"""Outline of a pile cross-section: straight lines and their corners, nothing discrete.

Coordinates: x [m] outwards from the symmetry axis, z [m] upwards from the top of the ground (the underside
of the base layer). The mix stands on the base layer; its flank runs on straight down through the base layer,
so mix and base layer together (the "solid") are one trapezoid. The cover lies outside the solid, its
thickness measured along the normal, with a mitred shoulder, and it reaches down to the ground.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pilesim.base.errors import ScenarioError

SHAPES = ("trapezoid", "ridge", "rectangle", "column")
CURVED = ("ellipse", "polygon")  # see `profile.py`
THINNEST_LAYER = 1e-3  # m: a cover or base layer thinner than this must be left out (0)
RIDGE_SHARE = 1e-6  # a crest narrower than this share of the base width is rounding error: a ridge


@dataclass(frozen=True, slots=True)
class Outline:
    """Half section of a pile, x >= 0 (for a column the whole strip), lengths in m, slope in rad.

    half_width: of the mix at its underside; half_crest: of the mix at its top (equal for a rectangle).
    """

    shape: str
    half_width: float
    half_crest: float
    height: float
    cover_thickness: float
    base_thickness: float

    @property
    def slope(self) -> float:
        """Flank angle from the horizontal [rad]; pi/2 for vertical sides."""
        return math.atan2(self.height, self.half_width - self.half_crest)

    @property
    def direction(self) -> np.ndarray:
        """Unit vector down the flank."""
        return np.array([self.half_width - self.half_crest, -self.height]) / self.flank_length

    @property
    def flank_length(self) -> float:
        """Length [m] of the flank of the mix, shoulder to the top of the base layer."""
        return math.hypot(self.half_width - self.half_crest, self.height)

    @property
    def solid_height(self) -> float:
        """Height [m] of mix and base layer together."""
        return self.height + self.base_thickness

    @property
    def solid_half_width(self) -> float:
        """Half width [m] of the base layer at the ground."""
        return self.half_width + self.base_thickness * (self.half_width - self.half_crest) / self.height

    @property
    def mitre(self) -> float:
        """Run [m] of the outer crest beyond the mix crest: thickness times tan(slope / 2)."""
        return self.cover_thickness * math.tan(0.5 * self.slope)

    @property
    def outer_half_width(self) -> float:
        """Half width [m] of the covered pile at the ground."""
        if self.shape == "column":
            return self.half_width
        return self.solid_half_width + self.cover_thickness / math.sin(self.slope)

    @property
    def outer_height(self) -> float:
        """Height [m] of the covered pile above the ground."""
        return self.solid_height + self.cover_thickness

    def mix_surface(self) -> np.ndarray:
        """Outer boundary of the mix, (n, 2) points [m] from the lower edge of the flank to the axis."""
        foot = (self.half_width, self.base_thickness)
        shoulder, top = (self.half_crest, self.solid_height), (0.0, self.solid_height)
        if self.shape == "column":
            return np.array([shoulder, top])
        return np.array([foot, top] if self.half_crest == 0 else [foot, shoulder, top])

    def outer_surface(self) -> np.ndarray:
        """Surface of the covered pile, (n, 2) points [m] from the outer toe to the axis."""
        if self.shape == "column":
            return np.array([(self.half_width, self.outer_height), (0.0, self.outer_height)])
        toe, top = (self.outer_half_width, 0.0), (0.0, self.outer_height)
        crest = self.half_crest + self.mitre
        return np.array([toe, top] if crest == 0 else [toe, (crest, self.outer_height), top])


def pile_outline(
    shape: str, base_width: float, height: float, crest_width: float, cover_thickness: float,
    base_thickness: float,
) -> Outline:
    """Checked outline of a pile, all lengths in m.

    base_width, height and crest_width are those of the mix, the height counted from the top of the base
    layer. crest_width is read for a trapezoid only. Raises ScenarioError.
    """
    if shape not in SHAPES:
        raise ScenarioError("pile.shape", repr(shape), "one of " + ", ".join((*SHAPES, *CURVED, "round", "slab")))
    require_number("pile.base_width", base_width, base_width > 0, "a length above 0 m")
    require_number("pile.height", height, height > 0, "a length above 0 m")
    for where, value in (("cover.thickness", cover_thickness), ("base_layer.thickness", base_thickness)):
        fits = value == 0 or value >= THINNEST_LAYER
        require_number(where, value, fits, f"0 m (no layer) or at least {THINNEST_LAYER:g} m")
    if shape == "column":
        return Outline(shape, base_width, base_width, height, cover_thickness, base_thickness)
    half_crest = 0.0 if shape == "ridge" else 0.5 * base_width
    if shape == "trapezoid":
        slack = RIDGE_SHARE * base_width
        fits = -slack <= crest_width <= base_width
        require_number("pile.crest_width", crest_width, fits, f"0 m to the base width, {base_width:g} m",
                       "Lower the height, widen the base or change the flank.")
        half_crest = 0.0 if crest_width < slack else 0.5 * crest_width
    return Outline(shape, 0.5 * base_width, half_crest, height, cover_thickness, base_thickness)


def require_number(where: str, value: float, fits: bool, allowed: str, advice: str = "") -> None:
    """Raise ScenarioError unless `value` is finite and `fits`."""
    if not (math.isfinite(value) and fits):
        raise ScenarioError(where, f"{value:g}", allowed, advice)
