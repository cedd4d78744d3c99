"""A slab: one row of cells from its middle plane to its face (kind: exact)."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import eigh

from pilesim.build import build
from pilesim.inputs.scenario import load
from pilesim.section.grid import COVER, MIX, section_grid
from pilesim.section.operators import PAIRS, build_mesh
from pilesim.study.run import messages, observed_run


def slab(refinement=2, cover=0.2, cell=0.1):
    return section_grid(shape="slab", base_width=2.0, height=1.0, crest_width=0.0, cover_thickness=cover,
                        base_thickness=0.2, base_edge="closed", cell=cell, refinement=refinement)


def test_slab_has_mix_and_cover_only():
    """Faults that fail it: a column of base material kept; mix as wide as the whole slab."""
    for refinement in (1, 2):
        grid = slab(refinement)
        assert [grid.area_of(m) for m in (MIX, COVER)] == pytest.approx([1.0, 0.2], rel=1e-12)
        assert grid.overall_width == pytest.approx(2.4) and set(np.unique(grid.material)) == {MIX, COVER}
        assert grid.surface_length == 1.0


def test_slab_cools_as_the_cosine_does():
    """Slowest decay rate of a plane wall with held faces, (pi / 2 L) squared (classical solution of the heat equation),
    order 2. Faults that fail it: volumes and forms weighed with a radius; mix as wide as the whole slab."""
    errors = []
    for cell in (0.25, 0.125, 0.0625):
        mesh = build_mesh(slab(cover=0.0, cell=cell))
        matrix = np.zeros((mesh.count, mesh.count))
        for k, (a, b, _, _) in enumerate(PAIRS):
            one, two, g = mesh.quad_nodes[:, a], mesh.quad_nodes[:, b], mesh.quad_pairs[:, k]
            for rows, columns, sign in ((one, one, 1), (two, two, 1), (one, two, -1), (two, one, -1)):
                np.add.at(matrix, (rows, columns), sign * g)
        free = ~np.isclose(mesh.x[:-1], 1.0)
        rate = eigh(matrix[np.ix_(free, free)], np.diag(mesh.volume[MIX, :-1][free]), eigvals_only=True)[0]
        errors.append(abs(rate - 0.25 * math.pi**2))
    assert errors[0] < 0.05 and all(1.9 < math.log2(a / b) < 2.1 for a, b in pairwise(errors))


def test_a_slab_runs_without_draught():
    """Both rows of nodes agree and air enters only as fast as respiration needs it. Faults that fail it: gravity kept;
    compaction kept."""
    scenario = load("reference_pile").with_(**{"pile.shape": "slab", "pile.base_width": "2 m", "run.duration": "5 day",
                                               "run.output_every": "1 day"})
    problem = build(scenario, 2)
    (watch, recorder, tally), values = observed_run(scenario, problem, lambda share: None)
    last = recorder.kept["temperature"][-1]
    rows = [last[problem.mesh.row == j] for j in (0, 1)]
    assert np.allclose(rows[0], rows[1], rtol=0, atol=1e-4)  # the iteration leaves 5e-6 K
    assert np.abs(recorder.kept["gas_velocity_z"][-1]).max() < 1e-9
    assert values["air_changes"] < 0.02
    for name in ("heat", "oxygen", "water"):
        assert values[f"budget_error_{name}"] < 1e-3
    assert any("slab" in line for line in messages(scenario, watch, tally, values))
