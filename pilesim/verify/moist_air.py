"""Moist air and the standard atmosphere against reference libraries and published tables.

CoolProp: water by IAPWS-95, humid air as a real gas (ASHRAE RP-1485), dry air viscosity by Lemmon and Jacobsen.
psychrolib: ideal-gas formulas of the ASHRAE Handbook Fundamentals. Both are optional: without one its rows say so.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from functools import wraps
from typing import Any

from pilesim.matter import moist_air
from pilesim.matter.atmosphere import standard_pressure
from pilesim.verify.check import Check, not_installed, relative, worst_relative
from pilesim.verify.record import record

SEA, MIDDLE, HIGH = 101325.0, 70108.5, 61640.2  # Pa, 0, 3000 and 4000 m
WATER = "CoolProp (IAPWS-95)"
HUMID = "CoolProp humid air (ASHRAE RP-1485)"
HANDBOOK = "psychrolib (ASHRAE Handbook Fundamentals, Psychrometrics)"
ATMOSPHERE = "U.S. Standard Atmosphere 1976, table (secondary copies)"
# at geopotential height [m]: pressure [Pa], density [kg m-3]
TABLE = (
    (0.0, 101325.0, 1.2250), (1000.0, 89874.6, 1.1116), (2000.0, 79495.2, 1.0065), (3000.0, 70108.5, 0.9091),
    (4000.0, 61640.2, 0.8191), (5000.0, 54019.9, 0.7361))
MOST_LIBRARIES = ("CoolProp", "psychrolib")


def kelvin(celsius: float) -> float:
    """[K]."""
    return celsius + 273.15


def props(*what: Any) -> float:
    """CoolProp's PropsSI."""
    return float(importlib.import_module("CoolProp.CoolProp").PropsSI(*what))


def humid(*what: Any) -> float:
    """CoolProp's HAPropsSI."""
    return float(importlib.import_module("CoolProp.CoolProp").HAPropsSI(*what))


def handbook() -> Any:
    """psychrolib, set to SI."""
    library = importlib.import_module("psychrolib")
    library.SetUnitSystem(library.SI)
    return library


def needs(name: str, source: str) -> Callable[[Callable[[], list[Check]]], Callable[[], list[Check]]]:
    """Where a library of `MOST_LIBRARIES` is not installed, one row that says so."""

    def wrap(compute: Callable[[], list[Check]]) -> Callable[[], list[Check]]:
        @wraps(compute)
        def made() -> list[Check]:
            try:
                return compute()
            except ModuleNotFoundError as why:
                library = str(why.name).split(".")[0]
                if library not in MOST_LIBRARIES:
                    raise
                return [not_installed(name, "external", source, library)]

        return made

    return wrap


def humidity_ratio(celsius: float, activity: float, c: Any) -> float:
    """kg vapour per kg dry air."""
    return float(moist_air.vapour_ratio(kelvin(celsius), activity, c)[0] / c.dry_air_molar_mass)


def saturation_at_check_point() -> list[Check]:
    """The tabulated point of the reference formulation."""
    return [relative("saturation pressure at 275 K", "external", "IAPWS R6-95 table 8 (secondary copies, which agree)",
                     698.451167, moist_air.saturation_pressure(275.0, record()), 5e-5, "Pa")]


@needs("saturation pressure of water", WATER)
def saturation_of_water() -> list[Check]:
    """Every degree from 1 to 100 degC."""
    c = record()
    pairs = [(props("P", "T", kelvin(t), "Q", 0, "Water"), moist_air.saturation_pressure(kelvin(t), c))
             for t in range(1, 101)]
    return [worst_relative("saturation pressure, worst of 1 to 100 degC", "external", WATER, pairs, 6e-5, "Pa")]


@needs("saturation pressure over ice", HUMID)
def saturation_over_ice() -> list[Check]:
    """Ice against the ice law of the library's humid air."""
    c = record()
    pairs = [(humid("psi_w", "T", kelvin(t), "P", SEA, "R", 1.0) * SEA,
              moist_air.ice_saturation_pressure(kelvin(t), c)) for t in (-40.0, -20.0, -10.0, -1.0)]
    return [worst_relative("saturation pressure over ice, worst of -40 to -1 degC", "external", HUMID, pairs, 6e-3, "Pa")]


