"""Heat conduction in the coupled solver against exact solutions.

"Planted" names the faults under which a test was seen to fail. Iterations are so tight that only the errors of the
grid and of the time steps are left; they are relative to the initial excess temperature unless said otherwise.
"""

import math

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.optimize import brentq
from scipy.special import erfc, erfcx
from verification.reduced import FLAT, along, dry_physics, line, observed_order, reduced, run, tight

from pilesim.balances.surface import FIXED, Boundary
from pilesim.section.grid import BASE, COVER, MIX, box_grid, section_grid

K, C = 0.4, 2e6  # W m-1 K-1, J m-3 K-1
DIFFUSIVITY = K / C
HOT, AIR = 350.0, 300.0
STILL = dry_physics(gravity=0.0)


def slab(biot, fourier, place):
    """Excess temperature over that of the start; `place` runs from 0 at the insulated face to 1 at the cooled one.

    Carslaw & Jaeger (1959) ch. 3 (TO CHECK): roots of b tan b = Bi; forty terms leave less than 1e-16 beyond Fo 0.02.
    """
    roots = np.array([brentq(lambda b: b * math.sin(b) - biot * math.cos(b), n * math.pi + 1e-12, (n + 0.5) * math.pi,
                             xtol=1e-14) for n in range(40)])
    size = 4 * np.sin(roots) / (2 * roots + np.sin(2 * roots))
    return (size * np.exp(-roots**2 * fourier)) @ np.cos(np.outer(roots, place))


def excess(problem, state):
    return (along(problem, state.temperature) - AIR) / (HOT - AIR)


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0, 100.0])
def test_cooled_slab(biot):
    """Slab cooled by convection on both faces, half of it: Carslaw & Jaeger (1959) ch. 3 (TO CHECK).

    Cells and time steps are halved together, so both must be of second order. Tolerance 0.1: observed 2.00 to 2.01.
    Planted: heat capacity of edge nodes doubled; film halved; GAMMA 0.3; second stage started from the old enthalpy;
    weights of the stages swapped.
    """
    length, fourier, errors = 0.5, 0.4, []
    duration = fourier * length**2 / DIFFUSIVITY
    for size in (10, 20, 40):
        cooled = {"right": Boundary(heat_film=biot * K / length, temperature=AIR)}
        problem = reduced(line(size, length), cooled, STILL, temperature=HOT)
        got = excess(problem, run(problem, duration, tight(duration / size))[0])
        assert np.ptp(got, axis=0).max() < 1e-11  # the two rows of the line agree to the iteration's tolerance
        errors.append(np.abs(got[0] - slab(biot, fourier, problem.grid.x[0] / length)).max())
    assert observed_order(errors) == pytest.approx(2.0, abs=0.1)
    assert errors[-1] < 5e-5


def test_order_in_time_alone():
    """Slab at Bi 1 on ten cells against the matrix exponential of its finite-volume equations, written out here.

    The grid's error cancels. Tolerance 0.1: observed 2.02 and 2.03. Planted: GAMMA 0.3; weights of the stages swapped.
    """
    length, size, fourier = 0.5, 10, 0.4
    film, h, duration = K / length, length / size, fourier * length**2 / DIFFUSIVITY
    stiffness = K / h * (2 * np.eye(size + 1) - np.eye(size + 1, k=1) - np.eye(size + 1, k=-1))
    stiffness[0, 0], stiffness[-1, -1] = K / h, K / h + film
    mass = C * h * np.array([0.5, *[1.0] * (size - 1), 0.5])
    rates, modes = eigh(stiffness, np.diag(mass))
    exact = modes @ (np.exp(-rates * duration) * (modes.T @ mass))
    problem = reduced(line(size, length), {"right": Boundary(heat_film=film, temperature=AIR)}, STILL, temperature=HOT)
    errors = [np.abs(excess(problem, run(problem, duration, tight(duration / n))[0])[0] - exact).max()
              for n in (8, 16, 32)]
    assert observed_order(errors) == pytest.approx(2.0, abs=0.1)


def test_cooled_rectangle():
    """Rectangle cooled on two sides: the product of two slabs, Bi 1 and 10. Carslaw & Jaeger (1959) 5.6 (TO CHECK).

    Tolerance 0.1: observed 2.00. Planted: films of neighbouring edges replace each other instead of adding up;
    conduction along z 10 % low.
    """
    width, height, fourier, errors = 0.5, 0.4, 0.1, []
    duration = fourier * width**2 / DIFFUSIVITY
    for n in (8, 16, 32):
        grid = box_grid(np.linspace(0, width, n + 1), np.linspace(0, height, n + 1), np.full((n, n), MIX))
        cooled = {"right": Boundary(heat_film=1.0 * K / width, temperature=AIR),
                  "top": Boundary(heat_film=10.0 * K / height, temperature=AIR)}
        problem = reduced(grid, cooled, STILL, temperature=HOT)
        exact = np.outer(slab(10.0, fourier * (width / height) ** 2, grid.z[:, 0] / height),
                         slab(1.0, fourier, grid.x[0] / width))
        errors.append(np.abs(excess(problem, run(problem, duration, tight(duration / n))[0]) - exact).max())
    assert observed_order(errors) == pytest.approx(2.0, abs=0.1)


