"""Amounts of ingredients that reach a target moisture, C:N and free air space; and what would help where none do.

All three targets are linear in the masses: with x the masses, sum x (w - W) = 0 for moisture W, sum x d (C - R N) = 0 for
C:N R, and sum x (s - (1 - F) v) <= 0 for a free air space of at least F, where w, d, C, N, s and v are moisture, dry share,
carbon and nitrogen of dry matter, volume of solids and water, and volume in the mix, each per mass. A bounded linear
least-squares solution is the nearest to the amounts asked for among those that meet them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import lsq_linear

from pilesim.base.constants import constant_record
from pilesim.base.errors import ScenarioError
from pilesim.inputs.library import Feedstock
from pilesim.matter.mix import Blend, blend, free_air_space, loose_volumes, property_array

MOISTURE_SLACK, RATIO_SLACK, AIR_SLACK = 0.005, 0.01, 0.005     # met within: points of moisture, share of C:N, free air space
_NEARNESS = 1e-5        # weight of staying near the given amounts against meeting a target
_COMPROMISE = 0.1       # the same where the targets conflict: else whatever the recipe is for would be thrown out
_MOST_HELPERS = 4       # materials named that would resolve a conflict
_LARGEST_SHARE = 0.8    # of the batch: a helper that must be more than this is no help


@dataclass(frozen=True, slots=True)
class Targets:
    """Moisture (wet basis) [1], C:N [1], smallest free air space [1]; None where none is asked for."""

    moisture: float | None = None
    carbon_to_nitrogen: float | None = None
    free_air_space: float | None = None


@dataclass(frozen=True, slots=True)
class Proportions:
    """Amounts found.

    Attributes
    ----------
    blend : Blend
        What they make; its masses [kg] in the order of the ingredients. Where the targets conflict, a compromise between
        them and the given amounts.
    missed : tuple of str
        Names of the targets that are not met.
    alone : mapping of str to Blend
        For each missed or conflicting target, the nearest amounts that meet that target alone, if any do.
    helpers : tuple of (str, float)
        Materials that would let all targets be met, and their mass as share of the batch; smallest first.
    """

    blend: Blend
    missed: tuple[str, ...]
    alone: Mapping[str, Blend]
    helpers: tuple[tuple[str, float], ...]


def reach(feedstocks: Sequence[Feedstock], masses: np.ndarray, targets: Targets, volume_loss: float,
          keep: Sequence[str] = (), library: Mapping[str, Feedstock] | None = None, c: Any = None) -> Proportions:
    """The amounts nearest to `masses` that meet the targets, or come nearest to it.

    Parameters
    ----------
    feedstocks : sequence of Feedstock, n of them
    masses : (n,) array
        Amounts to stay near [kg]; their sum is kept, unless `keep` fixes the scale.
    volume_loss : float
        Of the loose volumes in mixing [1].
    keep : sequence of str
        Names of ingredients whose amounts stay.
    library : mapping, optional
        Materials to look for help in, where the targets conflict.
    c : record, optional
        Constants; those of the registry by default.

    Raises
    ------
    ScenarioError
        If nothing is asked for, or every amount is kept.
    """
    if targets == Targets():
        raise ScenarioError("--target", "nothing", "at least one target", "Such as moisture=58 %.")
    if len(set(keep)) >= len(feedstocks):
        raise ScenarioError("--keep", "every ingredient", "at least one ingredient left free")
    c = constant_record() if c is None else c
    found = _solve(feedstocks, masses, targets, volume_loss, keep, c)
    missed = _missed(found, targets)
    if not missed:
        return Proportions(found, (), {}, ())
    singles = {name: Targets(**{name: value}) for name in _NAMES if (value := getattr(targets, name)) is not None}
    found = _solve(feedstocks, masses, targets, volume_loss, keep, c, _COMPROMISE)
    tried = {name: _solve(feedstocks, masses, single, volume_loss, keep, c) for name, single in singles.items()}
    alone = {name: result for name, result in tried.items() if not _missed(result, singles[name])}
    helpers = _helpers(feedstocks, masses, targets, volume_loss, keep, library or {}, c)
    return Proportions(found, _missed(found, targets) or missed, alone, helpers)


_NAMES = ("moisture", "carbon_to_nitrogen", "free_air_space")


def air_space(result: Blend) -> float:
    """Free air space [1] of the blend at its own bulk density."""
    return free_air_space(result.bulk_density, result.moisture, result.volatile_solids, result.c)


def _solve(feedstocks: Sequence[Feedstock], masses: np.ndarray, targets: Targets, volume_loss: float,
           keep: Sequence[str], c: Any, nearness: float = _NEARNESS) -> Blend:
    total, n = float(masses.sum()), len(feedstocks)
    start = masses / total
    rows, rights = _target_rows(feedstocks, targets, volume_loss, c)
    slack = np.zeros((len(rows), 1))
    if targets.free_air_space is not None:
        slack[-1] = 1.0
    matrix = np.hstack([np.array(rows).reshape(-1, n), slack])
    right = list(rights)
    near = np.hstack([nearness * np.eye(n), np.zeros((n, 1))])
    fixed = np.array([feedstock.name in keep for feedstock in feedstocks])
    low, high = np.where(fixed, start, 0.0), np.where(fixed, start * (1.0 + 1e-12) + 1e-15, np.inf)
    blocks, values = [matrix, near], [*right, *(nearness * start)]
    if not fixed.any():
        blocks.append(np.append(np.ones(n), 0.0)[None, :])
        values.append(1.0)
    answer = lsq_linear(np.vstack(blocks), np.array(values), bounds=(np.append(low, 0.0), np.append(high, np.inf)),
                        method="bvls", tol=1e-14)
    shares = np.where(answer.x[:n] < 1e-9, 0.0, answer.x[:n])
    if not (shares * (1.0 - property_array(feedstocks, "moisture"))).sum() > 0.0:
        shares = start      # only water met the target: no mix
    return blend(feedstocks, shares * total, volume_loss, c)


def _target_rows(feedstocks: Sequence[Feedstock], targets: Targets,
                 volume_loss: float, c: Any) -> tuple[list[np.ndarray], list[float]]:
    """Rows of the linear system and its right sides; the free air space last."""
    moisture = property_array(feedstocks, "moisture")
    dry = 1.0 - moisture
    rows = []
    if targets.moisture is not None:
        rows.append(moisture - targets.moisture)
    if targets.carbon_to_nitrogen is not None:
        carbon, nitrogen = (property_array(feedstocks, name) for name in ("carbon", "nitrogen"))
        scale = max(float((dry * carbon).max()), 1e-6)
        rows.append(dry * (carbon - targets.carbon_to_nitrogen * nitrogen) / scale)
    if targets.free_air_space is not None:
        solids = property_array(feedstocks, "volatile_solids")
        filled = (dry * solids / c.organic_particle_density + dry * (1.0 - solids) / c.ash_particle_density
                  + moisture / c.water_density)
        room = loose_volumes(feedstocks, np.ones(len(feedstocks))) * (1.0 - volume_loss)
        rows.append((filled - (1.0 - targets.free_air_space) * room) * c.water_density)
    return rows, [0.0] * len(rows)


def _missed(result: Blend, targets: Targets) -> tuple[str, ...]:
    out = []
    if targets.moisture is not None and abs(result.moisture - targets.moisture) > MOISTURE_SLACK:
        out.append("moisture")
    wanted = targets.carbon_to_nitrogen
    if wanted is not None and abs(result.carbon_to_nitrogen - wanted) > RATIO_SLACK * wanted:
        out.append("carbon_to_nitrogen")
    if targets.free_air_space is not None and air_space(result) < targets.free_air_space - AIR_SLACK:
        out.append("free_air_space")
    return tuple(out)


def _helpers(feedstocks: Sequence[Feedstock], masses: np.ndarray, targets: Targets, volume_loss: float,
             keep: Sequence[str], library: Mapping[str, Feedstock], c: Any) -> tuple[tuple[str, float], ...]:
    present = {feedstock.name for feedstock in feedstocks}
    found = []
    for name, extra in library.items():
        if name in present:
            continue
        result = _solve([*feedstocks, extra], np.append(masses, 0.0), targets, volume_loss, keep, c)
        share = float(result.masses[-1]) / result.mass
        if not _missed(result, targets) and 0.0 < share <= _LARGEST_SHARE:
            found.append((name, share))
    return tuple(sorted(found, key=lambda item: item[1])[:_MOST_HELPERS])
