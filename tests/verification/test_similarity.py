"""Translation and scaling (kind: exact); the similarity is stated in pilesim/verify/similarity.py.

Fields agree to 1e-9: iterations stop at 1e-12 and the steps hand that on; observed 3e-11 at most.
"""

import pytest
from verification.rows import assert_pass

from pilesim.verify import similarity


@pytest.mark.parametrize(("shape", "across"), similarity.PLACES)
def test_place_does_not_matter(shape, across):
    """Moved sideways (a heap's axis stays) and 23 m up. Faults that fail it: buoyancy from the lift of an edge's ends
    times their heights, not the difference of heights; a plane section weighed with its abscissae."""
    assert_pass(similarity.moved(shape, across))


@pytest.mark.parametrize("shape", similarity.SHAPES)
def test_size_does_not_matter(shape):
    """Three times as large. Gas out of the section: the same per metre, three times of a heap; substrate by volume.

    Faults that fail it: 1 mm added to the limiter's distance upstream, or to the length of each edge in the heat film.
    """
    assert_pass(similarity.enlarged(shape))
