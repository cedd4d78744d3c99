"""What the formulas need of a scenario: sizes, means of the bed, laws as plain Python; and a stirred pile in balance.

Nothing is compiled and nothing is marched in time. The mix is taken as even, with the bulk density of its mean depth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from pilesim.balances.airflow import gas_density, gas_mobility
from pilesim.balances.physics import FULL, plain_run_record
from pilesim.base.compiled import plain
from pilesim.base.constants import constant_record, surface_record
from pilesim.build import check_room, ground_depth, scenario_grid
from pilesim.estimate.formulas import depth_under_cover, neutral_draught, stirred_oxygen, transmittance
from pilesim.inputs.laws import chosen_constants
from pilesim.inputs.records import BaseLayer, Cover, FileWeather, Mix, MonthlyWeather
from pilesim.inputs.scenario import Scenario
from pilesim.matter import bed as laws
from pilesim.matter import biology, moist_air
from pilesim.matter.atmosphere import standard_pressure
from pilesim.matter.hourly import HOUR_SECONDS, at_elevation, hour_places
from pilesim.matter.mix import at_depth, conductivity, free_air_space, settled_mix
from pilesim.matter.surface_gain import film_without_sky
from pilesim.section.grid import MIX, SectionGrid
from pilesim.section.operators import build_mesh

PARTS = 400  # of the outline, over which its skin is summed
_ROUNDS = 4  # of composition and draught: it weighs on the lift weakly, each gains a digit


@dataclass(frozen=True, slots=True)
class Layer:
    """Means of one material: free air space and porosity [1], permeability upwards and across [m2], conductivity [W m-1 K-1],
    oxygen diffusivity relative to free air [1]."""

    air: float
    porosity: float
    permeability: float
    across: float
    conductivity: float
    diffusivity: float


@dataclass(frozen=True, slots=True)
class Pile:
    """A scenario as the formulas see it; amounts per metre of length of the whole pile, or of the whole heap if it is round.

    Attributes
    ----------
    c : namespace
        Constants, laws and site values.
    volume, surface, floor : float
        Of the mix [m2, m3 if round]; skin between mix and air [m, m2] halfway through the cover; its floor [m, m2].
    height, half_width : float
        Of the mix; half of its base [m].
    depth : float
        Mean depth of the mix below its surface [m].
    enters, leaves, between, way : float
        Skin by which warm gas enters and leaves [m, m2], mean height between the two, and the straight way [m].
    steepness : float
        Share of the vertical in that way, squared [1].
    bulk_density : float
        Wet, at the mean depth [kg m-3].
    capacity : float
        Heat capacity of the mix [J m-3 K-1].
    water, degradable : float
        Of the mix [kg m-3].
    air_temperature, air_vapour, air_activity : float
        Outside [K], [Pa], relative to saturation over water or ice [1].
    film : float
        Heat transfer coefficient of the surface [W m-2 K-1].
    """

    scenario: Scenario
    mix: Mix
    c: SimpleNamespace
    volume: float
    surface: float
    floor: float
    height: float
    half_width: float
    depth: float
    enters: float
    leaves: float
    between: float
    way: float
    steepness: float
    bulk_density: float
    capacity: float
    water: float
    degradable: float
    bed: Layer
    cover: Layer
    base: Layer
    air_temperature: float
    air_vapour: float
    air_activity: float
    film: float

    @property
    def round(self) -> bool:
        """Whether amounts are those of a whole heap."""
        return self.scenario.pile.shape == "round"

    @property
    def chimney(self) -> bool:
        """Whether air enters at the floor and leaves at the top: a column with an open base layer."""
        return self.scenario.pile.shape == "column" and self.enters > 0.0

    @property
    def leakance(self) -> float:
        """Permeability over thickness of the cover [m]; infinite without one."""
        thickness = self.scenario.cover.thickness
        return self.scenario.cover.permeability / thickness if thickness > 0.0 else np.inf

    def transmittance(self, temperature: float) -> float:
        """Of cover and surface film under a mix of `temperature` [W m-2 K-1], latent heat of diffusing vapour included."""
        through = self.cover.conductivity + vapour_conductivity(self, temperature)
        return transmittance(self.film, [(self.scenario.cover.thickness, through)])

    @property
    def floor_transmittance(self) -> float:
        """Of base layer and ground, at rest [W m-2 K-1]."""
        ground, base = self.scenario.ground, self.scenario.base_layer
        depth = ground_depth(self.scenario.run.duration)
        return 1.0 / (base.thickness / self.base.conductivity + depth / ground.conductivity)


def pile_of(scenario: Scenario) -> Pile:
    """Sizes, means and laws of a scenario.

    Raises
    ------
    ScenarioError
        Where the outline or the bed is physically impossible.
    """
    mix = settled_mix(scenario.mix)
    constants = chosen_constants(scenario.laws)
    pressure = standard_pressure(scenario.site.elevation, constant_record(constants))
    c = plain_run_record(replace(FULL, constants=constants), pressure=pressure, ambient_density=1.0,
                         oxygen_demand=mix.oxygen_demand, respiratory_quotient=mix.respiratory_quotient)
    outer = surface_record(pressure, constants)
    air_temperature, humidity, wind = _air(scenario, outer)
    film = float(plain(film_without_sky)(wind, air_temperature, outer))
    activity = plain(moist_air.activity_of_air)(air_temperature, humidity, c)
    c.ambient_density = float(plain(gas_density)(air_temperature, activity, c.ambient_oxygen, c))
    grid = scenario_grid(scenario, 1)
    deepest = 1.0 + mix.compaction * (0.0 if grid.floor_row < 0 else scenario.pile.height)
    check_room("mix", mix, mix.bulk_density * deepest, c)
    for where, layer in (("cover", scenario.cover), ("base_layer", scenario.base_layer)):
        if layer.thickness > 0.0:
            check_room(where, layer, layer.bulk_density, c)
    sizes = _sizes(grid, scenario)
    density, _, permeability = at_depth(mix, sizes["depth"], c)
    dry = density * (1.0 - mix.moisture)
    organic = dry * mix.volatile_solids
    capacity = plain(laws.dry_heat_capacity)(organic, dry - organic, c) + c.water_heat_capacity * density * mix.moisture
    return Pile(
        scenario, mix, c, **sizes, height=scenario.pile.height, half_width=0.5 * scenario.pile.base_width,
        bulk_density=density, capacity=capacity, water=density * mix.moisture,
        degradable=organic * (mix.fast_fraction + mix.slow_fraction),
        bed=_layer(mix, density, permeability, permeability * mix.permeability_ratio, None, c),
        cover=_layer(scenario.cover, scenario.cover.bulk_density, scenario.cover.permeability, scenario.cover.permeability,
                     scenario.cover.conductivity, c),
        base=_layer(scenario.base_layer, scenario.base_layer.bulk_density, scenario.base_layer.permeability,
                    scenario.base_layer.permeability, scenario.base_layer.conductivity, c),
        air_temperature=air_temperature, air_vapour=float(plain(moist_air.vapour_pressure)(air_temperature, activity, c)),
        air_activity=float(activity), film=film)


def _air(scenario: Scenario, outer: np.record) -> tuple[float, float, float]:
    """Temperature [K], relative humidity [1] and wind [m s-1] outside: constant, or means of the month of building or of a
    file's hours during the run."""
    weather = scenario.weather
    if isinstance(weather, FileWeather):
        assert scenario.start.date is not None  # the inputs see to it
        hours = weather.hours
        if weather.lapse:
            hours = at_elevation(hours, scenario.site.elevation, outer, lapse=True)
        during = hour_places(hours, scenario.start.date, max(round(scenario.run.duration / HOUR_SECONDS), 1))
        temperature, humidity, wind = (float(column[during].mean()) for column in (
            hours.air_temperature, hours.relative_humidity, hours.wind_speed))
        return temperature, humidity, wind
    if isinstance(weather, MonthlyWeather):
        assert scenario.start.date is not None  # the inputs see to it
        month = scenario.start.date.month - 1
        return weather.air_temperature[month], weather.relative_humidity[month], weather.wind_speed[month]
    return weather.air_temperature, weather.relative_humidity, weather.wind_speed


