"""The reduced pile problem R1 solved by a general-purpose solver, as a peer for checks and timing.

Nothing here imports ``pilesim``: the peer shares no code with the package it is compared with. It is the
method of lines on cell-centred finite volumes, first-order upwind, handed as one differential-algebraic
system to IDA (scikit-sundae): variable-order backward differences, Newton, sparse LU.

The problem
-----------
Half a cross-section, x in [0, 3.0] m from the symmetry line, z in [0, 2.5] m from the floor; 30 days.
Unknowns: temperature T [K], oxygen demand left S [kg O2 per m3 of bed], oxygen c [kg per m3 of gas], and
p, the gauge pressure above the hydrostatic column of the ambient air [Pa].

* Cover: every cell within 0.20 m of the top (z > 2.3) or of the open side (x > 2.8): conductivity k = 0.25
  W m-1 K-1, S = 0 at the start. Elsewhere, the mix: k = 0.40, S = 100 kg O2 m-3.
* Everywhere: bulk heat capacity C = 2.0e6 J m-3 K-1, air-filled porosity eps = 0.35, permeability
  K = 1.0e-8 m2, gas viscosity mu = 1.8e-5 Pa s.
* Ambient: Ta = 268.15 K, p0 = 101325 Pa, gas density rho(T) = p0 0.02896/(8.314 T), rho_a = rho(Ta),
  g = 9.81 m s-2.
* Flow: u = -(K/mu) (grad p - (rho_a - rho(T)) g z^), div u = 0. p = 0 on the top and the open side; no flow
  through the floor and the symmetry line.
* Oxygen: eps dc/dt + div(u c) = div(De grad c) - R, De = 5.0e-6 m2 s-1. Air enters with ca = 0.28 kg m-3 and
  leaves with the cell's c; at open faces there is also diffusive exchange with ca over half a cell.
* Uptake: R = k_ref f(T) S c/(c + Kc), k_ref = 0.10 per day, Kc = 0.02 kg m-3; f is the cardinal temperature
  factor with Tmin = 278.15, Topt = 331.15, Tmax = 353.15 K, zero outside [Tmin, Tmax]:
  f = (T-Tmax)(T-Tmin)^2 / {(Topt-Tmin) [(Topt-Tmin)(T-Topt) - (Topt-Tmax)(Topt+Tmin-2T)]}.
* Demand: dS/dt = -R.
* Heat: C dT/dt + div(rho_a ce u T) = div(k grad T) + dH R, ce = 5000 J kg-1 K-1 (an effective heat capacity
  of saturated air), dH = 14e6 J per kg O2. Air enters at Ta. Top and open side: film h = 15 W m-2 K-1 to Ta
  in series with half a cell. The floor is insulated.
* Start: T = 283.15 K, c = ca, S as above.

Reported at days 1, 3, 10 and 30: mean temperature of the whole section, coldest mix cell, hottest cell, share
of the mix with c < 0.067 kg m-3 (5 % oxygen), oxygen used so far (kg per m of pile, half section).

The grid-converged answer has a mean temperature of 283.48, 291.05, 318.31 and 298.68 K and an oxygen use of
1.623, 11.13, 77.12 and 169.05 kg/m (midpoints of two independent converged solutions, which differ by at most
0.12 K and 0.8 %). First-order upwinding misses it visibly: at 60 x 50 day 30 comes out about
2.3 K and 4.4 % high, and each halving of the cell nearly halves that.

Sources: cardinal temperature factor, Rosso et al. (1993), J. theor. Biol. 162, 447 (TO CHECK); SUNDIALS,
Hindmarsh et al. (2005), ACM Trans. Math. Softw. 31, 363. The problem itself is invented.
"""

import time
import warnings

import numpy as np
from numba import njit
from scipy.sparse import csc_matrix

REPORT_DAYS = (1.0, 3.0, 10.0, 30.0)
CONVERGED = {  # day -> (mean temperature [K], oxygen used [kg/m]); provenance in the module docstring
    1.0: (283.48, 1.623), 3.0: (291.05, 11.13), 10.0: (318.31, 77.12), 30.0: (298.68, 169.05)}

DAY = 86400.0
WIDTH, HEIGHT, COVER = 3.0, 2.5, 0.20
K_COVER, K_MIX, DEMAND = 0.25, 0.40, 100.0
HEAT_CAPACITY, POROSITY, PERMEABILITY, VISCOSITY = 2.0e6, 0.35, 1.0e-8, 1.8e-5
T_AIR, PRESSURE, MOLAR_MASS, GAS_CONSTANT, GRAVITY = 268.15, 101325.0, 0.02896, 8.314, 9.81
DIFFUSIVITY, C_AIR, C_FIVE_PERCENT = 5.0e-6, 0.28, 0.067
RATE, HALF_SATURATION = 0.10 / DAY, 0.02
T_MIN, T_OPT, T_MAX = 278.15, 331.15, 353.15
GAS_HEAT_CAPACITY, HEAT_OF_REACTION, FILM, T_START = 5000.0, 14.0e6, 15.0, 283.15
RHO_AIR = PRESSURE * MOLAR_MASS / (GAS_CONSTANT * T_AIR)
MOBILITY = PERMEABILITY / VISCOSITY
ADVECTED = RHO_AIR * GAS_HEAT_CAPACITY / HEAT_CAPACITY  # temperature carried per unit of gas flux [-]

