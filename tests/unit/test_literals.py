"""No physics function hides a number: what a formula uses is in the constants registry, with range and source."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import pilesim

PACKAGE = Path(pilesim.__file__).parent
PHYSICS = sorted([*(PACKAGE / "matter").glob("*.py"), *(PACKAGE / "balances").glob("*.py")])
PLAIN = frozenset({0, 1, 2, 3, 0.5})        # counting, halving, squaring, an axis
ALLOWED = {     # function: numbers of mathematics, of a layout or of round-off, and why
    "oxygen.node_oxygen": ({4.0, 1e-300}, "discriminant of the quadratic; guard against a division by zero"),
    "physics._unfilled_record": ({8}, "how many of the extra names are switches"),
    "surface.half_edges": ({0.25}, "quarter of an edge turned about the axis"),
    "moist_air.humid_viscosity": ({8.0}, "the 8 of Wilke's formula, exact"),
    "weather.mid_month_values": ({12, 0.25}, "months of a year; straight lines through the middles"),
    "mix._refuse_impossible": ({100, 1e-9}, "percent in a message; round-off"),
    "proportions._solve": ({1e-9, 1e-12, 1e-14, 1e-15}, "round-off"),
    "proportions._target_rows": ({1e-6}, "guard against a division by zero"),
}


def bare_numbers(text: str) -> dict[str, set[float]]:
    """Numbers typed inside the functions of a module, by function, without those of PLAIN."""
    found: dict[str, set[float]] = {}
    for function in ast.walk(ast.parse(text)):
        if not isinstance(function, ast.FunctionDef):
            continue
        numbers = {node.value for node in ast.walk(function)
                   if isinstance(node, ast.Constant) and isinstance(node.value, int | float)
                   and not isinstance(node.value, bool) and node.value not in PLAIN}
        if numbers:
            found[function.name] = numbers
    return found


@pytest.mark.parametrize("path", PHYSICS, ids=lambda path: path.stem)
def test_a_physics_function_types_no_number_of_its_own(path):
    """Planted: `1.0 - 1.06 * moisture` in a rate factor of matter/biology.py: seen to fail."""
    wrong = {name: extra for name, numbers in bare_numbers(path.read_text()).items()
             if (extra := numbers - ALLOWED.get(f"{path.stem}.{name}", (set(), ""))[0])}
    assert not wrong, f"{path.name}: give these a record in the registry: {wrong}"


def test_the_check_sees_a_bare_number():
    assert bare_numbers("def rate(x):\n    return 0.15 * x + 1.0") == {"rate": {0.15}}


def test_nothing_is_allowed_in_vain():
    """An exception that no function needs would let the next number in."""
    there = {f"{path.stem}.{name}": numbers for path in PHYSICS for name, numbers in bare_numbers(path.read_text()).items()}
    assert {name: values for name, (values, _) in ALLOWED.items() if not values <= there.get(name, set())} == {}
