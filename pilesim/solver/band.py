"""Banded factors in place: L D L' for the pressure, L D U without pivoting for the oxygen correction.

Both take four columns at a time, so that each number of the rest of the band is fetched once for four pivots; unsigned
indices let the inner loops run in vector registers. The triangles have a diagonal of one, so that no number waits for a
division or a product beside the sums. Bands are padded with zeros where four pivots reach beyond one.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.base.compiled import compiled_part

BLOCK = 4  # pivots taken together; the kernels below are written out for this number
PAD = BLOCK - 1  # columns of zeros beside a band


@compiled_part
def factor_symmetric(band: Any) -> None:
    """Factors L D L' in place of a positive definite band, stored as lower columns: those of L, whose diagonal is one, and
    the reciprocals of D in its stead.

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
            band[p, 0] = 1.0 / band[p, 0]
            for ahead in range(q + 1, most):
                w = band[p, ahead - q] * band[p, 0]
                target = np.uint64((k + ahead) * stride)
                source = np.uint64(p * stride + ahead - q)
                for i in range(np.uint64(width - ahead + q)):
                    flat[target + i] -= w * flat[source + i]
        if most == BLOCK:
            d0, d1, d2, d3 = band[k, 0], band[k + 1, 0], band[k + 2, 0], band[k + 3, 0]
            for c in range(k + BLOCK, min(k + PAD + width, size)):
                first, second, third, fourth = (k * stride + c - k, (k + 1) * stride + c - k - 1,
                                                (k + 2) * stride + c - k - 2, (k + 3) * stride + c - k - 3)
                w0, w1, w2, w3 = flat[first] * d0, flat[second] * d1, flat[third] * d2, flat[fourth] * d3
                target = np.uint64(c * stride)
                a0, a1, a2, a3 = np.uint64(first), np.uint64(second), np.uint64(third), np.uint64(fourth)
                for i in range(np.uint64(k + PAD + width - c)):
                    flat[target + i] -= w0 * flat[a0 + i] + w1 * flat[a1 + i] + w2 * flat[a2 + i] + w3 * flat[a3 + i]
        for p in range(k, k + most):
            part, own = band[p, 0], np.uint64(p * stride)
            for i in range(np.uint64(1), np.uint64(width)):
                flat[own + i] *= part


@compiled_part
def solve_symmetric(band: Any, right: Any) -> None:
    """Solve in place of `right` with the factors of :func:`factor_symmetric`."""
    size, stride = band.shape
    reach = stride - PAD - 1
    flat = band.reshape(-1)
    blocked = size - size % BLOCK
    for k in range(0, blocked, BLOCK):
        a = k * stride
        b, c, d = a + stride, a + 2 * stride, a + 3 * stride
        y0 = right[k]
        y1 = right[k + 1] - flat[a + 1] * y0
        y2 = right[k + 2] - flat[a + 2] * y0 - flat[b + 1] * y1
        y3 = right[k + 3] - flat[a + 3] * y0 - flat[b + 2] * y1 - flat[c + 1] * y2
        right[k], right[k + 1], right[k + 2], right[k + 3] = y0, y1, y2, y3
        row, a0, a1, a2, a3 = np.uint64(k + 4), np.uint64(a + 4), np.uint64(b + 3), np.uint64(c + 2), np.uint64(d + 1)
        for i in range(np.uint64(min(reach, size - k - 4))):
            right[row + i] -= y0 * flat[a0 + i] + y1 * flat[a1 + i] + y2 * flat[a2 + i] + y3 * flat[a3 + i]
    for k in range(blocked, size):
        for r in range(k + 1, size):
            right[r] -= right[k] * band[k, r - k]
    for k in range(size - 1, blocked - 1, -1):
        right[k] *= band[k, 0]
        for r in range(k + 1, size):
            right[k] -= right[r] * band[k, r - k]
    for k in range(blocked - BLOCK, -1, -BLOCK):
        a = k * stride
        b, c, d = a + stride, a + 2 * stride, a + 3 * stride
        row, a0, a1, a2, a3 = np.uint64(k + 4), np.uint64(a + 4), np.uint64(b + 3), np.uint64(c + 2), np.uint64(d + 1)
        s0, s1, s2, s3 = right[k] * flat[a], right[k + 1] * flat[b], right[k + 2] * flat[c], right[k + 3] * flat[d]
        for i in range(np.uint64(min(reach, size - k - 4))):
            value = right[row + i]
            s0 -= value * flat[a0 + i]
            s1 -= value * flat[a1 + i]
            s2 -= value * flat[a2 + i]
            s3 -= value * flat[a3 + i]
        x3 = s3
        x2 = s2 - flat[c + 1] * x3
        x1 = s1 - flat[b + 1] * x2 - flat[b + 2] * x3
        x0 = s0 - flat[a + 1] * x1 - flat[a + 2] * x2 - flat[a + 3] * x3
        right[k], right[k + 1], right[k + 2], right[k + 3] = x0, x1, x2, x3


