"""Judge the history of a mix by a rule: which share met it, and what probes placed as the rule says would have read.

Numbers only; `show/rules_text.py` has the words. Nothing here is a statement of compliance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pilesim.assess.exposure import ROUND_OFF, progress
from pilesim.assess.histories import History
from pilesim.assess.parcels import PARCELS
from pilesim.assess.shares import ZONES, share_below, share_below_by_zone
from pilesim.base.constants import CONSTANTS
from pilesim.inputs.rules import Rule
from pilesim.solver.march import DAY

_SPACING = 0.05  # [m] between probe places along the surface
Value = Callable[[np.ndarray, np.ndarray], np.ndarray]
_NINTHS = tuple(((i + part) / 3, (j + part) / 3) for i in range(3) for j in range(3 - i)
                for part in ((1 / 3, 2 / 3) if i + j < 2 else (1 / 3,)))  # middles of the nine parts of a triangle
_SIDES = ((0, 1), (1, 3), (3, 2), (2, 0))  # corner pairs of the four triangles of a quad, as in `shares`


@dataclass(frozen=True, slots=True)
class Share:
    """Share of the mix on which something holds, its numerical error, and both by zone (NaN for empty zones)."""

    value: float
    error: float
    by_zone: np.ndarray
    by_zone_error: np.ndarray


@dataclass(frozen=True, slots=True)
class Probes:
    """What probes would have read.

    Attributes
    ----------
    points : (n, 2) float
        Places x, z [m] in the mix.
    met : (n,) bool
        Whether the history there meets the rule.
    day : (n,) float
        Day by which it does, NaN where it does not.
    stated : bool
        Whether the rule gives the place; else it is the middle of the mix, our choice.
    """

    points: np.ndarray
    met: np.ndarray
    day: np.ndarray
    stated: bool

    @property
    def share(self) -> float:
        """Share of the places that meet the rule."""
        return float(self.met.mean())


@dataclass(frozen=True, slots=True)
class Judgement:
    """One rule on one pile, its temperature part only: turnings and preconditions are not the model's to judge.

    Attributes
    ----------
    days : float
        How long the run was.
    share : Share
        Of the mix that meets the rule, in the stricter reading.
    lenient : Share or None
        The same with time counted altogether, where the rule does not say whether it is consecutive.
    progress : (nz, nx) float
        Share of the rule met at each node of the run's grid, NaN outside the mix.
    probes : Probes or None
        None where no place lies in the mix.
    turns : int
        Of the pile.
    """

    rule: Rule
    days: float
    share: Share
    lenient: Share | None
    progress: np.ndarray
    probes: Probes | None
    turns: int = 0

    @property
    def gap(self) -> float:
        """Share of probe places that meet the rule less the share of the mix that does; NaN without probes."""
        return self.probes.share - self.share.value if self.probes else float("nan")


def judge_all(fine: History, coarse: History, rules: Sequence[Rule]) -> list[Judgement]:
    """Judge by each of `rules`, those that ask the same once only."""
    done: dict[object, Judgement] = {}
    out = []
    for rule in rules:
        key = rule.alternatives, rule.probe_depth, rule.probe_below
        done[key] = replace(done[key], rule=rule) if key in done else judge(fine, coarse, rule)
        out.append(done[key])
    return out


def judge(fine: History, coarse: History, rule: Rule) -> Judgement:
    """Judge both grids of a run by a rule with at least one alternative.

    The share is that of a run's `cold_edge_fraction`: how much of the rule is met is linear within cells. Where temperatures
    are taken as linear instead, and judged in every part of a cell, it is another; that difference is part of the error.
    Where the pile was turned, shares are of material that is followed; the map of progress and the probes stay in place.
    """
    def share(stricter: bool) -> Share:
        def met(times: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
            return progress(times, temperatures, rule, stricter)

        if fine.turns:
            return share_at_least(fine, coarse, met, 1.0)
        nodal, parts = (one(fine, coarse, met, 1.0) for one in (_nodal_share, share_at_least))
        zones = np.maximum(nodal.by_zone_error, np.abs(nodal.by_zone - parts.by_zone))
        return Share(nodal.value, max(nodal.error, abs(nodal.value - parts.value)), nodal.by_zone, zones)

    silent = any(one.consecutive == "not stated" for one in rule.alternatives)
    field = fine.on_section(progress(fine.times, fine.temperatures, rule))
    days = float(fine.times[-1]) / DAY
    return Judgement(rule, days, share(True), share(False) if silent else None, field, _probes(fine, rule),
                     len(fine.turns))


def share_at_least(fine: History, coarse: History, value: Value, level: float) -> Share:
    """Share of the mix on which `value` is at least `level`, temperatures linear within cells.

    Parameters
    ----------
    value : callable
        Of times (k,) [s] and temperatures (k, n) [K]: one number for each of n places, or of n parcels of a turned pile.
    """
    if fine.turns:
        found = _share(fine, *(_of_parcels(history, value, level) for history in (fine, coarse)))
        return replace(found, error=found.error + 2.0 * float(np.sqrt(found.value * (1.0 - found.value) / PARCELS)))
    return _share(fine, *(_parts(history, value, level) for history in (fine, coarse)))


def _nodal_share(fine: History, coarse: History, value: Value, level: float) -> Share:
    """As `share_at_least`, but `value` is linear within cells."""
    found = []
    for history in (fine, coarse):
        field, limit = history.on_nodes(value(history.times, history.temperatures)), level * (1.0 - ROUND_OFF)
        found.append((1.0 - share_below(field, limit, history.pieces),
                      1.0 - share_below_by_zone(field, limit, history.pieces)))
    return _share(fine, *found)


def _share(fine: History, first: tuple[float, np.ndarray], second: tuple[float, np.ndarray]) -> Share:
    """Value and error from the two grids, and what the time steps add (`assess/errors.py`); the error of the whole mix is at
    least the sum over its zones, as a toe that is colder and a core that is warmer cancel."""
    by_zone = np.abs(first[1] - second[1])
    error = max(abs(first[0] - second[0]), float(_zone_weights(fine) @ np.nan_to_num(by_zone)))
    steps = CONSTANTS["time_error_share"].value
    return Share(max(first[0], 0.0), error + steps * _between(first[0], second[0]), first[1],
                 by_zone + steps * _between(first[1], second[1]))


def _between(one: Any, other: Any) -> Any:
    """Whether a share stands between none and all on either grid: else nothing is estimated of the time steps."""
    return (np.minimum(one, other) < 1.0 - ROUND_OFF) & (np.maximum(one, other) > ROUND_OFF)


def _zone_weights(history: History) -> np.ndarray:
    return np.bincount(history.pieces.zone.ravel(), history.pieces.weight.ravel(), minlength=len(ZONES))


def _parts(history: History, value: Value, level: float) -> tuple[float, np.ndarray]:
    """Share of the mix and of each zone: cells whose corners agree go as a whole, others in nine parts a triangle."""
    pieces, limit = history.pieces, level * (1.0 - ROUND_OFF)
    reached = history.on_nodes(value(history.times, history.temperatures) >= limit) > 0.5
    corners = reached[pieces.quad_nodes]
    share = np.repeat(corners.mean(axis=1)[:, None], 4, axis=1)
    mixed = np.flatnonzero(corners.any(axis=1) & ~corners.all(axis=1))
    quads = pieces.quad_nodes[mixed]
    for side, (a, b) in enumerate(_SIDES):
        total = np.zeros(len(mixed))
        for of_a, of_b in _NINTHS:
            weights = np.full(4, 0.25 * (1.0 - of_a - of_b))
            weights[a] += of_a
            weights[b] += of_b
            total += value(history.times, history.at(quads, np.tile(weights, (len(mixed), 1)))) >= limit
        share[mixed, side] = total / len(_NINTHS)
    zones = np.bincount(pieces.zone.ravel(), (share * pieces.weight).ravel(), minlength=len(ZONES))
    weights = _zone_weights(history)
    by_zone = np.divide(zones, weights, out=np.full(len(ZONES), np.nan), where=weights > 0)
    return float(zones.sum()), by_zone


def _of_parcels(history: History, value: Value, level: float) -> tuple[float, np.ndarray]:
    """Share of the material, and of what lies in each zone at the end."""
    parcels = history.parcels()
    met = value(parcels.times, parcels.temperatures) >= level * (1.0 - ROUND_OFF)
    return parcels.share(met), parcels.share_by_zone(met)


def rule_cautions(rule: Rule, turns: int = 0) -> list[str]:
    """One line a caution of a run that is judged by `rule`; none for a rule in the user's own words."""
    if rule.own:
        return []
    out = [f"Judged by the rule {rule.id} ({rule.instrument}): {rule.words()}. The model says what its temperatures do, not "
           "that the rule is kept: ask your regulator."]
    if rule.turns > turns:
        does = f"is turned {turns} times" if turns else "is left standing"
        out.append(f"The rule {rule.id} asks for at least {rule.turns} turnings, and this pile {does}: by its "
                   "words that is not enough. What is shown is its temperature part alone.")
    elif rule.turns:
        out.append(f"The rule {rule.id} asks for at least {rule.turns} turnings, and this pile is turned {turns} times; "
                   "whether they fall within the time it asks for is not judged.")
    if rule.seen != "official text":
        out.append(f"The words of {rule.id} were not seen at the source ({rule.seen}, {rule.checked}).")
    if any(one.consecutive == "not stated" for one in rule.alternatives):
        out.append(f"The rule {rule.id} does not say whether its time is consecutive; it is read so, the stricter way.")
    return out


