"""The constants registry: every number a formula uses, once, with unit, range and source.

Values are SI. ``where`` is the page, table or equation of the source in hand; until someone has it, it reads
``TO CHECK``. Compiled kernels receive all values as one NumPy record (see :func:`constant_record`), never as
globals, so an edited value cannot be frozen into a compilation cache.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np

from pilesim.base.sources import SOURCES
from pilesim.base.surface_constants import SURFACE_ROWS


@dataclass(frozen=True, slots=True)
class Constant:
    """One number with its unit, the range its source supports, and the source.

    Raises
    ------
    KeyError
        If the source key is unknown.
    ValueError
        If the value lies outside its own range.
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    source: str
    where: str
    note: str = ""

    def __post_init__(self) -> None:
        if self.source not in SOURCES:
            raise KeyError(f"constant '{self.name}' cites '{self.source}', which sources.py lacks")
        if not self.low <= self.value <= self.high:
            raise ValueError(f"constant '{self.name}' = {self.value} lies outside {self.low} to {self.high}")


def _exact(name: str, value: float, unit: str, source: str, note: str = "") -> Constant:
    return Constant(name, value, unit, value, value, source, "TO CHECK", note)


_T = "TO CHECK"
_ALL = (
    # --- universal and moist air ---------------------------------------------------------------------------
    _exact("gas_constant", 8.314462618, "J mol-1 K-1", "CODATA2018"),
    _exact("gravity", 9.80665, "m s-2", "USSA1976"),
    _exact("standard_pressure", 101325.0, "Pa", "USSA1976"),
    _exact("pressure_lapse", 2.25577e-5, "m-1", "USSA1976", "closed form of the troposphere, geopotential height"),
    _exact("pressure_exponent", 5.25588, "1", "USSA1976"),
    _exact("celsius_zero", 273.15, "K", "ExactMathematics"),
    _exact("dry_air_molar_mass", 0.0289647, "kg mol-1", "IUPAC"),
    _exact("water_molar_mass", 0.01801528, "kg mol-1", "IUPAC"),
    _exact("oxygen_molar_mass", 0.0319988, "kg mol-1", "IUPAC"),
    _exact("carbon_dioxide_molar_mass", 0.0440095, "kg mol-1", "IUPAC"),
    _exact("inert_gas_molar_mass", 0.0281545, "kg mol-1", "IUPAC", "nitrogen with 1.2 % argon by volume"),
    Constant("ambient_oxygen", 0.2095, "1", 0.209, 0.21, "USSA1976", _T, "mole fraction of dry air"),
    Constant("ambient_carbon_dioxide", 0.0004, "1", 0.0003, 0.0005, "CommonPractice", _T, "mole fraction of dry air"),
    Constant("saturation_a", 34.494, "1", 34.4, 34.6, "Huang2018", "equation for water", "recalled from memory"),
    Constant("saturation_b", 4924.99, "K", 4900, 4950, "Huang2018", "equation for water", "recalled from memory"),
    Constant("saturation_c", 237.1, "K", 236, 238, "Huang2018", "equation for water", "recalled from memory"),
    Constant("saturation_d", 105.0, "K", 104, 106, "Huang2018", "equation for water", "recalled from memory"),
    Constant("saturation_e", 1.57, "1", 1.5, 1.6, "Huang2018", "equation for water", "recalled from memory"),
    Constant("dry_air_heat_capacity", 1006.0, "J kg-1 K-1", 1004, 1010, "ASHRAE", _T),
    Constant("vapour_heat_capacity", 1860.0, "J kg-1 K-1", 1840, 1900, "ASHRAE", _T),
    Constant("water_heat_capacity", 4190.0, "J kg-1 K-1", 4178, 4220, "IAPWS95", _T),
    Constant("latent_heat_of_vaporisation", 2.5009e6, "J kg-1", 2.5e6, 2.502e6, "IAPWS95", _T, "at 0 degC"),
    Constant("ice_saturation_a", 43.494, "1", 43.4, 43.6, "Huang2018", "equation for ice", "recalled from memory"),
    Constant("ice_saturation_b", 6545.8, "K", 6540, 6550, "Huang2018", "equation for ice", "recalled from memory"),
    Constant("ice_saturation_c", 278.0, "K", 277, 279, "Huang2018", "equation for ice", "recalled from memory"),
    Constant("ice_saturation_d", 868.0, "K", 860, 876, "Huang2018", "equation for ice", "recalled from memory"),
    Constant("ice_saturation_e", 2.0, "1", 1.9, 2.1, "Huang2018", "equation for ice", "recalled from memory"),
    Constant("latent_heat_of_fusion", 3.336e5, "J kg-1", 3.33e5, 3.34e5, "IAPWS95", _T),
    Constant("ice_heat_capacity", 2100.0, "J kg-1 K-1", 1900, 2110, "deVries1963", _T),
    Constant("ice_density", 917.0, "kg m-3", 915, 920, "deVries1963", _T),
    Constant("ice_conductivity", 2.2, "W m-1 K-1", 2.2, 2.5, "deVries1963", _T),
    Constant("freezing_range", 1.0, "K", 0.2, 2.0, "Guess", _T, "water freezes evenly from 0 degC down over this range"),
    Constant("vapour_diffusion_enthalpy", 2.6e6, "J kg-1", 2.5e6, 2.64e6, "IAPWS95", _T,
             "enthalpy of diffusing vapour above liquid at 0 degC, taken constant (value at 53 degC)"),
    Constant("viscosity_coefficient", 1.458e-6, "Pa s K-0.5", 1.45e-6, 1.47e-6, "Sutherland", _T),
    Constant("viscosity_temperature", 110.4, "K", 110, 111, "Sutherland", _T),
    Constant("vapour_viscosity_at_zero", 8.884e-6, "Pa s", 8.7e-6, 9.3e-6, "IAPWS95", "fit to CoolProp, 20 to 70 degC",
             "saturated vapour at 0 degC, linear fit"),
    Constant("vapour_viscosity_slope", 3.30e-8, "Pa s K-1", 3.0e-8, 4.0e-8, "IAPWS95", "fit to CoolProp, 20 to 70 degC"),
    Constant("oxygen_diffusivity", 2.01e-5, "m2 s-1", 1.9e-5, 2.2e-5, "Glinski1985", "table, 20 degC",
             "in air at 20 degC and standard pressure"),
    _exact("diffusivity_reference_temperature", 293.15, "K", "Glinski1985"),
    Constant("diffusivity_exponent", 1.75, "1", 1.7, 1.85, "Monteith2013", _T),
    Constant("vapour_diffusivity_ratio", 1.25, "1", 1.2, 1.3, "Monteith2013", _T,
             "water vapour over oxygen, both in air; 1.245 at 20 degC, 1.255 at 60 degC"),
    # --- bed ---------------------------------------------------------------------------------------------------
    Constant("water_density", 1000.0, "kg m-3", 958, 1000, "IAPWS95", _T),
    Constant("organic_particle_density", 1600.0, "kg m-3", 1550, 1650, "vanGinkel1999", _T),
    Constant("ash_particle_density", 2500.0, "kg m-3", 2400, 2700, "vanGinkel1999", _T),
    Constant("organic_heat_capacity", 1500.0, "J kg-1 K-1", 1050, 1920, "Haug1993", _T,
             "dry solids; sources disagree (1.05 to 1.92 kJ/kg/K)"),
    Constant("ash_heat_capacity", 850.0, "J kg-1 K-1", 750, 950, "deVries1963", _T),
    Constant("dry_bed_conductivity", 0.05, "W m-1 K-1", 0.03, 0.08, "Ahn2009", _T),
    Constant("solid_conductivity", 0.3, "W m-1 K-1", 0.25, 0.5, "deVries1963", _T),
    Constant("water_conductivity", 0.57, "W m-1 K-1", 0.56, 0.65, "deVries1963", _T),
    Constant("diffusion_porosity_exponent", 2.5, "1", 1.5, 3.3, "Moldrup2000", _T,
             "laws differ tenfold in wet beds"),
    _exact("diffusion_total_porosity_exponent", 0.5, "1", "Moldrup2000"),
    _exact("kozeny_numerator_exponent", 3.0, "1", "KozenyCarman"),
    _exact("kozeny_denominator_exponent", 2.0, "1", "KozenyCarman"),
    Constant("permeability_gain_cap", 3.0, "1", 1, 10, "Guess", _T, "largest gain by drying and decay"),
    Constant("smallest_air_filled_porosity", 0.005, "1", 1e-4, 0.02, "Guess", _T, "keeps laws finite in a flooded bed"),
    Constant("water_activity_coefficient", 27.6, "1", 15, 40, "Tuned", _T,
             "gives 0.45 at 0.1 and 0.85 at 0.2 kg water per kg dry matter"),
    Constant("water_activity_exponent", 1.665, "1", 1.3, 2.0, "Tuned", _T),
    Constant("capillary_diffusivity", 2e-8, "m2 s-1", 4e-9, 1e-7, "Guess", _T),
    Constant("capillary_exponent", 3.0, "1", 2, 4, "Guess", _T),
    Constant("field_capacity_air_space", 0.25, "1", 0.15, 0.35, "Guess", _T, "free air space below which water drains"),
    Constant("drainage_velocity", 2e-6, "m s-1", 4e-7, 1e-5, "Guess", _T),
    # --- biology -----------------------------------------------------------------------------------------------
    Constant("temperature_minimum", 275.15, "K", 273.15, 278.15, "Rosso1993", _T, "2 degC; literature 5 degC"),
    Constant("temperature_optimum", 330.15, "K", 328.15, 333.15, "Rosso1993", _T, "57 degC; literature 58.6 degC"),
    Constant("temperature_maximum", 345.15, "K", 343.15, 353.15, "Rosso1993", _T, "72 degC; literature 71.6 degC"),
    Constant("oxygen_half_saturation", 0.015, "1", 0.005, 0.02, "Richard2006", _T,
             "as partial pressure over standard pressure; handbook 0.02 is high"),
    Constant("moisture_factor_slope", 17.684, "1", 15, 20, "Haug1993", _T, "recalled from memory"),
    Constant("moisture_factor_offset", 7.0622, "1", 6, 8, "Haug1993", _T, "recalled from memory"),
    Constant("air_space_factor_slope", 23.675, "1", 20, 27, "Haug1993", _T, "recalled from memory"),
    Constant("air_space_factor_offset", 3.4945, "1", 3, 4, "Haug1993", _T, "recalled from memory"),
    Constant("activity_growth_rate", 0.15 / 3600.0, "s-1", 0.05 / 3600, 0.3 / 3600, "Tuned", _T,
             "logistic growth of the microbial activity at the best conditions, 0.15 per hour"),
    Constant("seeded_depth", 0.20, "m", 0.05, 0.5, "Guess", _T, "of the layer under the cover that surface seeding reaches"),
    Constant("mixed_activity", 0.02, "1", 0.005, 0.2, "Guess", _T, "at the start, finished compost mixed in evenly"),
    Constant("unseeded_activity", 0.001, "1", 1e-4, 0.02, "Guess", _T, "at the start, where no seed is put"),
    Constant("heat_per_oxygen", 14.0e6, "J kg-1", 13.1e6, 14.2e6, "Finstein", _T),
    Constant("metabolic_water", 0.52, "kg kg-1", 0.31, 1.03, "Stoichiometry", _T, "per mass of substrate oxidised"),
    Constant("composition_relaxation_time", 3600.0, "s", 1800, 10800, "Guess", _T,
             "of the gas composition used in the gas density only"),
    # --- surface and ground --------------------------------------------------------------------------------------
    Constant("convective_still_air_coefficient", 2.8, "W m-2 K-1", 2, 4, "Watmuff1977", _T, "without radiation"),
    Constant("convective_wind_coefficient", 3.0, "W s m-3 K-1", 2.5, 4, "Watmuff1977", _T, "without radiation"),
    Constant("wind_law_limit", 5.0, "m s-1", 4.5, 5.5, "McAdams1954", _T),
    Constant("wind_exponent", 0.78, "1", 0.75, 0.8, "McAdams1954", _T, "above the limit, joined continuously"),
    Constant("convection_pressure_exponent", 0.8, "1", 0.5, 0.8, "Incropera", _T),
    Constant("ground_conductivity", 1.2, "W m-1 K-1", 0.25, 2.5, "deVries1963", _T, "moist mineral soil"),
    Constant("ground_heat_capacity", 2.2e6, "J m-3 K-1", 1.2e6, 3.2e6, "deVries1963", _T, "moist mineral soil"),
    Constant("ground_water", 250.0, "kg m-3", 50, 400, "deVries1963", _T, "freezable water of moist mineral soil"),
    Constant("ground_depth", 3.0, "m", 2, 10, "Guess", _T, "runs up to 90 days"),
    Constant("ground_depth_long", 4.0, "m", 3, 15, "Guess", _T, "longer runs"),
    Constant("ground_long_run", 90.0 * 86400.0, "s", 30 * 86400, 180 * 86400, "Guess", _T, "from here on the deeper ground"),
    Constant("ground_profile_depth", 3.0, "m", 1, 10, "Guess", _T,
             "temperature at the start is linear from the surface to here, then that of the deep ground"),
    Constant("ground_width", 3.0, "m", 2, 10, "Guess", _T, "beyond the toe"),
    # --- defaults of the mix ---------------------------------------------------------------------------------------
    Constant("mix_bulk_density", 500.0, "kg m-3", 150, 1100, "vanGinkel1999", _T, "wet, at the surface of the mix"),
    Constant("mix_moisture", 0.58, "1", 0.2, 0.8, "Haug1993", _T, "wet basis"),
    Constant("mix_volatile_solids", 0.80, "1", 0.3, 0.99, "Haug1993", _T, "share of dry matter"),
    Constant("mix_permeability", 5e-8, "m2", 3e-10, 3e-7, "Tuned", _T, "coarse, bulked, in place, at surface density"),
    Constant("mix_permeability_ratio", 1.0, "1", 1.0, 5.2, "MSWAnisotropy", "abstract",
             "across over upwards; 1.26 to 5.17 for water in waste under 50 to 400 kPa, a pile of 2 m bears 10 kPa and is "
             "tipped, not rolled: 1"),
    Constant("mix_compaction", 0.12, "m-1", 0.0, 0.5, "Das1997", _T, "growth of bulk density with depth"),
    Constant("mix_fast_fraction", 0.20, "1", 0.05, 0.5, "Haug1993", _T, "of volatile solids"),
    Constant("mix_slow_fraction", 0.25, "1", 0.05, 0.5, "Haug1993", _T, "of volatile solids"),
    Constant("mix_fast_rate", 0.15 / 86400.0, "s-1", 0.02 / 86400, 0.4 / 86400, "Tuned", _T,
             "0.15 per day at the optimum; literature 0.10"),
    Constant("mix_slow_rate", 0.012 / 86400.0, "s-1", 0.005 / 86400, 0.03 / 86400, "Kulikowska2015", _T),
    Constant("mix_oxygen_demand", 1.4, "kg kg-1", 1.07, 2.8, "Stoichiometry", _T, "per mass of substrate"),
    Constant("mix_respiratory_quotient", 0.95, "1", 0.7, 1.04, "Stoichiometry", _T, "mol carbon dioxide per mol oxygen"),
    Constant("mix_volume_loss", 0.10, "1", 0.0, 0.30, "CommonPractice", _T,
             "of the volumes of the loads when they are mixed: fine material fills the pores of coarse; no source"),
    Constant("ergun_viscous_coefficient", 150.0, "1", 150.0, 180.0, "Ergun1952", _T, "180 is the form after Carman"),
    Constant("carbon_of_organic_matter", 1.0 / 1.8, "kg kg-1", 0.45, 0.60, "Gotaas1956", "equation 3.6",
             "for feedstocks whose carbon is not given"),
    Constant("degradable_intercept", 0.83, "1", 0.80, 0.85, "Chandler1980", _T, "degradable share without lignin"),
    Constant("degradable_slope", 2.8, "1", 2.5, 3.0, "Chandler1980", _T, "loss of degradable share per share of lignin"),
    Constant("usual_water_ratio", 8.0, "kg kg-1", 7.0, 10.0, "Haug1993", _T,
             "water per degradable matter above which the heat hardly lasts; recalled from memory"),
    Constant("balanced_degradable_carbon_ratio", 20.0, "1", 15.0, 25.0, "RateSynthesis", _T,
             "degradable carbon to nitrogen below which more nitrogen is set free than the microbes bind"),
    Constant("target_moisture_low", 0.45, "1", 0.40, 0.55, "Cooperband2002", "table 1 in a copy", "wet basis, of a new mix"),
    Constant("target_moisture_high", 0.60, "1", 0.60, 0.65, "Cooperband2002", "table 1 in a copy", "wet basis, of a new mix"),
    Constant("target_carbon_to_nitrogen_low", 25.0, "1", 20.0, 30.0, "Cooperband2002", "table 1 in a copy"),
    Constant("target_carbon_to_nitrogen_high", 35.0, "1", 30.0, 40.0, "Cooperband2002", "table 1 in a copy"),
    Constant("target_air_space_low", 0.35, "1", 0.30, 0.40, "CommonPractice", _T, "of a new mix"),
    Constant("target_air_space_high", 0.60, "1", 0.55, 0.70, "CommonPractice", _T, "of a new mix"),
    # --- defaults of the cover and the base layer ------------------------------------------------------------------
    Constant("cover_thickness", 0.20, "m", 0.0, 1.0, "CommonPractice", _T),
    Constant("cover_permeability", 5e-10, "m2", 1e-11, 1e-7, "Tuned", _T, "in place, moist; literature 1e-9 is for dry"),
    Constant("dry_compost_permeability", 1e-9, "m2", 1e-11, 1e-8, "Poulsen2007", _T,
             "finished compost, dry, for orientation in pictures only; order of magnitude recalled from memory"),
    Constant("loose_chip_permeability", 1e-8, "m2", 2e-9, 1e-7, "Ernstson1993", _T,
             "loose chipped cover, for orientation in pictures only; order of magnitude recalled from memory"),
    Constant("cover_bulk_density", 550.0, "kg m-3", 200, 900, "vanGinkel1999", _T, "wet"),
    Constant("cover_moisture", 0.40, "1", 0.1, 0.7, "Haug1993", _T, "wet basis"),
    Constant("cover_volatile_solids", 0.50, "1", 0.2, 0.95, "Haug1993", _T, "share of dry matter"),
    Constant("cover_slow_fraction", 0.06, "1", 0.0, 0.2, "Haug1993", _T, "of volatile solids"),
    Constant("cover_slow_rate", 0.008 / 86400.0, "s-1", 0.0, 0.02 / 86400, "Haug1993", _T),
    Constant("base_thickness", 0.20, "m", 0.0, 1.0, "CommonPractice", _T),
    Constant("base_permeability", 3e-7, "m2", 1e-9, 1e-6, "Ernstson1993", _T, "wood chips"),
    Constant("base_bulk_density", 250.0, "kg m-3", 120, 400, "Ernstson1993", _T, "wet wood chips"),
    Constant("base_moisture", 0.35, "1", 0.1, 0.65, "Ernstson1993", _T, "wet basis"),
    Constant("base_volatile_solids", 0.97, "1", 0.8, 0.99, "Ernstson1993", _T, "share of dry matter"),
    # --- defaults of weather, start, run and limits ------------------------------------------------
    Constant("weather_relative_humidity", 0.70, "1", 0.0, 1.0, "CommonPractice", _T, "typical outdoor air"),
    Constant("weather_wind_speed", 2.0, "m s-1", 0.0, 10.0, "CommonPractice", _T, "light breeze near the ground"),
    Constant("warmest_hour", 15 * 3600.0, "s", 13 * 3600.0, 17 * 3600.0, "CommonPractice", _T,
             "after midnight; the coldest is half a day away"),
    Constant("cold_snap_ramp", 6 * 3600.0, "s", 3600.0, 24 * 3600.0, "Guess", _T,
             "time in which a cold snap sets in and ends, inside its duration"),
    Constant("start_temperature", 293.15, "K", 273.15, 313.15, "CommonPractice", _T, "20 degC, freshly mixed"),
    Constant("ground_deep_temperature", 283.15, "K", 263.15, 303.15, "CommonPractice", _T,
             "10 degC; follows the yearly mean of the air"),
    Constant("run_output_every", 43200.0, "s", 60.0, 864000.0, "Guess", _T, "12 hours; changes no measure"),
    Constant("largest_vapour_share", 0.98, "1", 0.9, 0.999, "Guess", _T,
             "of the total pressure: pore gas never becomes pure steam; a bed stays far below it"),
    Constant("plume_permeability", 1e-7, "m2", 3e-8, 3e-7, "Guess", _T,
             "a wide pile of at least this permeability convects in plumes that no grid settles: the run says so"),
    Constant("capped_share_caution", 0.5, "1", 0.1, 1.0, "Guess", _T,
             "more of the mix than this at the cap of the gain of permeability: the run says so"),
    Constant("oxygen_budget_caution", 1e-3, "1", 1e-4, 1e-2, "Guess", _T,
             "a larger error of the oxygen budget, of throughput: the run says so"),
    Constant("time_error_temperature", 0.05, "K", 0.0, 0.5, "Guess", _T,
             "error of time steps and iteration, added to that of the grid; measured by tighter steps on ten scenarios"),
    Constant("time_error_share", 1e-3, "1", 0.0, 0.02, "Guess", _T, "the same for shares of the mix"),
    Constant("time_error_zone_share", 2e-3, "1", 0.0, 0.05, "Guess", _T,
             "the same for shares of one zone, which is less than the mix: 1.3e-3 was seen"),
    Constant("time_error_days", 8640.0, "s", 0.0, 43200.0, "Guess", _T, "the same for days on which something is reached"),
    Constant("time_error_oxygen", 5e-4, "1", 0.0, 0.01, "Guess", _T, "the same for oxygen, mole fraction"),
    Constant("time_error_relative", 1e-3, "1", 0.0, 0.02, "Guess", _T, "the same for losses and air changes, of the value"),
    Constant("water_loss_error_factor", 2.5, "1", 1.0, 4.0, "Guess", _T,
             "on the difference of two grids, 2 and 4 cells across the cover: with 16, water loss has moved by twice that"),
    Constant("run_cell", 0.10, "m", 0.02, 0.30, "Guess", _T, "node spacing of the fine grid; its error is reported"),
    Constant("turn_air_exchanged", 20.0, "1", 0.0, 200.0, "Guess", _T,
             "volumes of outdoor air that a volume of material meets while it is turned; it leaves them warm and saturated"),
    Constant("turn_time", 60.0, "s", 10.0, 3600.0, "Guess", _T, "a turn takes as long in the model"),
    _exact("hygiene_temperature", 328.15, "K", "ExactMathematics", "55 degC, by the names of the measures"),
    Constant("rule_temperature", 328.15, "K", 313.15, 343.15, "CFR503", _T, "55 degC"),
    Constant("rule_duration", 3 * 86400.0, "s", 3600.0, 15 * 86400.0, "CFR503", _T,
             "three days; read here as consecutive"),
    Constant("anaerobic_oxygen", 0.05, "1", 0.01, 0.10, "CommonPractice", _T,
             "mole fraction of dry pore gas below which the mix counts as anaerobic"),
    # --- hygiene -------------------------------------------------------------------------------------------------------
    Constant("sludge_time_scale", 131.7e6 * 86400.0, "s", 131.7e6 * 86400.0, 131.7e6 * 86400.0, "CFR503Equation",
             "equation for 7 % solids or more", "131,700,000 days: time to hold t degC is this over 10^(0.1400 t)"),
    Constant("sludge_time_exponent", 0.1400, "K-1", 0.1400, 0.1400, "CFR503Equation", "equation for 7 % solids or more"),
    Constant("sludge_lowest_temperature", 323.15, "K", 323.15, 323.15, "CFR503Equation", "first column", "50 degC"),
    Constant("sludge_shortest_time", 1200.0, "s", 1200.0, 1200.0, "CFR503Equation", "time column", "20 minutes"),
    Constant("coli_decimal_time_50", 137.0 * 60.0, "s", 135.0 * 60.0, 137.0 * 60.0, "Jiang2003", "abstract",
             "E. coli O157:H7 in cow manure compost at 50 degC; autoclaved, the slower; range: unautoclaved"),
    Constant("coli_decimal_time_55", 50.3 * 60.0, "s", 35.4 * 60.0, 50.3 * 60.0, "Jiang2003", "abstract", "at 55 degC"),
    Constant("coli_decimal_time_60", 4.1 * 60.0, "s", 3.9 * 60.0, 4.1 * 60.0, "Jiang2003", "abstract",
             "at 60 degC; what was measured above is flattened by tails, so nothing faster is used"),
    Constant("coli_heat_shock_factor", 1.2 / 4.0, "1", 1.2 / 4.0, 2.7 / 3.6, "Singh2010", "abstract",
             "log reduction of heat-shocked over other cells, 55 degC for an hour; range: 50 degC for four hours"),
    Constant("coli_log_reduction_seen", 4.0, "1", 4.0, 7.0, "Jiang2003", "abstract",
             "tenfold reductions up to which times were measured and agree with the decimal times; more is not claimed"),
    # --- limits of the closing sentence of a comparison ----------------------------------------------------------------
    Constant("acceptable_cold_edge_share", 0.10, "1", 0.01, 0.5, "CommonPractice", _T,
             "more of the mix than this without the rule met: the design leaves cold edges"),
    Constant("acceptable_anaerobic_share", 0.10, "1", 0.01, 0.5, "CommonPractice", _T,
             "more of the mix than this anaerobic on day 14: the design starves"),
    Constant("hot_share_day_14", 0.60, "1", 0.3, 0.95, "CommonPractice", _T,
             "at least this much of the mix above 55 degC on day 14: the design is hot; no source"),
    Constant("aerobic_day_14_anaerobic_share", 0.20, "1", 0.05, 0.5, "CommonPractice", _T,
             "at most this much of the mix anaerobic on day 14: the hot design is aerobic; no source"),
    Constant("lowest_mix_moisture", 0.40, "1", 0.30, 0.50, "CommonPractice", _T,
             "wet basis; a drier mix composts slowly: the design dries out"),
    Constant("trade_base_width", 6.0, "m", 4.0, 8.0, "CommonPractice", _T,
             "about 6 m: the rule of thumb for the widest base; named in sentences only, limits nothing"),
)

