"""Weighted sums over the neighbours of a node.

Written out without loops: a helper with a loop keeps a lock on each of its arrays at every call, which costs more than
the sum.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import inlined


@inlined
def near(n: int, weights: Any, values: Any, neighbours: Any) -> float:
    """Sum of the first four weights of node `n` times the values of its east, west, north and south neighbours."""
    return (weights[n, 0] * values[neighbours[n, 0]] + weights[n, 1] * values[neighbours[n, 1]]
            + weights[n, 2] * values[neighbours[n, 2]] + weights[n, 3] * values[neighbours[n, 3]])


@inlined
def diagonal(n: int, weights: Any, values: Any, neighbours: Any) -> float:
    """Sum of the last four weights of node `n` times the values of its diagonal neighbours."""
    return (weights[n, 4] * values[neighbours[n, 4]] + weights[n, 5] * values[neighbours[n, 5]]
            + weights[n, 6] * values[neighbours[n, 6]] + weights[n, 7] * values[neighbours[n, 7]])


@inlined
def beyond(n: int, weights: Any, values: Any, upstream: Any) -> float:
    """Sum of the last four weights of node `n` times the values beyond its east, west, north and south neighbours."""
    return (weights[n, 4] * values[upstream[n, 0]] + weights[n, 5] * values[upstream[n, 1]]
            + weights[n, 6] * values[upstream[n, 2]] + weights[n, 7] * values[upstream[n, 3]])
