"""Heat carried by gas that a pressure difference drives through a box, against an exact transient solution.

"Planted" names the faults under which a test was seen to fail.
"""

import numpy as np
import pytest
from verification.rows import assert_pass

from pilesim.balances.surface import FIXED, Boundary
from pilesim.section.grid import MIX
from pilesim.verify import advection
from pilesim.verify.advection import (
    COLD,
    CONCENTRATION,
    HEAT_CAPACITY,
    HOT,
    LENGTH,
    MOLE,
    PERMEABILITY,
    SPEED,
    VISCOSITY,
    C,
)
from pilesim.verify.reduced import dry_physics, line, reduced, run, tight


@pytest.mark.parametrize("way", [1, -1], ids=["to the right", "to the left"])
def test_heat_front_by_advection_and_conduction(way):
    """Front entering at a fixed temperature: Ogata & Banks (1961). It starts some way in, where it is smooth.

    Cells and steps are halved together. Tolerance 0.15 on the mean error's order: observed 1.90 and 1.92 on these
    sizes, 1.94 beyond; limited upwinding nears 2 from below. The flux is Darcy's within rounding, 1e-9. Planted:
    first-order upwinding; heat capacity of the gas 2 % low; face value next to the inlet upstream instead of the mean;
    GAMMA 0.3.
    """
    assert_pass(advection.heat_front(way))


@pytest.mark.parametrize("courant", [0.25, 0.5])
@pytest.mark.parametrize("way", [1, -1], ids=["to the right", "to the left"])
def test_no_overshoot_at_a_jump(courant, way):
    """A warm block with upright ends, carried half the box on: no node becomes colder than the cold or warmer than the warm.
    So it must be for any limiter with van Leer's property (van Leer 1974, J. Comput. Phys. 14, 361; TO CHECK).

    Tolerance 1e-6 of the jump: rounding next to the film that holds the inlet (seen 7e-8; a linear scheme of second order
    undershoots by a sixth). Planted: limiter off (second-order upwind faces, ratio 1/2 everywhere).
    """
    size = 40
    gas_speed = SPEED * C / (CONCENTRATION * MOLE * HEAT_CAPACITY)
    push = gas_speed * VISCOSITY * LENGTH / PERMEABILITY
    inlet = Boundary(flow_open=True, pressure=push, temperature=COLD, heat_film=FIXED)
    physics = dry_physics(concentration=CONCENTRATION, viscosity=VISCOSITY, gravity=0.0, dry_air_molar_mass=MOLE,
                          dry_air_heat_capacity=HEAT_CAPACITY)
    ends = dict(zip(("left", "right")[::way], (inlet, Boundary(flow_open=True)), strict=True))
    problem = reduced(line(size, LENGTH), ends, physics, heat_capacity={MIX: C}, conductivity={MIX: 1e-3},
                      permeability={MIX: PERMEABILITY})
    distance = problem.mesh.x[:-1] if way == 1 else LENGTH - problem.mesh.x[:-1]
    problem.temperature[:-1] = np.where((distance > 0.11 * LENGTH) & (distance < 0.39 * LENGTH), HOT, COLD)
    seen = []
    step = courant * LENGTH / size / SPEED
    run(problem, round(0.5 * size / courant) * step, tight(step, oxygen_sweeps=1),
        lambda moment: seen.append((moment.after.temperature[:-1] - COLD) / (HOT - COLD)))
    assert np.min(seen) > -1e-6 and np.max(seen) < 1.0 + 1e-6
    assert np.max(seen[-1]) > 0.9  # and the block is still there
