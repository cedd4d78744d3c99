"""Published worked examples of compost recipes, forward and inverse; each to the last digit that is printed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from pilesim.inputs.library import Feedstock, Figure, feedstock_library
from pilesim.matter.mix import blend, free_air_space
from pilesim.matter.proportions import Targets, reach
from pilesim.verify.check import Check

POUND = 0.45359237  # kg, exact
CORNELL = ("Richard and Trautmann, moisture content and C/N ratio, The Science and Engineering of Composting (Cornell); "
           "6.8 kg read in a copy, the rest recalled from memory")
LEAFLET = "How to calculate the carbon-to-nitrogen ratio of your compost mix (garden leaflet, read in a web copy)"
QUESTION = "state extension service, question 351921, August 2016 (read in a web copy)"
PARTS = "state extension service's algebra for litter and straw, quoted on a web page"
POPLAR = "Biotechnology for Biofuels 5:20 (2012), table 4"
PHASES = "free air space by phase densities (van Ginkel 1999) at 1,000 lb/yd3, 60 % moisture, 85 % organic matter"


def feedstock(name: str, **values: float) -> Feedstock:
    """A feedstock with these values (SI), the rest as straw's."""
    own: dict[str, Any] = {key: Figure(value, value, value, "given", "given") for key, value in values.items()}
    return replace(feedstock_library()["straw"], name=name, **own)


def grass_and_leaves() -> tuple[Feedstock, Feedstock]:
    """The two materials of the lesson: grass clippings and fallen leaves."""
    return (feedstock("grass", moisture=0.77, carbon=0.45, nitrogen=0.024),
            feedstock("fallen leaves", moisture=0.35, carbon=0.50, nitrogen=0.0075))


def leaves_for_grass() -> list[Check]:
    """Leaves for 10 kg of grass clippings: for 60 % moisture, and for C:N 30."""
    parts, start = grass_and_leaves(), np.array([10.0, 1.0])
    wet = reach(parts, start, Targets(moisture=0.60), 0.0, keep=["grass"]).blend
    ratio = reach(parts, start, Targets(carbon_to_nitrogen=30.0), 0.0, keep=["grass"]).blend
    return [
        Check("leaves for 60 % moisture with 10 kg of grass", "external", CORNELL, 6.8, float(wet.masses[1]), 0.05, "kg"),
        Check("C:N of that mix", "external", CORNELL, 37.0, wet.carbon_to_nitrogen, 0.5),
        Check("leaves for C:N 30 with 10 kg of grass", "external", CORNELL, 3.5, float(ratio.masses[1]), 0.05, "kg"),
        Check("moisture of that mix", "external", CORNELL, 0.66, ratio.moisture, 0.005),
    ]


def hay_scraps_and_coffee() -> list[Check]:
    """C:N of three materials whose carbon and nitrogen are given as shares of the mass as is."""
    parts = [feedstock(name, moisture=0.0, carbon=carbon, nitrogen=0.01)
             for name, carbon in (("hay", 0.40), ("scraps", 0.10), ("coffee", 0.25))]
    made = blend(parts, POUND * np.array([50.0, 10.0, 2.0]), 0.0)
    return [Check("carbon of 50 lb hay, 10 lb scraps, 2 lb coffee", "external", LEAFLET, 21.5, made.carbon / POUND, 0.05,
                  "lb"),
            Check("C:N of that mix", "external", LEAFLET, 34.7, made.carbon_to_nitrogen, 0.05)]


def urea_for_sawdust() -> list[Check]:
    """Urea for a cubic yard of sawdust, counted as there: shares of the mass as is, no carbon in the urea."""
    sawdust = feedstock("sawdust of the question", moisture=0.0, carbon=0.60, nitrogen=0.60 / 400.0)
    urea = feedstock("urea", moisture=0.0, carbon=0.0, nitrogen=0.46)
    start = POUND * np.array([400.0, 1.0])
    found = reach([sawdust, urea], start, Targets(carbon_to_nitrogen=30.0), 0.0, keep=[sawdust.name])
    added = float(found.blend.masses[1]) / POUND
    return [Check("urea for C:N 30 with 400 lb of sawdust", "external", QUESTION, 16.0, added, 0.5, "lb")]


def straw_for_litter() -> list[Check]:
    """Parts of litter (C:N 7.5) and straw (130) for C:N 20. The page averages ratios, which holds where both bring the same
    nitrogen per mass; so they are given here."""
    litter = feedstock("litter", moisture=0.0, carbon=7.5 * 0.004, nitrogen=0.004)
    straw = feedstock("straw of the page", moisture=0.0, carbon=130.0 * 0.004, nitrogen=0.004)
    made = reach([litter, straw], np.array([1.0, 1.0]), Targets(carbon_to_nitrogen=20.0), 0.0).blend
    return [Check("share of litter for C:N 20", "external", PARTS, 0.90, float(made.masses[0]) / made.mass, 0.005),
            Check("straw per litter for C:N 20", "external", PARTS, 0.11, float(made.masses[1] / made.masses[0]), 0.005)]


def chips_and_lawn() -> list[Check]:
    """Dry weights of equal fresh weights of poplar chips (7 % water) and mown lawn (85 %)."""
    parts = [feedstock("chips", moisture=0.07), feedstock("lawn", moisture=0.85)]
    dry = [blend([part], np.array([1.0]), 0.0).dry for part in parts]
    return [Check("dry weight of chips per lawn of equal fresh weight", "external", POPLAR, 6.0, dry[0] / dry[1], 0.5)]


def air_of_a_usual_mix() -> list[Check]:
    """Free air space of a mix of the bulk density that handbooks ask for, evaluated by hand."""
    return [Check("free air space at 593 kg/m3", "external", PHASES, 0.504, free_air_space(593.0, 0.60, 0.85), 0.0005)]


def worked_examples() -> list[Check]:
    """All of them."""
    return [*leaves_for_grass(), *hay_scraps_and_coffee(), *urea_for_sawdust(), *straw_for_litter(), *chips_and_lawn(),
            *air_of_a_usual_mix()]
