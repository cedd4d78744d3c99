"""The faults that `run.py` plants, and the tests that should catch each: the quickest that are honest about it.

An old text must stand exactly once in its file; when the source moves on, `run.py --check` names what to mend here. Make
it short and local, and the faulty program one that runs and keeps its budgets closed where it can: a fault that budgets
betray proves little about the other tests.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Edit:
    """One text of a file exchanged for another."""

    file: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault: what it breaks, where, and the tests (files or pytest's node ids) expected to catch it."""

    name: str
    breaks: str
    edits: tuple[Edit, ...]
    tests: tuple[str, ...]


def fault(name: str, breaks: str, file: str, old: str, new: str, *tests: str) -> Fault:
    """A fault of one edit."""
    return Fault(name, breaks, (Edit(f"pilesim/{file}", old, new),), tuple(f"tests/{test}" for test in tests))


def faults(name: str, breaks: str, edits: tuple[tuple[str, str, str], ...], *tests: str) -> Fault:
    """A fault of several edits, so that what one side gives the other still receives."""
    return Fault(name, breaks, tuple(Edit(f"pilesim/{file}", old, new) for file, old, new in edits),
                 tuple(f"tests/{test}" for test in tests))


CHIMNEY = "verification/test_chimney.py::test_two_layers_at_one_temperature"
HEATED = "verification/test_chimney.py::test_even_heat_source"
ROUTES = "verification/test_routes.py::"
CONDUCTION = "verification/test_conduction.py::"

LAWS = (
    fault("latent_heat_dropped", "vapour carries no heat of vaporisation", "matter/moist_air.py",
          "return c.latent_heat_of_vaporisation + c.vapour_heat_capacity *", "return c.vapour_heat_capacity *",
          "verification/test_moist_air.py"),
    fault("carbon_dioxide_weightless", "the gas density does not feel the carbon dioxide of respiration",
          "matter/moist_air.py", "c.ambient_carbon_dioxide + c.respiratory_quotient * spent",
          "c.ambient_carbon_dioxide + 0.0 * spent", "verification/test_moist_air.py"),
    fault("dry_gas_at_total_pressure", "dry gas is counted by the total pressure", "matter/moist_air.py",
          "return (c.pressure - vapour) / (c.gas_constant * temperature)",
          "return (c.pressure - 0.0 * vapour) / (c.gas_constant * temperature)", "verification/test_moist_air.py"),
    fault("pressure_rises_with_height", "sign of the pressure's change with elevation", "matter/atmosphere.py",
          "(1.0 - constants.pressure_lapse * elevation)", "(1.0 + constants.pressure_lapse * elevation)",
          "verification/test_atmosphere.py"),
    fault("half_saturation_without_vapour", "Monod's half saturation is not corrected for vapour", "matter/biology.py",
          "c.standard_pressure / (c.pressure - vapour)", "c.standard_pressure / (c.pressure - 0.0 * vapour)",
          "verification/test_biology.py"),
    fault("no_upper_temperature_limit", "microbes burn on above their highest temperature", "matter/biology.py",
          "if temperature <= low or temperature >= high:", "if temperature <= low:", "verification/test_biology.py"),
    fault("conductivity_of_dry_bed", "conductivity does not follow water", "matter/bed.py",
          "(saturated - c.dry_bed_conductivity) * saturation", "(saturated - c.dry_bed_conductivity) * 0.0",
          "verification/test_bed.py"),
    fault("freezing_heat_dropped", "water freezes without giving heat", "balances/heat.py",
          "+ c.latent_heat_of_fusion * (water + ground_water) * freezing / c.freezing_range",
          "+ 0.0 * (water + ground_water) * freezing / c.freezing_range", "verification/test_freezing.py"),
    fault("short_foot", "a foot is read as 0.3 m", "base/units.py",
          'result = float(quantity.to(_pint_units(unit) or "dimensionless").magnitude)',
          'result = float(quantity.to(_pint_units(unit) or "dimensionless").magnitude) * (0.984 if rest == "ft" else 1.0)',
          "unit/test_units.py"),
    fault("metres_shown_as_yards", "lengths in US units are shown in yards", "base/units.py",
          '"m": "ft", "m2": "ft2"', '"m": "yd", "m2": "ft2"', "unit/test_units.py"),
)