def _layer(material: Mix | Cover | BaseLayer, density: float, permeability: float, across: float,
           given: float | None, c: Any) -> Layer:
    moisture, solids = material.moisture, material.volatile_solids
    air = max(free_air_space(density, moisture, solids, c), c.smallest_air_filled_porosity)
    porosity = air + density * moisture / c.water_density
    return Layer(air, porosity, permeability, across, given or conductivity(density, moisture, solids, c),
                 float(plain(laws.relative_gas_diffusivity)(air, porosity, c)))


def _sizes(grid: SectionGrid, scenario: Scenario) -> dict[str, float]:
    """Volumes, skins and heights of the whole pile (see `Pile`)."""
    mesh = build_mesh(grid)
    whole = 2.0 if grid.halved else 1.0
    own = mesh.quad_material == MIX
    weight = mesh.quarter_volume[own]
    line = grid.mix_surface[np.argsort(grid.mix_surface[:, 0], kind="stable")]
    slab = grid.floor_row < 0
    top = mesh.quarter_z[own] if slab else np.interp(mesh.quarter_x[own], line[:, 0], line[:, 1])
    depth = float((np.maximum(top - mesh.quarter_z[own], 0.0) * weight).sum() / weight.sum())
    inside = _to_ground(grid.mix_surface)
    x, z, area = _skin(grid.outer_surface, grid.axisymmetric)
    area = area * whole * 0.5 * (1.0 + _skin(inside, grid.axisymmetric)[2].sum() / area.sum())
    own_x = mesh.x[mesh.quad_nodes[own]]
    floor = np.pi * float(own_x.max()) ** 2 if grid.axisymmetric else whole * float(np.ptp(own_x))
    sizes = {"volume": whole * float(weight.sum()), "surface": float(area.sum()), "depth": depth,
             "floor": 0.0 if slab else floor, "enters": 0.0, "leaves": 0.0, "between": 0.0, "way": 0.0, "steepness": 1.0}
    if scenario.pile.shape == "column" and scenario.base_layer.edge == "open":  # a chimney: in at the floor, out at the top
        return sizes | {"enters": floor, "leaves": floor, "between": grid.overall_height, "way": scenario.pile.height}
    level, enters, leaves, between = neutral_draught(z, area)
    if slab or between <= 0.0:
        return sizes
    low = z < level
    across = abs(np.average(x[low], weights=area[low]) - np.average(x[~low], weights=area[~low]))
    way = float(np.hypot(across, between))
    return sizes | {"enters": enters, "leaves": leaves, "between": between, "way": way, "steepness": (between / way) ** 2}


