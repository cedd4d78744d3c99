"""What a finished run says of the same things: the numbers that stand beside the estimates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pilesim.assess.design import WATER, refuse_without_flows
from pilesim.estimate.pile import Pile

if TYPE_CHECKING:
    import xarray as xr

ALIKE = 0.2  # of the larger: two numbers this close are called alike
DAY = 86400.0


@dataclass(frozen=True, slots=True)
class Beside:
    """Numbers of a run: values and numerical errors (NaN where unknown) by the estimate's name; the day they were taken on.

    temperature : mean of the mix then [degC]; reached : whether that is the temperature asked for, or the nearest there was.
    """

    values: dict[str, tuple[float, float]]
    day: float
    temperature: float
    reached: bool


def beside(dataset: xr.Dataset, pile: Pile, temperature: float, where: str = "--result") -> Beside:
    """Numbers of a run when the mean of its mix first is at `temperature` [K], over the run, or at its end.

    Raises
    ------
    ScenarioError
        If the Dataset lacks what is needed; `where` names it.
    """
    refuse_without_flows(dataset, where)
    times, means = dataset["time"].values, dataset["mean_temperature"].values
    wanted = temperature - pile.c.celsius_zero
    day, reached = _first_day(times, means, wanted)
    on_that_day = ("air_intake", "heat_through_cover", "heat_with_gas", "heat_released")
    values = {name: _history(dataset, name, day) for name in on_that_day}
    values |= {name: (float(dataset[name]), float(dataset[f"{name}_error"]))
               for name in ("air_changes", "days_to_aerobic")}
    values["cover_leakance"] = (float(dataset["cover_leakance"]), math.nan)
    thick = pile.volume / pile.surface
    starved, error = _history(dataset, "anaerobic_share", day)
    values["oxygen_reach_diffusion"] = values["oxygen_reach_draught"] = ((1.0 - starved) * thick, error * thick)
    values["stirred_oxygen"] = (_mean_oxygen(dataset, day), math.nan)
    values["water_with_gas"] = _water_with_gas(dataset)
    took = (day if reached else math.inf, math.nan)
    values["warm_up_free"] = values["warm_up_stirred"] = took
    values["balance_temperature"] = (float(means.max()), float(dataset["error_of_mean_temperature"].values[means.argmax()]))
    values["frost_in_ground"] = (_frost_line(dataset), math.nan)
    values["frost_in_idle_mix"] = (float(dataset["frozen_fraction_peak"]) * thick,
                                   float(dataset["frozen_fraction_peak_error"]) * thick)
    return Beside(values, day, float(np.interp(day, times, means)), reached)


def alike(estimate: float, found: float) -> bool:
    """Whether two numbers lie within `ALIKE` of each other."""
    if not (math.isfinite(estimate) and math.isfinite(found)):
        return estimate == found
    return abs(estimate - found) <= ALIKE * max(abs(estimate), abs(found))


def _first_day(times: np.ndarray, means: np.ndarray, wanted: float) -> tuple[float, bool]:
    """Day on which the mean first reaches `wanted`, or comes nearest to it; straight lines between outputs."""
    if means[0] >= wanted:
        return float(times[0]), True
    above = np.flatnonzero(means >= wanted)
    if above.size == 0:
        return float(times[int(means.argmax())]), False
    k = int(above[0])
    share = (wanted - means[k - 1]) / (means[k] - means[k - 1])
    return float(times[k - 1] + share * (times[k] - times[k - 1])), True


_NAMES = {"heat_through_cover": "heat_conducted_to_air", "heat_with_gas": "heat_carried_by_gas"}


def _history(dataset: xr.Dataset, name: str, day: float) -> tuple[float, float]:
    own, times = _NAMES.get(name, name), dataset["time"].values
    found, error = (np.interp(day, times, dataset[key].values) for key in (own, f"error_of_{own}"))
    return float(found), float(error)


def _mean_oxygen(dataset: xr.Dataset, day: float) -> float:
    """Mean over the mix [percent]."""
    area = dataset["mix_area"].values
    own = np.nan_to_num(area) > 0.0
    means = [float(field[own] @ area[own] / area[own].sum()) for field in dataset["oxygen"].values]
    return float(np.interp(day, dataset["time"].values, means))


def _water_with_gas(dataset: xr.Dataset) -> tuple[float, float]:
    """By gas and evaporation, of the first water of the mix [1]."""
    seconds = float(dataset["time"].values[-1]) * DAY / float(dataset["mix_water"].values[0])
    both = [dataset[name].attrs for name in WATER["lost"]]
    value, error = (sum(float(one[key]) for one in both) for key in ("mean_over_run", "mean_over_run_error"))
    return value * seconds, error * seconds


def _frost_line(dataset: xr.Dataset) -> float:
    """Depth [m] of 0 degC in the column of ground farthest from the pile, at the end; 0 without frost."""
    column = dataset["temperature"].values[-1][:, -1]
    own = np.isfinite(column)
    depth, degrees = -dataset["height"].values[:, -1][own][::-1], column[own][::-1]  # from the surface down
    if degrees.size == 0 or degrees[0] >= 0.0:
        return 0.0
    thawed = np.flatnonzero(degrees >= 0.0)
    if thawed.size == 0:
        return float(depth[-1])
    k = int(thawed[0])
    return float(depth[k - 1] + (depth[k] - depth[k - 1]) * -degrees[k - 1] / (degrees[k] - degrees[k - 1]))