def test_slab_with_even_heat_source():
    """T - Ts = q (L^2 - x^2) / 2k: any text on heat conduction. The source is respiration of a large store of
    substrate at one constant rate, so it also checks the heat released per mass.

    A parabola is exact for this scheme on any spacing. Tolerance 1e-6 of the centre's excess: the fixed temperature is
    a film with q L / (1e6 W m-2 K-1) of excess, and the substrate shrinks by 1e-9. Planted: substrate
    of the middle's nodes doubled; oxygen demand left out of the heat; second stage started from the old enthalpy.
    """
    q, length, released = 50.0, 0.5, 1.2 * 1e7  # W m-3, m, J per kg of substrate
    physics = dry_physics(gravity=0.0, oxygen_half_saturation=1e-15, oxygen_molar_mass=1e9, heat_per_oxygen=1e7, **FLAT)
    x = length * np.linspace(0, 1, 13) ** 1.3
    held = Boundary(heat_film=FIXED, temperature=AIR, gas_film=1.0, oxygen=0.2)
    problem = reduced(box_grid(x, np.array([0.0, 0.1]), np.full((1, 12), MIX)), {"right": held}, physics,
                      substrate={MIX: 1e9}, rate=q / released / 1e9, oxygen_demand=1.2, temperature=AIR,
                      diffusivity={MIX: 1e-3})
    duration = 10 * length**2 / DIFFUSIVITY
    state, _ = run(problem, duration, tight(duration / 20, iteration=1e-10))
    error = along(problem, state.temperature)[0] - AIR - q * (length**2 - x**2) / (2 * K)
    assert np.abs(error).max() < 1e-6 * q * length**2 / (2 * K) + 2 * q * length / FIXED


def test_semi_infinite_body_with_surface_exchange():
    """erfc(s) - exp(h x / k + B^2) erfc(s + B), s = x / 2 sqrt(a t), B = h sqrt(a t) / k: Carslaw & Jaeger (1959) 2.7
    (TO CHECK). Graded cells; the far end is 6 diffusion lengths away.

    Tolerance 0.1: observed 1.99 and 2.00 although the start is abrupt. Planted: film halved; GAMMA 0.3; second
    stage started from the old enthalpy.
    """
    film, duration, length, errors = 2.0, 4 * 86400.0, 2.0, []
    spread = math.sqrt(DIFFUSIVITY * duration)
    b = film * spread / K
    for n in (20, 40, 80):
        x = length * np.linspace(0, 1, n + 1) ** 1.5
        grid = box_grid(x, np.array([0.0, 0.1]), np.full((1, n), MIX))
        problem = reduced(grid, {"left": Boundary(heat_film=film, temperature=AIR)}, STILL, temperature=HOT)
        s = x / (2 * spread)
        exact = erfc(s) - np.exp(-(s**2)) * erfcx(s + b)  # the same as exp(h x / k + B^2) erfc(s + B), without overflow
        errors.append(np.abs(1 - excess(problem, run(problem, duration, tight(duration / n))[0])[0] - exact).max())
    assert observed_order(errors) == pytest.approx(2.0, abs=0.1)
    assert errors[-1] < 2e-4


def test_two_materials_in_series():
    """Steady heat through two layers: resistances add, 1/h + L1/k1 + L2/k2 + 1/h; any text on heat conduction.

    Piecewise linear, so exact on any grid whose vertices meet the interface. Tolerance 1e-9 of the temperature
    difference: iterations. Planted: the first layer's conductivity given to both; film halved.
    """
    x, first = np.array([0.0, 0.1, 0.25, 0.3, 0.5, 0.9]), 3  # m, cells of the first layer
    material, conductivity, film = np.array([[MIX] * first + [COVER] * 2]), {MIX: 0.4, COVER: 0.05}, (5.0, 20.0)
    edges = {"left": Boundary(heat_film=film[0], temperature=HOT), "right": Boundary(heat_film=film[1], temperature=AIR)}
    problem = reduced(box_grid(x, np.array([0.0, 0.1]), material), edges, STILL, conductivity=conductivity)
    state, _ = run(problem, 1e9, tight(1e8))
    resistance = np.array([1 / film[0], *(np.diff(x) / [conductivity[m] for m in material[0]])])
    drop = np.cumsum(resistance) / (resistance.sum() + 1 / film[1])
    assert excess(problem, state)[0] == pytest.approx(1 - drop, abs=1e-9)