# ------------------------------------------------------------------------------------------------- probes
def _probes(history: History, rule: Rule) -> Probes | None:
    points = _stated_places(history, rule) if rule.probe_depth else middle_of_mix(history)
    nodes, weights, inside = locate(history, points)
    if not inside.any():
        return None
    points, nodes, weights = points[inside], nodes[inside], weights[inside]
    readings = history.at(nodes, weights)
    met = progress(history.times, readings, rule) >= 1.0 - ROUND_OFF
    return Probes(points, met, _days(history.times, readings, rule, met), rule.probe_depth is not None)


def _days(times: np.ndarray, readings: np.ndarray, rule: Rule, met: np.ndarray) -> np.ndarray:
    """Day of the first step by which each place meets the rule, NaN where it never does: bisection, as it stays met."""
    low, high = np.zeros(met.size, dtype=int), np.full(met.size, times.size - 1)
    while (high - low > 1).any():
        middle = (low + high) // 2
        for k in np.unique(middle):
            at = middle == k
            now = progress(times[: k + 1], readings[: k + 1, at], rule) >= 1.0 - ROUND_OFF if k else np.zeros(at.sum(), bool)
            high[at], low[at] = np.where(now, k, high[at]), np.where(now, low[at], k)
    return np.where(met, times[high] / DAY, np.nan)


