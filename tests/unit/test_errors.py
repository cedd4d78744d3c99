"""The numerical error of a measure: what two grids disagree on, and that chance cannot make it vanish."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pilesim.assess.errors import AS_BUILT, at_one_end, history_errors, not_estimated, numerical_errors
from pilesim.assess.measures import MEASURES
from pilesim.assess.shares import ZONES
from pilesim.base.constants import CONSTANTS

DAYS = np.linspace(0.0, 20.0, 401)
LEVEL = np.full(401, 0.5)
SHARE, DAY = CONSTANTS["time_error_share"].value, CONSTANTS["time_error_days"].value / 86400.0


def watch(curve):
    """What the errors read of a run: one curve for every series, and for the oxygen of all zones."""
    series = {name: list(curve) for name in ("anaerobic_share", "anoxic_share", "share_above_55")}
    pieces = SimpleNamespace(zone_share=lambda: np.array([0.1, 0.2, 0.2, 0.3, 0.2]))
    return SimpleNamespace(times=list(86400.0 * DAYS), series=series, pieces=pieces,
                           daily_zone_oxygen=[np.full(len(ZONES), 0.01 * value) for value in curve])


def values(number, **changed):
    found = dict.fromkeys(MEASURES, number) | {"cold_edge_fraction_by_zone": np.full(5, number)}
    return found | changed


def found(fine, coarse, curves=(LEVEL, LEVEL)):
    return numerical_errors(fine, coarse, (watch(curves[0]), watch(curves[1])))


def test_time_steps_add_to_the_grid_but_not_to_what_is_built():
    """Planted: amounts as built given an error; the part of time left out."""
    errors = found(values(0.5), values(0.4))
    assert errors["anaerobic_fraction_mean"] == pytest.approx(0.1 + SHARE)
    assert errors["days_to_aerobic"] == pytest.approx(0.1 + DAY)
    assert errors["peak_temperature"] == pytest.approx(0.1 + CONSTANTS["time_error_temperature"].value)
    assert errors["core_oxygen_day_14"] == pytest.approx(0.1 + 100.0 * CONSTANTS["time_error_oxygen"].value)
    same = found(values(0.5), values(0.5))
    assert all(same[name] == 0.0 for name in AS_BUILT) and same["dry_matter_loss"] > 0.0
    factor = CONSTANTS["water_loss_error_factor"].value
    assert errors["water_loss"] == pytest.approx(0.1 * factor + 0.5 * CONSTANTS["time_error_relative"].value)


def test_curves_that_cross_on_the_day_are_not_certain():
    """Two curves that cross on day 14 and part by 0.2 a day: the error is 0.2, and what 0.05 days move. Planted: the
    difference on the day alone."""
    fine, coarse = 0.5 + 0.0 * DAYS, 0.5 + 0.2 * (DAYS - 14.0)
    errors = found(values(0.5), values(0.5), (fine, coarse))
    assert errors["anaerobic_fraction_day_14"] == pytest.approx(0.2 + SHARE)
    steep = found(values(0.5), values(0.5), (coarse, coarse))
    assert steep["share_above_55C_day_14"] == pytest.approx(0.2 * DAY + SHARE)


def test_zones_that_cancel_do_not_hide_each_other():
    """A toe (a tenth of the mix) colder by 0.4 and a floor (a fifth) warmer by 0.2 leave the whole as it was: the error is
    0.04 + 0.04, not nought. Planted: the difference of the whole alone; zones not weighed."""
    zones = np.array([0.5, 0.5, 0.5, 0.5, 0.5])
    fine, coarse = values(0.5, cold_edge_fraction_by_zone=zones), values(
        0.5, cold_edge_fraction_by_zone=zones + np.array([0.4, -0.2, 0.0, 0.0, 0.0]))
    assert found(fine, coarse)["cold_edge_fraction"] == pytest.approx(0.08 + SHARE)


def test_what_stands_at_an_end_on_both_grids_has_no_error_to_show():
    """No share frozen on both grids, or all of it cold: nought, which the screen does not pass over. Planted: an end on
    one grid taken for both; day 1 taken for an end; losses taken for shares."""
    errors = found(values(0.5, frozen_fraction_peak=0.0, share_above_80C=0.0, days_to_55C_median=0.0),
                   values(0.5, frozen_fraction_peak=0.0, share_above_80C=0.3, days_to_55C_median=0.0))
    assert errors["frozen_fraction_peak"] == 0.0 and errors["days_to_55C_median"] == 0.0
    assert errors["share_above_80C"] == pytest.approx(0.3 + SHARE)
    assert not at_one_end("days_to_55C_median", np.array(1.0), np.array(1.0))
    assert not at_one_end("water_loss", np.array(0.0), np.array(0.0))
    assert at_one_end("cold_edge_fraction_by_zone", np.array([0.0, 1.0, 0.5]), np.array([0.0, 1.0, 0.5])).tolist() == [
        True, True, False]


def test_what_one_grid_reaches_is_said():
    """Planted: the two grids exchanged; said of what neither reaches."""
    fine = values(0.5, days_to_aerobic=np.nan, days_to_55C_95=12.0, core_oxygen_day_14=np.nan)
    coarse = values(0.5, days_to_aerobic=30.0, days_to_55C_95=np.nan, core_oxygen_day_14=np.nan)
    first, second = not_estimated(fine, coarse)
    assert first.startswith("days_to_aerobic is reached by the grid of twice the cell only")
    assert second.startswith("days_to_55C_95 is reached by this grid only")
    errors = found(fine, coarse)
    assert np.isnan(errors["days_to_aerobic"]) and np.isnan(errors["days_to_55C_95"])


def test_curves_differ_hour_by_hour():
    errors = history_errors({"a": np.array([1.0, 2.0])}, {"a": np.array([1.5, 1.0])})
    assert errors["a"].tolist() == [0.5, 1.0]
