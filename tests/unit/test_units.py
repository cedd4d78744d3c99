"""The unit door, against definitions that stand outside the project.

Exact by definition: inch 0.0254 m, yard 0.9144 m, pound 0.45359237 kg (International Yard and Pound Agreement
of 1959); Celsius zero 273.15 K and the day of 86,400 s (SI Brochure); Fahrenheit as 9/5 of Celsius plus 32.
"""

from __future__ import annotations

import math
import pickle
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pilesim.base import units
from pilesim.base.errors import ScenarioError
from pilesim.base.units import format_number, format_value, from_si, to_display, to_si

INCH, YARD, FOOT, POUND = 0.0254, 0.9144, 0.3048, 0.45359237
ROUND_OFF = 4e-15  # a few units in the last place: conversions are one or two products


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("5.5 m", "m", 5.5),
        ("8 in", "m", 8 * INCH),
        ("18 ft", "m", 18 * FOOT),
        ("-20 degC", "K", -20 + 273.15),
        ("-4 degF", "K", (-4 - 32) * 5 / 9 + 273.15),
        ("293.15 K", "K", 293.15),
        ("500 kg/m3", "kg m-3", 500.0),
        ("5e-8 m2", "m2", 5e-8),
        ("12 yd3", "m3", 12 * YARD**3),
        ("45 percent", "1", 0.45),
        ("70 percent", "1", 0.70),
        ("58 %", "", 0.58),
        ("50 deg", "rad", 50 * math.pi / 180),
        ("0.12 1/m", "m-1", 0.12),
        ("0.15 1/day", "s-1", 0.15 / 86400),
        ("0.15 /day", "1/s", 0.15 / 86400),
        ("2 m/s", "m s-1", 2.0),
        ("30 day", "s", 30 * 86400.0),
        ("1 hour", "s", 3600.0),
        ("850 lb/yd3", "kg m-3", 850 * POUND / YARD**3),
        ("850 lb/yd^3", "kg/m3", 850 * POUND / YARD**3),
        ("0.18 W/m/K", "W m-1 K-1", 0.18),
        ("0.18 W/(m K)", "W m-1 K-1", 0.18),
        ("0.18 W/m/degC", "W m-1 K-1", 0.18),
        ("1.4 kg/kg", "kg kg-1", 1.4),
        ("20 \u00b0C", "K", 20 + 273.15),
        ("\u221220 degC", "K", -20 + 273.15),
        ("5 m\u00b2", "m2", 5.0),
        (0.58, "1", 0.58),
        ("0.58", "1", 0.58),
        (1, "1", 1.0),
    ],
)
def test_text_with_a_unit_becomes_si(text, unit, expected):
    """Planted: offset of degF dropped, yd3 read as 3 yd, percent not divided, degrees kept, a foot of 0.3 m: seen to
    fail."""
    assert to_si(text, unit, "here") == pytest.approx(expected, rel=ROUND_OFF)


def test_percent_is_the_nearest_float():
    """Shares typed as percent must equal the same share typed bare, so that both are one scenario."""
    assert [to_si(f"{n} percent", "1", "x") for n in range(101)] == [float(f"{n}e-2") for n in range(101)]


@pytest.mark.parametrize(
    "text",
    [
        "nan m",
        "inf m",
        "-inf m",
        "1e999 m",
        "",
        " ",
        "5",
        "m",
        "5 kg",
        "5 m/",
        "5 m//m",
        "5 (m",
        "5 m)",
        "5 ()",
        "5.5.5 m",
        "5,5 m",
        "1 000 m",
        "5_000 m",
        "0x10 m",
        "\u0665 m",
        "5 m; 1",
        "5 m**9**9**9",
        "5 m+m",
        "5 foo",
        "1/2 m",
        "5 deg",
        5,
        5.0,
        True,
        None,
        [5],
        {"m": 5},
        ("5 m",),
        b"5 m",
    ],
)
def test_what_is_no_length_is_refused(text):
    """Planted: the bare-number test and the finite test removed: seen to fail."""
    with pytest.raises(
        ScenarioError, match=r"^pile\.base_width = .*: expected .*'m'|text with a unit"
    ) as caught:
        to_si(text, "m", "pile.base_width")
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("text", "unit", "advice"),
    [
        ("2 ton", "kg", "ambiguous"),
        ("2 ton/yd3", "kg m-3", "ambiguous"),
        ("2 tons", "kg", "ambiguous"),
        ("45 percent", "rad", "angle"),
        ("50 deg", "1", "not a unit of a share"),
        ("3 bit", "1", "not a unit of a share"),
        ("20 delta_degC", "K", "difference"),
        ("20 C", "K", "degC"),
        ("20 F", "K", "degF"),
        ("20 deg", "K", "degC"),
        (float("nan"), "1", "finite"),
        (float("inf"), "1", "finite"),
        (10**400, "1", "finite"),
        (False, "1", "bool"),
    ],
)
def test_traps_are_refused_with_advice(text, unit, advice):
    """pint alone reads 50 deg as 0.87, 45 percent as 0.45 rad, 20 delta_degC as 20 K: seen to fail so."""
    with pytest.raises(ScenarioError, match=advice):
        to_si(text, unit, "here")