GEOMETRY = (
    fault("mixed_metric_dropped", "the mixed term G12 of the corner metric is missing", "section/operators.py",
          "(-va[i] * vb[j] - vb[i] * va[j], ab)", "(0.0, ab)",
          f"{CONDUCTION}test_linear_field_is_exact_on_a_sloped_grid"),
    fault("interface_owned_by_one", "a node between two materials belongs to one of them alone", "section/operators.py",
          "    neighbours, upstream = _neighbours(quad_nodes, material, count)\n",
          "    volume = np.where(np.arange(5)[:, None] == volume.argmax(axis=0), volume.sum(axis=0), 0.0)\n"
          "    neighbours, upstream = _neighbours(quad_nodes, material, count)\n",
          "verification/test_round.py::test_volumes_are_those_of_the_frustum"),
    fault("round_weights_dropped", "a round heap is weighed as a plane section (no 2 pi r)", "section/operators.py",
          "around = 2.0 * np.pi * quarter_x if", "around = 1.0 + 0.0 * quarter_x if",
          "verification/test_round.py"),
    fault("round_surface_flat", "the outer surface of a round heap is counted as a line", "balances/surface.py",
          "    if not axisymmetric:\n        return 0.5 * length, 0.5 * length",
          "    if True:\n        return 0.5 * length, 0.5 * length", "verification/test_round.py"),
    fault("cover_measured_sideways", "the cover's thickness is measured across, not along the normal", "section/outline.py",
          "self.solid_half_width + self.cover_thickness / math.sin(self.slope)",
          "self.solid_half_width + self.cover_thickness", "verification/test_geometry.py"),
)

EDGES = (
    fault("surface_film_dropped", "no heat passes the film at the outer surface", "balances/surface.py",
          "b.heat_film * half, b.gas_film * half", "0.0 * half, b.gas_film * half",
          f"{CONDUCTION}test_cooled_slab"),
    fault("gas_film_dropped", "neither vapour nor oxygen passes the film at the outer surface", "balances/surface.py",
          "b.gas_film * half * concentration", "0.0 * half * concentration",
          f"{ROUTES}test_vapour_by_film"),
    fault("film_on_width", "the surface film acts on the horizontal extent of a slope", "balances/surface.py",
          "length = np.hypot(x[ends[:, 1]] - x[ends[:, 0]], z[ends[:, 1]] - z[ends[:, 0]])",
          "length = np.abs(x[ends[:, 1]] - x[ends[:, 0]])", f"{CONDUCTION}test_linear_field_is_exact_on_a_sloped_grid"),
    fault("air_enters_dry", "entering gas brings no vapour", "balances/surface.py",
          "                out.vapour_in[end] = ratio", "                out.vapour_in[end] = 0.0 * ratio",
          f"{ROUTES}test_heat_and_vapour_by_gas"),
    fault("changing_air_without_film", "air that changes loses its film over the pile", "balances/outside.py",
          "film=still.film + at_nodes(film),", "film=still.film + at_nodes(ground),",
          "verification/test_weather.py::test_edges_rebuilt_for_the_air_are_those_gathered_from_the_start"),
    fault("air_of_the_end_of_a_step", "the air at the end of a step stands for its mean", "matter/weather.py",
          "        if high <= low:\n", "        if True:\n            start = end\n",
          "verification/test_weather.py::test_step_means_are_the_integral_of_the_line"),
    fault("deep_ground_insulated", "the deep ground's temperature is not held", "balances/outside.py",
          "Boundary(heat_film=DEEP_FILM, temperature=scenario.ground.deep_temperature)", "Boundary()",
          f"{ROUTES}test_the_deep_ground_gives_heat"),
    fault("ground_starts_at_air", "the ground starts at the air's temperature at every depth", "build.py",
          "air_before(scenario, record),\n                          scenario.ground.deep_temperature)",
          "air_before(scenario, record),\n                          air_before(scenario, record))",
          "verification/test_weather.py::test_ground_starts_between_the_month_and_the_deep"),
)

