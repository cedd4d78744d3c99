"""What an engineer asks of a finished run before building: amounts, flows that balance, and the limit that binds.

Numbers only, in the units of the Dataset's attributes; words and unit systems are the business of `show/`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import Scenario
from pilesim.matter.mix import settled_mix
from pilesim.result import Measure
from pilesim.solver.march import DAY

if TYPE_CHECKING:
    import xarray as xr

WANTED_DAYS = (1.0, 3.0, 7.0, 14.0)  # of the tables of flows, where the run has them; the end always
SINKS = ("heat_conducted_to_air", "heat_carried_by_gas", "heat_to_ground", "heat_with_leachate", "heat_stored")
WATER = {  # what is reported: flows of the Dataset that add up to it
    "lost": ("water_carried_by_gas", "water_lost_by_film"), "made": ("metabolic_water",), "leached": ("leachate",),
    "taken_up": ("rain_taken_up",),
}
CHANGING_AIR = 0.5  # [K] range of the air temperature above which flows swing with it
CLOSE_OUTPUTS = 0.25 * (1.0 + 1e-9)  # [day] apart: four a day carry a daily mean
_ROUND_OFF = 1e-9  # of a share
_AROUND_PEAK = 1.0  # [day]
ANY_SHARE = 1.0  # error of a share of which nothing is known
_NEEDED = ("heat_released", *SINKS, "air_intake", *(name for names in WATER.values() for name in names), "mix_water",
           "mix_dry_matter", "mix_volume", "mix_mass", "cover_volume", "water_loss", "dry_matter_loss",
           "cold_edge_fraction_by_zone", "anaerobic_fraction_day_14", "distance", "height", "zone", "mix_area", "base_area",
           "air_temperature", "air_changes", "overall_width", "overall_height", "cold_edge_fraction", "peak_temperature",
           "share_above_80C", "frozen_fraction_peak", "days_to_aerobic")
_NEEDED_FACTS = ("title", "scenario", "elevation_m", "rule_temperature_degC", "rule_duration_days",
                 "anaerobic_oxygen_percent")


@dataclass(frozen=True, slots=True)
class Amount:
    """A number, its unit, and its numerical error (NaN if unknown)."""

    value: float
    unit: str
    error: float = math.nan


@dataclass(frozen=True, slots=True)
class Flow:
    """A flow over time.

    mean : over the run, in `unit`
    at : at the days asked for, see :func:`course`
    largest, largest_day : highest of the course and its day
    error : largest numerical error of `mean` and `at`, NaN if unknown
    largest_error : of `largest`
    """

    name: str
    unit: str
    mean: float
    at: tuple[float, ...]
    largest: float
    largest_day: float
    error: float = math.nan
    largest_error: float = math.nan


@dataclass(frozen=True, slots=True)
class Limit:
    """A share of the mix that should not be larger than `limit`; `error` is numerical.

    kind : "cold", "starved", "frozen" or "hot"
    """

    kind: str
    value: float
    error: float
    limit: float

    @property
    def excess(self) -> float:
        """Share of the mix beyond the limit; negative where the limit is kept."""
        return self.value - self.limit

    @property
    def state(self) -> str:
        """"exceeded" or "kept" beyond doubt, "open" where the limit lies within the error."""
        if self.excess > self.error + _ROUND_OFF:
            return "exceeded"
        return "kept" if self.excess + self.error <= _ROUND_OFF else "open"


def refuse_without_flows(dataset: xr.Dataset, where: str) -> None:
    """Raise ScenarioError unless the Dataset holds all that the sheet needs; `where` names it in the message."""
    missing = [name for name in _NEEDED if name not in dataset.variables]
    missing += [name for name in _NEEDED_FACTS if name not in dataset.attrs]
    if not missing and "mean_over_run_error" not in dataset["heat_stored"].attrs:
        missing = ["mean_over_run_error of heat_stored"]
    if missing:
        raise ScenarioError(where, "", "a result.nc written by this version of 'pilesim run'",
                            f"It lacks {missing[0]}; run the scenario again.")


def amounts(dataset: xr.Dataset, scenario: Scenario) -> dict[str, Amount]:
    """What has to be brought: volumes and masses as built, per metre of length or of the whole heap if it is round.

    Loose volume is wet mass over the bulk density at the surface of the mix; in place it is smaller by compaction.
    """
    volume, mass = float(dataset["mix_volume"]), float(dataset["mix_mass"])
    volume_unit, mass_unit = str(dataset["mix_volume"].attrs["units"]), str(dataset["mix_mass"].attrs["units"])
    dry = float(dataset["mix_dry_matter"][0])
    cover = float(dataset["cover_volume"])
    gridded = float(dataset["mix_area"].sum())
    base = float(dataset["base_area"].sum()) * volume / gridded  # the grid may hold half a pile
    return {
        "mix_in_place": Amount(volume, volume_unit),
        "mix_loose": Amount(mass / settled_mix(scenario.mix).bulk_density, volume_unit),
        "mix_wet": Amount(mass, mass_unit),
        "mix_dry": Amount(dry, mass_unit),
        "mix_water": Amount(mass - dry, mass_unit),
        "cover_volume": Amount(cover, volume_unit),
        "cover_wet": Amount(cover * scenario.cover.bulk_density, mass_unit),
        "base_volume": Amount(base, volume_unit),
        "base_wet": Amount(base * scenario.base_layer.bulk_density, mass_unit),
    }


def flow_days(dataset: xr.Dataset) -> tuple[float, ...]:
    """Days of the tables: those wanted before the end, and the end."""
    end = float(dataset["time"][-1])
    return (*(day for day in WANTED_DAYS if day < end * (1.0 - 1e-9)), end)


def by_day(dataset: xr.Dataset) -> bool:
    """Whether flows are shown as daily means: the air outside changes, and outputs are close enough to follow a day."""
    air, times = dataset["air_temperature"].values, dataset["time"].values
    return float(np.ptp(air)) > CHANGING_AIR and times.size > 1 and float(np.diff(times).max()) <= CLOSE_OUTPUTS


def course(dataset: xr.Dataset, name: str) -> np.ndarray:
    """A flow of the history at the output times; in changing air its mean over the day before each (see `by_day`)."""
    values, times = dataset[name].values.astype(float), dataset["time"].values
    if not by_day(dataset):
        return values
    total = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(times) * (values[1:] + values[:-1]))])
    before = np.maximum(times - 1.0, 0.0)
    span = np.where(times > 0.0, times - before, 1.0)
    return np.where(times > 0.0, (total - np.interp(before, times, total)) / span, values)


def flow(dataset: xr.Dataset, name: str, days: Sequence[float]) -> Flow:
    """One flow of the history at the given `days` (linear between outputs), its mean over the run and its highest."""
    values, times = course(dataset, name), dataset["time"].values
    peak = int(np.argmax(values))
    errors = course(dataset, f"error_of_{name}")
    of_mean = float(dataset[name].attrs["mean_over_run_error"])
    near = np.abs(times - times[peak]) <= _AROUND_PEAK  # two curves may cross at the peak
    of_peak = errors[near].max() + CONSTANTS["time_error_relative"].value * abs(values[peak])
    return Flow(name, str(dataset[name].attrs["units"]), float(dataset[name].attrs["mean_over_run"]),
                tuple(float(value) for value in np.interp(days, times, values)), float(values[peak]), float(times[peak]),
                max(of_mean, float(np.interp(days, times, errors).max(initial=0.0))), float(of_peak))


def heat_flows(dataset: xr.Dataset, days: Sequence[float]) -> tuple[list[Flow], Flow]:
    """Heat of respiration and where it goes, in the order of `SINKS`; and what does not balance (nought but round-off)."""
    flows = [flow(dataset, name, days) for name in ("heat_released", *SINKS)]
    source, sinks = flows[0], flows[1:]
    at = tuple(source.at[k] - sum(sink.at[k] for sink in sinks) for k in range(len(days)))
    rest = Flow("balance", source.unit, source.mean - sum(sink.mean for sink in sinks), at, math.nan, math.nan)
    return flows, rest


def water_totals(dataset: xr.Dataset) -> dict[str, Amount]:
    """Water lost as vapour, made by respiration and leached over the run, of the whole pile (cover and base layer too)."""
    seconds = float(dataset["time"][-1]) * DAY
    unit = str(dataset["leachate"].attrs["units"]).replace(" s-1", "")
    means, errors = ({name: sum(float(dataset[part].attrs[key]) for part in parts) for name, parts in WATER.items()}
                     for key in ("mean_over_run", "mean_over_run_error"))
    return {name: Amount(seconds * means[name], unit, seconds * errors[name]) for name in WATER}


def share_limits(measures: dict[str, Measure]) -> list[Limit]:
    """The limits that are shares of the mix, the one exceeded by the largest share of the mix first.

    Freezing is held to the limit of cold edges, of which it is a part; above 80 degC any share is too much. One that
    the run was too short to judge (null) is left out. An unknown error leaves any share possible.
    """
    cold, starved = (CONSTANTS[f"acceptable_{name}_share"].value for name in ("cold_edge", "anaerobic"))
    found = []
    for kind, name, limit in (("hot", "share_above_80C", 0.0), ("cold", "cold_edge_fraction", cold),
                              ("starved", "anaerobic_fraction_day_14", starved), ("frozen", "frozen_fraction_peak", cold)):
        measure = measures[name]
        if isinstance(measure.value, float):
            nothing = measure.value <= _ROUND_OFF and kind in ("hot", "frozen")  # no alarm where there is no sign of any
            error = measure.error if isinstance(measure.error, float) else 0.0 if nothing else ANY_SHARE
            found.append(Limit(kind, measure.value, error, limit))
    return sorted(found, key=lambda one: -one.excess)


def rivals(first: Limit, others: Sequence[Limit]) -> list[Limit]:
    """Those of `others` that are not kept and whose distance from `first` lies within the two errors."""
    return [one for one in others
            if one is not first and one.state != "kept" and first.excess - one.excess <= first.error + one.error]


def coldest_zones(measures: dict[str, Measure]) -> list[tuple[str, float, float]]:
    """Zone, share that has not met the rule and its error: the worst, and all that its error cannot tell from it."""
    measure = measures["cold_edge_fraction_by_zone"]
    assert isinstance(measure.value, dict) and isinstance(measure.error, dict)
    errors = {zone: ANY_SHARE if error is None else float(error) for zone, error in measure.error.items()}
    zones = [(zone, value, errors.get(zone, ANY_SHARE)) for zone, value in measure.value.items() if value is not None]
    zones.sort(key=lambda zone: -zone[1])
    return [zone for zone in zones if zone[1] > 0.0 and zones[0][1] - zone[1] <= zones[0][2] + zone[2]]


def moisture_at_end(dataset: xr.Dataset, measures: dict[str, Measure]) -> tuple[float, float]:
    """Mean moisture of the mix at the end, wet basis [1], and its error from those of the two losses (their sum)."""
    water, dry = (dataset[name].values for name in ("mix_water", "mix_dry_matter"))
    found = [measures[name].error for name in ("water_loss", "dry_matter_loss")]
    if not all(isinstance(error, float) for error in found):
        return float(water[-1] / (water[-1] + dry[-1])), ANY_SHARE
    spread = [float(error) for error in found if isinstance(error, float)]
    whole = water[-1] + dry[-1]
    losses = [measures[name].value for name in ("water_loss", "dry_matter_loss")]
    of_water, of_dry = (end[-1] / (1.0 - loss) if isinstance(loss, float) else end[0]  # what the losses are shares of
                        for end, loss in zip((water, dry), losses, strict=True))
    error = (dry[-1] * of_water * spread[0] + water[-1] * of_dry * spread[1]) / whole**2
    return float(water[-1] / whole), float(error)
