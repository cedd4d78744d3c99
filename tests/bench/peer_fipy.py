"""R1 (stated in ``peer_ida.py``) with FiPy, a general finite-volume package: one equation after the other, backward Euler.

Nothing here imports ``pilesim``. FiPy assembles each balance from its terms and solves it by sparse LU. Temperature and
oxygen are counted from the ambient air's, so that entering air carries nothing (div u = 0); what leaves through an open
face, the film and the half cell of diffusion are implicit sources of the outermost cells. A step is repeated `sweeps`
times, because flow, heat and oxygen are solved in turn.

Trap: FiPy's LU solver could skip a solve whose residual is already below 1e-5 of the right-hand side, so that further sweeps
silently did nothing. It gets a tolerance of 1e-14 here (with FiPy 4.0.3 its default gives the same numbers). Convection is
first-order upwind: FiPy's van Leer term was tried and diverged on R1 (60 x 50 cells at steps of 600 s, 30 x 25 at 1800 s).

On 60 x 50 cells day 3 comes out at 291.03 K with steps of 30 minutes and at 290.8 K with short ones (as IDA does on the same
cells); the converged answer is 291.05 K. So its error there looks smaller than either of the two that make it.

Source: Guyer, Wheeler, Warren (2009), Comput. Sci. Eng. 11(3), 6.
"""

from __future__ import annotations

import os
import time

os.environ.setdefault("FIPY_SOLVERS", "scipy")

import numpy as np
from bench import peer_ida as r1


def _factor(t: np.ndarray) -> np.ndarray:
    """Cardinal temperature factor [1]."""
    lower = r1.T_OPT - r1.T_MIN
    value = ((t - r1.T_MAX) * (t - r1.T_MIN) ** 2
             / (lower * (lower * (t - r1.T_OPT) - (r1.T_OPT - r1.T_MAX) * (r1.T_OPT + r1.T_MIN - 2.0 * t))))
    return np.where((t > r1.T_MIN) & (t < r1.T_MAX), value, 0.0)