def saturation_below_freezing() -> list[Check]:
    """Meteorological convention: relative humidity counts over liquid water below freezing too."""
    c = record()
    pairs = [(611.2 * math.exp(17.62 * t / (243.12 + t)), moist_air.saturation_pressure(kelvin(t), c))
             for t in (-35.0, -20.0, -10.0, -5.0, 0.0)]
    return [worst_relative("saturation over supercooled water, worst of -35 to 0 degC", "external",
                           "WMO-No. 8, Magnus form (coefficients recalled, TO CHECK)", pairs, 4e-3, "Pa")]


@needs("slope of the saturation pressure", WATER)
def saturation_slope() -> list[Check]:
    """Central difference over 0.02 K."""
    c, pairs = record(), []
    for celsius in (5.0, 20.0, 40.0, 60.0, 80.0):
        t = kelvin(celsius)
        upper, lower = (props("P", "T", t + step, "Q", 0, "Water") for step in (0.01, -0.01))
        got = moist_air.saturation_pressure_slope(t, moist_air.saturation_pressure(t, c), c)
        pairs.append(((upper - lower) / 0.02, got))
    return [worst_relative("slope of the saturation pressure, worst of 5 to 80 degC", "external", WATER, pairs, 2e-4,
                           "Pa K-1")]


@needs("oxygen left in saturated gas", WATER)
def oxygen_in_saturated_gas() -> list[Check]:
    """Dalton's law at 0 and 4000 m."""
    pairs = []
    for pressure in (SEA, HIGH):
        c = record(pressure=pressure)
        for celsius in (20.0, 60.0, 80.0):
            t = kelvin(celsius)
            dry = moist_air.dry_gas_concentration(t, moist_air.vapour_pressure(t, 1.0, c), c) * 8.314462618 * t
            expected = 0.2095 * (1.0 - props("P", "T", t, "Q", 0, "Water") / pressure)
            pairs.append((expected, c.ambient_oxygen * dry / pressure))
    return [worst_relative("oxygen share of saturated air, worst of 20 to 80 degC at 0 and 4000 m", "external",
                           f"Dalton's law with {WATER}", pairs, 3e-4)]


@needs("humidity ratio of moist air", HANDBOOK)
def ideal_humidity_ratio() -> list[Check]:
    """Three humidities, three heights; the row shown is the one nearest its own tolerance."""
    library, rows = handbook(), []
    for pressure in (SEA, MIDDLE, HIGH):
        c = record(pressure=pressure)
        for celsius in (1.0, 20.0, 40.0, 60.0, 75.0):
            for humidity in (0.3, 0.7, 1.0):
                expected = library.GetHumRatioFromRelHum(celsius, humidity, pressure)
                amplified = 1.0 + expected / 0.622  # p/(p - e)
                rows.append(relative("humidity ratio, worst of 1 to 75 degC at 0 to 4000 m", "external", HANDBOOK, expected,
                                     humidity_ratio(celsius, humidity, c), 4e-4 * amplified, "kg kg-1"))
    return [max(rows, key=lambda row: abs(row.got - row.expected) / row.tolerance)]


@needs("humidity ratio of real saturated air", HUMID)
def real_humidity_ratio() -> list[Check]:
    """The ideal law lies below real air by (f - 1) p/(p - e), f the enhancement factor: 0 to 0.6 %."""
    errors = []
    for pressure in (SEA, MIDDLE, HIGH):
        c = record(pressure=pressure)
        for celsius in (5.0, 20.0, 40.0, 60.0, 75.0):
            real = humid("W", "T", kelvin(celsius), "P", pressure, "R", 1.0)
            errors.append((humidity_ratio(celsius, 1.0, c) / real - 1.0) / (1.0 + real / 0.622))
    worst = max(errors, key=lambda error: abs(error + 0.003))
    return [Check("humidity ratio against real saturated air: what the enhancement factor leaves", "external", HUMID, -0.003,
                  worst, 0.003)]


@needs("enthalpy of moist air", HANDBOOK)
def ideal_enthalpy() -> list[Check]:
    """At given humidity ratio."""
    library, c, pairs = handbook(), record(), []
    for celsius, ratio in ((-20.0, 0.0), (20.0, 0.0), (20.0, 0.01), (60.0, 0.15), (80.0, 0.5)):
        got = moist_air.moist_enthalpy(kelvin(celsius), ratio * c.dry_air_molar_mass, c) / c.dry_air_molar_mass
        pairs.append((library.GetMoistAirEnthalpy(celsius, ratio), got))
    return [worst_relative("enthalpy of moist air, worst of five states", "external", HANDBOOK, pairs, 1e-4, "J kg-1")]


