"""The measures of a run: one number each, with unit and meaning."""

from __future__ import annotations

import numpy as np

from pilesim.assess.exposure import ROUND_OFF, progress
from pilesim.assess.histories import history_of
from pilesim.assess.shares import ZONES, level_exceeded_by, share_above, share_below, share_below_by_zone
from pilesim.assess.watch import Watch
from pilesim.build import Problem
from pilesim.section.grid import COVER, MIX
from pilesim.solver.march import DAY, Tally

AEROBIC_SHARE = 0.10  # of the mix: the definition of `days_to_aerobic`
PEAK_SHARE = 0.01  # of the mix: the definition of `peak_temperature`
WATCH_TEMPERATURE = 353.15  # 80 degC [K]: the definition of `share_above_80C`
MEASURES: dict[str, tuple[str, str]] = {
    "cold_edge_fraction": ("1", "share of the mix that has not met the time-temperature rule by the end"),
    "cold_edge_fraction_by_zone": ("1", "share of each zone that has not met the time-temperature rule by the end"),
    "anaerobic_fraction_peak": ("1", "largest share of the mix below the anaerobic oxygen limit, daily means"),
    "anaerobic_fraction_mean": ("1", "mean over the run of the share below the anaerobic oxygen limit, daily means"),
    "anaerobic_fraction_day_14": ("1", "share of the mix below the anaerobic oxygen limit on day 14, daily mean"),
    "anoxic_fraction_day_14": ("1", "share of the mix below 1 percent oxygen on day 14, daily mean"),
    "days_to_aerobic": ("day", "first day after which less than a tenth of the mix is anaerobic"),
    "core_oxygen_day_14": ("percent", "mean oxygen of the core on day 14, mole fraction of dry pore gas, daily mean"),
    "days_to_55C_median": ("day", "day by which half of the mix has been at 55 degC at least once"),
    "days_to_55C_95": ("day", "day by which 95 percent of the mix has been at 55 degC at least once"),
    "share_above_55C_day_14": ("1", "share of the mix above 55 degC on day 14"),
    "peak_temperature": ("degC", "highest temperature, exceeded at some time by 1 percent of the mix"),
    "share_above_80C": ("1", "share of the mix that has been above 80 degC"),
    "cover_leakance": ("m", "permeability over thickness of the cover as built; null without a cover"),
    "frozen_fraction_peak": ("1", "largest share of the mix with more than half of its water frozen"),
    "water_loss": ("1", "share of the initial water of the mix, and of a cover mixed in, that is lost, once shared nodes "
                   "have evened out"),
    "dry_matter_loss": ("1", "share of the initial dry matter of the mix, and of a cover mixed in, that is lost"),
    "air_changes": ("h-1", "ambient air entering per gas-filled pore volume of the mix, mean over the run"),
    "overall_width": ("m", "outer toe to outer toe"),
    "overall_height": ("m", "ground to crest, cover and base layer included"),
    "mix_volume": ("m3 m-1", "volume of the mix per length of the pile"),
    "mix_mass": ("kg m-1", "wet mass of the mix per length of the pile, at the start"),
    "cover_volume": ("m3 m-1", "volume of cover material per length of the pile, as built"),
    "budget_error_heat": ("1", "heat that the budget cannot account for, of throughput"),
    "budget_error_oxygen": ("1", "oxygen that the budget cannot account for, of throughput"),
    "budget_error_water": ("1", "water that the budget cannot account for, of throughput"),
    "iteration_defect_temperature": ("K", "largest rms difference over the mix between stored and output temperature"),
}
Values = dict[str, float | np.ndarray]


def as_whole(unit: str, meaning: str, axisymmetric: bool) -> tuple[str, str]:
    """Unit and meaning of an amount per metre of length, or of the whole heap if it is round."""
    if not axisymmetric:
        return unit, meaning
    return unit.removesuffix(" m-1"), meaning.replace("per length of the pile", "of the whole heap")


def halves(problem: Problem) -> float:
    """Factor from the gridded part to the whole pile."""
    return 2.0 if problem.grid.halved else 1.0


