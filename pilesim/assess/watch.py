"""Follow a run step by step, so that no measure depends on how often output is written.

Material stays in place, unless it is turned. The temperatures of the mix are kept at every solver step: the
time-temperature rule is judged from them at the end (`exposure.py`), and any other rule later, as results hold them too
(`histories.py`).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from pilesim.assess.exposure import progress
from pilesim.assess.fields import reported_oxygen
from pilesim.assess.shares import MixPieces, share_above, share_below
from pilesim.balances.heat import stored_enthalpies
from pilesim.build import outside_air
from pilesim.inputs.scenario import Scenario
from pilesim.matter.moist_air import activity_of_air, dry_gas_concentration, vapour_pressure
from pilesim.section.grid import MIX
from pilesim.solver.march import DAY, HEAT_TOTALS, WATER_TOTALS, Moment
from pilesim.solver.nodes import TOTALS
from pilesim.solver.step import Stepper

ANOXIC = 0.01  # mole fraction: the definition of `anoxic_fraction_day_14`
HISTORY = ("mean_temperature", "share_above_rule_temperature", "share_above_55", "share_reached_55", "anaerobic_share",
           "anoxic_share", "air_intake", "heat_released", "heat_conducted_to_air", "heat_carried_by_gas",
           "heat_to_ground", "water_carried_by_gas", "water_lost_by_film", "metabolic_water", "leachate", "mix_water",
           "mix_dry_matter", "air_changes", "frozen_share", "capped_share", "heat_unaccounted", "water_unaccounted",
           "heat_stored", "heat_with_leachate", "rain_taken_up", "snow_on_pile")


RATES = ("heat_released", "heat_conducted_to_air", "heat_carried_by_gas", "heat_to_ground", "water_carried_by_gas",
         "water_lost_by_film", "metabolic_water", "leachate", "heat_stored", "heat_with_leachate", "rain_taken_up")


@dataclass(slots=True)
class Watch:
    """Observer of a run: call it with every accepted step.

    Attributes
    ----------
    later : MixPieces, optional
        Of the mix once a cover is mixed in: what is weighed from then on. Nodes keep the numbers they had as built.
    mix_nodes, later_nodes : (m,) int
        Nodes of the mix as built, and of `later`.
    temperatures, later_temperatures : list of (m,) arrays
        Of these nodes at `times` [K]; NaN before the cover is mixed in.
    hottest : (count + 1,) array
        Highest temperature so far [K].
    series : dict of list
        One value per solver step, see `HISTORY`; totals per metre of the gridded part.
    times : list
        [s].
    """

    scenario: Scenario
    pieces: MixPieces
    hygiene_temperature: float
    later: MixPieces | None = None
    mix_nodes: np.ndarray = field(init=False)
    later_nodes: np.ndarray = field(init=False)
    temperatures: list[np.ndarray] = field(default_factory=list)
    later_temperatures: list[np.ndarray] = field(default_factory=list)
    hottest: np.ndarray = field(default_factory=lambda: np.zeros(0))
    past: deque[tuple[float, np.ndarray, np.ndarray]] = field(default_factory=deque)
    times: list[float] = field(default_factory=list)
    series: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in HISTORY})
    zone_temperature: list[np.ndarray] = field(default_factory=list)
    zone_oxygen: list[np.ndarray] = field(default_factory=list)
    daily_zone_oxygen: list[np.ndarray] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.mix_nodes = np.unique(self.pieces.quad_nodes)
        self.later_nodes = self.mix_nodes[:0] if self.later is None else np.unique(self.later.quad_nodes)

    def __call__(self, stepper: Stepper, moment: Moment) -> None:
        after, problem = moment.after, stepper.problem
        oxygen = problem.on_built(reported_oxygen(after.oxygen, problem.record.ambient_oxygen))
        temperature = problem.on_built(after.temperature)
        mixed_in = problem.numbers is not None and self.later is not None
        if not self.times:
            self.hottest = temperature.copy()
            self.past.append((after.time, np.zeros_like(oxygen), oxygen))
        else:
            _, total, last = self.past[-1]
            self.past.append((after.time, total + 0.5 * moment.step * (last + oxygen), oxygen))
        np.maximum(self.hottest, temperature, out=self.hottest)
        self.temperatures.append(temperature[self.mix_nodes])
        self.later_temperatures.append(temperature[self.later_nodes] if mixed_in else np.full(self.later_nodes.size, np.nan))
        pieces = self.later if mixed_in and self.later is not None else self.pieces
        self._record(stepper, moment, temperature, self._daily_mean(), pieces)

    def rule_progress(self) -> np.ndarray:
        """Share of the scenario's rule that each node of the mix has met, zero elsewhere: (count + 1,)."""
        out = np.zeros_like(self.hottest)
        out[self.mix_nodes] = progress(np.array(self.times), np.stack(self.temperatures), self.scenario.limits.rule)
        return out

    def _daily_mean(self) -> np.ndarray:
        """Mean oxygen of the last 24 hours (since the start before that)."""
        end, total, oxygen = self.past[-1]
        start = max(end - DAY, 0.0)
        if end <= start:
            return oxygen
        while len(self.past) > 2 and self.past[1][0] <= start:
            self.past.popleft()
        t0, i0, x0 = self.past[0]
        t1, _, x1 = self.past[1]
        part = start - t0
        level = x0 + (x1 - x0) * part / (t1 - t0)
        return (total - i0 - 0.5 * part * (x0 + level)) / (end - start)

    def _unaccounted(self, name: str, change: np.ndarray, moment: Moment, names: tuple[str, ...]) -> float:
        """What the budget cannot account for so far: change of storage less what crossed edges or was made."""
        so_far = self.series[name][-1] if self.series[name] else 0.0
        return so_far + float(change.sum()) - moment.step * sum(moment.totals[TOTALS.index(total)] for total in names)

    def _record(self, stepper: Stepper, moment: Moment, temperature: np.ndarray, daily: np.ndarray,
                pieces: MixPieces) -> None:
        after, p, limits = moment.after, stepper.problem, self.scenario.limits
        weight, zone_weight = pieces.node_weight, pieces.zone_node_weight
        totals = dict(zip(TOTALS, moment.totals, strict=True))
        inflow = -float(np.minimum(after.outflow, 0.0).sum())
        dry = stepper.props.dry_mass[MIX]
        gas = float(np.sum(p.mesh.volume[MIX] * _air(stepper)))
        air = outside_air(p, self.scenario, moment.before.time, after.time)
        activity = activity_of_air(air.temperature, air.humidity, p.record)
        ambient = dry_gas_concentration(
            air.temperature, vapour_pressure(air.temperature, activity, p.record), p.record)
        half_frozen = p.record.celsius_zero - 0.5 * p.record.freezing_range
        uptake = _into_ground(stepper, moment)
        stored = float((after.stored - moment.before.stored).sum())
        values = {
            "mean_temperature": float(weight @ temperature),
            "share_above_rule_temperature": share_above(temperature, limits.rule_temperature, pieces),
            "share_above_55": share_above(temperature, self.hygiene_temperature, pieces),
            "share_reached_55": share_above(self.hottest, self.hygiene_temperature, pieces),
            "anaerobic_share": share_below(daily, limits.anaerobic_oxygen, pieces),
            "anoxic_share": share_below(daily, ANOXIC, pieces),
            "air_intake": inflow * p.record.dry_air_molar_mass,
            "heat_released": totals["respiration_heat"],
            "heat_conducted_to_air": -totals["air_film"],
            "heat_carried_by_gas": -totals["gas_enthalpy"] - totals["vapour_film_heat"],
            "heat_to_ground": uptake - totals["ground_film"],
            "heat_stored": stored / moment.step - uptake if moment.step > 0.0 else 0.0,
            "heat_with_leachate": -totals["leachate_heat"] - totals["rain_heat"],
            "rain_taken_up": totals["rain"],
            "snow_on_pile": snow_on_pile(stepper),
            "water_carried_by_gas": -totals["gas_vapour"],
            "water_lost_by_film": -totals["vapour_film"],
            "metabolic_water": totals["metabolic"],
            "leachate": -totals["leachate"],
            "capped_share": _capped_share(stepper, pieces),
            "mix_water": float(stepper.props.water[MIX].sum()),
            "mix_dry_matter": float(dry.sum()),
            "frozen_share": share_below(temperature, half_frozen, pieces),
            "air_changes": 3600.0 * inflow / ambient / gas,
            "heat_unaccounted": self._unaccounted("heat_unaccounted", after.stored - moment.before.stored, moment,
                                                  HEAT_TOTALS),
            "water_unaccounted": self._unaccounted("water_unaccounted", after.water - moment.before.water, moment,
                                                   WATER_TOTALS),
        }
        if len(self.times) == 1:  # rates are known from the first step on; the start takes those of that step
            for name in RATES:
                self.series[name][0] = values[name]
        self.times.append(after.time)
        for name, value in values.items():
            self.series[name].append(value)
        self.zone_temperature.append(zone_weight @ temperature)
        self.zone_oxygen.append(zone_weight @ self.past[-1][2])
        self.daily_zone_oxygen.append(zone_weight @ daily)