@needs("enthalpy of saturated air", HUMID)
def real_enthalpy() -> list[Check]:
    """At the library's own humidity ratio, and at ours, where the enhancement factor counts too."""
    same, own = [], []
    for pressure in (SEA, MIDDLE, HIGH):
        c = record(pressure=pressure)
        for celsius in (20.0, 40.0, 60.0, 70.0, 75.0):
            t, m = kelvin(celsius), c.dry_air_molar_mass
            real = humid("Hda", "T", t, "P", pressure, "R", 1.0)
            ratio = humid("W", "T", t, "P", pressure, "R", 1.0)
            same.append((real, moist_air.moist_enthalpy(t, ratio * m, c) / m))
            own.append(relative("enthalpy of saturated air, worst of 20 to 75 degC at 0 to 4000 m", "external", HUMID, real,
                                moist_air.moist_enthalpy(t, moist_air.vapour_ratio(t, 1.0, c)[0], c) / m,
                                0.003 + 0.006 * (1.0 + ratio / 0.622), "J kg-1"))
    return [worst_relative("enthalpy of air at real saturation, worst of 20 to 75 degC", "external", HUMID, same, 3e-3,
                           "J kg-1"),
            max(own, key=lambda row: abs(row.got - row.expected) / row.tolerance)]


def _latent(t: float, c: Any) -> float:
    return float(moist_air.vapour_enthalpy(t, c) - c.water_heat_capacity * (t - 273.15))


def latent_heat_at_check_point() -> list[Check]:
    """Vapour above liquid at 275 K."""
    return [relative("latent heat at 275 K", "external", "IAPWS R6-95 table 8 (secondary copies)",
                     2504.28995e3 - 7.75972202e3, _latent(275.0, record()), 1e-4, "J kg-1")]


@needs("latent heat of water", WATER)
def latent_heat() -> list[Check]:
    """Vapour above liquid at 20 to 80 degC."""
    c = record()
    pairs = [(props("H", "T", kelvin(t), "Q", 1, "Water") - props("H", "T", kelvin(t), "Q", 0, "Water"),
              _latent(kelvin(t), c)) for t in (20.0, 40.0, 60.0, 80.0)]
    return [worst_relative("latent heat, worst of 20 to 80 degC", "external", WATER, pairs, 3e-3, "J kg-1")]


def _saturated_density(t: float, c: Any) -> float:
    dry = moist_air.dry_gas_concentration(t, moist_air.vapour_pressure(t, 1.0, c), c)
    return float(dry * (c.dry_air_molar_mass + moist_air.vapour_ratio(t, 1.0, c)[0]))


@needs("density of saturated air", HANDBOOK)
def ideal_density() -> list[Check]:
    """Saturated, at 0 and 3000 m."""
    library, pairs = handbook(), []
    for pressure in (SEA, MIDDLE):
        for celsius in (1.0, 20.0, 40.0, 60.0, 75.0):
            ratio = library.GetSatHumRatio(celsius, pressure)
            pairs.append((library.GetMoistAirDensity(celsius, ratio, pressure),
                          _saturated_density(kelvin(celsius), record(pressure=pressure))))
    return [worst_relative("density of saturated air, worst of 1 to 75 degC at 0 and 3000 m", "external", HANDBOOK, pairs,
                           2e-4, "kg m-3")]


@needs("density of real saturated air", HUMID)
def real_density() -> list[Check]:
    """Up to 75 degC at sea level, 60 degC at 3000 m."""
    pairs = []
    for pressure, warmest in ((SEA, 75.0), (MIDDLE, 60.0)):
        for celsius in (1.0, 20.0, 40.0, 60.0, 75.0):
            if celsius <= warmest:
                pairs.append((1.0 / humid("Vha", "T", kelvin(celsius), "P", pressure, "R", 1.0),
                              _saturated_density(kelvin(celsius), record(pressure=pressure))))
    return [worst_relative("density of real saturated air, worst of 1 to 75 degC", "external", HUMID, pairs, 3e-3, "kg m-3")]


@needs("viscosity of humid air", HUMID)
def humid_viscosity() -> list[Check]:
    """At saturation: Wilke's mixing rule against the library's."""
    c, pairs = record(), []
    for celsius in (20.0, 40.0, 60.0, 70.0):
        t = kelvin(celsius)
        share = moist_air.vapour_pressure(t, 1.0, c) / c.pressure
        pairs.append((humid("mu", "T", t, "P", c.pressure, "R", 1.0), moist_air.humid_viscosity(t, share, c)))
    return [worst_relative("viscosity of saturated air, worst of 20 to 70 degC", "external", HUMID, pairs, 0.03, "Pa s")]


