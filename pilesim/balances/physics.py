"""The private record of what physics a run uses, and the one run-time record that compiled kernels take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np

from pilesim.base.compiled import plain
from pilesim.base.constants import constant_record
from pilesim.matter.moist_air import TABLE_SHAPE, fill_saturation_table


@dataclass(frozen=True, slots=True)
class Physics:
    """Full physics by default; the switches exist for reference problems and are not in the scenario file.

    Attributes
    ----------
    moist : bool
        Water vapour takes part.
    constant_density : bool
        The moving gas has one concentration and viscosity (density still drives buoyancy).
    composition_in_density : bool
        Spent oxygen and carbon dioxide weigh on the gas density.
    live_bed : bool
        Permeability, conductivity and diffusivity follow water and decay.
    store_oxygen : bool
        Oxygen stored in the pore gas enters its balance.
    reference_concentration, reference_viscosity : float
        Of the moving gas when `constant_density` [mol m-3], [Pa s].
    ignition_temperature, ignition_scale : float
        With a scale above 0 the temperature factor is exp((T - ignition_temperature) / ignition_scale) [K], Arrhenius's
        law as Frank-Kamenetskii linearised it; 0 leaves the cardinal temperatures.
    constants : mapping
        Registry values replaced in this run, SI.
    """

    moist: bool = True
    constant_density: bool = False
    composition_in_density: bool = True
    live_bed: bool = True
    store_oxygen: bool = True
    reference_concentration: float = 41.6
    reference_viscosity: float = 1.8e-5
    ignition_temperature: float = 0.0
    ignition_scale: float = 0.0
    constants: Mapping[str, float] = field(default_factory=dict)


FULL = Physics()
_EXTRA = ("moist", "constant_density", "composition_in_density", "store_oxygen", "reference_concentration",
          "reference_viscosity", "ignition_temperature", "ignition_scale", "pressure", "ambient_density", "oxygen_demand",
          "respiratory_quotient", "moisture_of_full_activity")
_FULL_POWER = 30.0  # of the exponential in the law of water activity: from there on 1 to round-off


def run_record(
    physics: Physics, *, pressure: float, ambient_density: float, oxygen_demand: float, respiratory_quotient: float
) -> np.record:
    """Constants, options and site values as one NumPy record of float64 for the kernels.

    Parameters
    ----------
    pressure : float
        Air pressure of the site [Pa].
    ambient_density : float
        Density of the ambient air column [kg m-3].
    oxygen_demand : float
        Oxygen per mass of substrate [kg kg-1].
    respiratory_quotient : float
        Carbon dioxide per oxygen [mol mol-1].
    """
    c = _unfilled_record(physics, pressure, ambient_density, oxygen_demand, respiratory_quotient)
    fill_saturation_table(c)
    return c


def _unfilled_record(physics: Physics, pressure: float, ambient_density: float, oxygen_demand: float,
                     respiratory_quotient: float) -> np.record:
    base = constant_record(physics.constants)
    names = list(base.dtype.names or ())
    record = np.zeros(1, dtype=[*((name, np.float64) for name in (*names, *_EXTRA)),
                                ("saturation_table", np.float64, TABLE_SHAPE)])
    for name in names:
        record[name] = base[name]
    for name in _EXTRA[:8]:
        record[name] = float(getattr(physics, name))
    record["pressure"] = pressure
    record["ambient_density"] = ambient_density
    record["oxygen_demand"] = oxygen_demand
    record["respiratory_quotient"] = respiratory_quotient
    record["moisture_of_full_activity"] = (
        _FULL_POWER / base.water_activity_coefficient) ** (1.0 / base.water_activity_exponent)
    return record.view(np.recarray)[0]


def plain_record(record: np.record) -> SimpleNamespace:
    """The record's values as plain floats: reading them from a record is slow."""
    names = (name for name in record.dtype.names or () if record[name].ndim == 0)
    return SimpleNamespace(**{name: float(record[name]) for name in names})


def plain_run_record(physics: Physics, **values: float) -> SimpleNamespace:
    """As :func:`run_record`, for laws called as plain Python (:func:`pilesim.base.compiled.plain`): nothing is compiled."""
    record = _unfilled_record(physics, **values)
    c = plain_record(record)
    c.saturation_table = np.zeros(TABLE_SHAPE)
    plain(fill_saturation_table)(c)
    return c
