"""The page of balances names what exists."""

from importlib import import_module

import pytest

from pilesim.model import BALANCES

NAMES = [name for balance in BALANCES.values() for name in (*balance["terms"], balance["solved by"])]


@pytest.mark.parametrize("name", NAMES)
def test_every_named_term_exists(name):
    """Planted: a function renamed without its line in model.py."""
    module, function = name.rsplit(".", 1)
    assert callable(getattr(import_module(f"pilesim.{module}"), function))
