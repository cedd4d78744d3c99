"""Numbers of weather and of the outer surface: rows of the constants registry, same columns as in `constants.py`.

Kept apart only because the registry is long; `CONSTANTS` holds them all. ``where`` reads ``TO CHECK`` until the page is at
hand; "a copy" means a copy of the table or of its worked examples, not the publication itself.
"""

from __future__ import annotations

import math

Row = tuple[str, float, str, float, float, str, str, str]

_T = "TO CHECK"
_COPIES = "by copies in public code"
_PVLIB = "equation 1, by pvlib"
_WINDWARD = "table 7.4a, zone H, in a copy"
_LEE = "table 7.4a, zone I, in a copy"
_TABLE = "table 7.4a, in a copy"
_DEGREE = math.pi / 180.0
_DAY = 86400.0

SURFACE_ROWS: tuple[Row, ...] = (
    # --- sun ---------------------------------------------------------------------------------------------------------
    ("solar_constant", 1367.0, "W m-2", 1360.0, 1370.0, "FAO56", _T,
     "0.0820 MJ m-2 min-1, equation 21; newer measurements give 1361"),
    ("days_per_year", 365.0, "1", 365.0, 365.25, "ExactMathematics", "", "the model's year has no leap day"),
    ("orbit_eccentricity", 0.033, "1", 0.032, 0.034, "FAO56", _T, "equation 23; of the inverse squared distance to the sun"),
    ("declination_amplitude", 0.409, "rad", 0.408, 0.410, "FAO56", _T, "equation 24"),
    ("declination_phase", 1.39, "rad", 1.37, 1.41, "FAO56", _T, "equation 24; on day 1 counted from 1 January"),
    ("clearness_per_root_range", 0.16, "K-0.5", 0.16, 0.19, "FAO56", _T, "equation 50; inland; 0.19 at a coast"),
    ("clear_sky_clearness", 0.75, "1", 0.70, 0.80, "FAO56", _T, "equation 37; of a day without cloud, at sea level"),
    ("clear_sky_clearness_slope", 2e-5, "m-1", 1e-5, 3e-5, "FAO56", _T, "equation 37; gain with elevation"),
    ("diffuse_low_clearness", 0.22, "1", 0.2, 0.25, "Erbs1982", _PVLIB, "below it the sky is overcast"),
    ("diffuse_high_clearness", 0.80, "1", 0.78, 0.82, "Erbs1982", _PVLIB, "above it the sky is clear"),
    ("diffuse_low_slope", 0.09, "1", 0.08, 0.1, "Erbs1982", _PVLIB, ""),
    ("diffuse_0", 0.9511, "1", 0.95, 0.96, "Erbs1982", _PVLIB, ""),
    ("diffuse_1", -0.1604, "1", -0.17, -0.15, "Erbs1982", _PVLIB, ""),
    ("diffuse_2", 4.388, "1", 4.3, 4.4, "Erbs1982", _PVLIB, ""),
    ("diffuse_3", -16.638, "1", -16.7, -16.6, "Erbs1982", _PVLIB, ""),
    ("diffuse_4", 12.336, "1", 12.3, 12.4, "Erbs1982", _PVLIB, ""),
    ("diffuse_clear", 0.165, "1", 0.15, 0.18, "Erbs1982", _PVLIB, ""),
    ("lowest_sun", 0.065, "1", 0.03, 0.09, "CommonPractice", _T,
     "sine of the sun's altitude below which beam and clearness are not told apart (3.7 degrees)"),
    ("ground_albedo", 0.20, "1", 0.1, 0.3, "Monteith2013", _T, "bare or grassy ground beside the pile, without snow"),
    ("surface_absorptivity", 0.88, "1", 0.75, 0.92, "Monteith2013", _T, "damp, dark compost; dry 0.75"),
    # --- longwave ----------------------------------------------------------------------------------------------------
    ("stefan_boltzmann", 5.670374419e-8, "W m-2 K-4", 5.670374e-8, 5.670375e-8, "CODATA2018", _T, ""),
    ("surface_emissivity", 0.95, "1", 0.92, 0.97, "Monteith2013", _T, "compost"),
    ("snow_emissivity", 0.98, "1", 0.96, 0.99, "Monteith2013", _T, "recalled from memory"),
    ("sky_emissivity_0", 0.711, "1", 0.70, 0.72, "Berdahl1984", _COPIES, ""),
    ("sky_emissivity_1", 0.0056, "K-1", 0.005, 0.006, "Berdahl1984", _COPIES, "per degree of dew point"),
    ("sky_emissivity_2", 0.73e-4, "K-2", 0.7e-4, 0.76e-4, "Berdahl1984", _COPIES, "per squared degree"),
    ("sky_emissivity_day", 0.013, "1", 0.012, 0.014, "Berdahl1984", _COPIES, "more at midnight than at noon"),
    ("sky_emissivity_pressure", 1.2e-6, "Pa-1", 1.1e-6, 1.3e-6, "Berdahl1984", _COPIES, ""),
    ("sky_reference_pressure", 1e5, "Pa", 1e5, 101325.0, "Berdahl1984", _COPIES, "some copies: 101,325 Pa"),
    ("cloud_base", 1000.0, "m", 200.0, 4000.0, "Guess", _T, "height of opaque cloud above ground: low winter cloud"),
    ("cloud_base_scale", 8200.0, "m", 8000.0, 8500.0, "Martin1984", _T, "over which cloud cools; recalled from memory"),
    ("cloud_clearness_slope", 1.35, "1", 1.3, 1.4, "FAO56", _T, "equation 39; of sunshine over that of a clear day"),
    ("usual_cloud", 0.5, "1", 0.3, 0.8, "CommonPractice", _T, "share of cloud where a file tells neither cloud nor longwave"),
    # --- wind --------------------------------------------------------------------------------------------------------
    ("natural_pressure_exponent", 2.0 / 3.0, "1", 0.5, 2.0 / 3.0, "Incropera", _T,
     "turbulent free convection: Nusselt with the cube root of Grashof, density squared"),
    ("lewis_exponent", 2.0 / 3.0, "1", 0.6, 0.7, "Incropera", _T, "analogy of Chilton and Colburn"),
    ("air_conductivity", 0.02587, "W m-1 K-1", 0.025, 0.027, "Lemmon2004", "by CoolProp", "dry air at 20 degC"),
    ("air_conductivity_exponent", 0.85, "1", 0.8, 0.95, "Lemmon2004", "fit to CoolProp, -40 to 60 degC", "with temperature"),
    ("roughness_factor", 67.8, "m-1", 60.0, 75.0, "FAO56", _T, "equation 47; short grass"),
    ("roughness_offset", 5.42, "1", 5.0, 6.0, "FAO56", _T, "equation 47"),
    ("weather_wind_height", 10.0, "m", 2.0, 10.0, "CommonPractice", _T, "of the wind in a weather file"),
    ("windward_pressure_30", 0.4, "1", -0.2, 0.7, "EN1991-1-4", _WINDWARD,
     "pressure coefficient of a flank of 30 degrees; roofs on walls, the larger of a pair"),
    ("windward_pressure_45", 0.6, "1", 0.0, 0.7, "EN1991-1-4", _WINDWARD, "the larger of a pair"),
    ("windward_pressure_60", 0.7, "1", 0.6, 0.8, "EN1991-1-4", _WINDWARD, ""),
    ("windward_pressure_75", 0.8, "1", 0.7, 0.9, "EN1991-1-4", _WINDWARD, ""),
    ("lee_pressure_30", -0.4, "1", -0.5, 0.0, "EN1991-1-4", _LEE, "the lower of a pair"),
    ("lee_pressure_45", -0.2, "1", -0.4, 0.0, "EN1991-1-4", _LEE, "the lower of a pair"),
    ("lee_pressure_60", -0.2, "1", -0.4, 0.0, "EN1991-1-4", _LEE, ""),
    ("lee_pressure_75", -0.2, "1", -0.4, 0.0, "EN1991-1-4", _LEE, ""),
    ("side_pressure", -0.5, "1", -0.9, -0.3, "EN1991-1-4", "table 7.4b, zone I, in a copy", "wind along the ridge"),
    ("pressure_table_start", 30.0 * _DEGREE, "rad", 0.5, 0.55, "EN1991-1-4", _TABLE, "flatter flanks: as 30 degrees"),
    ("pressure_table_step", 15.0 * _DEGREE, "rad", 0.25, 0.27, "EN1991-1-4", _TABLE, ""),
    # --- rain and the water film -------------------------------------------------------------------------------------
    ("film_capacity", 2.0, "kg m-2", 0.5, 5.0, "Guess", _T, "water held on the outside before it runs off"),
    ("cover_intake_rate", 1e-3, "kg m-2 s-1", 1e-4, 1e-2, "Guess", _T, "largest rate at which a moist cover takes up rain"),
    # --- snow --------------------------------------------------------------------------------------------------------
    ("snow_only_temperature", 273.15, "K", 272.15, 274.15, "USACE1956", _T, "of the air; linear up to all rain"),
    ("rain_only_temperature", 275.15, "K", 274.15, 277.15, "USACE1956", _T, "recalled from memory"),
    ("fresh_snow_density_cold", 67.92, "kg m-3", 50.0, 80.0, "Hedstrom1998", _COPIES, "very cold air"),
    ("fresh_snow_density_gain", 51.25, "kg m-3", 45.0, 55.0, "Hedstrom1998", _COPIES, "towards 0 degC"),
    ("fresh_snow_density_scale", 2.59, "K", 2.5, 2.7, "Hedstrom1998", _COPIES, ""),
    ("snow_conductivity_0", 0.024, "W m-1 K-1", 0.02, 0.03, "Calonne2011", _T, "laws differ 1.6 times at equal density"),
    ("snow_conductivity_1", -1.23e-4, "W m2 kg-1 K-1", -1.4e-4, -1.1e-4, "Calonne2011", _T, ""),
    ("snow_conductivity_2", 2.5e-6, "W m5 kg-2 K-1", 2.4e-6, 2.6e-6, "Calonne2011", _T, ""),
    ("snow_settling_rate", 0.01 / 3600.0, "s-1", 0.005 / 3600, 0.02 / 3600, "Verseghy1991", _T, "recalled from memory"),
    ("settled_snow_density", 300.0, "kg m-3", 250.0, 350.0, "Verseghy1991", _T, "dry snow tends to it; recalled from memory"),
    ("wet_snow_density", 450.0, "kg m-3", 350.0, 550.0, "Guess", _T, "wet snow tends to it"),
    ("fresh_snow_albedo", 0.85, "1", 0.8, 0.9, "Douville1995", _T, "recalled from memory"),
    ("old_snow_albedo", 0.50, "1", 0.4, 0.6, "Douville1995", _T, "recalled from memory"),
    ("cold_snow_darkening", 0.008 / _DAY, "s-1", 0.004 / _DAY, 0.02 / _DAY, "Douville1995", _T, "loss of albedo; memory"),
    ("wet_snow_darkening", 0.24 / _DAY, "s-1", 0.1 / _DAY, 0.4 / _DAY, "Douville1995", _T, "decay rate; from memory"),
    ("snow_renewal", 10.0, "kg m-2", 5.0, 15.0, "Douville1995", _T, "of fresh snow that makes the surface new; from memory"),
    ("snow_contact_film", 50.0, "W m-2 K-1", 20.0, 200.0, "Guess", _T, "between cover and the snow on it"),
    ("snow_holding_share", 0.05, "1", 0.01, 0.1, "CommonPractice", _T, "of meltwater kept in the snow, by mass of its ice"),
    ("snow_slides_from", 30.0 * _DEGREE, "rad", 0.4, 0.7, "EN1991-1-3", _T, "flatter flanks keep all snow"),
    ("snow_slides_off", 60.0 * _DEGREE, "rad", 0.9, 1.2, "EN1991-1-3", _T, "steeper flanks keep none"),
    # --- a station elsewhere, and years made up from a monthly climate -----------------------------------------------
    ("temperature_lapse", 0.0065, "K m-1", 0.004, 0.0098, "USSA1976", _T, "of the standard atmosphere; used only when asked"),
    ("anomaly_deviation_cold", 7.5, "K", 5.0, 10.0, "Guess", _T,
     "hourly about normal air in the coldest month; daily means of two public-domain typical years of cold sites: 6 to 8 K"),
    ("anomaly_deviation_warm", 3.5, "K", 2.0, 5.0, "Guess", _T, "in the warmest month; daily means of these years: 2 to 4 K"),
    ("anomaly_time", 2.5 * _DAY, "s", 1.5 * _DAY, 5.0 * _DAY, "Guess", _T,
     "in which an anomaly fades to 1/e; daily means then correlate by 0.74 from day to day, in these years 0.68 and 0.70"),
    ("wind_memory", 0.5 * _DAY, "s", 0.2 * _DAY, 1.5 * _DAY, "Guess", _T, "in which a wind fades to 1/e"),
    ("clearness_memory", 0.8 * _DAY, "s", 0.3 * _DAY, 2.0 * _DAY, "Guess", _T, "in which a kind of sky fades to 1/e"),
    ("clearness_concentration", 6.0, "1", 3.0, 12.0, "Guess", _T, "sum of both shapes of clearness's beta distribution"),
)