def middle_of_mix(history: History) -> np.ndarray:
    """One place: on the axis (or in the middle of a section without one), at half the height of the mix."""
    mesh = history.problem.mesh
    x, z = mesh.x[history.nodes], mesh.z[history.nodes]
    across = 0.5 * (x.min() + x.max()) if history.problem.mesh.x[:-1].min() > -1e-9 and not history.problem.grid.axis else 0.0
    return np.array([[across, 0.5 * (z.min() + z.max())]])


def _stated_places(history: History, rule: Rule) -> np.ndarray:
    """Places along the surface at the smallest, middle and largest depth that the rule gives, (n, 2)."""
    grid = history.problem.grid
    line = grid.mix_surface if rule.probe_below == "cover" else grid.outer_surface
    assert rule.probe_depth is not None
    depths = np.unique([rule.probe_depth[0], 0.5 * sum(rule.probe_depth), rule.probe_depth[1]])
    middle = np.array([history.problem.mesh.x[history.nodes].mean(), history.problem.mesh.z[history.nodes].mean()])
    along = np.diff(line, axis=0)
    length = np.hypot(*along.T)
    ends = np.cumsum(length)
    count = max(round(float(ends[-1]) / _SPACING), 1)
    at = (np.arange(count) + 0.5) / count * ends[-1]
    piece = np.searchsorted(ends, at)
    feet = line[piece] + ((at - ends[piece] + length[piece]) / length[piece])[:, None] * along[piece]
    inward = np.column_stack([-along[piece, 1], along[piece, 0]]) / length[piece, None]
    inward *= np.sign(((middle - feet) * inward).sum(axis=1))[:, None]
    return np.concatenate([feet + depth * inward for depth in depths])


def locate(history: History, points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nodes (n, 4) and weights (n, 4) that give a nodal field at points x, z (n, 2) [m], and whether each is in the mix.

    A field is linear in the four triangles of a quad around its centre, as for shares.
    """
    mesh, quads = history.problem.mesh, history.pieces.quad_nodes
    x, z = mesh.x[quads], mesh.z[quads]
    cx, cz = x.mean(axis=1), z.mean(axis=1)
    nodes = np.zeros((len(points), 4), dtype=int)
    weights = np.zeros((len(points), 4))
    inside = np.zeros(len(points), dtype=bool)
    for a, b in _SIDES:
        area = (x[:, a] - cx) * (z[:, b] - cz) - (x[:, b] - cx) * (z[:, a] - cz)
        size = np.where(np.abs(area) > 1e-15, area, np.inf)
        px, pz = points[:, :1] - cx, points[:, 1:] - cz
        of_a = (px * (z[:, b] - cz) - pz * (x[:, b] - cx)) / size
        of_b = (pz * (x[:, a] - cx) - px * (z[:, a] - cz)) / size
        worst = np.minimum(np.minimum(of_a, of_b), 1.0 - of_a - of_b)
        worst[:, ~np.isfinite(size)] = -np.inf
        best = worst.argmax(axis=1)
        row = np.arange(len(points))
        new = (worst[row, best] > -1e-9) & ~inside
        share = np.repeat(0.25 * (1.0 - of_a - of_b)[row, best][:, None], 4, axis=1)
        share[:, a] += of_a[row, best]
        share[:, b] += of_b[row, best]
        nodes[new], weights[new] = quads[best[new]], share[new]
        inside |= new
    return nodes, weights, inside