def measure(problem: Problem, watch: Watch, tally: Tally, budgets: dict[str, float]) -> Values:
    """All measures of a finished run, in the order of `MEASURES`; NaN for what was never reached or does not apply."""
    scenario, grid, pieces = watch.scenario, problem.grid, watch.pieces
    days = np.array(watch.times) / DAY
    series = {name: np.array(values) for name, values in watch.series.items()}
    anaerobic = series["anaerobic_share"]
    cold, cold_by_zone = _cold(problem, watch)
    whole = halves(problem)
    cover = scenario.cover
    core = np.array(watch.daily_zone_oxygen)[:, ZONES.index("core")]
    has_core = pieces.zone_node_weight[ZONES.index("core")].sum() > 0
    wet = problem.water_of_mix
    dry_added, water_added = tally.cover_off.added if tally.cover_off else (0.0, 0.0)
    values: Values = {
        "cold_edge_fraction": cold,
        "cold_edge_fraction_by_zone": cold_by_zone,
        "anaerobic_fraction_peak": float(anaerobic.max()),
        "anaerobic_fraction_mean": float(np.trapezoid(anaerobic, days) / days[-1]),
        "anaerobic_fraction_day_14": _on_day(14.0, days, anaerobic),
        "anoxic_fraction_day_14": _on_day(14.0, days, series["anoxic_share"]),
        "days_to_aerobic": _stays_below(AEROBIC_SHARE, days, anaerobic),
        "core_oxygen_day_14": 100.0 * _on_day(14.0, days, core) if has_core else np.nan,
        "days_to_55C_median": _first_reaches(0.50, days, series["share_reached_55"]),
        "days_to_55C_95": _first_reaches(0.95, days, series["share_reached_55"]),
        "share_above_55C_day_14": _on_day(14.0, days, series["share_above_55"]),
        "peak_temperature": level_exceeded_by(PEAK_SHARE, watch.hottest, pieces) - problem.record.celsius_zero,
        "share_above_80C": share_above(watch.hottest, WATCH_TEMPERATURE, pieces),
        "cover_leakance": cover.permeability / cover.thickness if cover.thickness > 0 else np.nan,
        "frozen_fraction_peak": float(series["frozen_share"].max()),
        "water_loss": 1.0 - series["mix_water"][-1] / (series["mix_water"][0] + water_added),
        "dry_matter_loss": 1.0 - series["mix_dry_matter"][-1] / (series["mix_dry_matter"][0] + dry_added),
        "air_changes": float(np.trapezoid(series["air_changes"], days) / days[-1]),
        "overall_width": grid.overall_width,
        "overall_height": grid.overall_height,
        "mix_volume": whole * float(problem.mesh.volume[MIX].sum()),
        "mix_mass": whole * (wet + series["mix_dry_matter"][0]),
        "cover_volume": whole * float(problem.mesh.volume[COVER].sum()),
        "budget_error_heat": budgets["heat"],
        "budget_error_oxygen": budgets["oxygen"],
        "budget_error_water": budgets["water"],
        "iteration_defect_temperature": float(np.sqrt(tally.defect_squared)),
    }
    return {name: values[name] for name in MEASURES}


def _cold(problem: Problem, watch: Watch) -> tuple[float, np.ndarray]:
    """Share of the mix and of each zone that has not met the rule: of places, or of followed material of a turned pile (by
    the zone in which it lies at the end)."""
    scenario, pieces = watch.scenario, watch.pieces
    if not scenario.turns:
        met = watch.rule_progress()
        return share_below(met, 1.0 - ROUND_OFF, pieces), share_below_by_zone(met, 1.0 - ROUND_OFF, pieces)
    parcels = history_of(problem, watch).parcels()
    missed = progress(parcels.times, parcels.temperatures, scenario.limits.rule) < 1.0 - ROUND_OFF
    return parcels.share(missed), parcels.share_by_zone(missed)


def _on_day(day: float, days: np.ndarray, values: np.ndarray) -> float:
    """Value on `day`, linear between steps; NaN when the run is shorter."""
    if days[-1] < day * (1.0 - 1e-9):
        return float("nan")
    return float(np.interp(day, days, values))


def _stays_below(level: float, days: np.ndarray, values: np.ndarray) -> float:
    """First day after which `values` stay below `level`; NaN when they end above."""
    above = np.flatnonzero(values >= level)
    if above.size == 0:
        return 0.0
    last = int(above[-1])
    if last == len(values) - 1:
        return float("nan")
    share = (values[last] - level) / (values[last] - values[last + 1])
    return float(days[last] + share * (days[last + 1] - days[last]))


def _first_reaches(level: float, days: np.ndarray, values: np.ndarray) -> float:
    """First day on which the rising `values` reach `level`; NaN when they never do."""
    reached = np.flatnonzero(values >= level)
    if reached.size == 0:
        return float("nan")
    first = int(reached[0])
    if first == 0:
        return 0.0
    share = (level - values[first - 1]) / (values[first] - values[first - 1])
    return float(days[first - 1] + share * (days[first] - days[first - 1]))


def errors(fine: Values, coarse: Values) -> Values:
    """Numerical error of each measure: |value at the run's cell - value at twice the cell|, undivided."""
    return {name: np.abs(np.asarray(fine[name]) - np.asarray(coarse[name])) for name in MEASURES}
