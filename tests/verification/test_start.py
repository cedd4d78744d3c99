"""The heat a pile and its ground start with does not hang on the grid (kind: exact).

"Planted" names the faults under which a test was seen to fail.
"""

import numpy as np
import pytest

from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.section.grid import GROUND


@pytest.mark.parametrize(("warm", "below"), [("35 degC", 10.0), ("-8 degC", 10.0), ("20 degC", -6.0)])
def test_floor_nodes_store_what_both_parts_bring(warm, below):
    """Pile of one temperature on ground of another, either of them frozen: stored heat is the sum of both, on any grid.

    Tolerance 1e-9: rounding.
    Planted: floor nodes at the pile's temperature alone (a first-order error of days); ice of the ground left out.
    """
    scenario = load("reference_pile").with_(**{"start.temperature": warm, "weather.air_temperature": f"{below} degC",
                                               "ground.deep_temperature": f"{below} degC"})
    for refinement in (1, 2):
        problem = build(scenario, refinement)
        record, bed, ground = problem.record, problem.bed, problem.ground_capacity
        start = scenario.start.temperature - record.celsius_zero
        dry = (bed.dry_capacity - ground).sum()
        water = problem.water.sum()
        pile = (dry + record.water_heat_capacity * water) * start
        if start < 0:  # all ice below the freezing range; the water's own sensible heat within it
            pile = ((dry + record.water_heat_capacity * water) * -record.freezing_range - record.latent_heat_of_fusion * water
                    + (dry + record.ice_heat_capacity * water) * (start + record.freezing_range))
        earth = below * ground.sum()
        if below < 0:
            earth -= record.latent_heat_of_fusion * bed.ground_water.sum()
        stored = problem.stored_enthalpy(problem.temperature, problem.water).sum()
        assert stored == pytest.approx(pile + earth, rel=1e-9)
        alone = problem.mesh.volume[GROUND] == 0
        pile_alone = problem.temperature[alone][:-1]
        assert pile_alone == pytest.approx(np.full_like(pile_alone, scenario.start.temperature), rel=1e-12)
