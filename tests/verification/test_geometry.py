"""The section grid against plane geometry (kind: exact).

Expected values are closed formulas of plane trigonometry (pilesim/verify/shapes.py). Tolerances of 1e-12 are relative: sums
of some thousand cells in double precision stay well below.
"""

import math
import time

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from verification.corners import corner_jacobians
from verification.rows import assert_pass

from pilesim.base.errors import ScenarioError
from pilesim.section.grid import (
    BASE,
    COVER,
    GROUND,
    MIX,
    NONE,
    box_grid,
    cell_areas,
    edge_length,
    section_grid,
)
from pilesim.verify.shapes import CASES, EXACT, half_section, measure_errors, outline, pile

every_case = pytest.mark.parametrize("values", CASES.values(), ids=CASES.keys())


def allowed_zero_corners(grid, values):
    """Mask (cells, 4) of corners that may have a zero Jacobian: those of a corner on the straight flank."""
    mask = np.zeros((*grid.material.shape, 4), bool)
    crest = 0.5 * values["crest_width"]
    shoulder = abs(grid.x[grid.cj, grid.ci] - crest) < EXACT or values["shape"] == "rectangle"
    if not shoulder:
        mask[grid.cj - 1, grid.ci - 1, 2] = True
        if values["cover_thickness"] > 0:
            mask[-1, grid.ci + grid.x.shape[0] - 1 - grid.cj - 1, 2] = True
    return mask


def assert_convex(grid, values):
    """All corner Jacobians positive, but for the allowed corners: zero to rounding."""
    jacobians, zero = corner_jacobians(grid), allowed_zero_corners(grid, values)
    real = np.broadcast_to((grid.material != NONE)[..., None], zero.shape)
    assert np.all(jacobians[real & ~zero] > 0)
    assert np.all(np.abs(jacobians[zero]) < 1e-13)  # 1e-16 of rounding times lengths of some 10 m, squared


def assert_measures(grid, values):
    """Areas and lengths equal the closed formulas."""
    assert np.abs(measure_errors(grid, values)).max() < EXACT


@every_case
def test_areas_and_surface_are_exact(values):
    """Faults that fail it: mitre with the full slope; toe cover t instead of t / sin s; shoulder not pinned;
    base material one row short."""
    assert_pass(outline(next(name for name, case in CASES.items() if case is values)))
    grid = section_grid(**values)
    assert_measures(grid, values)


@every_case
def test_cells_are_convex(values):
    """Faults that fail it: rows pushed too far off the corner (CORNER_RELIEF 12); kite's feet swapped."""
    for refinement in (1, 2, 3):
        assert_convex(section_grid(**values, refinement=refinement), values)


@every_case
def test_grids_nest(values):
    """Every coarse vertex is a fine vertex, with equal cells between.

    Faults that fail it: interval counts from the refined spacing; ground grading that depends on the count.
    """
    for factor in (2, 3):
        coarse, fine = section_grid(**values, refinement=1), section_grid(**values, refinement=factor)
        assert np.allclose(fine.x[::factor, ::factor], coarse.x, rtol=0, atol=EXACT, equal_nan=True)
        assert np.allclose(fine.z[::factor, ::factor], coarse.z, rtol=0, atol=EXACT, equal_nan=True)
        assert np.array_equal(np.kron(coarse.material, np.ones((factor, factor), np.int8)), fine.material)
        assert (fine.ci, fine.cj, fine.jb) == tuple(factor * k for k in (coarse.ci, coarse.cj, coarse.jb))
        assert fine.cell == pytest.approx(coarse.cell / factor)


@every_case
def test_cover_is_as_thick_as_asked_along_the_normal(values):
    """Distance of each surface node from the mix outline's lines; the larger one counts past the mitre.

    Fault that fails it: cover thickness measured horizontally.
    """
    grid, slope = section_grid(**values), half_section(values)["slope"]
    j, i = np.unique(grid.edges["surface"].reshape(-1, 2), axis=0).T
    foot = np.array([0.5 * values["base_width"], values["base_thickness"]])
    top = values["height"] + values["base_thickness"]
    off_flank = (grid.x[j, i] - foot[0]) * math.sin(slope) + (grid.z[j, i] - foot[1]) * math.cos(slope)
    thickness = np.maximum(off_flank, grid.z[j, i] - top)
    assert np.allclose(thickness, values["cover_thickness"], rtol=0, atol=EXACT)


def test_cover_lines_leave_the_shoulder_along_the_normals():
    """Fault that fails it: kite's feet off the normals (KITE_SPREAD 1)."""
    values = pile()
    grid, slope = section_grid(**values), half_section(values)["slope"]
    right = grid.ci + (grid.x.shape[0] - 1 - grid.cj)
    shoulder = np.array([grid.x[grid.cj, grid.ci], grid.z[grid.cj, grid.ci]])
    foot = np.array([grid.x[grid.cj, right], grid.z[grid.cj, right]])
    above = np.array([grid.x[-1, grid.ci], grid.z[-1, grid.ci]])
    assert foot - shoulder == pytest.approx(0.2 * np.array([math.sin(slope), math.cos(slope)]), abs=EXACT)
    assert above - shoulder == pytest.approx([0.0, 0.2], abs=EXACT)


