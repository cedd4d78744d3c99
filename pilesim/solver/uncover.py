"""The cover comes off for good: it becomes mix where it lies, before a turn mixes it in, or it is scraped off.

Nothing else moves here. Every node keeps its temperature; what goes with a cover that is taken away (dry matter, water,
enthalpy) is returned, and what stays is the rest to round-off. Snow on the pile goes with such a cover.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pilesim.balances.heat import stored_enthalpies
from pilesim.balances.outside import Outside
from pilesim.balances.skin import Skin
from pilesim.build import Problem, empty_properties
from pilesim.matter.bed import dry_heat_capacity
from pilesim.model import State
from pilesim.section.grid import COVER, MIX
from pilesim.solver.properties import bed_properties


@dataclass(frozen=True, slots=True)
class CoverOff:
    """The cover at the moment it came off.

    Attributes
    ----------
    time : float
        [s].
    fate : str
        'mixed in' or 'taken away'.
    dry, water : float
        Dry matter and water of the cover [kg m-1].
    heat : float
        Enthalpy that the pile loses with it, above water at 0 degC [J m-1]; 0 where it is mixed in.
    mix : float
        Dry matter of the mix before [kg m-1].
    permeability : float
        Of the mix from then on, at the air space of building [m2].
    """

    time: float
    fate: str
    dry: float
    water: float
    heat: float
    mix: float
    permeability: float

    @property
    def added(self) -> tuple[float, float]:
        """Dry matter and water that the mix gained [kg m-1]."""
        return (self.dry, self.water) if self.fate == "mixed in" else (0.0, 0.0)

    @property
    def gone(self) -> tuple[float, float]:
        """Dry matter and water that left the pile [kg m-1]."""
        return (0.0, 0.0) if self.fate == "mixed in" else (self.dry, self.water)


def uncover(problem: Problem, state: State, fate: str) -> tuple[Problem, State, CoverOff]:
    """Problem and state without the cover, on the mesh of `problem.uncovered`, and what the cover was.

    Where it is mixed in, the material of a place is not yet that of the problem's mix: all of it has to be moved throughout
    next.
    """
    bare, bed = problem.uncovered, problem.bed
    assert bare is not None and bare.numbers is not None
    now = empty_properties(problem.mesh.count)
    bed_properties(state.temperature, state.water, state.substrate, state.activity, problem.mesh.pile_count, bed, now,
                   problem.record)
    dry, water, mix = float(now.dry_mass[COVER].sum()), float(now.water[COVER].sum()), float(now.dry_mass[MIX].sum())
    permeability = float(bare.bed.permeability[MIX])
    if fate == "mixed in":
        organic, ash = bed.organic.copy(), bed.ash.copy()
        for array in (organic, ash):
            array[MIX] += array[COVER]
            array[COVER] = 0.0
        mixed, covering = (bed.organic + bed.ash)[[MIX, COVER]]  # microbes of a cover are mature; weighed as a turn does
        whole = mixed + covering
        activity = np.divide(mixed * state.activity + covering, whole, out=state.activity.copy(), where=whole > 0.0)
        new_bed = bare.bed._replace(organic=organic, ash=ash, pool_start=bed.pool_start, dry_capacity=bed.dry_capacity)
        off = CoverOff(state.time, fate, dry, water, 0.0, mix, permeability)
        return replace(bare, bed=new_bed), replace(state, activity=activity), off
    after = _scraped(problem, bare, state, now.water[COVER])
    new_bed = bare.bed._replace(**_left(problem, bare.numbers))
    heat = float(state.stored.sum() - after.stored.sum())
    water = float(state.water.sum() - after.water.sum())
    return replace(bare, bed=new_bed), after, CoverOff(state.time, fate, dry, water, heat, mix, permeability)


def _scraped(problem: Problem, bare: Problem, state: State, cover_water: np.ndarray) -> State:
    """What is left of the state when the cover and its water are gone."""
    kept, pile = bare.numbers, bare.mesh.pile_count
    assert kept is not None
    own, bare_ground = _capacity(problem), np.zeros(problem.mesh.count + 1, dtype=bool)
    bare_ground[kept[pile:-1]] = True
    cover_water = np.where(bare_ground, state.water, cover_water)
    part, none = np.empty_like(own), np.zeros_like(own)
    stored_enthalpies(state.temperature, cover_water, none, own, part, problem.record)
    water = np.maximum(state.water - cover_water, 0.0)[kept]
    substrate, oxygen, composition = state.substrate[kept], state.oxygen[kept], state.composition[kept]
    substrate[:, 2] = 0.0
    oxygen[pile:], composition[pile:] = 0.0, 0.0
    nothing = np.zeros(kept.size)
    return State(state.time, (state.stored - part)[kept], state.temperature[kept], water, substrate, oxygen, composition,
                 nothing, nothing.copy(), nothing.copy(), state.activity[kept])


def _left(problem: Problem, kept: np.ndarray) -> dict[str, np.ndarray]:
    """What the bed is made of without the cover."""
    organic, ash, pools = problem.bed.organic[:, kept], problem.bed.ash[:, kept], problem.bed.pool_start[kept]
    organic[COVER], ash[COVER], pools[:, 2] = 0.0, 0.0, 0.0
    capacity = (problem.bed.dry_capacity - _capacity(problem))[kept]
    return {"organic": organic, "ash": ash, "pool_start": pools, "dry_capacity": capacity}


def _capacity(problem: Problem) -> np.ndarray:
    """Heat capacity of the solids of the cover at each node [J K-1 m-1]."""
    return np.asarray(dry_heat_capacity(problem.bed.organic[COVER], problem.bed.ash[COVER], problem.record))


def skin_left(before: Skin | None, was: Outside | None, bare: Problem) -> Skin | None:
    """What lies on the outer surface once the cover is off: the same on the same pieces, nothing on new ones."""
    now = bare.outside
    if before is None or was is None or now is None:
        return before
    assert bare.numbers is not None
    out = now.bare()
    old = {(int(n), bool(p)): k for k, (n, p) in enumerate(zip(was.pieces.node, was.pieces.is_pile, strict=True))}
    for k, (node, is_pile) in enumerate(zip(bare.numbers[now.pieces.node], now.pieces.is_pile, strict=True)):
        there = old.get((int(node), bool(is_pile)))
        if there is not None:
            for array, values in zip(out, before, strict=True):
                array[k] = values[there]
    return out