# --- skewed grids ---------------------------------------------------------------------------------------------------
OUTLINES = {"trapezoid": 1.8, "narrow crest": 0.1}  # crest widths [m]; a narrow crest has corners of 180 degrees


def sloped(crest, refinement):
    return section_grid(shape="trapezoid", base_width=5.2, height=2.0, crest_width=crest, cover_thickness=0.2,
                        base_thickness=0.2, base_edge="closed", cell=0.2, refinement=refinement, with_ground=False)


def exchanged(problem, film, field, slope, conductivity):
    """Heat [W m-1] that a film on every outer edge must bring for `field` to be the solution: h u + k du/dn."""
    mesh, node = problem.mesh, problem.mesh.node_at(problem.grid.x.shape)
    heat = np.zeros(mesh.count + 1)
    centre = np.array([0.5, 1.0])  # inside, and the section is convex
    for pair in np.concatenate([problem.grid.edges[name] for name in ("surface", "axis", "floor")]):
        ends = node[pair[:, 0], pair[:, 1]]
        place = np.array([mesh.x[ends], mesh.z[ends]])
        dx, dz = place[:, 1] - place[:, 0]
        normal = np.array([dz, -dx])  # its length is the edge's
        normal *= np.sign(normal @ (place.mean(axis=1) - centre))
        heat[ends] += 0.5 * (film * math.hypot(dx, dz) * field(*place) + conductivity * normal @ slope(*place))
    return heat


def steady_error(crest, refinement, field, slope, film=2.0):
    """Nodal error [K] of the steady temperature that has `field` as its exact solution, and the nodes' volumes."""
    every = (MIX, COVER, BASE)
    problem = reduced(sloped(crest, refinement), dict.fromkeys(("surface", "axis", "floor"), Boundary(heat_film=film)),
                      STILL, heat_capacity=dict.fromkeys(every, 1e3), conductivity=dict.fromkeys(every, K),
                      permeability=dict.fromkeys(every, 1e-20))
    exact = np.append(field(problem.mesh.x[:-1], problem.mesh.z[:-1]), 0.0)
    problem.edges.film_heat[:] = exchanged(problem, film, field, slope, K)
    problem.temperature[:] = exact  # the steady state is one and the same from any start
    state, _ = run(problem, 1e6, tight(1e5, iteration=1e-10))
    return (state.temperature - exact)[:-1], problem.pile_volume[:-1]


@pytest.mark.parametrize("crest", OUTLINES.values(), ids=OUTLINES.keys())
def test_linear_field_is_exact_on_a_sloped_grid(crest):
    """A linear temperature is harmonic and must come out exactly on any grid (patch test of finite elements).

    Tolerance 1e-8 K of 20 K: iterations (1e-10 K rms change per sweep, some hundred sweeps to settle). Planted: the
    mixed term of the corner metric left out; conduction along one logical direction 10 % low; film on the horizontal
    length of its edges.
    """
    error, _ = steady_error(crest, 1, lambda x, z: 300.0 + 3.0 * x - 7.0 * z,
                            lambda x, z: np.stack([3.0 + 0 * x, -7.0 + 0 * z]))
    assert np.abs(error).max() < 1e-8


@pytest.mark.parametrize("crest", OUTLINES.values(), ids=OUTLINES.keys())
def test_harmonic_field_is_second_order_on_a_sloped_grid(crest):
    """T = 300 K + 5 K cosh(1.5 z) sin(1.5 x + 0.5) with films on all sides (manufactured, exact).

    Tolerance 0.2 on the rms error: observed 1.98 and 2.00, with a corner of 180 degrees 1.83 and 1.93, still rising.
    Planted: the same, and film halved.
    """
    w, errors = 1.5, []
    for refinement in (1, 2, 4):
        error, volume = steady_error(
            crest, refinement, lambda x, z: 300.0 + 5.0 * np.cosh(w * z) * np.sin(w * x + 0.5),
            lambda x, z: 5.0 * w * np.stack([np.cosh(w * z) * np.cos(w * x + 0.5), np.sinh(w * z) * np.sin(w * x + 0.5)]))
        errors.append(math.sqrt(np.sum(volume * error**2) / volume.sum()))
    assert observed_order(errors) == pytest.approx(2.0, abs=0.2)
