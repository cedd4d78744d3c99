"""What mix and cover make when a turn mixes them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pilesim.inputs.records import Cover, Mix
from pilesim.matter.mix import free_air_space, particle_size, permeability, solids_volume


def with_cover_mixed_in(mix: Mix, cover: Cover, masses: tuple[float, float], room: float, c: Any) -> Mix:
    """The mix that the wet `masses` [kg] of mix and cover make, as both were when the pile was built.

    Masses, water, organic matter and pools add up. The particle size is that of the surface per solid volume (a harmonic
    mean, as in a recipe: fines rule), so the permeability comes near that of the finer of the two. The cover's own pool is
    none of the mix's pools and keeps its rate.

    Parameters
    ----------
    room : float
        Volume that the two fill, each part weighed with its density over that at the surface [m3].
    c : record
        Constants.

    Source: as :func:`pilesim.matter.mix.blend`; that the two fill the volume they filled apart is a guess.
    """
    layers: tuple[Mix, Cover] = (mix, cover)
    moistures, volatiles = ([getattr(layer, name) for layer in layers] for name in ("moisture", "volatile_solids"))
    dry = [mass * (1.0 - moisture) for mass, moisture in zip(masses, moistures, strict=True)]
    organic = [part * volatile for part, volatile in zip(dry, volatiles, strict=True)]
    solids = [solids_volume(o, d - o, c) for o, d in zip(organic, dry, strict=True)]
    airs = [free_air_space(layer.bulk_density, layer.moisture, layer.volatile_solids, c) for layer in (mix, cover)]
    sizes = [particle_size(given, air, c) for given, air in zip((mix.permeability, cover.permeability), airs, strict=True)]
    wet, of_mix = sum(masses), organic[0] / sum(organic) if sum(organic) > 0.0 else 0.0
    density, moisture, volatile = wet / room, 1.0 - sum(dry) / wet, sum(organic) / sum(dry)
    size = sum(solids) / sum(volume / own for volume, own in zip(solids, sizes, strict=True))
    return replace(mix, bulk_density=density, moisture=moisture, volatile_solids=volatile,
                   fast_fraction=of_mix * mix.fast_fraction, slow_fraction=of_mix * mix.slow_fraction,
                   permeability=permeability(size, free_air_space(density, moisture, volatile, c), c))
