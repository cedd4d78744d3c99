"""Laws of the porous bed against worked values, bounds that hold for any mixture, and published ranges."""

from __future__ import annotations

import math
from typing import Any

from pilesim.matter import bed
from pilesim.verify.check import Check, largest_error, worst_relative
from pilesim.verify.moist_air import WATER, needs, props
from pilesim.verify.record import record

AHN = "Ahn et al. (2009), abstract"
JOHANSEN = "Johansen (1975), worked by hand"
MOLDRUP = "Moldrup et al. (2000), worked by hand"
# bulk density [kg m-3], moisture (wet basis), organic share of dry matter; the last two are wood chips
MIXES = ((500.0, 0.58, 0.80), (650.0, 0.60, 0.80), (350.0, 0.35, 0.80), (200.0, 0.20, 0.97), (300.0, 0.50, 0.97))
CONDUCTIVITIES = (0.21, 0.27, 0.12, 0.07, 0.13)  # W m-1 K-1, of MIXES
HEAT_CAPACITIES = (((500.0, 0.58, 0.80), 1.5028e6), ((550.0, 0.40, 0.50), 1.3096e6))  # J m-3 K-1
MEASURED = (1.36e6, 4.08e6)  # J m-3 K-1, composting materials
PACKINGS = ((0.5, 0.35, 1.7e-10), (1, 0.35, 6.8e-10), (1, 0.45, 2.0e-9), (2, 0.40, 4.7e-9), (2, 0.50, 1.3e-8),
            (3, 0.50, 3e-8), (5, 0.50, 8e-8))  # particle [mm], free air space, permeability [m2]


def phases(bulk_density: float, moisture: float, organic_share: float) -> tuple[float, float, float]:
    """Organic matter, ash and water [kg m-3] of a wet bed; moisture on the wet basis."""
    dry = bulk_density * (1.0 - moisture)
    return dry * organic_share, dry * (1.0 - organic_share), bulk_density * moisture


def pores(bulk_density: float, moisture: float, organic_share: float, c: Any) -> tuple[float, float]:
    """Total porosity and degree of saturation."""
    organic, ash, water = phases(bulk_density, moisture, organic_share)
    porosity = bed.total_porosity.py_func(organic, ash, c)
    return porosity, water / 1000.0 / porosity


def free_air_space() -> list[Check]:
    """593 kg/m3, 60 % moisture, 85 % organic matter: 1 - 593 (0.6/1000 + 0.4 x 0.85/1600 + 0.4 x 0.15/2500) = 0.504."""
    c = record()
    porosity, saturation = pores(593.0, 0.60, 0.85, c)
    return [Check("free air space of a wet mix", "exact", "phase densities of van Ginkel et al. (1999), worked by hand",
                  0.504, bed.air_filled_porosity.py_func(porosity, saturation, c), 5e-4)]


def heat_capacity() -> list[Check]:
    """Of a mix and a cover by 4.19 MC + (1 - MC)(1.5 OM + 0.85 ash) kJ/kg/K, and inside what was measured, or within 4 %."""
    c = record()
    pairs = []
    for mixture, expected in HEAT_CAPACITIES:
        organic, ash, water = phases(*mixture)
        pairs.append((expected, bed.dry_heat_capacity.py_func(organic, ash, c) + c.water_heat_capacity * water))
    low, high = 0.96 * MEASURED[0], MEASURED[1]
    beyond = max(max(low - got, got - high, 0.0) for _, got in pairs)
    return [worst_relative("heat capacity of wet beds", "exact", "mixture rule worked by hand", pairs, 1e-3, "J m-3 K-1"),
            Check("heat capacity of wet beds beyond the measured range", "external", AHN, 0.0, beyond, 0.0, "J m-3 K-1")]


@needs("heat capacity of liquid water", WATER)
def water_heat_capacity() -> list[Check]:
    """Liquid at 1 atm, 1 to 80 degC."""
    pairs = [(props("C", "T", t + 273.15, "P", 101325.0, "Water"), record().water_heat_capacity)
             for t in (1.0, 20.0, 40.0, 60.0, 80.0)]
    return [worst_relative("heat capacity of liquid water", "external", WATER, pairs, 7e-3, "J kg-1 K-1")]


def conductivity_ends() -> list[Check]:
    """Dry value, geometric mean of solid and water when full, straight between."""
    c = record()
    dry, wet, half = (bed.thermal_conductivity.py_func(0.8, s, 0.0, c) for s in (0.0, 1.0, 0.5))
    full = math.exp(0.2 * math.log(0.3) + 0.8 * math.log(0.57))
    return [worst_relative("conductivity of a dry, a full and a half full bed", "exact", f"{JOHANSEN}; {AHN}: linear",
                           [(0.05, dry), (full, wet), (0.5 * (dry + wet), half)], 1e-12, "W m-1 K-1")]


def conductivity_bounds() -> list[Check]:
    """No mixture conducts better than its phases side by side or worse than in series. Phases after de Vries (1963)."""
    c, beyond = record(), 0.0
    for mix in MIXES:
        porosity, mixed = pores(*mix, c)
        for saturation in (0.0, 0.5 * mixed, mixed):
            water = porosity * saturation
            shares = ((1.0 - porosity, 0.3), (water, 0.57), (porosity - water, 0.025))  # solid, water, air
            parallel = sum(share * value for share, value in shares)
            series = 1.0 / sum(share / value for share, value in shares)
            got = bed.thermal_conductivity.py_func(porosity, saturation, 0.0, c)
            beyond = max(beyond, series - got, got - parallel)
    return [Check("conductivity beyond the bounds of any mixture", "exact", "Wiener (1912), series and parallel", 0.0, beyond,
                  0.0, "W m-1 K-1")]


def conductivity_values() -> list[Check]:
    """Five mixes, to the rounding of two digits."""
    c, wrong = record(), []
    for mix, expected in zip(MIXES, CONDUCTIVITIES, strict=True):
        porosity, saturation = pores(*mix, c)
        wrong.append(bed.thermal_conductivity.py_func(porosity, saturation, 0.0, c) - expected)
    return [largest_error("conductivity of wet mixes: error", "exact", f"{JOHANSEN}; inside the ranges of {AHN}", wrong,
                          0.006, "W m-1 K-1")]


def diffusivity() -> list[Check]:
    """eps^2.5 / phi^0.5, and phi^2 when dry, as Buckingham's law."""
    c, law = record(), bed.relative_gas_diffusivity.py_func
    wet = [(expected, law(air, porosity, c)) for air, porosity, expected in ((0.2, 0.6, 0.023), (0.4, 0.65, 0.126),
                                                                          (0.6, 0.75, 0.32))]
    dry = [(porosity**2, law(porosity, porosity, c)) for porosity in (0.4, 0.7, 0.9)]
    return [worst_relative("relative gas diffusivity of wet beds", "exact", MOLDRUP, wet, 0.025),
            worst_relative("relative gas diffusivity of dry beds", "exact",
                           "Buckingham's law, the dry limit of Moldrup et al. (2000)", dry, 1e-12)]


def permeability() -> list[Check]:
    """k = d^2 eps^3 / (150 (1 - eps)^2) of seven packings: the shape of Kozeny and Carman, Ergun's factor."""
    c = record()
    pairs = [(expected, (millimetres * 1e-3) ** 2 / 150.0 * bed.kozeny_carman.py_func(air, c))
             for millimetres, air, expected in PACKINGS]
    return [worst_relative("permeability of packed grains", "exact", "Ergun's viscous term, worked by hand", pairs, 0.05,
                           "m2")]
