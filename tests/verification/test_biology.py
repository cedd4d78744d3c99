"""Rate factors of degradation against their published forms, worked values and one measured fact.

"Planted" names the faults under which a test was seen to fail.
"""

import pytest

from pilesim.matter import biology
from pilesim.verify.record import record


def cardinal(lowest, best, highest):
    """A record with these cardinal temperatures [degC]."""
    return record(temperature_minimum=lowest + 273.15, temperature_optimum=best + 273.15,
                  temperature_maximum=highest + 273.15)


WORKED = {  # cardinal temperatures [degC]: ((temperature, factor), ...)
    (5.0, 58.6, 71.6): ((10, 0.014), (20, 0.12), (40, 0.60), (55, 0.97), (65, 0.85), (70, 0.33)),
    (2.0, 57.0, 75.0): (
        (5, 0.006), (10, 0.04), (20, 0.19), (40, 0.70), (55, 0.99), (65, 0.86), (70, 0.57), (72, 0.38)),
}


@pytest.mark.parametrize("cardinals", list(WORKED))
def test_temperature_factor_worked_values(cardinals):
    """Rosso et al. (1993), cardinal temperature model; set (5, 58.6, 71.6) degC as used for composting
    (attributed to Richard and Walker 2006, TO CHECK), set (2, 57, 75) degC. Worked to two digits.

    Tolerance 0.005: rounding (0.0005 where the value has three digits). Planted: (T - Tmin) not squared;
    sign of the second term of the denominator.
    """
    c = cardinal(*cardinals)
    for celsius, expected in WORKED[cardinals]:
        tolerance = 5.1e-4 if expected < 0.02 else 5.1e-3
        got = biology.temperature_factor.py_func(celsius + 273.15, c)[0]
        assert got == pytest.approx(expected, abs=tolerance), celsius


@pytest.mark.parametrize("cardinals", [(2.0, 57.0, 72.0), (5.0, 58.6, 71.6), (5.0, 58.0, 80.0)])
def test_temperature_factor_meets_its_definition(cardinals):
    """Rosso et al. (1993) derive the form from: 0 at both ends and beyond, 1 with zero slope at the
    optimum, zero slope at the lower end, and nothing above 1. Exact to round-off (1e-12; slope 1e-12 per
    K).

    Planted: optimum in the denominator shifted by 1 K; factor not cut above the maximum.
    """
    c, law = cardinal(*cardinals), biology.temperature_factor.py_func
    lowest, best, highest = (celsius + 273.15 for celsius in cardinals)
    assert law(best, c) == pytest.approx((1.0, 0.0), abs=1e-12)
    for outside in (lowest - 5.0, lowest, highest, highest + 5.0):
        assert law(outside, c) == (0.0, 0.0)
    assert law(lowest + 1e-6, c)[1] == pytest.approx(0.0, abs=1e-8)
    inside = [lowest + (highest - lowest) * step / 200 for step in range(201)]
    assert all(0.0 <= law(temperature, c)[0] <= 1.0 for temperature in inside)


def test_temperature_factor_slope():
    """Against a central difference over 2 mK. Tolerance 1e-6 per K: rounding of the difference and the
    square of the step. Planted: last term of the slope (that of the denominator) left out.
    """
    c, law = record(), biology.temperature_factor.py_func
    for celsius in (10.0, 30.0, 50.0, 60.0, 70.0):
        t = celsius + 273.15
        difference = (law(t + 1e-3, c)[0] - law(t - 1e-3, c)[0]) / 2e-3
        assert law(t, c)[1] == pytest.approx(difference, abs=1e-6), celsius


def test_activity_peaks_where_it_was_measured():
    """Suler and Finstein (1977), Appl. Environ. Microbiol.: carbon dioxide production of composting peaks
    at 56 to 60 degC and is submaximal at 64 degC and above (abstract). The default set must do the same.

    Planted: temperature_optimum 57 -> 55 degC; temperature_optimum 62 degC.
    """
    c = record()
    law = biology.temperature_factor.py_func
    factors = {step / 2: law(step / 2 + 273.15, c)[0] for step in range(160)}
    assert 56.0 <= max(factors, key=factors.get) <= 60.0
    assert factors[64.0] < 0.95


@pytest.mark.parametrize("moisture, expected", [(0.3, 0.15), (0.4, 0.50), (0.5, 0.86), (0.6, 0.97)])
def test_moisture_factor(moisture, expected):
    """Haug (1993): 1 / (1 + exp(-17.684 MC + 7.0622)), worked to two digits; page TO CHECK.

    Tolerance 0.0051: rounding. Planted: moisture_factor_offset 7.0622 -> 6.8; slope 17.684 -> 17.
    """
    assert biology.moisture_factor.py_func(moisture, record()) == pytest.approx(expected, abs=5.1e-3)


@pytest.mark.parametrize("air, expected", [(0.1, 0.245), (0.15, 0.51), (0.2, 0.78), (0.3, 0.97)])
def test_air_space_factor(air, expected):
    """Haug (1993): 1 / (1 + exp(-23.675 FAS + 3.4945)), worked to two digits (three at 0.1); page TO CHECK.

    Tolerance 0.0051: rounding. Planted: air_space_factor_offset 3.4945 -> 3.3; slope 23.675 -> 22.
    """
    assert biology.air_space_factor.py_func(air, record()) == pytest.approx(expected, abs=5.1e-3)


@pytest.mark.parametrize("pressure", [101325.0, 61640.2])
def test_half_saturation_is_one_partial_pressure(pressure):
    """Monod's form on the partial pressure of oxygen: half speed at 0.015 x 101325 Pa, at any height and
    humidity (upper part of the band measured by Richard, Walker and Gossett 2006, at most 1.74 % v/v).

    Tolerance 1e-12: exact by definition. Planted: divided by p instead of p - e; standard pressure replaced
    by the site's.
    """
    c = record(pressure=pressure)
    for vapour in (0.0, 2339.0, 31200.0):
        half = biology.half_saturation.py_func(vapour, c)
        assert half * (pressure - vapour) == pytest.approx(0.015 * 101325.0, rel=1e-12)
    assert biology.half_saturation.py_func(0.0, record()) <= 0.0174


def test_oxygen_factor():
    """Monod: x / (x + K). Exact; Haug's K of 2 % v/v gives 0.714 at 5 % and 0.913 at 21 %. Never below
    zero.

    Tolerance 5e-4: rounding of the worked values. Planted: K in the numerator; negative oxygen let through.
    """
    law = biology.oxygen_factor.py_func
    assert law(0.015, 0.015) == 0.5
    assert law(0.05, 0.02) == pytest.approx(0.714, abs=5e-4)
    assert law(0.21, 0.02) == pytest.approx(0.913, abs=5e-4)
    assert law(-1e-6, 0.015) == 0.0