@every_case
def test_edges_are_exactly_the_boundary(values):
    """Each named edge borders one cell, each boundary edge has one name, and the surface runs toe to crest.

    Faults that fail it: ground surface that starts under the pile; surface in reverse order.
    """
    grid = section_grid(**values)
    named = np.concatenate(list(grid.edges.values()))
    keys = [frozenset(map(tuple, edge)) for edge in named.tolist()]
    assert len(keys) == len(set(keys))
    count = {}
    for j, i in np.argwhere(grid.material != NONE).tolist():
        ring = [(j, i), (j, i + 1), (j + 1, i + 1), (j + 1, i)]
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
            count[frozenset((a, b))] = count.get(frozenset((a, b)), 0) + 1
    assert set(keys) == {edge for edge, cells in count.items() if cells == 1}
    surface = grid.edges["surface"]
    assert np.array_equal(surface[1:, 0], surface[:-1, 1])
    points = np.stack([grid.x, grid.z], axis=-1)
    toe, axis = points[tuple(surface[0, 0])], points[tuple(surface[-1, 1])]
    assert toe == pytest.approx(grid.outer_surface[0], abs=EXACT)
    assert axis == pytest.approx(grid.outer_surface[-1], abs=EXACT)


@every_case
def test_rows_and_ground_lie_where_they_should(values):
    """Base rows horizontal with row jb at the mix underside, axis at x = 0, ground columns straight down.

    Fault that fails it: base rows shared out over the height of the whole pile.
    """
    grid = section_grid(**values)
    core = slice(0, grid.ci + 1)
    assert np.all(grid.x[:, 0] == 0)
    assert np.all(grid.z[grid.floor_row, np.isfinite(grid.z[grid.floor_row])] == 0)
    assert np.allclose(grid.z[grid.jb, core], values["base_thickness"], rtol=0, atol=EXACT)
    assert grid.mix_base == values["base_thickness"]
    assert np.ptp(grid.z[grid.floor_row:grid.jb, core], axis=1).max(initial=0) < EXACT
    heights = grid.z[grid.floor_row:grid.jb + 1, 0]
    assert np.allclose(heights, np.linspace(0, values["base_thickness"], heights.size), rtol=0, atol=EXACT)
    if values.get("with_ground", True):
        assert np.all(grid.x[: grid.floor_row + 1] == grid.x[grid.floor_row])
        assert grid.z[0, 0] == pytest.approx(-3.0, rel=EXACT)
        assert grid.x[0, -1] == pytest.approx(half_section(values)["toe"] + 3.0)
        assert np.all(grid.material[: grid.floor_row] == GROUND)
        steps = np.diff(-grid.z[grid.floor_row::-1, 0])
        assert np.all(np.diff(steps) > 0) and 0.5 < steps[0] / values["cell"] < 1.5


def test_cells_have_a_reasonable_size():
    """Mix cells of ordinary piles: no side under 0.3 nor over 2 cells, no sliver below the corner.

    The flat pile is left out: its flank forces sides of h / sin(22 deg) = 2.7 cells in the base layer's rows.
    Faults that fail it: CORNER_RELIEF 0 (a corner cell of 0.04 cell areas); NARROW_CREST 0.
    """
    for name in ("reference", "rectangle", "ridge", "narrow crest", "steep", "thick layers", "bare ridge"):
        grid = section_grid(**CASES[name])
        x, z = (a[grid.jb:grid.cj + 1, :grid.ci + 1] / grid.cell for a in (grid.x, grid.z))
        sides = np.concatenate([np.hypot(np.diff(x, axis=k), np.diff(z, axis=k)).ravel() for k in (0, 1)])
        assert sides.min() > 0.3 and sides.max() < 2.0, name
        assert cell_areas(grid)[grid.cj - 1, grid.ci - 1] > 0.1 * grid.cell**2, name


def test_open_base_edge_hands_the_cover_of_its_rows_to_the_base():
    """Fault that fails it: 'open' ignored."""
    closed, opened = section_grid(**pile()), section_grid(**pile(base_edge="open"))
    rows = slice(closed.floor_row, closed.jb)
    assert np.all(opened.material[rows, :][closed.material[rows, :] == COVER] == BASE)
    others = np.delete(np.arange(len(closed.material)), rows)
    assert np.array_equal(opened.material[others], closed.material[others])
    solids = (MIX, COVER, BASE)
    assert sum(map(opened.area_of, solids)) == pytest.approx(sum(map(closed.area_of, solids)), rel=EXACT)
    assert opened.area_of(BASE) > closed.area_of(BASE)


