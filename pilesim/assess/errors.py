"""Numerical error of each measure, and of the history: what two grids disagree on, and what the time steps add.

The part of the grid is |value at the run's cell - value at twice the cell|, undivided, lest it vanish by chance: a measure
read off a curve on one day takes the largest difference within a day of it, as the two curves may cross there; cold edges
of the whole mix take the sum over the zones, as a toe that is colder and a floor that is warmer cancel. Water loss takes
a multiple, as it settles slowly with cells across the cover (DEVELOPERS.md). The part of the time steps and of the
iteration is the same on both grids and shows in no difference: it is added as measured
(`tests/verification/test_time_error.py`), but not to amounts as built, nor where both grids stand at an end of the scale.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pilesim.assess.measures import MEASURES, Values, errors
from pilesim.assess.shares import ZONES
from pilesim.assess.watch import Watch
from pilesim.base.constants import CONSTANTS
from pilesim.solver.march import DAY

AS_BUILT = ("cover_leakance", "overall_width", "overall_height", "mix_volume", "mix_mass", "cover_volume")
RESIDUALS = ("budget_error_heat", "budget_error_oxygen", "budget_error_water", "iteration_defect_temperature")
_AMOUNTS = ("water_loss", "dry_matter_loss", "air_changes")  # their time error grows with them
_ON_DAY = {  # measure: series that it is read from on day 14
    "anaerobic_fraction_day_14": "anaerobic_share",
    "anoxic_fraction_day_14": "anoxic_share",
    "share_above_55C_day_14": "share_above_55",
    "core_oxygen_day_14": "",
}
_DAY_READ, _AROUND, _EVERY = 14.0, 1.0, 0.05  # [day]
_ROUND_OFF = 1e-9


def numerical_errors(fine: Values, coarse: Values, watches: tuple[Watch, Watch]) -> Values:
    """Numerical error of each measure, in its unit; NaN where only one of the two grids reached it.

    Parameters
    ----------
    fine, coarse : dict
        Measures on the run's cell and on twice that.
    watches : (Watch, Watch)
        Of the same two runs.

    Returns
    -------
    dict
        Zero where nothing is estimated: amounts as built, and what stands at an end of its scale (no share, all of the
        mix, day 0) on both grids.
    """
    grid = errors(fine, coarse)
    by_zone = watches[0].pieces.zone_share() @ np.nan_to_num(np.asarray(grid["cold_edge_fraction_by_zone"]))
    grid["cold_edge_fraction"] = max(float(grid["cold_edge_fraction"]), float(by_zone))
    grid["water_loss"] = CONSTANTS["water_loss_error_factor"].value * np.asarray(grid["water_loss"])
    for name, series in _ON_DAY.items():
        if np.isfinite(grid[name]):
            grid[name] = max(float(grid[name]), _largest_difference(*(_curve(watch, series) for watch in watches)))
    out: Values = {}
    for name in MEASURES:
        value, other = np.asarray(fine[name], dtype=float), np.asarray(coarse[name], dtype=float)
        added = np.where(at_one_end(name, value, other), 0.0, _time_part(name, value, watches[0]))
        whole = np.asarray(grid[name]) + added
        out[name] = whole if whole.ndim else float(whole)
    return out


def at_one_end(name: str, fine: np.ndarray, coarse: np.ndarray) -> np.ndarray:
    """Whether a share or a day stands at the same end of its scale on both grids, where a difference of nought is no
    evidence."""
    if MEASURES[name][0] not in ("1", "day") or name in _AMOUNTS:
        return np.zeros(np.shape(fine), dtype=bool)
    same = np.abs(fine - coarse) <= _ROUND_OFF
    ends = (0.0, 1.0) if MEASURES[name][0] == "1" else (0.0,)
    return same & np.any([np.abs(fine - end) <= _ROUND_OFF for end in ends], axis=0)


def _time_part(name: str, value: np.ndarray, watch: Watch) -> np.ndarray:
    """Error of time stepping and iteration, in the unit of the measure."""
    if name in AS_BUILT or name in RESIDUALS:
        return np.zeros_like(value)
    if name in _AMOUNTS:
        return CONSTANTS["time_error_relative"].value * np.abs(value)
    if name.endswith("by_zone"):
        return np.full_like(value, CONSTANTS["time_error_zone_share"].value)
    part = {
        "day": CONSTANTS["time_error_days"].value / DAY,
        "degC": CONSTANTS["time_error_temperature"].value,
        "percent": 100.0 * CONSTANTS["time_error_oxygen"].value,
        "1": CONSTANTS["time_error_share"].value,
    }[MEASURES[name][0]]
    if name in _ON_DAY:  # an error in time moves what is read on a steep curve
        days, values = _curve(watch, _ON_DAY[name])
        late = CONSTANTS["time_error_days"].value / DAY
        before, after = np.interp([_DAY_READ - late, _DAY_READ + late], days, values)
        part += 0.5 * abs(float(after - before))
    return np.full_like(value, part)


def _curve(watch: Watch, series: str) -> tuple[np.ndarray, np.ndarray]:
    """Days of the steps and one series; "": oxygen of the core in percent, daily means."""
    days = np.array(watch.times) / DAY
    if series:
        return days, np.array(watch.series[series])
    return days, 100.0 * np.array(watch.daily_zone_oxygen)[:, ZONES.index("core")]


def _largest_difference(fine: tuple[np.ndarray, np.ndarray], coarse: tuple[np.ndarray, np.ndarray]) -> float:
    """Largest difference of two curves within a day of day 14, as far as both go."""
    end = min(float(fine[0][-1]), float(coarse[0][-1]))
    near = np.arange(_DAY_READ - _AROUND, _DAY_READ + _AROUND + _ROUND_OFF, _EVERY)
    near = near[near <= end]
    return float(np.max(np.abs(np.interp(near, *fine) - np.interp(near, *coarse)), initial=0.0))


def not_estimated(fine: Values, coarse: Values) -> list[str]:
    """Cautions: the measures that only one of the two grids reached, whose error is unknown."""
    out = []
    for name in MEASURES:
        value, other = np.asarray(fine[name], dtype=float), np.asarray(coarse[name], dtype=float)
        if np.ndim(value) or np.isnan(value) == np.isnan(other):
            continue
        where = "this grid only, not by that of twice the cell" if np.isnan(other) else "the grid of twice the cell only"
        out.append(f"{name} is reached by {where}: its error is unknown, and whether it is reached is open.")
    return out


def history_errors(fine: Mapping[str, np.ndarray], coarse: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """|difference of the two grids| of each curve at the same hour, by name."""
    return {name: np.abs(np.asarray(fine[name]) - np.asarray(coarse[name])) for name in fine}
