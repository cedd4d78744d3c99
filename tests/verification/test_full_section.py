"""A full section against its half (kind: exact symmetry). It holds while nothing breaks the symmetry, that is while the
pile is convectively stable: a tight mix. "Planted" names the faults under which a test was seen to fail."""

import numpy as np
import pytest

from pilesim.base.errors import ScenarioError
from pilesim.build import build, scenario_grid
from pilesim.inputs.scenario import load
from pilesim.section.grid import GROUND, MIX, NONE, cell_areas, full_section, section_grid
from pilesim.solver.march import march
from pilesim.solver.step import Controls

LOPSIDED = ["3.4 m, 0 m", "0.9 m, 1.8 m", "0 m, 2 m", "-0.8 m, 1.9 m", "-1.8 m, 0 m"]  # invented; unlike rows


def scenario(section, **more):
    return load("reference_pile").with_(**{"pile.section": section, "run.cell": "25 cm", "mix.permeability": "1e-10 m2",
                                           "start.temperature": "35 degC", **more})


def test_full_grid_is_the_half_and_its_image():
    """Planted: the axis column doubled; edges of the image not shifted."""
    half = section_grid(shape="trapezoid", base_width=5.2, height=2.0, crest_width=1.6, cover_thickness=0.2,
                        base_thickness=0.2, base_edge="closed", cell=0.1)
    full = full_section(half)
    assert full.overall_width == pytest.approx(half.overall_width) and not full.halved and not full.axis
    assert full.mix_area == pytest.approx(2 * half.mix_area, rel=1e-12)
    assert full.surface_length == pytest.approx(2 * half.surface_length, rel=1e-12)
    assert cell_areas(full)[full.material != NONE].min() > 0
    assert np.array_equal(full.x[:, ::-1], -full.x, equal_nan=True)
    for name, pairs in full.edges.items():
        assert np.isfinite(full.x[pairs[..., 0], pairs[..., 1]]).all(), name
        assert len(pairs) == (0 if name == "axis" else 2 * len(half.edges[name]))


@pytest.mark.parametrize("refinement", [1, 2])
def test_a_lopsided_section_keeps_its_outline(refinement):
    """Areas and lengths of a polygon given from toe to toe, exact (shoelace formula); its mirror image is the mirrored grid.

    Planted: the left half built from the right half's points; rows of the halves left unequal (the halves do not meet).
    """
    pile = scenario("full", **{"pile.shape": "polygon", "pile.outline": LOPSIDED, "run.cell": "10 cm"})
    grid = scenario_grid(pile, refinement)
    corners = np.array([[float(part.split()[0]) for part in point.split(",")] for point in LOPSIDED])
    x, z = corners[:, 0], corners[:, 1]
    area = 0.5 * abs(np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z))
    assert grid.mix_area == pytest.approx(area, rel=1e-12)
    assert pile.pile.base_width == pytest.approx(5.2) and pile.pile.height == pytest.approx(2.0)
    assert cell_areas(grid)[grid.material != NONE].min() > 0
    other = scenario_grid(pile.with_(**{"pile.outline": [
        f"{-a:g} m, {b:g} m" for a, b in corners[::-1]]}), refinement)
    assert np.allclose(other.x[:, ::-1], -grid.x, rtol=0, atol=1e-12, equal_nan=True)
    assert np.array_equal(other.material[:, ::-1], grid.material)
    assert grid.area_of(GROUND) > 0.0 and np.nanmin(grid.x) < -1.8 < 3.4 < np.nanmax(grid.x)


@pytest.mark.parametrize(("points", "message"), [
    (["3 m, 0 m", "1 m, 2 m", "-1 m, 2 m", "-3 m, 0 m"],
     r"0 points at x = 0 m: expected one point at x = 0 m, at the crest"),
    (["3 m, 0 m", "0 m, 2 m", "-1 m, 2.1 m", "-3 m, 0 m"],
     r"point 2 \(0 m, 2 m\): expected a point nearer to the axis, not lower"),
    (["3 m, 0 m", "0 m, 2 m", "-2.9 m, 0.2 m", "-3 m, 0.1 m"], r"point 4 \(-3 m, 0\.1 m\): expected the toe"),
])
def test_bad_full_outlines_are_refused(points, message):
    """The message names the point as it was given. Planted: points of the left half numbered from its own end."""
    with pytest.raises(ScenarioError, match=message):
        scenario("full", **{"pile.shape": "polygon", "pile.outline": points})


def solve(section, controls, hours):
    """Temperature, oxygen and water per volume over the logical section, and the defect [K]."""
    problem = build(scenario(section), 2)
    _, state, tally = march(problem, hours * 3600.0, controls, lambda stepper, moment: None)
    table = np.full((3, *problem.grid.x.shape), np.nan)
    pile = problem.mesh.pile_count
    size = np.where(problem.mesh.volume.sum(axis=0) > 0, problem.mesh.volume.sum(axis=0), 1.0)
    at = problem.mesh.row[:pile], problem.mesh.column[:pile]
    for k, values in enumerate((state.temperature, state.oxygen, state.water / size)):
        table[k][at] = values[:pile]
    mix = np.zeros(problem.grid.x.shape)
    mix[at] = problem.mesh.volume[MIX, :pile]
    return table, mix, tally.defect_squared**0.5


def both_sides(controls, hours):
    """Fields of the half, of the full section's right and of its mirrored left side; volumes; the larger defect."""
    half, volume, defect = solve("half", controls, hours)
    full, _, other = solve("full", controls, hours)
    columns = half.shape[2]
    return half, (full[:, :, columns - 1:], full[:, :, columns - 1::-1]), volume, max(defect, other)


TIGHT = Controls(fixed_step=3600.0, sweep_tolerance=1e-10, passes=40, correction_threshold=1e-10, reaction_tolerance=1e-13,
                 balance_tolerance=1e-13, most_sweeps=3000, most_oxygen_sweeps=3000)  # as tight as rounding allows


def test_full_equals_half_for_a_stable_pile():
    """12 fixed steps of 1 h of the full physics, iterations 1e-12: temperature, oxygen and water of both sides.

    Tolerance 1e-8 relative; 1e-12 was seen. Planted, and once present: limiter ratios of oxygen renewed on a field that
    is still on its way, which depends on the order of the sweeps (2e-3 in oxygen).
    """
    half, sides, _, _ = both_sides(TIGHT, 12)
    for side in sides:
        for one, other in zip(side, half, strict=True):
            assert np.array_equal(np.isnan(one), np.isnan(other))
            assert np.nanmax(np.abs(one - other)) < 1e-8 * np.nanmax(np.abs(other))


def test_full_equals_half_within_the_defect():
    """The same with the default controls over two days: rms temperature of the mix within 3 x the
    iteration defect; both runs choose the same steps. Planted, and once present: the oxygen solve
    stopped at a change of 1e-4 of the reaction (5 x)."""
    half, sides, volume, defect = both_sides(Controls(), 48)
    for side in sides:
        difference = np.where(volume > 0, side[0] - half[0], 0.0)
        assert np.sqrt(np.sum(volume * difference**2) / volume.sum()) < 3.0 * defect