@pytest.mark.parametrize("text", ["2 tonne", "2000 kg", "2 t"])
def test_the_unambiguous_tonne_is_read(text):
    assert to_si(text, "kg", "here") == pytest.approx(2000.0, rel=ROUND_OFF)


@settings(deadline=None)  # the first example pays for the import of pint
@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text):
    """Fuzz: nothing but a finite number or ScenarioError of one line comes out of the door."""
    for unit in ("m", "K", "1", "rad"):
        try:
            assert math.isfinite(to_si(text, unit, "here"))
        except ScenarioError as error:
            assert str(error).isprintable()


@settings(deadline=None)  # the first example pays for the import of pint
@given(st.text(alphabet="0123456789.e-+ */()^mkgKdegCFinyd%", max_size=25))
def test_near_misses_are_read_or_refused(text):
    """As above with the characters of real quantities, which reach pint far more often."""
    for unit in ("m", "kg m-3", "K"):
        try:
            assert math.isfinite(to_si("1 " + text, unit, "here"))
        except ScenarioError as error:
            assert str(error).isprintable()


@settings(deadline=None)  # the first example pays for the import of pint
@given(st.floats(-1e6, 1e6))
def test_from_si_inverts_to_si(value):
    """Round trip through degF; tolerance: 1e-9 covers the offset of 460 at a float's 16 digits."""
    kelvin = to_si(f"{value!r} degF", "K", "here")
    assert from_si(kelvin, "K", "degF") == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "number", "label"),
    [
        (2.0, "m", 2.0 / FOOT, "ft"),
        (1.0, "m3", YARD**-3, "yd3"),
        (12.0, "m3 m-1", 12.0 * FOOT / YARD**3, "yd3 ft-1"),
        (1.0, "kg", 1 / POUND, "lb"),
        (500.0, "kg m-3", 500.0 * YARD**3 / POUND, "lb yd-3"),
        (20.0, "degC", 68.0, "degF"),
        (10.0, "K", 18.0, "degF"),
        (14.0, "d", 14.0, "d"),
        (0.3, "1", 0.3, "1"),
        (5.0, "percent", 5.0, "percent"),
        (2.5e-9, "m", 2.5e-9, "m"),
        (5e-8, "m2", 5e-8, "m2"),
    ],
)
def test_display_in_us_units(value, unit, number, label):
    """Planted: K treated as a temperature instead of a difference gives -441.67: seen to fail."""
    shown, shown_unit = to_display(value, unit, "us")
    assert (shown, shown_unit) == (pytest.approx(number, rel=1e-12), label)
    assert to_display(value, unit) == (value, unit)


def test_errors_of_temperatures_are_differences():
    assert to_display(0.5, "degC", "us", difference=True) == (pytest.approx(0.9), "degF")
    assert to_display(0.5, "degC", "metric", difference=True) == (0.5, "K")


def test_values_as_text():
    assert format_value(2.0, "m") == "2 m"
    assert format_value(2.0, "m", "us") == "6.562 ft"
    assert format_value(0.25, "1") == "0.25"
    assert format_value(math.nan, "degC", "us") == "-"
    assert [format_number(v) for v in (0.0, 1234.56, 12.3456, 1.5e-9, 2.5e7)] == [
        "0",
        "1235",
        "12.35",
        "1.5e-09",
        "2.5e+07",
    ]


def test_unknown_unit_system_is_refused():
    with pytest.raises(ScenarioError, match="metric or us"):
        format_value(1.0, "m", "imperial")


def test_error_survives_a_worker_process():
    """Errors cross process borders in studies. Planted: one argument to Exception: fails."""
    error = ScenarioError("pile.height", "'x'", "a height", "Do this.")
    copy = pickle.loads(pickle.dumps(error))
    assert str(copy) == str(error) == "pile.height = 'x': expected a height. Do this."
    assert (copy.where, copy.given, copy.allowed, copy.advice) == (
        "pile.height",
        "'x'",
        "a height",
        "Do this.",
    )


def test_message_is_one_line_whatever_it_is_given():
    line = str(ScenarioError("a\nb", "x\x1b[31m" * 100, "c\r\nd", "e\te"))
    assert line.isprintable() and "a b" in line and line.endswith("expected c d. e e")


def test_pint_is_imported_on_first_use_only():
    """Planted: a top-level import of pint: seen to fail."""
    code = "import sys, pilesim.inputs.scenario; assert 'pint' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("damage", [b"", b"no pickle at all"])
def test_damaged_list_of_units_is_read_anew(damage, tmp_path, monkeypatch):
    """The list of units kept from an earlier run, cut off or overwritten. Planted and seen to fail: no second attempt."""
    monkeypatch.setattr(units, "cache_folder", lambda: tmp_path)
    make = units._registry.__wrapped__  # not the one of this process
    make()
    kept = list(tmp_path.rglob("*.pickle"))
    assert kept
    for path in kept:
        path.write_bytes(damage)
    assert make().Quantity(1.0, "yard").to("m").magnitude == pytest.approx(0.9144, rel=1e-12)  # by definition of the yard
