"""R1 (stated in ``peer_ida.py``) by the method of lines with scipy's BDF: a second peer, written in plain numpy.

Nothing here imports ``pilesim``. Cell-centred finite volumes; T, S and c are integrated by ``scipy.integrate.solve_ivp``,
the pressure is solved inside the right-hand side with sparse LU factors made once (the mobility is constant). Face values
are first-order upwind, or van Leer (second order, limited).

Two traps. Letting solve_ivp find the Jacobian through ``jac_sparsity`` stalls: its differences see the pressure solve,
which couples everything, and fold it into a pattern of neighbours. So the Jacobian is made here by coloured differences
with the *velocity frozen*; what is left out costs Newton iterations, no accuracy. And the limiter has kinks: with van Leer
the step size stays small, and the run takes some ten times longer.

Sources: variable-order BDF of Shampine and Reichelt (1997), SIAM J. Sci. Comput. 18, 1, as scipy's documentation says;
van Leer (1974), J. Comput. Phys. 14, 361 (TO CHECK).
"""

from __future__ import annotations

import time

import numpy as np
from bench import peer_ida as r1
from scipy.integrate import solve_ivp
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

FIELDS = ("temperature", "demand", "oxygen")
SCALES = (1.0, 1.0, 0.1)  # absolute tolerance = rtol times these [K, kg m-3, kg m-3]
INCREMENTS = (1e-5, 1e-5, 1e-8)
# (colours, k): cells with equal (i + k j) mod colours share no stencil of one cell (upwind) or two (van Leer) to each side
COLOURING = {"upwind": (5, 2), "van Leer": (11, 3)}
REACH = {"upwind": 1, "van Leer": 2}


def _factor(t: np.ndarray) -> np.ndarray:
    """Cardinal temperature factor [1]."""
    lower = r1.T_OPT - r1.T_MIN
    value = ((t - r1.T_MAX) * (t - r1.T_MIN) ** 2
             / (lower * (lower * (t - r1.T_OPT) - (r1.T_OPT - r1.T_MAX) * (r1.T_OPT + r1.T_MIN - 2.0 * t))))
    return np.where((t > r1.T_MIN) & (t < r1.T_MAX), value, 0.0)