BUILT = (
    fault("sea_level_everywhere", "the site's elevation does not reach the pressure", "build.py",
          "pressure = standard_pressure(scenario.site.elevation,", "pressure = standard_pressure(0.0,",
          "validation/test_behaviours.py::test_same_heat_draws_less_air_in_thin_air"),
    fault("cover_permeability_lost", "the cover is as permeable as the mix", "build.py",
          "permeability[number] = material.permeability",
          "permeability[number] = (mix if number == COVER else material).permeability",
          f"{ROUTES}test_a_tight_cover_rations_the_draught"),
    fault("floor_starts_warm", "nodes on the floor start at the pile's temperature alone", "build.py",
          "    return problem.temperature_of(total + part, water)\n",
          "    return np.where(bed.dry_capacity > problem.ground_capacity, pile, ground)\n", "verification/test_start.py"),
    fault("valve_ignored", "a cover that should work as a valve stays as permeable as built", "build.py",
          "follows[number] = 0.0 if number == COVER and not cover.valve else 1.0",
          "follows[number] = 0.0 if number == COVER else 1.0", "validation/test_valve.py"),
    fault("compaction_lost", "the mix is as dense at the bottom as at the top", "build.py",
          "material.bulk_density * (1.0 + compaction * depth[own])", "material.bulk_density * (1.0 + 0.0 * depth[own])",
          "unit/test_measures.py::test_shares_weigh_dry_matter"),
    fault("seeding_growth_ignored", "the activity of a seeded mix does not grow", "solver/properties.py",
          "out[n] = logistic_growth(active[n], c.activity_growth_rate * limit[n] * factor * step)", "out[n] = active[n]",
          "verification/test_activity.py::test_logistic_growth_at_constant_conditions"),
    fault("activity_ignored", "a seeded mix burns as a mature one", "solver/properties.py",
          "                limit *= active[n]\n", "                limit *= 1.0\n",
          "verification/test_activity.py::test_cover_burns_at_full_activity"),
)

OUTCOME = (
    fault("error_of_the_same_grid", "the error bar compares a grid with itself", "study/run.py",
          "problems = build(scenario, 1), build(scenario, 2)", "problems = build(scenario, 2), build(scenario, 2)",
          f"{ROUTES}test_the_error_of_a_measure_is_that_of_twice_the_cell"),
    fault("error_of_another_grid", "the error bar compares with half the cell, not twice", "study/run.py",
          "problems = build(scenario, 1), build(scenario, 2)", "problems = build(scenario, 4), build(scenario, 2)",
          f"{ROUTES}test_the_error_of_a_measure_is_that_of_twice_the_cell"),
    fault("rule_clock_never_reset", "a gap does not reset the clock of the time-temperature rule", "assess/exposure.py",
          "            if not joined:\n                begun = times",
          "            if not joined and begun == 0.0:\n                begun = times",
          "unit/test_exposure.py::test_stays_against_exact_fractions"),
    fault("half_a_pile_reported", "amounts are those of half the section", "assess/measures.py",
          "return 2.0 if problem.grid.halved else 1.0", "return 1.0 if problem.grid.halved else 1.0",
          "unit/test_sheet.py::test_amounts_are_those_of_the_trapezoid_by_hand"),
    fault("heat_slots_swapped", "heat lost to air and to ground change places in the totals", "solver/nodes.py",
          'TOTALS = ("air_film", "ground_film",', 'TOTALS = ("ground_film", "air_film",',
          f"{ROUTES}test_heat_by_film_from_air_and_from_ground"),
    faults("water_slots_swapped", "water lost with gas and through the film change places in the totals",
           (("solver/nodes.py", "film_water += film_vapour[n]", "gas_vapour += film_vapour[n]"),
            ("solver/nodes.py", "gas_vapour += inflow[n]", "film_water += inflow[n]")),
           f"{ROUTES}test_vapour_by_film"),
)

