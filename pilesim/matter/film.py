"""The wet outer surface: rain that wets it, soaks in and runs off. Scalars in SI units, the record ``c`` last."""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled


@compiled
def film_after(film: float, rain: float, step: float, c: Any) -> tuple[float, float, float]:
    """The water film after `step` [s], and where its water went.

    Parameters
    ----------
    film : float
        Water on the surface [kg m-2].
    rain : float
        Falling on it [kg m-2 s-1 of the slope's own area].

    Returns
    -------
    tuple of float
        Film; taken up by the cover, run off over the step [kg m-2]. They balance exactly. The cover takes up water at its
        largest rate, what then exceeds the film's capacity runs off.
    """
    there = film + rain * step
    taken = min(there, c.cover_intake_rate * step)
    there -= taken
    kept = min(there, c.film_capacity)
    return kept, taken, there - kept