def test_column_is_one_cell_wide():
    """Fault that fails it: right side left out of the axis edges."""
    for refinement in (1, 2):
        grid = section_grid(**pile(shape="column", base_width=1.5, crest=0.0), refinement=refinement)
        assert grid.material.shape[1] == 1 and not grid.halved and grid.axis
        assert [grid.area_of(m) for m in (MIX, BASE, COVER)] == pytest.approx([3.0, 0.3, 0.3], rel=EXACT)
        assert grid.surface_length == pytest.approx(1.5) and grid.overall_width == 1.5
        assert edge_length(grid, "axis") == pytest.approx(2 * (2.4 + 3.0), rel=EXACT)
        assert edge_length(grid, "ground_bottom") == 1.5
        assert len(grid.edges["ground_side"]) == len(grid.edges["ground_surface"]) == 0
        assert len(np.unique(grid.z[:, 0])) == grid.z.shape[0] and np.all(np.diff(grid.z[:, 0]) > 0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    height=st.floats(0.5, 6.0), degrees=st.floats(20.0, 85.0),
    crest=st.just(0.0) | st.floats(-5.0, 0.3).map(lambda power: 10**power),
    cover=st.just(0.0) | st.floats(0.02, 0.6), base=st.just(0.0) | st.floats(0.02, 0.6),
    cell=st.floats(0.02, 0.3),
)
def test_any_trapezoid_is_exact_and_convex(height, degrees, crest, cover, base, cell):
    """`crest` in mix heights. Fault that fails it: as for the single cases; CORNER_RELIEF 12."""
    crest_width = crest * height
    width = crest_width + 2 * height / math.tan(math.radians(degrees))
    assume(width * height < 2e4 * cell**2)
    values = pile(base_width=width, height=height, crest=crest_width, cover_thickness=cover,
                  base_thickness=base, cell=cell)
    grid = section_grid(**values)
    assert_measures(grid, values)
    assert_convex(grid, values)


def test_rounding_of_the_crest_to_just_below_zero_is_a_ridge():
    """Fault that fails it: slack left out."""
    grid = section_grid(**pile(crest=-1e-15))
    assert grid.area_of(MIX) == pytest.approx(0.5 * 2.6 * 2.0, rel=EXACT)


def test_box_grid_is_a_plain_rectangle():
    """Fault that fails it: x and z exchanged."""
    grid = box_grid(np.linspace(0, 3, 7), np.linspace(-1, 1, 5), np.ones((4, 6)))
    assert grid.area_of(MIX) == pytest.approx(6.0, rel=EXACT) and grid.cell == pytest.approx(0.5)
    lengths = {name: edge_length(grid, name) for name in grid.edges}
    assert lengths == pytest.approx({"left": 2.0, "right": 2.0, "floor": 3.0, "top": 3.0})
    assert grid.x[0, -1] == 3.0 and grid.z[-1, 0] == 1.0
    with pytest.raises(ValueError, match=r"material: given shape \(6, 4\), expected \(4, 6\)"):
        box_grid(np.linspace(0, 3, 7), np.linspace(-1, 1, 5), np.ones((6, 4)))
    with pytest.raises(ValueError, match="x: given shape"):
        box_grid(np.array([0.0, 1.0, 1.0]), np.linspace(-1, 1, 5), np.ones((4, 2)))


@pytest.mark.parametrize(("change", "message"), [
    ({"crest": 6.0}, r"pile\.crest_width = 6: expected 0 m to the base width, 5\.2 m"),
    ({"crest": -0.4}, r"pile\.crest_width = -0\.4: expected 0 m"),
    ({"shape": "cone", "crest": 1.0}, r"pile\.shape = 'cone': expected one of trapezoid"),
    ({"height": 0.0, "crest": 1.0}, r"pile\.height = 0: expected a length above 0 m"),
    ({"base_width": math.nan, "crest": 1.0}, r"pile\.base_width = nan"),
    ({"height": math.inf, "crest": 1.0}, r"pile\.height = inf: expected a length above 0 m"),
    ({"cover_thickness": 1e-4}, r"cover\.thickness = 0\.0001: expected 0 m \(no layer\) or at least"),
    ({"base_thickness": -0.1}, r"base_layer\.thickness = -0\.1"),
    ({"base_edge": "shut"}, r"base_layer\.edge = 'shut': expected 'closed' or 'open'"),
    ({"cell": 0.0}, r"run\.cell = 0"),
    ({"refinement": 1.5}, r"refinement = 1\.5"),
    ({"ground_depth": 0.0}, r"ground depth = 0"),
])
def test_bad_outlines_are_refused(change, message):
    """Fault that fails it: any of the checks taken out."""
    with pytest.raises(ScenarioError, match=message):
        section_grid(**pile(**change))


def test_a_grid_is_made_in_milliseconds():
    """0.6 ms seen for 10 cm; 10 ms leaves room for a busy machine. Fault that fails it: a loop over cells."""
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        section_grid(**pile())
        seconds.append(time.perf_counter() - start)
    assert min(seconds) < 0.010
