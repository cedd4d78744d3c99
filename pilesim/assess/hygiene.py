"""What the heat of a run does to pathogens and weed seeds, by published times: maps and shares of the mix.

Three yardsticks, none of them a statement about a real pile: the time-temperature equation for sewage sludge, tenfold
reductions of one organism whose decimal times were published, and what studies of weed seeds saw. Survival in practice is
set by cold zones, tails and heat-shocked cells, never by the core; regrowth is not modelled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pilesim.assess.exposure import dose, progress
from pilesim.assess.histories import History
from pilesim.assess.judge import Share, Value, share_at_least
from pilesim.base.constants import CONSTANTS
from pilesim.inputs import rules
from pilesim.inputs.rules import Rule, read_rules

LOG_LEVELS = (1.0, 2.0, 3.0, 4.0)  # tenfold reductions reported; the last is as far as was measured


@dataclass(frozen=True, slots=True)
class Seeds:
    """One study's yardstick, the share of the mix that reaches it, and how far each node came (nz, nx)."""

    yardstick: Rule
    share: Share
    progress: np.ndarray


@dataclass(frozen=True, slots=True)
class Hygiene:
    """All yardsticks on one run.

    Attributes
    ----------
    sludge : Share
        Of the mix that fulfils the equation of 40 CFR 503.32(a)(3) in one unbroken stay at 50 degC or more.
    coli, shocked : tuple of Share
        Of the mix with at least each of `LOG_LEVELS` tenfold reductions of E. coli O157:H7, and of heat-shocked cells.
    seeds : tuple of Seeds
    sludge_map, shocked_map : (nz, nx) float
        Equation fulfilled so many times; tenfold reductions of heat-shocked cells, counted up to what was measured. NaN
        outside the mix.
    """

    sludge: Share
    coli: tuple[Share, ...]
    shocked: tuple[Share, ...]
    seeds: tuple[Seeds, ...]
    sludge_map: np.ndarray
    shocked_map: np.ndarray


def sludge_time(temperature: float) -> float:
    """Time [s] to hold `temperature` [K] by the equation of 40 CFR 503.32(a)(3) for 7 % solids or more: D = 131,700,000 /
    10^(0.1400 t) days, t in degC, at least 20 minutes; infinite below 50 degC, where the rule gives none."""
    c = CONSTANTS
    if temperature < c["sludge_lowest_temperature"].value:
        return math.inf
    degrees = temperature - c["celsius_zero"].value
    time = c["sludge_time_scale"].value / 10.0 ** (c["sludge_time_exponent"].value * degrees)
    return max(time, c["sludge_shortest_time"].value)


def sludge_dose(times: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
    """How many times the equation is fulfilled, (n,): the integral of 1 / D over the best unbroken stay at 50 degC or more.

    The equation is written for one temperature held; adding up shares of time, as here, is usual for heat treatment but is
    not in the rule.

    Parameters
    ----------
    times, temperatures : (k,) [s], (k, n) [K]
    """
    c = CONSTANTS
    low, shortest = c["sludge_lowest_temperature"].value, c["sludge_shortest_time"].value
    exponent = c["sludge_time_exponent"].value
    high = c["celsius_zero"].value + math.log10(c["sludge_time_scale"].value / shortest) / exponent
    levels = np.array([low, high])
    return dose(times, temperatures, levels, np.array([1.0 / sludge_time(low), 1.0 / shortest]), consecutive=True)


def coli_reductions(times: np.ndarray, temperatures: np.ndarray, shocked: bool = False) -> np.ndarray:
    """Tenfold reductions of E. coli O157:H7, (n,), by the decimal times of Jiang et al. (2003).

    The logarithm of the decimal time is linear between 50, 55 and 60 degC; below 50 nothing counts, above 60 it goes no
    faster. Not more than `coli_log_reduction_seen` is claimed. `shocked`: cells that came to the heat slowly, as in a pile.
    """
    levels = np.array([50.0, 55.0, 60.0]) + CONSTANTS["celsius_zero"].value
    decimal = np.array([CONSTANTS[f"coli_decimal_time_{level}"].value for level in (50, 55, 60)])
    factor = CONSTANTS["coli_heat_shock_factor"].value if shocked else 1.0
    return np.minimum(factor * dose(times, temperatures, levels, 1.0 / decimal), CONSTANTS["coli_log_reduction_seen"].value)


def seed_yardsticks() -> dict[str, Rule]:
    """What studies saw of weed seeds, by id."""
    return read_rules(Path(rules.__file__).parent / "yardsticks" / "weed_seeds.toml")


def hygiene(fine: History, coarse: History) -> Hygiene:
    """All yardsticks on the histories of both grids of a run."""
    def shocked(times: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
        return coli_reductions(times, temperatures, shocked=True)

    def seeds(yardstick: Rule) -> Seeds:
        def reached(times: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
            return progress(times, temperatures, yardstick)

        return Seeds(yardstick, share_at_least(fine, coarse, reached, 1.0), on_map(reached))

    def on_map(value: Value) -> np.ndarray:
        return fine.on_section(value(fine.times, fine.temperatures))

    return Hygiene(
        share_at_least(fine, coarse, sludge_dose, 1.0),
        tuple(share_at_least(fine, coarse, coli_reductions, level) for level in LOG_LEVELS),
        tuple(share_at_least(fine, coarse, shocked, level) for level in LOG_LEVELS),
        tuple(seeds(one) for one in seed_yardsticks().values()),
        on_map(sludge_dose), on_map(shocked))
