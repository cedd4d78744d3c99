"""Judge the history of a mix by a rule: which share met it, and what probes placed as the rule says would have read.

Numbers only; `show/rules_text.py` has the words. Nothing here is a statement of compliance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pilesim.assess.exposure import ROUND_OFF, progress
from pilesim.assess.histories import History
from pilesim.assess.shares import ZONES, share_below, share_below_by_zone
from pilesim.base.errors import ScenarioError
from pilesim.inputs.rules import Rule
from pilesim.solver.march import DAY

_SPACING = 0.05  # [m] between probe places along the surface
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
    """One rule on one pile. `temperature part` only: turnings and preconditions are not the model's to judge.

    Attributes
    ----------
    share : Share
        Of the mix that meets the rule, in the stricter reading.
    lenient : Share or None
        The same with time counted altogether, where the rule does not say whether it is consecutive.
    progress : (nz, nx) float
        Share of the rule met at each node of the run's grid, NaN outside the mix.
    probes : Probes or None
        None where no place lies in the mix.
    """

    rule: Rule
    share: Share
    lenient: Share | None
    progress: np.ndarray
    probes: Probes | None

    @property
    def gap(self) -> float:
        """Share of probe places that meet the rule less the share of the mix that does; NaN without probes."""
        return self.probes.share - self.share.value if self.probes else float("nan")


def judge(fine: History, coarse: History, rule: Rule) -> Judgement:
    """Judge both grids of a run by a rule with at least one alternative."""
    def met(history: History, stricter: bool) -> np.ndarray:
        return progress(history.times, history.temperatures, rule, stricter)

    silent = any(one.consecutive == "not stated" for one in rule.alternatives)
    lenient = share_at_least(fine, coarse, lambda history: met(history, False), 1.0) if silent else None
    return Judgement(rule, share_at_least(fine, coarse, lambda history: met(history, True), 1.0), lenient,
                     fine.on_section(met(fine, True)), _probes(fine, rule))


def share_at_least(fine: History, coarse: History, value: Callable[[History], np.ndarray], level: float) -> Share:
    """Share of the mix on which `value`, one number for each of its nodes, is at least `level`.

    The error is the difference of the two grids; of the whole mix at least the sum over its zones, as a toe that is colder
    and a core that is warmer cancel.
    """
    limit = level * (1.0 - ROUND_OFF)
    whole, zones = [], []
    for history in (fine, coarse):
        field = history.on_nodes(value(history))
        whole.append(1.0 - share_below(field, limit, history.pieces))
        zones.append(1.0 - share_below_by_zone(field, limit, history.pieces))
    weight = np.bincount(fine.pieces.zone.ravel(), fine.pieces.weight.ravel(), minlength=len(ZONES))
    by_zone = np.abs(zones[0] - zones[1])
    error = max(abs(whole[0] - whole[1]), float(weight @ np.nan_to_num(by_zone)))
    return Share(max(whole[0], 0.0), error, zones[0], by_zone)


def refuse_without_numbers(rules: Sequence[Rule]) -> None:
    """Raise ScenarioError for a rule whose temperature and time were not read."""
    for rule in rules:
        if not rule.alternatives:
            raise ScenarioError("--rule", repr(rule.id), "a rule whose temperature and time were read at a source",
                                f"See what is known of it: pilesim rules --rule {rule.id}.")


def rule_cautions(rule: Rule) -> list[str]:
    """One line a caution of a run that is judged by `rule`; none for a rule in the user's own words."""
    if rule.own:
        return []
    out = [f"Judged by the rule {rule.id} ({rule.instrument}): {rule.words()}. The model says what its temperatures do, not "
           "that the rule is kept: ask your regulator."]
    if rule.turns:
        out.append(f"The rule {rule.id} asks for at least {rule.turns} turnings, and this pile is left standing: by its "
                   "words that is not enough. What is shown is its temperature part alone.")
    if rule.seen != "official text":
        out.append(f"The words of {rule.id} were not seen at the source ({rule.seen}, {rule.checked}).")
    if any(one.consecutive == "not stated" for one in rule.alternatives):
        out.append(f"The rule {rule.id} does not say whether its time is consecutive; it is read so, the stricter way.")
    return out


# ------------------------------------------------------------------------------------------------- probes
def _probes(history: History, rule: Rule) -> Probes | None:
    points = _stated_places(history, rule) if rule.probe_depth else _middle(history)
    nodes, weights, inside = locate(history, points)
    if not inside.any():
        return None
    points, nodes, weights = points[inside], nodes[inside], weights[inside]
    of_node = np.zeros(history.problem.mesh.count + 1, dtype=int)
    of_node[history.nodes] = np.arange(len(history.nodes))
    readings = np.einsum("kpc,pc->kp", history.temperatures[:, of_node[nodes]], weights)
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


def _middle(history: History) -> np.ndarray:
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
    found = []
    for start, end in pairwise(line):
        along = end - start
        length = float(np.hypot(*along))
        if length < 1e-9:
            continue
        inward = np.array([-along[1], along[0]]) / length
        inward *= np.sign((middle - 0.5 * (start + end)) @ inward)
        share = (np.arange(max(round(length / _SPACING), 1)) + 0.5) / max(round(length / _SPACING), 1)
        found += [start + share[:, None] * along + depth * inward for depth in depths]
    return np.concatenate(found)


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
