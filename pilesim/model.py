"""START HERE: the state of a pile, its balances on one page, and which function is which term.

A vertical cross-section, x across and z up. Solid, water and gas share one temperature at each node. Unknowns sit at
the vertices of a boundary-fitted grid, materials in its cells. Storage equals the sum of the terms named below; each
term is one small function or the stencil that carries it.

Gas flow is algebraic at each moment (no gas storage), oxygen is quasi-steady up to what the pore gas stores; heat,
water and substrate advance in time by SDIRK2 (solver/step.py). Boundary exchange of every balance is in
balances/surface.py, where signs are stated once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BALANCES = {
    "gas": {
        "equation": "div N = -(1 - RQ) R_O2,  N = n_d u,  u = -K/mu (grad p' - (rho_a - rho) g z^)",
        "terms": ("balances.airflow.gas_mobility", "balances.airflow.buoyancy", "matter.bed.kozeny_carman"),
        "solved by": "solver.flow.solve_flow",
    },
    "oxygen": {
        "equation": "d(eps n_d X)/dt + div(X N - n_d D grad X) = -R_O2 X / (X + K)",
        "terms": ("solver.flow.advection_stencil", "matter.bed.relative_gas_diffusivity",
                  "balances.substrate.oxygen_uptake", "matter.biology.oxygen_factor"),
        "solved by": "solver.oxygen.solve_oxygen",
    },
    "enthalpy": {
        "equation": "dE(T, W)/dt = div(lambda grad T) - div(h N) + vapour + liquid + respiration",
        "terms": ("balances.heat.stored_enthalpy", "matter.bed.thermal_conductivity", "matter.moist_air.moist_enthalpy",
                  "solver.liquid.liquid_flow", "balances.substrate.heat_of"),
        "solved by": "solver.nodes.sweep",
    },
    "water": {
        "equation": "dW/dt = -div(Y N - n_d D grad Y) + div(C grad s) - drainage + metabolic water",
        "terms": ("matter.moist_air.vapour_ratio", "matter.bed.water_activity", "matter.bed.capillary_conductance",
                  "matter.bed.drainage_potential", "balances.water.metabolic_water"),
        "solved by": "solver.nodes.sweep",
    },
    "substrate": {
        "equation": "dB_i/dt = -k_i f_T f_O2 f_w f_eps a B_i   (mix fast, mix slow, cover slow; a = 1 in a cover apart)",
        "terms": ("balances.substrate.implicit_oxidation", "matter.biology.temperature_factor",
                  "matter.biology.moisture_factor", "matter.biology.air_space_factor"),
        "solved by": "solver.nodes.solve_stage",
    },
    "activity": {
        "equation": "da/dt = r f_T f_O2 f_w f_eps a (1 - a)   (microbes of the mix)",
        "terms": ("matter.biology.logistic_growth", "matter.biology.temperature_factor"),
        "solved by": "solver.properties.grow_activity",
    },
}


@dataclass(slots=True)
class State:
    """All that a pile is at one moment, per node (count + 1 entries, the last unused).

    Attributes
    ----------
    time : float
        Since the pile was built [s].
    stored : array
        Enthalpy [J m-1]; the conserved quantity, holds the carried iteration defect.
    temperature : array
        [K]; the iterate that coupling, rates and output use.
    water : array
        [kg m-1].
    substrate : (count + 1, 3) array
        Mix fast, mix slow, cover slow [kg m-1].
    oxygen : array
        Mole fraction of dry pore gas [1].
    composition : array
        Oxygen as the gas density feels it, relaxed in time [1].
    east, north, outflow : arrays
        Dry gas to the east and north neighbour and out of the section [mol s-1 m-1].
    activity : array
        Of the microbes of the mix, 0 to 1; 1 is mature [1].
    """

    time: float
    stored: np.ndarray
    temperature: np.ndarray
    water: np.ndarray
    substrate: np.ndarray
    oxygen: np.ndarray
    composition: np.ndarray
    east: np.ndarray
    north: np.ndarray
    outflow: np.ndarray
    activity: np.ndarray