class Section:
    """R1 on nx x nz cells in FiPy's terms; its cells run fastest across (x), ours (nx, nz) fastest up."""

    def __init__(self, nx: int, nz: int) -> None:
        import fipy

        self.fipy, self.shape = fipy, (nx, nz)
        k, self.mix, self.dx, self.dz = r1._section(nx, nz)
        mesh = self.mesh = fipy.Grid2D(nx=nx, ny=nz, dx=self.dx, dy=self.dz)
        self.solver = fipy.LinearLUSolver(tolerance=1e-14)
        self.temperature = fipy.CellVariable(mesh=mesh, value=r1.T_START - r1.T_AIR, hasOld=True)  # above the air [K]
        self.oxygen = fipy.CellVariable(mesh=mesh, value=0.0, hasOld=True)  # above the air's, so at most 0 [kg m-3]
        self.pressure = fipy.CellVariable(mesh=mesh, value=0.0)
        self.pressure.constrain(0.0, mesh.facesTop | mesh.facesRight)
        self.demand = r1.DEMAND * self.mix.T.ravel()  # a local balance: plain arrays, backward Euler
        self.lift = fipy.FaceVariable(mesh=mesh, rank=1, value=0.0)
        self.gas = fipy.FaceVariable(mesh=mesh, rank=1, value=0.0)
        conductivity = fipy.CellVariable(mesh=mesh, value=k.T.ravel()).harmonicFaceValue
        self.leaving = fipy.CellVariable(mesh=mesh, value=0.0)  # gas leaving per volume of cell [s-1]
        self.heat_sink = fipy.CellVariable(mesh=mesh, value=0.0)
        self.heat_source = fipy.CellVariable(mesh=mesh, value=0.0)
        self.oxygen_sink = fipy.CellVariable(mesh=mesh, value=0.0)
        self.oxygen_source = fipy.CellVariable(mesh=mesh, value=0.0)
        # conductances of the open faces per volume of cell: W m-3 K-1 and s-1
        self.film, self.edge_diffusion = np.zeros((nx, nz)), np.zeros((nx, nz))
        self.film[-1] += 1.0 / (1.0 / r1.FILM + 0.5 * self.dx / k[-1]) / self.dx
        self.film[:, -1] += 1.0 / (1.0 / r1.FILM + 0.5 * self.dz / k[:, -1]) / self.dz
        self.edge_diffusion[-1] += 2.0 * r1.DIFFUSIVITY / self.dx**2
        self.edge_diffusion[:, -1] += 2.0 * r1.DIFFUSIVITY / self.dz**2
        term = fipy.DiffusionTerm
        carried = r1.RHO_AIR * r1.GAS_HEAT_CAPACITY
        inner = self.gas * (~mesh.exteriorFaces)
        self.flow_equation = term(coeff=r1.MOBILITY) == self.lift.divergence
        self.heat_equation = (fipy.TransientTerm(r1.HEAT_CAPACITY) + fipy.UpwindConvectionTerm(coeff=carried * inner)
                              == term(coeff=conductivity) - fipy.ImplicitSourceTerm(self.heat_sink) + self.heat_source)
        self.oxygen_equation = (fipy.TransientTerm(r1.POROSITY) + fipy.UpwindConvectionTerm(coeff=inner)
                                == term(coeff=r1.DIFFUSIVITY) - fipy.ImplicitSourceTerm(self.oxygen_sink)
                                + self.oxygen_source)

    def up_to_date_flow(self) -> None:
        """Solve the pressure of the present temperature; fill the gas flux on faces."""
        nx, nz = self.shape
        theta = self.temperature.value.reshape(nz, nx)
        force = r1.GRAVITY * r1.RHO_AIR * theta / (theta + r1.T_AIR)
        vertical = np.zeros((nz + 1, nx))  # horizontal faces come first in FiPy's order, row by row from the floor
        vertical[1:-1] = 0.5 * (force[1:] + force[:-1])
        vertical[-1] = force[-1]
        lift = np.zeros(self.lift.shape)
        lift[1, : vertical.size] = r1.MOBILITY * vertical.ravel()
        self.lift.setValue(lift)
        self.flow_equation.solve(var=self.pressure, solver=self.solver)
        gas = lift - r1.MOBILITY * self.pressure.faceGrad.value
        self.gas.setValue(gas)
        leaving = np.zeros((nz, nx))
        leaving[-1] += np.maximum(gas[1, : vertical.size].reshape(nz + 1, nx)[-1], 0.0) / self.dz
        leaving[:, -1] += np.maximum(gas[0, vertical.size :].reshape(nz, nx + 1)[:, -1], 0.0) / self.dx
        self.leaving.setValue(leaving.ravel())

    def step(self, length: float, sweeps: int) -> None:
        """One step of backward Euler [s]; flow, heat, oxygen and demand are solved in turn `sweeps` times."""
        self.temperature.updateOld()
        self.oxygen.updateOld()
        demand = self.demand
        for _ in range(sweeps):
            self.up_to_date_flow()
            level = self.oxygen.value + r1.C_AIR
            rate = r1.RATE * _factor(self.temperature.value + r1.T_AIR)
            limited = np.maximum(level, 0.0) / (np.maximum(level, 0.0) + r1.HALF_SATURATION)
            self.demand = demand / (1.0 + length * rate * limited)
            per_level = rate * self.demand / (np.maximum(level, 0.0) + r1.HALF_SATURATION)
            self.oxygen_sink.setValue(per_level + self.leaving.value + self.edge_diffusion.T.ravel())
            self.oxygen_source.setValue(-per_level * r1.C_AIR)
            self.oxygen_equation.sweep(var=self.oxygen, dt=length, solver=self.solver)
            used = (demand - self.demand) / length
            self.heat_sink.setValue(r1.RHO_AIR * r1.GAS_HEAT_CAPACITY * self.leaving.value + self.film.T.ravel())
            self.heat_source.setValue(r1.HEAT_OF_REACTION * used)
            self.heat_equation.sweep(var=self.temperature, dt=length, solver=self.solver)

    def state(self) -> np.ndarray:
        """(nx, nz, 3) of temperature [K], demand, oxygen [kg m-3]."""
        nx, nz = self.shape
        fields = self.temperature.value + r1.T_AIR, self.demand, self.oxygen.value + r1.C_AIR
        return np.stack([field.reshape(nz, nx).T for field in fields], axis=-1)


def solve_r1(nx: int = 60, nz: int = 50, step: float = 1800.0, days: tuple[float, ...] = (1.0, 3.0),
             sweeps: int = 2) -> dict:
    """R1 with FiPy on nx x nz cells.

    Parameters
    ----------
    nx, nz : int
        Cells across and up; multiples of 15 and 25.
    step : float
        Time step [s]; must divide a day.
    days : tuple of float
        Report days, increasing.
    sweeps : int
        Times that a step is repeated.

    Returns
    -------
    dict
        As ``peer_ida.solve_r1`` reports, with ``cpu_seconds`` of the steps and their number, ``steps``.

    Raises
    ------
    ValueError
        When the step does not divide a day.
    """
    per_day = round(r1.DAY / step)
    if per_day < 1 or abs(per_day * step - r1.DAY) > 1e-6:
        raise ValueError(f"step = {step} s: expected a whole number of steps in a day")
    section = Section(nx, nz)
    states, steps = [], 0
    began = time.process_time()
    for day in days:
        while steps < round(day * per_day):
            section.step(step, sweeps)
            steps += 1
        states.append(section.state())
    seconds = time.process_time() - began
    report = r1._report(np.stack(states), days, section.mix, section.dx * section.dz)
    return report | {"cpu_seconds": seconds, "steps": steps}
