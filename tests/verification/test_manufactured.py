"""The manufactured pile: all fields coupled on the sloped grid (kind: exact; see `pilesim/verify/manufactured.py`)."""

from verification.rows import assert_pass

from pilesim.verify import manufactured


def test_orders_in_space():
    """L1 errors on 20, 10 and 5 cm cells."""
    assert_pass(manufactured.orders_in_space())


def test_orders_in_time():
    """L1 differences between steps of 80, 40, 20 and 10 minutes."""
    assert_pass(manufactured.orders_in_time())
