"""Steady Darcy convection in a square by Chebyshev collocation and Newton's method: an answer that shares no code with the
solver. Exact to the digits that a larger `size` leaves unchanged.

    laplace psi = -Ra dT/dx,   dpsi/dz dT/dx - dpsi/dx dT/dz = laplace T,   psi = 0 on the walls, z up
"""

from __future__ import annotations

from functools import cache

import numpy as np


def derivative_matrix(size: int) -> tuple[np.ndarray, np.ndarray]:
    """Chebyshev differentiation on [0, 1] and its points, ascending. Source: Trefethen (2000), chapter 6 (TO CHECK)."""
    k = np.arange(size + 1)
    x = np.cos(np.pi * k / size)
    c = np.where((k == 0) | (k == size), 2.0, 1.0) * (-1.0) ** k
    gap = x[:, None] - x[None, :] + np.eye(size + 1)
    d = np.outer(c, 1.0 / c) / gap
    d -= np.diag(d.sum(axis=1))
    return 2.0 * d[::-1, ::-1], 0.5 * (1.0 + x[::-1])


def weights(size: int) -> np.ndarray:
    """Clenshaw-Curtis weights on [0, 1], by the integrals of the Chebyshev polynomials."""
    k = np.arange(size + 1)
    values = np.cos(np.outer(np.arange(size + 1), np.pi * k / size))  # polynomial n at point k
    integral = np.array([0.0 if n % 2 else 1.0 / (1.0 - n * n) for n in range(size + 1)])  # over [0, 1] of T_n(2x - 1)
    return np.asarray(np.linalg.solve(values, integral)[::-1])


@cache
def steady_square(rayleigh: float, below: bool, size: int = 24) -> tuple[float, float]:
    """Heat flow over conduction's, largest stream function over the diffusivity at the points; heated from the left, or
    from `below` with one cell."""
    d, x = derivative_matrix(size)
    one = np.eye(size + 1)
    dx, dz = np.kron(one, d), np.kron(d, one)  # row-major (z, x)
    laplace = dx @ dx + dz @ dz
    at_x, at_z = np.tile(x, size + 1), np.repeat(x, size + 1)
    left, right, floor, top = at_x == x[0], at_x == x[-1], at_z == x[0], at_z == x[-1]
    warm, cold = (floor, top) if below else (left, right)
    sides = (left | right if below else floor | top) & ~(warm | cold)
    wall = left | right | floor | top
    n = at_x.size
    temperature = 1.0 - at_z - 0.1 * np.cos(np.pi * at_x) * np.sin(np.pi * at_z) if below else 1.0 - at_x
    stream = -2.0 * np.sin(np.pi * at_x) * np.sin(np.pi * at_z) if below else 0.0 * at_x
    normal = dx if below else dz
    fixed = np.where(warm, 1.0, 0.0)
    for part in np.unique(np.minimum([50.0, 60.0, 75.0, 100.0, 400.0, rayleigh], rayleigh)):  # from one solution to the next
        for _ in range(30):
            t_x, t_z, s_x, s_z = dx @ temperature, dz @ temperature, dx @ stream, dz @ stream
            fault = np.concatenate([laplace @ stream + part * t_x, laplace @ temperature - s_z * t_x + s_x * t_z])
            top_row = np.hstack([laplace, part * dx])
            low_row = np.hstack([-t_x[:, None] * dz + t_z[:, None] * dx, laplace - s_z[:, None] * dx + s_x[:, None] * dz])
            matrix = np.vstack([top_row, low_row])
            matrix[:n][wall], fault[:n][wall] = np.hstack([np.eye(n), np.zeros((n, n))])[wall], stream[wall]
            held = warm | cold
            matrix[n:][held] = np.hstack([np.zeros((n, n)), np.eye(n)])[held]
            fault[n:][held] = (temperature - fixed)[held]
            matrix[n:][sides] = np.hstack([np.zeros((n, n)), normal])[sides]
            fault[n:][sides] = (normal @ temperature)[sides]
            change = np.linalg.solve(matrix, -fault)
            stream, temperature = stream + change[:n], temperature + change[n:]
            if np.abs(change).max() < 1e-9 * max(1.0, np.abs(stream).max()):
                break
        else:
            raise ArithmeticError(f"the spectral solution at Ra {part:g} did not settle")
    carried, conducted = (-(dx @ stream), dz @ temperature) if below else (dz @ stream, dx @ temperature)
    area = np.outer(weights(size), weights(size)).ravel()  # the same flow crosses every section: their mean is smoothest
    return float(area @ (carried * temperature - conducted)), float(np.abs(stream).max())