def viscosity_table() -> list[Check]:
    """Dry air at 0, 1000 and 5000 m."""
    c = record()
    pairs = [(expected, moist_air.viscosity(t, c))
             for t, expected in ((288.15, 1.7894e-5), (281.65, 1.7579e-5), (255.65, 1.6282e-5))]
    return [worst_relative("viscosity of dry air, worst of 0 to 5000 m", "external", ATMOSPHERE, pairs, 3e-4, "Pa s")]


@needs("viscosity of dry air", "CoolProp air (Lemmon and Jacobsen)")
def viscosity_of_dry_air() -> list[Check]:
    """-30 to 80 degC."""
    c = record()
    pairs = [(props("V", "T", kelvin(t), "P", SEA, "Air"), moist_air.viscosity(kelvin(t), c))
             for t in (-30.0, 0.0, 20.0, 40.0, 60.0, 80.0)]
    return [worst_relative("viscosity of dry air, worst of -30 to 80 degC", "external", "CoolProp air (Lemmon and Jacobsen)",
                           pairs, 8e-3, "Pa s")]


def diffusivities() -> list[Check]:
    """Oxygen and vapour in air; growth with temperature."""
    c = record()
    oxygen = [(expected, moist_air.oxygen_diffusivity(kelvin(t), c))
              for t, expected in ((0, 1.78e-5), (10, 1.89e-5), (20, 2.01e-5), (25, 2.07e-5), (30, 2.14e-5))]
    vapour = [(0.2178e-4 * (kelvin(t) / 273.15) ** 1.81,
               moist_air.oxygen_diffusivity(kelvin(t), c) * c.vapour_diffusivity_ratio)
              for t in (0.0, 20.0, 40.0, 60.0, 80.0)]
    growth = moist_air.oxygen_diffusivity(kelvin(60), c) / moist_air.oxygen_diffusivity(kelvin(20), c)
    return [worst_relative("diffusivity of oxygen in air, worst of 0 to 30 degC", "external",
                           "Glinski and Stepniewski (1985), table (secondary copy; page TO CHECK)", oxygen, 5e-3, "m2 s-1"),
            relative("diffusivity of oxygen, growth from 20 to 60 degC", "external",
                     "Welty et al. (1984), oxygen in nitrogen (secondary copy)", 0.274 / 0.219, growth, 5e-3),
            worst_relative("diffusivity of vapour in air, worst of 0 to 80 degC", "external",
                           "Massman (1998), Atmospheric Environment 32, 1111 (secondary copy)", vapour, 0.025, "m2 s-1")]


def pressure_table() -> list[Check]:
    """Pressure of the standard atmosphere, to the last digit of the table."""
    pairs = [(pressure, standard_pressure(elevation, record())) for elevation, pressure, _ in TABLE]
    return [worst_relative("air pressure, worst of 0 to 5000 m", "external", ATMOSPHERE, pairs, 2e-6, "Pa")]


def density_table() -> list[Check]:
    """Dry air at 288.15 K - 6.5 K/km, from the dry-gas concentration."""
    pairs = []
    for elevation, _, density in TABLE:
        c = record(pressure=standard_pressure(elevation, record()))
        got = moist_air.dry_gas_concentration(288.15 - 0.0065 * elevation, 0.0, c) * c.dry_air_molar_mass
        pairs.append((density, got))
    return [worst_relative("density of dry air, worst of 0 to 5000 m", "external", ATMOSPHERE, pairs, 1e-4, "kg m-3")]


@needs("air pressure of the psychrometric handbook", HANDBOOK)
def handbook_pressure() -> list[Check]:
    """The same closed form with a rounded exponent."""
    library = handbook()
    pairs = [(library.GetStandardAtmPressure(z), standard_pressure(z, record()))
             for z in (-300.0, 500.0, 1500.0, 2900.0, 5000.0)]
    return [worst_relative("air pressure, worst of -300 to 5000 m", "external", HANDBOOK, pairs, 1e-5, "Pa")]


@needs("saturation pressure at the boiling point", WATER)
def boiling_point() -> list[Check]:
    """Saturation at the library's boiling point equals the air pressure, 0 to 4000 m."""
    c, pairs = record(), []
    for elevation, pressure, _ in TABLE[:5]:
        boiling = props("T", "P", pressure, "Q", 0, "Water")
        pairs.append((standard_pressure(elevation, c), moist_air.saturation_pressure(boiling, c)))
    return [worst_relative("saturation pressure at the boiling point, worst of 0 to 4000 m", "external", WATER, pairs, 1e-4,
                           "Pa")]
