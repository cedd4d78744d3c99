"""Banded factors in place: Cholesky for the pressure, LU without pivoting for the oxygen correction.

Both take four columns at a time, so that each number of the rest of the band is fetched once for four pivots; unsigned
indices let the inner loops run in vector registers. Bands are padded with zeros where four pivots reach beyond one.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.base.compiled import compiled

BLOCK = 4  # pivots taken together; the kernels below are written out for this number
PAD = BLOCK - 1  # columns of zeros beside a band


@compiled
def factor_symmetric(band: Any) -> None:
    """Cholesky factor in place of a positive definite band, stored as lower columns.

    Parameters
    ----------
    band : (size, width + PAD) array
        Entry (r, c) of the matrix at [c, r - c]; the last PAD columns hold zeros.
    """
    size, stride = band.shape
    width = stride - PAD
    flat = band.reshape(-1)
    blocked = size - size % BLOCK
    for k in range(0, size, BLOCK):
        most = BLOCK if k < blocked else size - k
        for q in range(most):
            p = k + q
            root = np.sqrt(band[p, 0])
            band[p, 0] = root
            part = 1.0 / root
            own = np.uint64(p * stride)
            for i in range(np.uint64(1), np.uint64(width)):
                flat[own + i] *= part
            for ahead in range(q + 1, most):
                w = band[p, ahead - q]
                target = np.uint64((k + ahead) * stride)
                source = np.uint64(p * stride + ahead - q)
                for i in range(np.uint64(width - ahead + q)):
                    flat[target + i] -= w * flat[source + i]
        if most < BLOCK:
            break
        for c in range(k + BLOCK, min(k + PAD + width, size)):
            first, second, third, fourth = (k * stride + c - k, (k + 1) * stride + c - k - 1,
                                            (k + 2) * stride + c - k - 2, (k + 3) * stride + c - k - 3)
            w0, w1, w2, w3 = flat[first], flat[second], flat[third], flat[fourth]
            target = np.uint64(c * stride)
            a0, a1, a2, a3 = np.uint64(first), np.uint64(second), np.uint64(third), np.uint64(fourth)
            for i in range(np.uint64(k + PAD + width - c)):
                flat[target + i] -= w0 * flat[a0 + i] + w1 * flat[a1 + i] + w2 * flat[a2 + i] + w3 * flat[a3 + i]


@compiled
def solve_symmetric(band: Any, right: Any) -> None:
    """Solve in place of `right` with the factor of :func:`factor_symmetric`."""
    size, stride = band.shape
    width = stride - PAD
    flat = band.reshape(-1)
    for k in range(size):
        value = right[k] / band[k, 0]
        right[k] = value
        own, row = np.uint64(k * stride), np.uint64(k)
        for i in range(np.uint64(1), np.uint64(min(width, size - k))):
            right[row + i] -= value * flat[own + i]
    for k in range(size - 1, -1, -1):
        s = right[k]
        own, row = np.uint64(k * stride), np.uint64(k)
        for i in range(np.uint64(1), np.uint64(min(width, size - k))):
            s -= flat[own + i] * right[row + i]
        right[k] = s / band[k, 0]


@compiled
def factor_general(band: Any) -> None:
    """LU factors in place of a diagonally dominant band, without pivoting.

    Parameters
    ----------
    band : (size, 2 * reach + 1 + 2 * PAD) array
        Entry (r, c) of the matrix at [r, middle + c - r], middle = reach + PAD; PAD columns of zeros on either side.
    """
    size, stride = band.shape
    middle = stride // 2
    reach = middle - PAD
    flat = band.reshape(-1)
    one = flat.dtype.type(1.0)
    blocked = size - size % BLOCK
    for k in range(0, size, BLOCK):
        most = BLOCK if k < blocked else size - k
        for q in range(most):
            p = k + q
            part = one / band[p, middle]
            source = np.uint64(p * stride + middle + 1)
            for ahead in range(q + 1, most):
                r = k + ahead
                w = band[r, middle + p - r] * part
                band[r, middle + p - r] = w
                target = np.uint64(r * stride + middle + p + 1 - r)
                for i in range(np.uint64(reach)):
                    flat[target + i] -= w * flat[source + i]
        if most < BLOCK:
            break
        p0, p1, p2, p3 = (one / band[k, middle], one / band[k + 1, middle], one / band[k + 2, middle],
                          one / band[k + 3, middle])
        u01, u02, u03 = band[k, middle + 1], band[k, middle + 2], band[k, middle + 3]
        u12, u13, u23 = band[k + 1, middle + 1], band[k + 1, middle + 2], band[k + 2, middle + 1]
        a0, a1 = np.uint64(k * stride + middle + 4), np.uint64((k + 1) * stride + middle + 3)
        a2, a3 = np.uint64((k + 2) * stride + middle + 2), np.uint64((k + 3) * stride + middle + 1)
        for r in range(k + BLOCK, min(k + BLOCK + reach, size)):
            column = r * stride + middle + k - r
            w0 = flat[column] * p0
            w1 = (flat[column + 1] - w0 * u01) * p1
            w2 = (flat[column + 2] - w0 * u02 - w1 * u12) * p2
            w3 = (flat[column + 3] - w0 * u03 - w1 * u13 - w2 * u23) * p3
            flat[column], flat[column + 1], flat[column + 2], flat[column + 3] = w0, w1, w2, w3
            target = np.uint64(column + 4)
            for i in range(np.uint64(reach)):
                flat[target + i] -= w0 * flat[a0 + i] + w1 * flat[a1 + i] + w2 * flat[a2 + i] + w3 * flat[a3 + i]


@compiled
def solve_general(band: Any, right: Any) -> None:
    """Solve in place of `right` with the factors of :func:`factor_general`."""
    size, stride = band.shape
    middle = stride // 2
    reach = middle - PAD
    flat = band.reshape(-1)
    for k in range(size):
        s = right[k]
        span = min(reach, k)
        own, row = np.uint64(k * stride + middle - span), np.uint64(k - span)
        for i in range(np.uint64(span)):
            s -= flat[own + i] * right[row + i]
        right[k] = s
    for k in range(size - 1, -1, -1):
        s = right[k]
        own, row = np.uint64(k * stride + middle + 1), np.uint64(k + 1)
        for i in range(np.uint64(min(reach, size - 1 - k))):
            s -= flat[own + i] * right[row + i]
        right[k] = s / band[k, middle]
