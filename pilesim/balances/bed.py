"""What the bed is made of, and its properties at one moment: the arrays that balances and kernels share."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Bed(NamedTuple):
    """What the bed is made of; arrays (5 materials, count + 1 nodes) unless said otherwise."""

    volume: np.ndarray  # m2, bulk
    organic: np.ndarray  # kg m-1 at the start
    ash: np.ndarray  # kg m-1
    reference_air: np.ndarray  # (5,) free air space at which `permeability` holds
    permeability: np.ndarray  # (5,) m2
    follows: np.ndarray  # (5,) 1 where permeability follows water and decay, else 0
    given_conductivity: np.ndarray  # (5,) W m-1 K-1, 0 where computed
    pool_rate: np.ndarray  # (3,) s-1
    pool_start: np.ndarray  # (count + 1, 3) kg m-1
    dry_capacity: np.ndarray  # (count + 1,) J K-1 m-1, of solids and of the ground as a whole
    ground_water: np.ndarray  # (count + 1,) kg m-1, freezable water of the ground


class Properties(NamedTuple):
    """Properties at one moment; arrays (5, count + 1) unless said otherwise."""

    permeability: np.ndarray  # m2
    conductivity: np.ndarray  # W m-1 K-1
    diffusivity: np.ndarray  # m2 s-1 relative to free air
    capillary: np.ndarray  # kg m-1 s-1
    water: np.ndarray  # kg m-1, the share of each material
    dry_mass: np.ndarray  # kg m-1
    pore_volume: np.ndarray  # (count + 1,) m2
    gas_volume: np.ndarray  # (count + 1,) m2
    environment: np.ndarray  # (count + 1, 3) s-1 without temperature and oxygen
    activity: np.ndarray  # (count + 1,) water activity
    node_dry_mass: np.ndarray  # (count + 1,) kg m-1
    gas_diffusivity: np.ndarray  # (count + 1,) n_d D in free air, mol m-1 s-1
    gas_amount: np.ndarray  # (count + 1,) mol m-1 in the pores
    half: np.ndarray  # (count + 1,)
    uptake: np.ndarray  # (count + 1,) mol s-1 m-1 at full oxygen
    growth: np.ndarray  # (count + 1,) limit of the mix by water and free air space, 0 where there is no mix