FLOW = (
    fault("buoyancy_reversed", "warm gas sinks", "balances/airflow.py",
          "return c.gravity * (c.ambient_density - gas_density(", "return -c.gravity * (c.ambient_density - gas_density(",
          CHIMNEY),
    faults("buoyancy_on_the_wrong_edge", "the lift of an upright edge drives the flow of a level one",
           (("solver/flow.py", "return (0.5 * (lift[a] + lift[b]) * (z[b] - z[a])",
             "return (0.5 * (lift[a] + lift[c]) * (z[c] - z[a])"),
            ("solver/flow.py", "            0.5 * (lift[a] + lift[c]) * (z[c] - z[a])",
             "            0.5 * (lift[a] + lift[b]) * (z[b] - z[a])")),
           CHIMNEY),
    faults("buoyancy_of_the_upper_node", "the lift of an edge is that of its upper end",
           (("solver/flow.py", "            0.5 * (lift[a] + lift[c]) * (z[c] - z[a])",
             "            lift[c] * (z[c] - z[a])"),
            ("solver/flow.py", "0.5 * (lift[b] + lift[d]) * (z[d] - z[b])", "lift[d] * (z[d] - z[b])")), HEATED),
    fault("gas_sink_dropped", "gas that respiration uses up does not vanish", "solver/iteration.py",
          "        source[n] = made * respiration[n]",
          "        source[n] = 0.0 * made * respiration[n]", f"{ROUTES}test_respiration_draws_gas_in"),
    fault("upwind_of_first_order", "gas carries the value of the node it leaves", "solver/flow.py",
          "    return stretch * down / (down + up)", "    return 0.0 * stretch", "verification/test_advection.py"),
    fault("limiter_off", "face values overshoot at humps and fronts", "solver/flow.py",
          "    if down * up <= 0.0:\n        return 0.0\n    return stretch * down / (down + up)",
          "    return 0.5 * stretch", "verification/test_advection.py::test_no_overshoot_at_a_jump"),
    fault("west_flows_smeared", "westward flow is less sharp than eastward flow", "solver/flow.py",
          "            stretch = stretches[d, side]\n",
          "            stretch = (0.8 if side == 0 else 1.0) * stretches[d, side]\n",
          "verification/test_symmetry.py::test_heat_and_flow_are_symmetric"),
)