FIELDS = 4  # unknowns of cell n: 4 n + (0 T, 1 S, 2 c, 3 p); cell n = i nz + j, so that z runs fastest
SCALES = (1.0, 1.0, 0.1, 1.0)  # absolute tolerance = rtol times these [K, kg m-3, kg m-3, Pa]
# of T, S, c, p for the Jacobian: round-off and curvature both stay below 1e-5 of an entry
INCREMENTS = (1e-5, 1e-5, 1e-8, 1e-7)
COLOURS = 5  # cells with equal (i + 2 j) mod 5 share no five-point stencil


@njit(cache=False, inline="always")
def _temperature_factor(t):
    if t <= T_MIN or t >= T_MAX:
        return 0.0
    lower = T_OPT - T_MIN
    return ((t - T_MAX) * (t - T_MIN) ** 2
            / (lower * (lower * (t - T_OPT) - (T_OPT - T_MAX) * (T_OPT + T_MIN - 2.0 * t))))


@njit(cache=False, inline="always")
def _buoyancy(t):
    """Upward body force on the gas, (rho_a - rho) g [Pa m-1]."""
    return GRAVITY * RHO_AIR * (1.0 - T_AIR / t)


@njit(cache=False)
def _rates(y, k, dx, dz, rate):
    """Fill ``rate`` with dT/dt, dS/dt, eps dc/dt and -div u of every cell; ``k`` is (nx, nz) conductivity."""
    nx, nz = k.shape
    for i in range(nx):
        for j in range(nz):
            n = FIELDS * (i * nz + j)
            uptake = RATE * _temperature_factor(y[n]) * y[n + 1] * y[n + 2] / (y[n + 2] + HALF_SATURATION)
            rate[n] = HEAT_OF_REACTION / HEAT_CAPACITY * uptake
            rate[n + 1] = -uptake
            rate[n + 2] = -uptake
            rate[n + 3] = 0.0
    for i in range(nx):
        for j in range(nz):
            n = FIELDS * (i * nz + j)
            if i + 1 < nx:
                m = n + FIELDS * nz
                gas = MOBILITY * (y[n + 3] - y[m + 3]) / dx
                _inner_face(y, rate, n, m, gas, 2.0 * k[i, j] * k[i + 1, j] / (k[i, j] + k[i + 1, j]), dx)
            else:
                _open_face(y, rate, n, MOBILITY * y[n + 3] / (0.5 * dx), k[i, j], dx)
            if j + 1 < nz:
                m = n + FIELDS
                gas = MOBILITY * ((y[n + 3] - y[m + 3]) / dz + 0.5 * (_buoyancy(y[n]) + _buoyancy(y[m])))
                _inner_face(y, rate, n, m, gas, 2.0 * k[i, j] * k[i, j + 1] / (k[i, j] + k[i, j + 1]), dz)
            else:
                gas = MOBILITY * (y[n + 3] / (0.5 * dz) + _buoyancy(y[n]))
                _open_face(y, rate, n, gas, k[i, j], dz)


@njit(cache=False, inline="always")
def _inner_face(y, rate, n, m, gas, conductivity, d):
    """Exchange from cell offset n to m through a face; gas [m s-1] is positive from n to m, d the spacing."""
    up = n if gas >= 0.0 else m
    heat = ADVECTED * gas * (y[up] - T_AIR) + conductivity / (HEAT_CAPACITY * d) * (y[n] - y[m])
    oxygen = gas * y[up + 2] + DIFFUSIVITY / d * (y[n + 2] - y[m + 2])
    rate[n] -= heat / d
    rate[m] += heat / d
    rate[n + 2] -= oxygen / d
    rate[m + 2] += oxygen / d
    rate[n + 3] -= gas / d
    rate[m + 3] += gas / d


@njit(cache=False, inline="always")
def _open_face(y, rate, n, gas, conductivity, d):
    """Exchange of cell offset n with the ambient air through an outer face; gas is positive outwards."""
    film = 1.0 / (1.0 / FILM + 0.5 * d / conductivity)
    heat = ADVECTED * max(gas, 0.0) * (y[n] - T_AIR) + film / HEAT_CAPACITY * (y[n] - T_AIR)
    oxygen = gas * (y[n + 2] if gas >= 0.0 else C_AIR) + DIFFUSIVITY / (0.5 * d) * (y[n + 2] - C_AIR)
    rate[n] -= heat / d
    rate[n + 2] -= oxygen / d
    rate[n + 3] -= gas / d


