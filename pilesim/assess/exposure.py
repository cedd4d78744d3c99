"""How much of a time-temperature rule a place has met: exact for histories that are linear between their times.

Material stays in place. Each function takes times (k,) [s] and temperatures (k, n) [K] of n places and gives one number a
place: 1 or more where the rule is met, below that how far it came. Between places that number may be interpolated.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.base.compiled import compiled, compiled_part
from pilesim.inputs.rules import Condition, Rule

ROUND_OFF = 1e-9  # of what is asked: met all the same
_NONE, _HOT, _MEAN = 0, 1, 2  # what a window of the asked duration must hold besides


def progress(times: np.ndarray, temperatures: np.ndarray, rule: Rule, stricter: bool = True) -> np.ndarray:
    """Share of the rule that each place has met, (n,): the best of the rule's alternatives.

    Parameters
    ----------
    times, temperatures : (k,) [s], (k, n) [K]
    stricter : bool
        Where a rule does not say whether the time is consecutive: read it so. False: as time altogether.
    """
    best = np.zeros(temperatures.shape[1])
    for one in rule.alternatives:
        np.maximum(best, condition_progress(times, temperatures, one, stricter), out=best)
    return best


def condition_progress(times: np.ndarray, temperatures: np.ndarray, asked: Condition, stricter: bool = True) -> np.ndarray:
    """As `progress`, of one condition."""
    windowed = _HOT if asked.hot is not None else _MEAN if asked.mean is not None else _NONE
    consecutive = asked.consecutive == "yes" or (asked.consecutive == "not stated" and stricter) or windowed != _NONE
    level, need = 0.0, 1.0
    if asked.hot is not None:
        level, need = asked.hot, asked.hot_duration
    elif asked.mean is not None:
        level, need = asked.temperature, asked.mean - asked.temperature
    out = np.zeros(temperatures.shape[1])
    _progress(np.ascontiguousarray(times, dtype=np.float64), np.ascontiguousarray(temperatures.T, dtype=np.float64),
              asked.temperature, asked.upper, asked.above, asked.duration, consecutive, windowed, level, need, out)
    return out


@compiled_part
def _stay(a: float, b: float, low: float, high: float, above: bool) -> tuple[float, float]:
    """Part of a step, as shares of it, on which the line from a to b lies in [low, high], or (low, high] if `above`; an
    empty part is (1, 0)."""
    if a == b:
        inside = (a > low or (a == low and not above)) and a <= high
        return (0.0, 1.0) if inside else (1.0, 0.0)
    start = 0.0 if low <= a <= high else ((low if a < low else high) - a) / (b - a)
    end = 1.0 if low <= b <= high else ((low if b < low else high) - a) / (b - a)
    if (a < low and b < low) or (a > high and b > high):
        return (1.0, 0.0)
    return (start, end)


@compiled
def _progress(times: Any, rows: Any, low: float, high: float, above: bool, duration: float, consecutive: bool,
              windowed: int, level: float, need: float, out: Any) -> None:
    running = np.zeros(times.size)
    for n in range(rows.shape[0]):
        values = rows[n]
        if windowed:
            _accumulate(times, values, windowed, level, running)
        best = total = begun = 0.0
        going = False
        for k in range(times.size - 1):
            length = times[k + 1] - times[k]
            first, last = _stay(values[k], values[k + 1], low, high, above)
            joined = going and first == 0.0 and (values[k] > low or not above)
            if going and not joined:
                best = max(best, _worth(times, values, running, begun, times[k], duration, windowed, level, need))
            going = False
            if last < first:
                continue
            if not joined:
                begun = times[k] + first * length
            total += (last - first) * length
            if last == 1.0:
                going = True
            else:
                end = times[k] + last * length
                best = max(best, _worth(times, values, running, begun, end, duration, windowed, level, need))
        if going:
            best = max(best, _worth(times, values, running, begun, times[-1], duration, windowed, level, need))
        out[n] = best if consecutive else total / duration


@compiled_part
def _worth(times: Any, values: Any, running: Any, begun: float, end: float, duration: float, windowed: int, level: float,
           need: float) -> float:
    """Share of the rule that one unbroken stay has met."""
    share = (end - begun) / duration
    if windowed == 0 or share == 0.0:
        return share
    return min(share, _best_window(times, values, running, begun, end, duration, windowed, level) / need)


@compiled_part
def _accumulate(times: Any, values: Any, windowed: int, level: float, running: Any) -> None:
    """Time above `level` (hot) or area above it (mean) up to each of the times."""
    running[0] = 0.0
    for k in range(times.size - 1):
        running[k + 1] = running[k] + _of_step(values[k], values[k + 1], times[k + 1] - times[k], 1.0, windowed, level)


@compiled_part
def _of_step(a: float, b: float, length: float, part: float, windowed: int, level: float) -> float:
    """What the first `part` of a step adds."""
    if windowed == 2:
        return part * length * (0.5 * (a + a + part * (b - a)) - level)
    first, last = _stay(a, b, level, np.inf, True)
    return max(min(last, part) - first, 0.0) * length


@compiled_part
def _step_at(times: Any, time: float) -> int:
    """Number of the step that holds `time`, the later one of two that meet there."""
    low, high = 0, times.size - 1
    while high - low > 1:
        middle = (low + high) // 2
        if times[middle] <= time:
            low = middle
        else:
            high = middle
    return low


@compiled_part
def _up_to(times: Any, values: Any, running: Any, time: float, windowed: int, level: float) -> float:
    k = _step_at(times, time)
    length = times[k + 1] - times[k]
    part = min(max((time - times[k]) / length, 0.0), 1.0)
    return running[k] + _of_step(values[k], values[k + 1], length, part, windowed, level)


@compiled_part
def _value_at(times: Any, values: Any, time: float) -> float:
    k = _step_at(times, time)
    part = min(max((time - times[k]) / (times[k + 1] - times[k]), 0.0), 1.0)
    return values[k] + part * (values[k + 1] - values[k])


@compiled_part
def _best_window(times: Any, values: Any, running: Any, begun: float, end: float, duration: float, windowed: int,
                 level: float) -> float:
    """Largest time (hot), or mean above `level`, of a window of `duration` inside a stay; the whole stay if it is shorter.

    The end of the best window is where the sum has a kink (a time of the history, a crossing, either of them a duration
    later, or the first or last possible end) or, for a mean, where the temperatures at both its ends are the same.
    """
    width = min(duration, end - begun)
    knots = np.empty(2 * times.size)
    number = 0
    for k in range(times.size):
        knots[number] = times[k]
        number += 1
        if windowed == 1 and k < times.size - 1 and (values[k] - level) * (values[k + 1] - level) < 0.0:
            knots[number] = times[k] + (level - values[k]) / (values[k + 1] - values[k]) * (times[k + 1] - times[k])
            number += 1
    found = np.empty(2 * number + 2)  # ascending: the knots and those a duration later, merged
    found[0], count, early, late = begun + width, 1, 0, 0
    while late < number:
        if early < number and knots[early] <= knots[late] + width:
            next_end = knots[early]
            early += 1
        else:
            next_end = knots[late] + width
            late += 1
        if found[0] < next_end < end:
            found[count] = next_end
            count += 1
    found[count] = end
    count += 1
    best = -np.inf
    for k in range(count):
        closing = found[k]
        for _ in range(2):
            value = (_up_to(times, values, running, closing, windowed, level)
                     - _up_to(times, values, running, closing - width, windowed, level))
            best = max(best, value)
            if windowed == 1 or k == count - 1 or found[k + 1] <= found[k]:
                break
            left = _value_at(times, values, found[k]) - _value_at(times, values, found[k] - width)
            right = _value_at(times, values, found[k + 1]) - _value_at(times, values, found[k + 1] - width)
            if left * right >= 0.0:
                break
            closing = found[k] + left / (left - right) * (found[k + 1] - found[k])
    return best / width if windowed == 2 else best


# ------------------------------------------------------------------------------------------------- doses
def dose(times: np.ndarray, temperatures: np.ndarray, levels: np.ndarray, rates: np.ndarray,
         consecutive: bool = False) -> np.ndarray:
    """Integral over time of a rate that depends on temperature, (n,).

    Parameters
    ----------
    times, temperatures : (k,) [s], (k, n) [K]
    levels : (m,) [K]
        Ascending; the logarithm of the rate is linear between them, nothing counts below the first, and above the last the
        rate stays what it is there.
    rates : (m,) [s-1]
        At the levels, positive.
    consecutive : bool
        The largest integral over one unbroken stay at or above the first level, instead of all.
    """
    out = np.zeros(temperatures.shape[1])
    _dose(np.ascontiguousarray(times, dtype=np.float64), np.ascontiguousarray(temperatures.T, dtype=np.float64),
          np.ascontiguousarray(levels, dtype=np.float64), np.log(np.asarray(rates, dtype=np.float64)), consecutive, out)
    return out


@compiled_part
def _log_rate(value: float, levels: Any, logs: Any) -> float:
    if value >= levels[-1]:
        return logs[-1]
    k = 0
    while k < levels.size - 2 and value >= levels[k + 1]:
        k += 1
    return logs[k] + (logs[k + 1] - logs[k]) * (value - levels[k]) / (levels[k + 1] - levels[k])


@compiled
def _dose(times: Any, rows: Any, levels: Any, logs: Any, consecutive: bool, out: Any) -> None:
    cuts = np.empty(levels.size + 2)
    for n in range(rows.shape[0]):
        values = rows[n]
        best = total = 0.0
        for k in range(times.size - 1):
            a, b, length = values[k], values[k + 1], times[k + 1] - times[k]
            first, last = _stay(a, b, levels[0], np.inf, False)
            if last < first:
                continue
            cuts[0], count = first, 1
            for j in range(levels.size):
                i = j if b > a else levels.size - 1 - j
                if a != b and first < (levels[i] - a) / (b - a) < last:
                    cuts[count] = (levels[i] - a) / (b - a)
                    count += 1
            cuts[count] = last
            for j in range(count):
                total += (cuts[j + 1] - cuts[j]) * length * _mean_rate(a, b, cuts[j], cuts[j + 1], levels, logs)
            best = max(best, total)
            if last < 1.0 and consecutive:
                total = 0.0
        out[n] = best


@compiled_part
def _mean_rate(a: float, b: float, first: float, last: float, levels: Any, logs: Any) -> float:
    """Mean of a rate whose logarithm goes straight from one end of a piece of a step to the other."""
    start = _log_rate(max(a + first * (b - a), levels[0]), levels, logs)
    end = _log_rate(max(a + last * (b - a), levels[0]), levels, logs)
    change = end - start
    if abs(change) < 1e-6:
        return np.exp(start) * (1.0 + 0.5 * change)
    return (np.exp(end) - np.exp(start)) / change