HEAT_AND_WATER = (
    fault("heat_of_respiration_halved", "respiration gives half its heat", "balances/substrate.py",
          "return oxidation * c.oxygen_demand * c.heat_per_oxygen",
          "return 0.5 * oxidation * c.oxygen_demand * c.heat_per_oxygen",
          f"{CONDUCTION}test_slab_with_even_heat_source"),
    fault("metabolic_water_dropped", "respiration makes no water", "balances/water.py",
          "return c.moist * c.metabolic_water * oxidation", "return 0.0 * c.metabolic_water * oxidation",
          f"{ROUTES}test_respiration_makes_heat_and_water"),
    faults("inflow_at_pile_temperature", "gas enters with the enthalpy of the bed",
           (("solver/tangent.py", "film_heat[n] + inflow[n] * enthalpy_in[n] +", "film_heat[n] + inflow[n] * enthalpy[n] +"),
            ("solver/nodes.py", "film_heat[n] + inflow[n] * enthalpy_in[n] +", "film_heat[n] + inflow[n] * enthalpy[n] +"),
            ("solver/nodes.py", "carried += inflow[n] * enthalpy_in[n]", "carried += inflow[n] * enthalpy[n]")),
           f"{ROUTES}test_heat_and_vapour_by_gas"),
    faults("outflow_at_ambient_enthalpy", "gas leaves with the enthalpy of the air outside",
           (("solver/nodes.py", "stored[n] = (heat - advection_total[n] * enthalpy[n]",
             "stored[n] = (heat - advection_total[n] * enthalpy[n] + max(outflow[n], 0.0) * (enthalpy[n] - enthalpy_in[n])"),
            ("solver/nodes.py", "- leaving * enthalpy[n]", "- leaving * enthalpy_in[n]")),
           f"{ROUTES}test_heat_and_vapour_by_gas"),
    fault("vapour_diffusion_dropped", "vapour moves with the gas only", "solver/passes.py",
          "_ahead(held.diffusion, before.diffusion, ratio, c.vapour_diffusivity_ratio, k)",
          "_ahead(held.diffusion, before.diffusion, ratio, 0.0, k)",
          f"{ROUTES}test_vapour_diffuses_to_the_cold_end"),
    fault("diffusing_vapour_cool", "the enthalpy of diffusing vapour is 4 percent low", "base/constants.py",
          'Constant("vapour_diffusion_enthalpy", 2.6e6,', 'Constant("vapour_diffusion_enthalpy", 2.5e6,',
          f"{ROUTES}test_vapour_diffuses_to_the_cold_end"),
    fault("drainage_upwards", "water drains up", "solver/liquid.py",
          "moved -= drop * potential[n] if drop > 0.0", "moved += drop * potential[n] if drop > 0.0",
          "verification/test_liquid.py::test_drainage_under_its_own_weight"),
    fault("capillarity_reversed", "capillarity draws water from dry to wet", "solver/liquid.py",
          "(saturation[m] - saturation[n])", "(saturation[n] - saturation[m])",
          "verification/test_liquid.py::test_capillary_spreading"),
    fault("stages_out_of_step", "the implicit weight of a stage is 0.3 instead of 1 - 1/sqrt 2", "solver/step.py",
          "GAMMA = 1.0 - 1.0 / np.sqrt(2.0)", "GAMMA = 0.3", f"{CONDUCTION}test_cooled_slab"),
)

OXYGEN = (
    fault("uptake_dropped", "respiration takes no oxygen", "solver/properties.py",
          "uptake[n] = oxygen_uptake(burnt * temperature_factor(temperature[n], c)[0], c)", "uptake[n] = 0.0",
          "verification/test_oxygen_uptake.py"),
    fault("oxygen_storage_dropped", "pores hold no oxygen", "solver/passes.py",
          "storage[n] = c.store_oxygen * amount[n] * lead / dt", "storage[n] = 0.0 * lead",
          f"{ROUTES}test_oxygen_stored_in_the_pores_is_used_up"),
    fault("lean_air", "air enters with a tenth less oxygen", "balances/surface.py",
          "                out.oxygen_in[end] = b.oxygen", "                out.oxygen_in[end] = 0.9 * b.oxygen",
          "verification/test_oxygen_uptake.py::test_plug_flow"),
    fault("oxygen_diffuses_as_in_air", "the bed does not slow diffusion", "matter/bed.py",
          "return air**c.diffusion_porosity_exponent / porosity**c.diffusion_total_porosity_exponent",
          "return 1.0 + 0.0 * air * porosity", "verification/test_bed.py"),
)