_SURFACE = tuple(Constant(*row) for row in SURFACE_ROWS)
_SURFACE_NAMES = frozenset(constant.name for constant in _SURFACE)
CONSTANTS: dict[str, Constant] = {constant.name: constant for constant in (*_ALL, *_SURFACE)}


def constant_record(overrides: Mapping[str, float] | None = None) -> np.record:
    """The constants of the pile as one NumPy record of float64, the form that compiled kernels take.

    Those of weather and outer surface are left to :func:`surface_record`: every call of a kernel pays for each field.

    Parameters
    ----------
    overrides : mapping, optional
        SI values that replace registry values (private reduced physics, sensitivity runs).

    Raises
    ------
    KeyError
        If an override names no constant.
    """
    return _record({name: c.value for name, c in CONSTANTS.items() if name not in _SURFACE_NAMES}, overrides)


def surface_record(pressure: float, overrides: Mapping[str, float] | None = None) -> np.record:
    """All constants, and the site's air `pressure` [Pa], for the laws of weather and outer surface (moist air included).

    Parameters and errors as :func:`constant_record`.
    """
    values = {name: constant.value for name, constant in CONSTANTS.items()}
    return _record(values | {"pressure": float(pressure)}, overrides)


def _record(values: dict[str, float], overrides: Mapping[str, float] | None) -> np.record:
    for name, value in (overrides or {}).items():
        if name not in values:
            raise KeyError(f"no constant is called '{name}'")
        values[name] = float(value)
    record = np.zeros(1, dtype=[(name, np.float64) for name in values])
    for name, value in values.items():
        record[name] = value
    return record.view(np.recarray)[0]


def constants_as_data() -> list[dict[str, object]]:
    """The registry as plain data, stored with every result."""
    return [asdict(constant) for constant in CONSTANTS.values()]