@njit(cache=False)
def _residual(y, yp, k, dx, dz, res):
    """0 = storage - rate, with no storage in the pressure row."""
    _rates(y, k, dx, dz, res)
    for n in range(0, y.size, FIELDS):
        res[n] = yp[n] - res[n]
        res[n + 1] = yp[n + 1] - res[n + 1]
        res[n + 2] = POROSITY * yp[n + 2] - res[n + 2]
        res[n + 3] = -res[n + 3]


@njit(cache=False)
def _jacobian(y, cj, k, dx, dz, indptr, indices, increment, work, base, data):
    """d(residual)/dy + cj d(residual)/dy' in CSC order, by differences of twenty groups of columns."""
    nx, nz = k.shape
    _rates(y, k, dx, dz, base)
    trial = y.copy()
    for field in range(FIELDS):
        step = increment[field]
        for colour in range(COLOURS):
            for i in range(nx):
                for j in range((3 * (colour - i)) % COLOURS, nz, COLOURS):  # 3 is the inverse of 2 modulo 5
                    trial[FIELDS * (i * nz + j) + field] += step
            _rates(trial, k, dx, dz, work)
            for i in range(nx):
                for j in range((3 * (colour - i)) % COLOURS, nz, COLOURS):
                    n = FIELDS * (i * nz + j) + field
                    change = trial[n] - y[n]
                    trial[n] = y[n]
                    for entry in range(indptr[n], indptr[n + 1]):
                        row = indices[entry]
                        data[entry] = (base[row] - work[row]) / change
                        if row == n and field < 3:
                            data[entry] += cj * (POROSITY if field == 2 else 1.0)


def _pattern(nx: int, nz: int) -> csc_matrix:
    """Where the Jacobian can be non-zero; each row lists the unknowns that its balance reads."""
    rows, cols = [], []
    here = np.arange(nx * nz).reshape(nx, nz)

    def couple(equation: int, field: int, targets: np.ndarray, sources: np.ndarray) -> None:
        rows.append(FIELDS * targets.ravel() + equation)
        cols.append(FIELDS * sources.ravel() + field)

    for equation, fields in ((0, (0, 1, 2, 3)), (1, (0, 1, 2)), (2, (0, 1, 2, 3)), (3, (0, 3))):
        for field in fields:
            couple(equation, field, here, here)
    vertical, horizontal = (here[:, :-1], here[:, 1:]), (here[:-1], here[1:])
    for a, b in (vertical, vertical[::-1], horizontal, horizontal[::-1]):
        for equation, field in ((0, 0), (0, 3), (2, 2), (2, 3), (3, 3)):
            couple(equation, field, a, b)
    for a, b in (vertical, vertical[::-1]):  # buoyancy on vertical faces
        couple(2, 0, a, b)
        couple(3, 0, a, b)
    row, col = np.concatenate(rows), np.concatenate(cols)
    pattern = csc_matrix((np.ones(row.size), (row, col)), shape=(FIELDS * nx * nz,) * 2)
    pattern.sort_indices()
    return pattern


def _section(nx: int, nz: int) -> tuple[np.ndarray, np.ndarray, float, float]:
    """(conductivity, mix mask) as (nx, nz) arrays and the cell sizes [m]; cover lines must be cell faces."""
    if nx < 15 or nz < 25 or nx % 15 or nz % 25:
        raise ValueError(f"nx = {nx}, nz = {nz}: expected multiples of 15 and 25 (the cover is whole cells)")
    dx, dz = WIDTH / nx, HEIGHT / nz
    x, z = (np.arange(nx) + 0.5) * dx, (np.arange(nz) + 0.5) * dz
    mix = (x[:, None] < WIDTH - COVER) & (z[None, :] < HEIGHT - COVER)
    return np.where(mix, K_MIX, K_COVER), mix, dx, dz


def _report(states: np.ndarray, days: tuple[float, ...], mix: np.ndarray, area: float) -> dict:
    """The reported values of each day; ``states`` is (days, nx, nz, fields)."""
    temperature, demand, oxygen = states[..., 0], states[..., 1], states[..., 2]
    return {
        "days": list(days),
        "mean_temperature": temperature.mean(axis=(1, 2)).tolist(),
        "coldest_mix": temperature[:, mix].min(axis=1).tolist(),
        "hottest": temperature.max(axis=(1, 2)).tolist(),
        "anaerobic_share": (oxygen[:, mix] < C_FIVE_PERCENT).mean(axis=1).tolist(),
        "oxygen_used": ((DEMAND - demand[:, mix]).sum(axis=1) * area).tolist(),
    }