@compiled_part
def factor_general(band: Any) -> None:
    """Factors L D U in place of a diagonally dominant band, without pivoting; the diagonals of L and U are one, and the
    reciprocals of D are left in their stead.

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
            band[p, middle] = part
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
        p0, p1, p2, p3 = band[k, middle], band[k + 1, middle], band[k + 2, middle], band[k + 3, middle]
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
    for p in range(size):
        part, own = band[p, middle], np.uint64(p * stride + middle)
        for i in range(np.uint64(1), np.uint64(reach + 1)):
            flat[own + i] *= part


@compiled_part
def solve_general(band: Any, right: Any) -> None:
    """Solve in place of `right` with the factors of the transpose that :func:`factor_general` left in `band`.

    Rows of the transpose are columns of the matrix, and a column adds to all of `right` below (above) it at once, where a
    row would wait for each number before it.
    """
    size, stride = band.shape
    middle = stride // 2
    reach = middle - PAD
    flat = band.reshape(-1)
    blocked = size - size % BLOCK
    for k in range(0, blocked, BLOCK):
        a = k * stride + middle
        b, c, d = a + stride, a + 2 * stride, a + 3 * stride
        y0 = right[k]
        y1 = right[k + 1] - flat[a + 1] * y0
        y2 = right[k + 2] - flat[a + 2] * y0 - flat[b + 1] * y1
        y3 = right[k + 3] - flat[a + 3] * y0 - flat[b + 2] * y1 - flat[c + 1] * y2
        right[k], right[k + 1], right[k + 2], right[k + 3] = y0, y1, y2, y3
        row, a0, a1, a2, a3 = np.uint64(k + 4), np.uint64(a + 4), np.uint64(b + 3), np.uint64(c + 2), np.uint64(d + 1)
        for i in range(np.uint64(min(reach, size - k - 4))):
            right[row + i] -= y0 * flat[a0 + i] + y1 * flat[a1 + i] + y2 * flat[a2 + i] + y3 * flat[a3 + i]
    for k in range(blocked, size):
        for r in range(k + 1, size):
            right[r] -= right[k] * band[k, middle + r - k]
    for k in range(size):
        right[k] *= band[k, middle]
    for k in range(size - 1, blocked - 1, -1):
        for r in range(max(k - reach, 0), k):
            right[r] -= right[k] * band[k, middle + r - k]
    for k in range(blocked - BLOCK, -1, -BLOCK):
        a = k * stride + middle
        b, c, d = a + stride, a + 2 * stride, a + 3 * stride
        x3 = right[k + 3]
        x2 = right[k + 2] - flat[d - 1] * x3
        x1 = right[k + 1] - flat[d - 2] * x3 - flat[c - 1] * x2
        x0 = right[k] - flat[d - 3] * x3 - flat[c - 2] * x2 - flat[b - 1] * x1
        right[k], right[k + 1], right[k + 2], right[k + 3] = x0, x1, x2, x3
        first = max(k - reach, 0)
        back = k - first
        row, a0, a1, a2, a3 = (np.uint64(first), np.uint64(a - back), np.uint64(b - 1 - back), np.uint64(c - 2 - back),
                               np.uint64(d - 3 - back))
        for i in range(np.uint64(back)):
            right[row + i] -= x0 * flat[a0 + i] + x1 * flat[a1 + i] + x2 * flat[a2 + i] + x3 * flat[a3 + i]
