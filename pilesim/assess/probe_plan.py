"""Where probes should stand to catch the coldest material of a standing pile, and what one probe in the core hides.

How cold a place is: the highest temperature that it holds for the rule's duration without a gap. The coldest part of the mix
(what misses the rule, or a tenth if that is more) is cut into as many groups by place as there are probes, and each probe
stands at the coldest place of its group. Places are found for the pile that was computed: wind, rain and an uneven mix move
the coldest place of a real one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pilesim.assess.exposure import ROUND_OFF, progress
from pilesim.assess.histories import History
from pilesim.assess.judge import Share, judge, locate, middle_of_mix
from pilesim.assess.parcels import places_in
from pilesim.base.errors import ScenarioError
from pilesim.inputs.rules import Rule
from pilesim.solver.march import DAY

MOST_PROBES = 8
COLDEST = 0.10  # of the mix at least is looked at
_INSIDE = 0.05  # [m] a tip stands inside the mix
NEARBY = 0.20  # [m] by which a tip may miss its place
_ROUNDS = 50  # of moving the middles of the groups


@dataclass(frozen=True, slots=True)
class Probe:
    """One place.

    Attributes
    ----------
    x, z : float
        Distance from the axis and height above the ground [m].
    foot : (2,) tuple
        Nearest point x, z of the outer surface [m], and `depth` the way in from it [m].
    held, held_error : float
        Highest temperature held for the rule's duration [K], difference from the grid of twice the cell.
    hottest : float
        [K].
    day : float
        By which the place meets the rule, NaN if never.
    nearby : float
        How much more is held within `NEARBY` of it [K].
    stands_for : float
        Share of the mix in its group.
    hidden : float
        Share of the mix that is colder than this probe and all before it.
    """

    x: float
    z: float
    foot: tuple[float, float]
    depth: float
    held: float
    held_error: float
    hottest: float
    day: float
    nearby: float
    stands_for: float
    hidden: float


@dataclass(frozen=True, slots=True)
class ProbePlan:
    """Probes, coldest first; the one in the middle of the mix; the share of the mix that meets the rule; what the places of
    the mix hold, (nz, nx) [K]."""

    rule: Rule
    probes: tuple[Probe, ...]
    core: Probe
    meets: Share
    held: np.ndarray


def held_temperature(times: np.ndarray, temperatures: np.ndarray, duration: float) -> np.ndarray:
    """Highest temperature that each place, (n,) [K], holds for `duration` [s] without a gap, by histories linear between
    times; the lowest of the whole history where that is shorter.

    Parameters
    ----------
    times, temperatures : (k,) [s], (k, n) [K]
    """
    ends = times + duration
    starts = np.concatenate([times[ends <= times[-1]], (times - duration)[times >= times[0] + duration]])
    if not starts.size:
        return temperatures.min(axis=0)
    best, earlier = np.full(temperatures.shape[1], -np.inf), None
    for start in np.unique(starts):
        here = _at(times, temperatures, start), _at(times, temperatures, start + duration)
        first, last = np.searchsorted(times, start), np.searchsorted(times, start + duration, side="right")
        np.maximum(best, np.min([*here, *temperatures[first:last]], axis=0), out=best)
        if earlier is not None:  # a better window may begin between, where both its ends are equally warm
            before, end = earlier
            gap, change = before[1] - before[0], (here[0] - before[0]) - (here[1] - before[1])
            part = np.clip(np.divide(gap, change, out=np.zeros_like(gap), where=change != 0.0), 0.0, 1.0)
            level = np.minimum(*(a + part * (b - a) for a, b in zip(before, here, strict=True)))
            np.maximum(best, np.min([level, *temperatures[first:end]], axis=0), out=best)
        earlier = here, last
    return best


def _at(times: np.ndarray, temperatures: np.ndarray, time: float) -> np.ndarray:
    k = int(np.clip(np.searchsorted(times, time, side="right") - 1, 0, times.size - 2))
    part = (time - times[k]) / (times[k + 1] - times[k])
    return temperatures[k] + part * (temperatures[k + 1] - temperatures[k])


def plan_probes(fine: History, coarse: History, rule: Rule, count: int) -> ProbePlan:
    """Places for `count` probes.

    Raises
    ------
    ScenarioError
        For fewer than 1 or more than 8 probes, a pile that was turned, or a run shorter than the rule.
    """
    if not 1 <= count <= MOST_PROBES:
        raise ScenarioError("--count", str(count), f"1 to {MOST_PROBES} probes")
    if fine.turns:
        raise ScenarioError("RESULT", "a pile that is turned", "a run without turns",
                            "After a turn the coldest material lies elsewhere; plan probes for a pile left standing.")
    duration = rule.alternatives[0].duration
    if fine.times[-1] < duration:
        raise ScenarioError("RESULT", f"a run of {fine.times[-1] / DAY:.3g} day", f"at least {duration / DAY:.3g} day, as "
                            "the rule asks")
    places = places_in(fine.problem, fine.pieces)
    readings = fine.at(places.nodes, places.weights)
    held = held_temperature(fine.times, readings, duration)
    met = progress(fine.times, readings, rule) >= 1.0 - ROUND_OFF
    cold = held <= np.quantile(held, max(float(1.0 - met.mean()), COLDEST))
    group = _groups(places.points[cold], held[cold], count)
    chosen = []
    for number in range(int(group.max()) + 1):
        own = np.flatnonzero(cold)[group == number]
        inside = own[places.depth[own] >= _INSIDE]
        best = inside if inside.size else own
        chosen.append((int(best[np.argmin(held[best])]), own.size / held.size))
    chosen.sort(key=lambda pair: held[pair[0]])
    probes = [_probe(fine, coarse, rule, places.points[k], share, places.points, held) for k, share in chosen]
    low = np.minimum.accumulate([probe.held for probe in probes])
    probes = [replace(probe, hidden=float((held < level).mean())) for probe, level in zip(probes, low, strict=True)]
    core = _probe(fine, coarse, rule, middle_of_mix(fine)[0], 0.0, places.points, held)
    nodes = held_temperature(fine.times, fine.temperatures, duration)
    return ProbePlan(rule, tuple(probes), replace(core, hidden=float((held < core.held).mean())),
                     judge(fine, coarse, rule).share, fine.on_section(nodes))


def _probe(fine: History, coarse: History, rule: Rule, point: np.ndarray, share: float, points: np.ndarray,
           held: np.ndarray) -> Probe:
    duration, here = rule.alternatives[0].duration, []
    for history in (fine, coarse):
        nodes, weights, _ = locate(history, point[None, :])
        reading = history.at(nodes, weights)
        here.append((reading, float(held_temperature(history.times, reading, duration)[0])))
    reading, own = here[0]
    near = np.hypot(*(points - point).T) <= NEARBY
    foot, depth = _way_in(fine, point)
    return Probe(float(point[0]), float(point[1]), foot, depth, own, abs(own - here[1][1]), float(reading.max()),
                 _day(fine.times, reading, rule), float(max(held[near].max() - own, 0.0)) if near.any() else 0.0, share, 0.0)


def _day(times: np.ndarray, reading: np.ndarray, rule: Rule) -> float:
    """Day of the first step by which one place meets the rule, NaN if never."""
    low, high = 0, times.size - 1
    if progress(times, reading, rule)[0] < 1.0 - ROUND_OFF:
        return float("nan")
    while high - low > 1:
        middle = (low + high) // 2
        done = middle > 0 and progress(times[: middle + 1], reading[: middle + 1], rule)[0] >= 1.0 - ROUND_OFF
        low, high = (low, middle) if done else (middle, high)
    return float(times[high]) / DAY


def _way_in(history: History, point: np.ndarray) -> tuple[tuple[float, float], float]:
    """Nearest point of the outer surface and its distance [m]."""
    line = history.problem.grid.outer_surface
    start, along = line[:-1], np.diff(line, axis=0)
    length = np.maximum((along**2).sum(axis=1), 1e-18)
    part = np.clip(((point - start) * along).sum(axis=1) / length, 0.0, 1.0)
    feet = start + part[:, None] * along
    away = np.hypot(*(feet - point).T)
    k = int(np.argmin(away))
    return (float(feet[k, 0]), float(feet[k, 1])), float(away[k])


def _groups(points: np.ndarray, held: np.ndarray, count: int) -> np.ndarray:
    """Group of each point by place, begun at the coldest and then at whatever lies farthest from all middles so far."""
    middles = [points[np.argmin(held)]]
    for _ in range(min(count, len(points)) - 1):
        away = np.min([np.hypot(*(points - middle).T) for middle in middles], axis=0)
        middles.append(points[np.argmax(away)])
    group = np.zeros(len(points), dtype=int)
    for turn in range(_ROUNDS):
        new = np.argmin([np.hypot(*(points - middle).T) for middle in middles], axis=0)
        if turn and (new == group).all():
            break
        group = new
        middles = [points[group == k].mean(axis=0) if (group == k).any() else middle for k, middle in enumerate(middles)]
    return np.unique(group, return_inverse=True)[1]
