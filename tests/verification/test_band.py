"""Banded factors against scipy's: sizes that four pivots divide and that they do not, bands narrower than four.

Planted and seen to fail: one product of the first four rows left out.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve_banded, solveh_banded

from pilesim.base.compiled import plain
from pilesim.solver.band import PAD, factor_general, factor_symmetric, solve_general, solve_symmetric

SIZES = [(1, 0), (3, 1), (4, 2), (7, 6), (16, 5), (21, 9), (26, 3)]  # unknowns, farthest neighbour
ROUND_OFF = 1e-12  # numbers near one, dominant diagonals, at most 26 unknowns


@pytest.mark.parametrize(("size", "reach"), SIZES)
def test_symmetric(size, reach):
    """Positive definite: weights between nodes, and a little to the outside."""
    random = np.random.default_rng(size)
    lower = np.zeros((reach + 1, size))
    for apart in range(1, reach + 1):
        weight = random.random(size - apart)
        lower[apart, :size - apart] = -weight
        lower[0, :size - apart] += weight
        lower[0, apart:] += weight
    lower[0] += 0.1
    right = random.random(size)
    band = np.zeros((size, reach + 1 + PAD))
    band[:, :reach + 1] = lower.T
    found = right.copy()
    plain(factor_symmetric)(band)
    plain(solve_symmetric)(band, found)
    assert found == pytest.approx(solveh_banded(lower, right, lower=True), rel=ROUND_OFF)


@pytest.mark.parametrize(("size", "reach"), SIZES)
def test_general(size, reach):
    """Unlike weights to both sides; the kernel takes the transpose of the matrix that it solves with."""
    random = np.random.default_rng(size)
    matrix = -random.random((size, size))
    matrix[np.abs(np.subtract.outer(np.arange(size), np.arange(size))) > reach] = 0.0
    np.fill_diagonal(matrix, 0.0)
    np.fill_diagonal(matrix, 0.1 - matrix.sum(axis=0))
    upper_first = np.zeros((2 * reach + 1, size))
    band = np.zeros((size, 2 * (reach + PAD) + 1))
    for row, column in np.argwhere(matrix):
        upper_first[reach + row - column, column] = matrix[row, column]
        band[column, reach + PAD + row - column] = matrix[row, column]
    right = random.random(size)
    found = right.copy()
    plain(factor_general)(band)
    plain(solve_general)(band, found)
    assert found == pytest.approx(solve_banded((reach, reach), upper_first, right), rel=ROUND_OFF)