def solve_r1(nx: int = 60, nz: int = 50, rtol: float = 1e-5, days: tuple[float, ...] = REPORT_DAYS) -> dict:
    """R1 with IDA on nx x nz cells.

    Parameters
    ----------
    nx, nz : int
        Cells across and up; multiples of 15 and 25.
    rtol : float
        Relative tolerance of IDA; the absolute ones are rtol times a scale of each field.
    days : tuple of float
        Report days, increasing.

    Returns
    -------
    dict
        ``days`` and, one value a day, ``mean_temperature``, ``coldest_mix``, ``hottest`` [K],
        ``anaerobic_share`` [1], ``oxygen_used`` [kg m-1]; the last day's fields ``temperature`` [K],
        ``demand``, ``oxygen`` [kg m-3], ``pressure`` [Pa] as (nz, nx) arrays, row 0 at the floor;
        ``cpu_seconds`` of the solve alone (compilation and set-up excluded), ``residuals`` and ``jacobians``
        evaluated.

    Raises
    ------
    ValueError
        When the grid does not resolve the cover into whole cells.
    RuntimeError
        When IDA stops before the last day; carries IDA's own message.
    """
    k, mix, dx, dz = _section(nx, nz)
    start = np.zeros((nx, nz, FIELDS))
    start[..., 0], start[..., 1], start[..., 2] = T_START, DEMAND * mix, C_AIR
    solver = _solver(k, dx, dz, rtol, start.ravel())
    began = time.process_time()
    # three times or more: with two, IDA reports every step of its own
    answer = solver.solve(np.array([0.0, 0.5 * days[0], *days]) * DAY, start.ravel(), np.zeros(start.size))
    seconds = time.process_time() - began
    if not answer.success:
        raise RuntimeError(f"IDA stopped at day {answer.t[-1] / DAY:.3f} of {days[-1]}: {answer.message}")
    states = answer.y[2:].reshape(len(days), nx, nz, FIELDS)
    fields = dict(zip(("temperature", "demand", "oxygen", "pressure"), states[-1].T, strict=True))
    return _report(states, days, mix, dx * dz) | fields | {
        "cpu_seconds": seconds, "residuals": int(answer.nfev), "jacobians": int(answer.njev)}


def _solver(k: np.ndarray, dx: float, dz: float, rtol: float, start: np.ndarray):
    """An IDA object ready to run; both kernels are compiled here by calling them once on ``start``."""
    from sksundae.ida import IDA

    pattern = _pattern(*k.shape)
    increment = np.array(INCREMENTS)
    work, base = np.empty(start.size), np.empty(start.size)

    def residual(t, y, yp, res):
        _residual(y, yp, k, dx, dz, res)

    def jacobian(t, y, yp, res, cj, data):
        _jacobian(y, cj, k, dx, dz, pattern.indptr, pattern.indices, increment, work, base, data)

    frozen = start.copy()
    frozen.flags.writeable = False  # IDA hands over read-only views, a type of their own to numba
    residual(0.0, frozen, frozen, work)
    jacobian(0.0, frozen, frozen, work, 1.0, np.empty(pattern.nnz))
    with warnings.catch_warnings():  # it says that the user's Jacobian goes before its own: intended
        warnings.filterwarnings("ignore", message="Custom sparse Jacobian")
        return IDA(residual, jacfn=jacobian, rtol=rtol, atol=rtol * np.tile(SCALES, start.size // FIELDS),
                   linsolver="sparse", sparsity=pattern, algebraic_idx=np.arange(3, start.size, FIELDS),
                   calc_initcond="yp0", calc_init_dt=1.0, max_num_steps=100000)


def main() -> None:
    """Print both grids beside the grid-converged answer."""
    print("grid     day  mean T [K] (error)   O2 used [kg/m] (error)   <5 % O2   coldest  hottest [K]")
    for nx, nz in ((30, 25), (60, 50)):
        out = solve_r1(nx, nz)
        for at, day in enumerate(out["days"]):
            mean, used = out["mean_temperature"][at], out["oxygen_used"][at]
            true_mean, true_used = CONVERGED[day]
            print(f"{nx:>3}x{nz:<3} {day:5.0f}  {mean:8.3f} ({mean - true_mean:+.2f} K)  {used:9.3f} "
                  f"({100 * (used / true_used - 1):+.2f} %)  {out['anaerobic_share'][at]:12.3f} "
                  f"{out['coldest_mix'][at]:10.2f} {out['hottest'][at]:8.2f}")
        print(f"{out['cpu_seconds']:15.2f} CPU s, {out['residuals']} residuals, {out['jacobians']} Jacobians")


if __name__ == "__main__":
    main()