STEPS = (
    fault("composition_lagged", "the density takes the composition that the last step left", "solver/iteration.py",
          "COMPOSITION_SHARE = 0.6", "COMPOSITION_SHARE = 0.0",
          "verification/test_traps.py::test_lagged_composition_is_wrong_at_any_step"),
    fault("respiration_uncorrected", "stages keep the rate factors foreseen", "solver/coupling.py",
          "            more = min(more * step, 0.5 * substrate[n, pool])", "            more = 0.0 * more",
          f"{ROUTES}test_substrate_is_charged_with_the_oxygen_that_was_there"),
    fault("tangent_never_renewed", "a node that leaves the reach of its tangent follows it all the same", "solver/tangent.py",
          "REACH = 0.3", "REACH = 300.0", f"{ROUTES}test_a_node_that_leaves_its_tangent_is_solved_in_full"),
    fault("correction_taken_whole", "what old factors of the oxygen balance overshoot is not learnt", "solver/oxygen.py",
          "    weight = share[0]\n", "    weight = 1.0\n",
          "verification/test_oxygen_solve.py::test_what_factors_of_another_moment_overshoot_is_learnt"),
    fault("patches_too_near", "patches of four nodes conduct oxygen as if they were as near as nodes", "solver/oxygen.py",
          "    reduced = 0.5 if band", "    reduced = 1.0 if band",
          "verification/test_oxygen_solve.py::test_patches_diffuse_as_cells_of_twice_the_size"),
    fault("solved_too_soon", "old factors of the oxygen balance are trusted a hundred times as far", "solver/oxygen.py",
          "        if moved > reaction_tolerance * max(used, scale):\n            continue\n",
          "        if age[0] > 0:\n            reaction_tolerance, balance_tolerance = 1e-4, 1e-4\n",
          "verification/test_oxygen_solve.py::test_old_factors_leave_the_answer"),
    fault("closed_edges_forgotten", "heat crosses an outer edge only where gas does", "balances/surface.py",
          "        out.meets[ends] = True", "        out.meets[ends] = name in boundaries and boundaries[name].flow_open",
          "verification/test_conduction.py"),
    fault("air_that_changes_is_not_met", "an edge whose exchange is gathered anew in each step meets nothing",
          "balances/surface.py", "        out.meets[ends] = True", "        out.meets[ends] = name in boundaries",
          "verification/test_weather.py", "verification/test_weather_in_a_run.py"),
    fault("air_of_before", "gas always rises in the air of the start of the run", "solver/iteration.py",
          "c, late = constants[0], constants_at_end[0]", "c, late = constants[0], constants[0]",
          "verification/test_weather_in_a_run.py::test_gas_rises_in_the_air_of_the_moment"),
    fault("storage_of_first_order", "stored oxygen by backward Euler", "solver/passes.py",
          "w = 0.0 if start else dt / dt_last", "w = 0.0 if start else 0.0 * dt_last",
          f"{ROUTES}test_stored_oxygen_is_used_up_at_second_order"),
)

COVER_OFF = (
    fault("cover_pool_idle_in_mix", "a cover that is mixed in decays no more", "solver/properties.py",
          "                    out_environment[n, 2] = bed.pool_rate[2] * limit  # of",
          "                    out_environment[n, 2] = 0.0  # of",
          "verification/test_cover_off.py::test_what_was_cover_goes_on_decaying_in_the_mix"),
    fault("cover_decays_for_nothing", "what a mixed-in cover loses stays in the dry matter", "solver/properties.py",
          "            lost_mix += lost_cover  # none", "            lost_mix += 0.0 * lost_cover  # none",
          "verification/test_cover_off.py::test_what_was_cover_goes_on_decaying_in_the_mix"),
    fault("cover_leaves_its_heat", "a cover that is taken away leaves its heat on the nodes it shared", "solver/uncover.py",
          "(state.stored - part)[kept]", "state.stored[kept]",
          "verification/test_cover_off.py::test_what_leaves_and_what_stays_is_all_there_was"),
    fault("bare_face_closed", "gas does not pass where a cover was taken away", "section/uncovered.py",
          "edges[name] = np.concatenate([edges[name], _between(own, gone)])",
          "edges[\"axis\"] = np.concatenate([edges[\"axis\"], _between(own, gone)])",
          "verification/test_cover_off.py::test_a_slab_without_its_cover_is_a_slab_built_so"),
    fault("parcels_keep_the_old_outline", "material never comes to lie where the cover was mixed in", "assess/parcels.py",
          "            places, at_places = later\n", "            pass\n",
          "system/test_cover_off.py::test_material_is_followed_into_where_the_cover_lay"),
)

FAULTS = (*LAWS, *GEOMETRY, *EDGES, *BUILT, *OUTCOME, *FLOW, *HEAT_AND_WATER, *OXYGEN, *STEPS, *COVER_OFF)
