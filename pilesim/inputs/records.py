"""What a scenario holds, one frozen record per table: SI and kelvin, angles in radians, shares as 0 to 1."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pilesim.inputs.hourly import HourlyWeather
    from pilesim.inputs.library import Feedstock

from pilesim.inputs.rules import Rule


@dataclass(frozen=True, slots=True)
class Site:
    """Elevation above sea level [m]; latitude and slope aspect (clockwise from north) [rad] or None."""

    elevation: float
    latitude: float | None
    slope_aspect: float | None


@dataclass(frozen=True, slots=True)
class Weather:
    """Constant weather: air temperature [K], relative humidity [1], wind speed [m s-1] and where it comes from [rad] or
    None; height of drifted snow that lets no air in [m] or None."""

    kind: str
    air_temperature: float
    relative_humidity: float
    wind_speed: float
    wind_direction: float | None = None
    drift_height: float | None = None


@dataclass(frozen=True, slots=True)
class ColdSnap:
    """Cold spell: start since the build [s], duration [s], by how much the air is colder [K]."""

    start: float
    duration: float
    temperature_drop: float


@dataclass(frozen=True, slots=True)
class MonthlyWeather:
    """Monthly climate, twelve values each from January on: mean air temperature [K], relative humidity [1], wind
    speed [m s-1], daily range (afternoon above night) [K]; and a cold snap or None. Wind direction and drift as `Weather`."""

    kind: str
    air_temperature: tuple[float, ...]
    relative_humidity: tuple[float, ...]
    wind_speed: tuple[float, ...]
    daily_range: tuple[float, ...]
    cold_snap: ColdSnap | None
    wind_direction: float | None = None
    drift_height: float | None = None


@dataclass(frozen=True, slots=True)
class FileWeather:
    """Hourly weather of a file; equal to another if path and lapse are.

    `lapse`: its air temperature is brought to the site's elevation; `drift_height` as `Weather`.
    """

    kind: str
    path: str
    lapse: bool
    drift_height: float | None
    hours: HourlyWeather = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Pile:
    """Outline of the mix, height above the base layer [m]; one of side slope [rad] and crest width [m].

    outline: points (x, z) [m] of half a polygon from toe to axis, or None; base_width and height follow from it.
    """

    shape: str
    base_width: float
    height: float
    side_slope: float | None
    crest_width: float | None
    length: float | None
    section: str
    outline: tuple[tuple[float, float], ...] | None = None


@dataclass(frozen=True, slots=True)
class Cover:
    """Cover outside the mix: thickness normal to the surface [m], permeability in place [m2], wet bulk
    density [kg m-3], moisture (wet basis), volatile solids (of dry matter), slow fraction (of volatile
    solids) [1], slow rate [s-1], conductivity [W m-1 K-1] or None for the value computed from water and
    density; `valve`: permeability follows its own water."""

    thickness: float
    permeability: float
    bulk_density: float
    moisture: float
    volatile_solids: float
    slow_fraction: float
    slow_rate: float
    conductivity: float | None
    valve: bool


@dataclass(frozen=True, slots=True)
class BaseLayer:
    """Porous layer under the mix, units as `Cover`; `edge` is 'closed' or 'open' to the air."""

    thickness: float
    permeability: float
    bulk_density: float
    moisture: float
    volatile_solids: float
    conductivity: float | None
    edge: str


@dataclass(frozen=True, slots=True)
class Mix:
    """The composting mix at its surface: wet bulk density [kg m-3], moisture (wet basis), volatile solids
    (of dry matter), permeability in place, upwards [m2], the one across over it [1], compaction (growth of bulk
    density with depth) [m-1], fast and slow fractions (of volatile solids), their rates [s-1], oxygen demand
    [kg kg-1], respiratory quotient [1]."""

    bulk_density: float
    moisture: float
    volatile_solids: float
    permeability: float
    permeability_ratio: float
    compaction: float
    fast_fraction: float
    slow_fraction: float
    fast_rate: float
    slow_rate: float
    oxygen_demand: float
    respiratory_quotient: float


@dataclass(frozen=True, slots=True)
class Ingredient:
    """An amount of a feedstock: mass [kg], loose volume [m3] or number of buckets, as `measure` says (mass, volume,
    buckets)."""

    feedstock: Feedstock
    amount: float
    measure: str


@dataclass(frozen=True, slots=True)
class MixFromIngredients:
    """A mix by its ingredients, size of a bucket [m3] or None, and the share of their volumes that mixing loses [1].

    The other fields are those of `Mix`, None where the scenario leaves them to be derived from the ingredients; and the
    registry values that the scenario's ``[laws]`` replace (SI).
    """

    ingredients: tuple[Ingredient, ...]
    bucket: float | None
    volume_loss: float
    bulk_density: float | None
    moisture: float | None
    volatile_solids: float | None
    permeability: float | None
    permeability_ratio: float | None
    compaction: float | None
    fast_fraction: float | None
    slow_fraction: float | None
    fast_rate: float | None
    slow_rate: float | None
    oxygen_demand: float | None
    respiratory_quotient: float | None
    constants: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Start:
    """Date of building or None, temperature of everything built [K], share of the mix's water that is ice [1], seeding
    (mature, mixed or surface)."""

    date: datetime.date | None
    temperature: float
    ice: float
    seeding: str


@dataclass(frozen=True, slots=True)
class Ground:
    """Deep temperature [K], conductivity [W m-1 K-1], heat capacity per volume [J m-3 K-1]."""

    material: str
    deep_temperature: float
    conductivity: float
    heat_capacity: float


@dataclass(frozen=True, slots=True)
class Run:
    """Duration and output interval [s], nominal node spacing of the fine grid [m]."""

    duration: float
    output_every: float
    cell: float


@dataclass(frozen=True, slots=True)
class Turn:
    """A turning: time since the build [s], mixing ('throughout' or 'outside in'), share of the mix that is moved [1], volumes
    of outdoor air that a volume of it meets [1], share of the compaction with depth that is undone [1]; cover ('put back',
    'mixed in' or 'taken away'; of a pile without one 'put back')."""

    time: float
    mixing: str
    share: float
    air_exchanged: float
    loosening: float
    cover: str = "put back"


@dataclass(frozen=True, slots=True)
class Laws:
    """Named choices where the literature conflicts (see ``pilesim.inputs.laws``)."""

    free_air_space: str
    gas_diffusion: str
    temperature: str
    oxygen_limit: str
    oxygen_heat: str


@dataclass(frozen=True, slots=True)
class Limits:
    """The time-temperature rule; the mole fraction of oxygen in dry pore gas below which the mix counts as anaerobic [1]."""

    rule: Rule
    anaerobic_oxygen: float

    @property
    def rule_temperature(self) -> float:
        """Of the rule's first alternative [K]."""
        return self.rule.alternatives[0].temperature

    @property
    def rule_duration(self) -> float:
        """Of the rule's first alternative [s]."""
        return self.rule.alternatives[0].duration
