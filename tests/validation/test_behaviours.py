"""What must emerge from the balances and is coded nowhere, and what must not.

Signs, orders and wide bands, not the numbers of any prototype. "Common practice, no source" marks a fact of the trade
that we hold without a publication; a derivation is given where it is short. "Planted" names the fault under which a
check was seen to fail.
"""

from __future__ import annotations

BARE_FLOOR = {"base_layer.thickness": "0 m"}


def test_soil_takes_heat_from_the_floor(pile):
    """Without a base layer, conductive soil keeps the floor colder and warms up itself.

    The log of an unturned stockpile on bare soil never saw its floor above 26 degC while the middle passed 55 degC
    (Kamp & Feilberg 2024, TO CHECK). Here soil of 2.5 against 0.3 W/m/K, both in the range of mineral soils (de Vries
    1963, TO CHECK): over 3 K at the floor on day 21 (seen 9 K), and 0.1 m below the axis soil gains over 2 K.
    Planted: conductivity of the ground left at zero, which leaves every budget closed.
    """
    poor, good = (pile(**BARE_FLOOR, **{"ground.conductivity": value}) for value in ("0.3 W/m/K", "2.5 W/m/K"))
    mesh = good.problem.mesh
    below = (mesh.x[:-1] < 1e-9) & (mesh.z[:-1] < -0.05) & (mesh.z[:-1] > -0.4)
    assert below.any()
    assert (good.field("temperature", 21)[below] > 12.0).all()  # it began at 10 degC
    assert good.zone_temperature("floor", 21) < poor.zone_temperature("floor", 21) - 3.0
