"""Onset of convection in a porous layer heated from below; set-ups in pilesim/verify/onset.py."""

import pytest
from verification.rows import assert_pass

from pilesim.verify import onset


@pytest.mark.parametrize("layer", onset.LAYERS)
def test_onset_of_convection(layer):
    """Critical Rayleigh number by growth rates, against the determinant of linear stability and what others give.

    Extrapolated from 16 and 32 cells within 1e-3. Orders within 0.4 of 2 on 8, 16 and 32 cells: see the module's figures
    in the developers' page.
    """
    assert_pass(onset.onset(layer))