def _limited(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Half of van Leer's slope from the differences on both sides; zero at extrema."""
    product, total = before * after, before + after
    return np.where(product > 0.0, product / np.where(product > 0.0, total, 1.0), 0.0)


def _carried(flux: np.ndarray, value: np.ndarray, ambient: float, scheme: str) -> np.ndarray:
    """Flux times face value along axis 0, whose first face is closed and whose last is open to `ambient`.

    ``flux`` has one row more than ``value``. What leaves through the open face has the value of the last cell.
    """
    out = np.zeros_like(flux)
    inner = flux[1:-1]
    below, above = value[:-1], value[1:]
    if scheme == "van Leer":
        step = above - below
        closed = np.zeros_like(value[:1])  # mirror image behind the closed face
        opening = 2.0 * (ambient - value[-1:])  # the air stands half a cell away
        below = below + _limited(np.concatenate((closed, step[:-1])), step)
        above = above - _limited(np.concatenate((step[1:], opening)), step)
    out[1:-1] = inner * np.where(inner >= 0.0, below, above)
    out[-1] = flux[-1] * np.where(flux[-1] >= 0.0, value[-1], ambient)
    return out


class Section:
    """R1 on nx x nz cells: geometry, pressure factors and rates. Arrays are (nx, nz)."""

    def __init__(self, nx: int, nz: int, scheme: str) -> None:
        self.k, self.mix, self.dx, self.dz = r1._section(nx, nz)
        self.scheme = scheme
        self.across = 2.0 * self.k[1:] * self.k[:-1] / (self.k[1:] + self.k[:-1]) / self.dx
        self.up = 2.0 * self.k[:, 1:] * self.k[:, :-1] / (self.k[:, 1:] + self.k[:, :-1]) / self.dz
        self.side = 1.0 / (1.0 / r1.FILM + 0.5 * self.dx / self.k[-1])
        self.top = 1.0 / (1.0 / r1.FILM + 0.5 * self.dz / self.k[:, -1])
        self.pressure = splu(self._laplacian())

    def _laplacian(self) -> csc_matrix:
        """-div(mobility grad p) with p = 0 on the open faces, half a cell away [1 s-1 per Pa]."""
        nx, nz = self.k.shape
        here = np.arange(nx * nz).reshape(nx, nz)
        diagonal = np.zeros((nx, nz))
        rows, cols, data = [], [], []
        for a, b, weight in ((here[:-1], here[1:], r1.MOBILITY / self.dx**2),
                             (here[:, :-1], here[:, 1:], r1.MOBILITY / self.dz**2)):
            for one, other in ((a, b), (b, a)):
                rows.append(one.ravel())
                cols.append(other.ravel())
                data.append(np.full(one.size, -weight))
                diagonal.ravel()[one.ravel()] += weight
        diagonal[-1] += 2.0 * r1.MOBILITY / self.dx**2
        diagonal[:, -1] += 2.0 * r1.MOBILITY / self.dz**2
        rows.append(here.ravel())
        cols.append(here.ravel())
        data.append(diagonal.ravel())
        return csc_matrix((np.concatenate(data), (np.concatenate(rows), np.concatenate(cols))), shape=(nx * nz,) * 2)

    def velocity(self, temperature: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Gas flux [m s-1] through all faces across (nx + 1, nz) and up (nx, nz + 1), from the pressure solve."""
        nx, nz = self.k.shape
        force = r1.GRAVITY * r1.RHO_AIR * (1.0 - r1.T_AIR / temperature)
        lift = np.zeros((nx, nz + 1))
        lift[:, 1:-1] = 0.5 * r1.MOBILITY * (force[:, 1:] + force[:, :-1])
        lift[:, -1] = r1.MOBILITY * force[:, -1]
        p = self.pressure.solve((-np.diff(lift, axis=1) / self.dz).ravel()).reshape(nx, nz)
        across = np.zeros((nx + 1, nz))
        across[1:-1] = r1.MOBILITY * (p[:-1] - p[1:]) / self.dx
        across[-1] = 2.0 * r1.MOBILITY * p[-1] / self.dx
        lift[:, 1:-1] += r1.MOBILITY * (p[:, :-1] - p[:, 1:]) / self.dz
        lift[:, -1] += 2.0 * r1.MOBILITY * p[:, -1] / self.dz
        return across, lift

    def rates(self, y: np.ndarray, flow: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """d(T, S, c)/dt for a given gas flow; ``y`` and the result are flat, field after field."""
        temperature, demand, oxygen = y.reshape(3, *self.k.shape)
        uptake = r1.RATE * _factor(temperature) * demand * oxygen / (oxygen + r1.HALF_SATURATION)
        heat = self._gain(temperature, flow, r1.T_AIR, r1.RHO_AIR * r1.GAS_HEAT_CAPACITY,
                          self.across, self.up, self.side, self.top)
        diffusion = r1.DIFFUSIVITY / self.dx, r1.DIFFUSIVITY / self.dz
        gas = self._gain(oxygen, flow, r1.C_AIR, 1.0, *diffusion, 2.0 * diffusion[0], 2.0 * diffusion[1])
        return np.concatenate((((heat + r1.HEAT_OF_REACTION * uptake) / r1.HEAT_CAPACITY).ravel(), -uptake.ravel(),
                               ((gas - uptake) / r1.POROSITY).ravel()))

    def _gain(self, value, flow, ambient, carried, across, up, side, top) -> np.ndarray:
        """-div of advection and diffusion of `value`, given conductances per area of inner and open faces."""
        level = value - ambient  # div u = 0, so the carried quantity may be counted from ambient
        x = carried * _carried(flow[0], level, 0.0, self.scheme)
        z = carried * _carried(flow[1].T, level.T, 0.0, self.scheme).T
        x[1:-1] += across * (level[:-1] - level[1:])
        z[:, 1:-1] += up * (level[:, :-1] - level[:, 1:])
        x[-1] += side * level[-1]
        z[:, -1] += top * level[:, -1]
        return -np.diff(x, axis=0) / self.dx - np.diff(z, axis=1) / self.dz

    def pattern(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(row, column, colour of the column) of every entry that the Jacobian with frozen velocity can have."""
        nx, nz = self.k.shape
        here = np.arange(nx * nz).reshape(nx, nz)
        colours, factor = COLOURING[self.scheme]
        i, j = np.divmod(np.arange(nx * nz), nz)
        group = (i + factor * j) % colours
        pairs = [(equation, field, here, here) for equation in range(3) for field in range(3)]
        for shift in range(1, REACH[self.scheme] + 1):
            for a, b in ((here[:-shift], here[shift:]), (here[:, :-shift], here[:, shift:])):
                pairs += [(field, field, *ends) for field in (0, 2) for ends in ((a, b), (b, a))]
        row = np.concatenate([equation * nx * nz + target.ravel() for equation, _, target, _ in pairs])
        column = np.concatenate([field * nx * nz + source.ravel() for _, field, _, source in pairs])
        return row, column, group[column % (nx * nz)] + colours * (column // (nx * nz))


def solve_r1(nx: int = 60, nz: int = 50, rtol: float = 1e-5, days: tuple[float, ...] = r1.REPORT_DAYS,
             scheme: str = "upwind") -> dict:
    """R1 with BDF on nx x nz cells.

    Parameters
    ----------
    nx, nz : int
        Cells across and up; multiples of 15 and 25.
    rtol : float
        Relative tolerance; the absolute ones are rtol times a scale of each field.
    days : tuple of float
        Report days, increasing.
    scheme : str
        ``upwind`` or ``van Leer``.

    Returns
    -------
    dict
        As ``peer_ida.solve_r1`` reports, with ``cpu_seconds`` of the solve, ``evaluations`` and ``jacobians``.

    Raises
    ------
    RuntimeError
        When BDF stops before the last day; carries its own message.
    """
    section = Section(nx, nz, scheme)
    size = nx * nz
    row, column, colour = section.pattern()
    increment = np.repeat(INCREMENTS, size)
    groups = [np.flatnonzero(colour == c) for c in np.unique(colour)]
    data = np.empty(row.size)

    def rates(t: float, y: np.ndarray) -> np.ndarray:
        return section.rates(y, section.velocity(y[:size].reshape(nx, nz)))

    def jacobian(t: float, y: np.ndarray) -> csc_matrix:
        flow = section.velocity(y[:size].reshape(nx, nz))
        base = section.rates(y, flow)
        for entries in groups:
            trial = y.copy()
            trial[column[entries]] = y[column[entries]] + increment[column[entries]]
            change = (section.rates(trial, flow) - base)[row[entries]]
            data[entries] = change / (trial - y)[column[entries]]
        return csc_matrix((data, (row, column)), shape=(y.size, y.size))

    start = np.concatenate((np.full(size, r1.T_START), r1.DEMAND * section.mix.ravel(), np.full(size, r1.C_AIR)))
    began = time.process_time()
    answer = solve_ivp(rates, (0.0, days[-1] * r1.DAY), start, method="BDF", t_eval=np.array(days) * r1.DAY,
                       rtol=rtol, atol=rtol * np.repeat(SCALES, size), jac=jacobian, first_step=1.0)
    seconds = time.process_time() - began
    if not answer.success:
        raise RuntimeError(f"BDF stopped before day {days[-1]}: {answer.message}")
    states = answer.y.T.reshape(len(days), 3, nx, nz)
    fields = dict(zip(FIELDS, (field.T for field in states[-1]), strict=True))
    report = r1._report(np.moveaxis(states, 1, -1), days, section.mix, section.dx * section.dz)
    return report | fields | {"cpu_seconds": seconds, "evaluations": int(answer.nfev), "jacobians": int(answer.njev)}
