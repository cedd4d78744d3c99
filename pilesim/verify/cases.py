"""All checks that `pilesim verify` makes, in the order they are shown; the slow ones only with `--all`."""

from __future__ import annotations

from functools import partial

from pilesim.verify import (
    advection,
    cavity,
    conduction,
    draught,
    freezing,
    moist_air,
    onset,
    oxygen,
    recipes,
    reference_problem,
    self_heating,
    shapes,
    similarity,
    sloped,
)
from pilesim.verify.check import Case

CASES: tuple[Case, ...] = (
    Case("saturation pressure at 275 K", moist_air.saturation_at_check_point),
    Case("saturation pressure of water", moist_air.saturation_of_water),
    Case("saturation pressure over ice", moist_air.saturation_over_ice),
    Case("saturation pressure over supercooled water", moist_air.saturation_below_freezing),
    Case("slope of the saturation pressure", moist_air.saturation_slope),
    Case("oxygen left in saturated gas", moist_air.oxygen_in_saturated_gas),
    Case("humidity ratio", moist_air.ideal_humidity_ratio),
    Case("humidity ratio of real air", moist_air.real_humidity_ratio),
    Case("enthalpy of moist air", moist_air.ideal_enthalpy),
    Case("enthalpy of real air", moist_air.real_enthalpy),
    Case("latent heat at 275 K", moist_air.latent_heat_at_check_point),
    Case("latent heat", moist_air.latent_heat),
    Case("density of moist air", moist_air.ideal_density),
    Case("density of real air", moist_air.real_density),
    Case("viscosity of humid air", moist_air.humid_viscosity),
    Case("viscosity table", moist_air.viscosity_table),
    Case("viscosity of dry air", moist_air.viscosity_of_dry_air),
    Case("diffusivities", moist_air.diffusivities),
    Case("air pressure of the standard atmosphere", moist_air.pressure_table),
    Case("density of the standard atmosphere", moist_air.density_table),
    Case("air pressure of the handbook", moist_air.handbook_pressure),
    Case("boiling point", moist_air.boiling_point),
    Case("worked recipes", recipes.worked_examples),
    Case("outlines", shapes.outlines),
    Case("cooled slabs", conduction.cooled_slabs),
    Case("order in time of conduction", conduction.order_in_time),
    Case("cooled rectangle", conduction.cooled_rectangle),
    Case("slab with a heat source", conduction.even_source),
    Case("half space", conduction.semi_infinite_body),
    Case("layers in series", conduction.layers_in_series),
    Case("conduction on sloped grids", sloped.fields),
    Case("freezing", freezing.freezing_fronts),
    Case("heat front", advection.heat_fronts),
    Case("oxygen uptake and flow", oxygen.uptake_and_flow),
    Case("draught through layers", draught.layered_draughts),
    Case("draught of saturated gas", draught.saturated_columns),
    Case("draught by a heat source", draught.even_heat_source),
    Case("side-heated porous square, Ra 10", cavity.side_heated_at_10),
    Case("side-heated porous square, Ra 100", cavity.side_heated_at_100),
    Case("side-heated porous square, Ra 1000", cavity.side_heated_at_1000, slow=True),
    Case("porous square heated from below, Ra 100", cavity.heated_from_below_at_100),
    Case("side-heated porous square, warm on either side", cavity.warm_on_either_side),
    *(Case(f"onset of convection, {layer}", partial(onset.onset, layer), slow=True) for layer in onset.LAYERS),
    Case("critical self-heating of a slab", self_heating.critical_slab, slow=True),
    Case("critical self-heating of a cylinder", self_heating.critical_cylinder, slow=True),
    Case("critical self-heating of a square rod", self_heating.critical_square, slow=True),
    Case("similar piles", similarity.similar_piles),
    Case("symmetric pile", reference_problem.symmetric_pile),
    Case("symmetric pile with default controls", reference_problem.symmetric_pile_by_default, slow=True),
    Case("budgets of the reduced pile", reference_problem.closed_budgets),
    Case("reduced pile", reference_problem.reference_problem, slow=True),
)


def chosen(slow: bool) -> tuple[Case, ...]:
    """The quick cases, or all of them."""
    return tuple(case for case in CASES if slow or not case.slow)