def snow_on_pile(stepper: Stepper) -> float:
    """Ice and water of the snow on the pile [kg m-1]."""
    outside, skin = stepper.problem.outside, stepper.skin
    if outside is None or skin is None:
        return 0.0
    return float(np.sum((skin.ice + skin.water) * outside.pieces.area * outside.pieces.is_pile))


def _into_ground(stepper: Stepper, moment: Moment) -> float:
    """Rate at which the ground takes up heat [W m-1]."""
    if moment.step == 0.0:
        return 0.0
    p = stepper.problem
    dry = np.zeros_like(p.ground_capacity)
    stored = [np.empty_like(dry) for _ in range(2)]
    for state, out in zip((moment.before, moment.after), stored, strict=True):
        stored_enthalpies(state.temperature, dry, p.bed.ground_water, p.ground_capacity, out, p.record)
    return float(np.sum(stored[1] - stored[0])) / moment.step


def _capped_share(stepper: Stepper, pieces: MixPieces) -> float:
    """Share of the mix whose gain of permeability by drying and decay is held at its cap."""
    p = stepper.problem
    gain = stepper.props.permeability[MIX] / max(p.bed.permeability[MIX], 1e-300)
    return float(pieces.node_weight @ p.on_built(gain >= p.record.permeability_gain_cap * (1.0 - 1e-9)))


def _air(stepper: Stepper) -> np.ndarray:
    """Gas-filled share of the bulk volume at each node [1]."""
    volume = stepper.problem.pile_volume
    return np.divide(stepper.props.gas_volume, volume, out=np.zeros_like(volume), where=volume > 0)