def _to_ground(line: np.ndarray) -> np.ndarray:
    """A polyline prolonged straight down to z = 0 at both ends that stand above it and rise: past the base layer."""
    parts = [line]
    for end, beside in ((0, 1), (-1, -2)):
        rise = line[beside, 1] - line[end, 1]
        if rise > 0.0 and line[end, 1] > 0.0:
            foot = (line[end] - (line[beside] - line[end]) * line[end, 1] / rise)[None]
            parts = [foot, *parts] if end == 0 else [*parts, foot]
    return np.concatenate(parts)


def _skin(line: np.ndarray, turned: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Middles x, z [m] of equal parts of a polyline and their length [m], or area [m2] if `turned` about x = 0."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    ends = np.linspace(0.0, along[-1], PARTS + 1)
    middle = 0.5 * (ends[1:] + ends[:-1])
    x, z = (np.interp(middle, along, line[:, k]) for k in (0, 1))
    length = np.full(PARTS, along[-1] / PARTS)
    return np.abs(x), z, 2.0 * np.pi * x * length if turned else length


# ------------------------------------------------------------------------------------------------- a stirred pile
@dataclass(frozen=True, slots=True)
class Balance:
    """A stirred pile of one temperature, fresh; flows are of the whole pile per metre of length, or of the whole heap.

    Attributes
    ----------
    lift, push : float
        Of gas with the oxygen of air [Pa m-1], [Pa].
    flow, flow_unspent : float
        Dry gas drawn through [mol s-1], with the oxygen of the stirred pile and with that of air; negative downwards.
    speed : float
        Of the unspent flow through the skin by which it enters [m s-1].
    cover_share : float
        Share of the cover in the resistance to flow [1].
    uptake : float
        Of oxygen in plenty [mol m-3 s-1].
    reach, oxygen : float
        Depth that diffusion reaches [m]; mole fraction in the stirred pile [1].
    respiration, through_cover, with_gas, to_ground : float
        Heat [W]; that with gas for the unspent flow, `spent` is the share of it that the flow carries.
    water : float
        Carried off by the unspent flow [kg s-1].
    """

    temperature: float
    lift: float
    push: float
    flow: float
    flow_unspent: float
    speed: float
    cover_share: float
    uptake: float
    reach: float
    oxygen: float
    respiration: float
    through_cover: float
    with_gas: float
    spent: float
    to_ground: float
    water: float

    @property
    def surplus(self) -> float:
        """Heat that is left to warm the pile [W]."""
        return self.respiration - self.through_cover - self.spent * self.with_gas - self.to_ground


def balance_at(pile: Pile, temperature: float) -> Balance:
    """The stirred pile at `temperature` [K]: draught, what it brings and takes, oxygen and heat."""
    c = pile.c
    outside, uptake = c.ambient_oxygen, oxygen_uptake(pile, temperature)
    wanted = uptake * pile.volume
    reach = diffusion_reach(pile, temperature, uptake) if uptake > 0.0 else 0.0
    half = float(plain(biology.half_saturation)(float(plain(moist_air.vapour_pressure)(temperature, 1.0, c)), c))
    lift = lift_of(pile, temperature, outside)
    unspent, share = draught(pile, temperature, lift)
    flow, oxygen = unspent, outside
    for _ in range(_ROUNDS if uptake > 0.0 else 0):
        oxygen = stirred_oxygen(abs(flow), outside, wanted, half)
        flow, _ = draught(pile, temperature, lift_of(pile, temperature, oxygen))
    taken = min(abs(flow) * (outside - oxygen) + uptake * reach * pile.surface, wanted)
    air_ratio, ratio = vapour_ratio(pile, pile.air_temperature, pile.air_activity)[0], vapour_ratio(pile, temperature)[0]
    brought = float(plain(moist_air.moist_enthalpy)(pile.air_temperature, air_ratio, c))
    carried = float(plain(moist_air.moist_enthalpy)(temperature, ratio, c))
    return Balance(
        temperature=temperature, lift=lift, push=abs(lift) * pile.between, flow=flow, flow_unspent=unspent,
        speed=abs(unspent) / (dry_gas(pile, temperature) * pile.enters) if pile.enters else 0.0, cover_share=share,
        uptake=uptake, reach=reach, oxygen=oxygen, respiration=taken * c.oxygen_molar_mass * c.heat_per_oxygen,
        through_cover=pile.transmittance(temperature) * pile.surface * (temperature - pile.air_temperature),
        with_gas=abs(unspent) * (carried - brought), spent=abs(flow / unspent) if unspent else 1.0,
        to_ground=pile.floor_transmittance * pile.floor * (temperature - pile.scenario.ground.deep_temperature),
        water=abs(unspent) * (ratio - air_ratio))


def lift_of(pile: Pile, temperature: float, oxygen: float) -> float:
    """Lift of saturated gas with `oxygen` [1] against the air outside [Pa m-1]."""
    c = pile.c
    return float(c.gravity * (c.ambient_density - plain(gas_density)(temperature, 1.0, oxygen, c)))


def draught(pile: Pile, temperature: float, lift: float) -> tuple[float, float]:
    """Dry gas drawn through the pile [mol s-1] (negative: downwards) and the cover's share of the resistance [1]."""
    if pile.between <= 0.0:
        return 0.0, 0.0
    skin = 1.0 / pile.enters + 1.0 / pile.leaves
    cover = (1.0 / pile.leaves if pile.chimney else skin) / pile.leakance
    slanted = pile.steepness / pile.bed.permeability + (1.0 - pile.steepness) / pile.bed.across
    inside = 0.5 * skin * pile.way * slanted
    mobility = float(plain(gas_mobility)(temperature, 1.0, pile.c))
    return mobility * lift * pile.between / (cover + inside), cover / (cover + inside)


def vapour_conductivity(pile: Pile, temperature: float) -> float:
    """What diffusing vapour adds to the cover's conductivity between `temperature` and the air's [W m-1 K-1].

    n_d D_v L (Y - Y_a) / (T - T_a), the cover wet, gas properties of the middle. Source: deVries1963.
    """
    c, span = pile.c, temperature - pile.air_temperature
    if span == 0.0:
        return 0.0
    warm, cold = (float(plain(moist_air.vapour_ratio)(at, 1.0, c)[0]) for at in (temperature, pile.air_temperature))
    middle = 0.5 * (temperature + pile.air_temperature)
    vapour = float(plain(moist_air.vapour_pressure)(middle, 1.0, c))
    dry = float(plain(moist_air.dry_gas_concentration)(middle, vapour, c))
    through = oxygen_diffusion(pile, middle)[1] * c.vapour_diffusivity_ratio
    return dry * through * c.vapour_diffusion_enthalpy * (warm - cold) / span


def oxygen_uptake(pile: Pile, temperature: float) -> float:
    """Oxygen that the fresh mix takes up with oxygen in plenty [mol m-3 s-1]."""
    c, mix = pile.c, pile.mix
    organic = pile.bulk_density * (1.0 - mix.moisture) * mix.volatile_solids
    rate = organic * (mix.fast_fraction * mix.fast_rate + mix.slow_fraction * mix.slow_rate)
    factor = plain(biology.moisture_factor)(mix.moisture, c) * plain(biology.air_space_factor)(pile.bed.air, c)
    warmth = float(plain(biology.temperature_factor)(temperature, c)[0])
    return float(rate * factor * warmth * mix.oxygen_demand / c.oxygen_molar_mass)


def dry_gas(pile: Pile, temperature: float, vapour: float | None = None) -> float:
    """Dry gas [mol m-3] at `temperature` [K] and `vapour` pressure [Pa], by default saturated."""
    if vapour is None:
        vapour = float(plain(moist_air.vapour_pressure)(temperature, 1.0, pile.c))
    return float(plain(moist_air.dry_gas_concentration)(temperature, vapour, pile.c))


def vapour_ratio(pile: Pile, temperature: float, activity: float = 1.0) -> tuple[float, float]:
    """Vapour per dry gas [kg mol-1] and its slope [kg mol-1 K-1]."""
    ratio, slope, _ = plain(moist_air.vapour_ratio)(temperature, activity, pile.c)
    return float(ratio), float(slope)


def oxygen_diffusion(pile: Pile, temperature: float) -> tuple[float, float]:
    """Effective diffusivity of oxygen in mix and cover [m2 s-1]."""
    free = float(plain(moist_air.oxygen_diffusivity)(temperature, pile.c))
    return free * pile.bed.diffusivity, free * pile.cover.diffusivity


def diffusion_reach(pile: Pile, temperature: float, uptake: float) -> float:
    """Depth below the cover that diffusing oxygen reaches [m]; at most volume over skin."""
    own, through = oxygen_diffusion(pile, temperature)
    depth = depth_under_cover(own, dry_gas(pile, temperature) * pile.c.ambient_oxygen, uptake, pile.scenario.cover.thickness,
                              through)
    return min(depth, pile.volume / pile.surface)
