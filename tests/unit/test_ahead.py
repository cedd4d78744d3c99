"""Kernels compiled apart are those that a step calls, and parts refuse a call from Python."""

import numpy as np
import pytest

from pilesim.base.compiled import CACHE_FOLDER
from pilesim.solver.band import factor_general
from pilesim.study.warm import ensure_compiled


@pytest.mark.parametrize("part", ["passes.run_stages", "passes.mid_step_terms", "passes.relax_composition",
                                  "passes.follow_flow", "passes.settle_oxygen", "coupling.correct_respiration",
                                  "coupling.step_error"])
def test_a_step_takes_each_part_as_it_was_compiled_ahead(part):
    """Compiled ahead for other types than the step has, a part would be there twice."""
    ensure_compiled()
    assert len(list(CACHE_FOLDER.rglob(f"{part}-*.nbc"))) == 1


def test_a_part_says_that_only_kernels_call_it():
    with pytest.raises(TypeError, match="factor_general is compiled for other kernels only"):
        factor_general(np.zeros((3, 9)))
