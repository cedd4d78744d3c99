"""A turn that leaves the cover off, as a user meets it: what the run says, what the result holds, who reads it."""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr
from picture_checks import clipped_texts
from system.test_cli import SMALL, call

from pilesim.assess.histories import read_histories
from pilesim.show.half_section import half_section
from pilesim.show.section_picture import section_figure
from pilesim.study.turning import _with_air

MIX, COVER, NONE = 1, 2, 0
DAY = 86400.0
TURN = 60.0 / DAY  # how long a turn takes: 1 minute


@pytest.fixture(scope="module", params=("mixed in", "taken away"))
def ran(request, tmp_path_factory):
    """A small pile whose cover comes off on day 1 and which is turned once more on day 2."""
    folder = tmp_path_factory.mktemp("off")
    events = f'\n[[event]]\ntime = "1 day"\ncover = "{request.param}"\n\n[[event]]\ntime = "2 day"\nmixing = "outside in"\n'
    (folder / "off.toml").write_text(SMALL + events, encoding="utf-8")
    done = call("run", "off.toml", "--set", "run.output_every=12 hour", "--out", "off", cwd=folder)
    assert done.returncode == 0, done.stderr
    with xr.open_dataset(folder / "off" / "result.nc") as dataset:
        yield request.param, folder, done, dataset.load()


def test_the_run_says_what_became_of_the_cover(ran):
    """Once, with the day, and what numbers mean from then on. Planted: no message."""
    fate, _, done, _ = ran
    said = [line for line in done.stdout.splitlines() if f"its cover {fate}" in line]
    assert len(said) == 1 and said[0].startswith("- On day 1 the pile was turned")
    assert ("fines rule" in said[0]) == (fate == "mixed in") and ("left with it" in said[0]) == (fate == "taken away")


def test_the_result_is_true_after_the_turn(ran):
    """The mesh stays; where a cover was taken away there is nothing from then on, and where it was mixed in there is mix.
    Cells, histories and amounts say the same. Planted, each seen to fail: fields of the old mesh laid out by the new numbers;
    cells of the cover kept; the mix weighed where it was built."""
    fate, _, _, dataset = ran
    later = dataset["zone_uncovered"]
    assert later.attrs["from_day"] == pytest.approx(1.0 + TURN)
    built = dataset["zone"].values
    assert (built == COVER).any() and not (later.values == COVER).any()
    assert (later.values[built == COVER] == (MIX if fate == "mixed in" else NONE)).all()
    assert (later.values[built != COVER] == built[built != COVER]).all()
    cover_only = (dataset["cover_area"] > 0) & (dataset["mix_area"] == 0) & (dataset["base_area"] == 0)
    above = cover_only & (dataset["height"] > 0.01)
    for name in ("temperature", "oxygen", "moisture", "gas_velocity_z"):
        field = dataset[name].where(above, drop=False)
        before, after = field.sel(time=slice(0, 1.0)), field.sel(time=slice(1.4, 3))
        there = above.values
        assert np.isfinite(before.values[:, there]).all()
        assert np.isfinite(after.values[:, there]).all() == (fate == "mixed in")
        assert np.isnan(after.values[:, there]).all() == (fate == "taken away")
        assert np.isfinite(dataset[name].values[:, dataset["mix_area"].values > 0]).all()
    off = json.loads(dataset.attrs["cover_off"])
    dry = dataset["mix_dry_matter"].values
    gain = dry[3] - dry[2]  # of half a day around the turn; decay is a hundredth of it
    assert gain == pytest.approx(2.0 * off["dry"] if fate == "mixed in" else 0.0, abs=0.03 * 2.0 * off["dry"])
    assert 0.0 < float(dataset["dry_matter_loss"]) < 0.1 and 0.0 < float(dataset["water_loss"]) < 0.3
    assert float(dataset["budget_error_heat"]) < 1e-9 and float(dataset["budget_error_water"]) < 1e-9


def test_means_weigh_the_mix_that_lies_there(ran):
    """The mean temperature of the history against the field and the areas at the last output: with the cover mixed in, over
    all of the outline. To 0.3 K: areas for dry matter. Planted: see above."""
    fate, _, _, dataset = ran
    area = dataset["mix_area"] + (dataset["cover_area"] if fate == "mixed in" else 0.0)
    assert np.allclose(dataset["mix_area_uncovered"].fillna(0.0), area.fillna(0.0), rtol=1e-12)
    field = dataset["temperature"].isel(time=-1)
    mean = float((field.fillna(0.0) * area).sum() / area.sum())
    assert float(dataset["mean_temperature"][-1]) == pytest.approx(mean, abs=0.3)
    if fate == "mixed in":
        old = float((field * dataset["mix_area"]).sum() / dataset["mix_area"].sum())
        assert abs(old - mean) > 0.6  # or the mean could not tell them apart


def test_material_is_followed_into_where_the_cover_lay(ran):
    """Read back, the temperatures of parcels after the turn are those of places in all of the mix then: their mean is the
    history's. To 4 standard errors of 4,000 places. Planted: parcels left in the outline of building."""
    fate, _, _, dataset = ran
    _, fine, coarse = read_histories(dataset)
    for history in (fine, coarse):
        parcels = history.parcels()
        spread = 4.0 * parcels.temperatures[-1].std() / np.sqrt(4000)
        assert parcels.temperatures[-1].mean() == pytest.approx(history.mean()[-1], abs=spread)
        assert np.isfinite(parcels.temperatures).all()
    assert (fine.later is None) == (fate == "taken away")
    assert fine.mean()[-1] - 273.15 == pytest.approx(float(dataset["mean_temperature"][-1]), abs=1e-3)


def test_readers_of_the_result(ran):
    """Sheet, rules, hygiene and the picture take it; the sheet's heat balances; probes are refused in one line."""
    _, folder, _, dataset = ran
    for command in ("sheet", "rules", "hygiene"):
        done = call(command, "off", "--out", command, cwd=folder)
        assert done.returncode == 0, done.stderr
        if command == "sheet":
            left = next(line for line in done.stdout.splitlines() if "left over" in line)
            assert set(left.split("W per m")[1].split()) == {"0"}
            assert "stands bare" in done.stdout
    refused = call("probes", "off", cwd=folder)
    assert refused.returncode == 2 and "a run without turns" in refused.stderr
    assert clipped_texts(section_figure(dataset)) == []


def test_the_drawn_outline_follows(ran):
    """Taken away: narrower and lower by the cover. Mixed in: as before, without a line between mix and cover. Planted: the
    outline of building for all days."""
    fate, _, _, dataset = ran
    before, after = (half_section(dataset.isel(time=k)) for k in (0, -1))
    if fate == "taken away":
        assert before.top - after.top == pytest.approx(0.2, abs=1e-9) and after.half_width < before.half_width - 0.2
    else:
        assert after.top == before.top and after.half_width == before.half_width
        assert len(after.interface) < len(before.interface)
    assert half_section(dataset).top == before.top  # of a whole result: as built


def test_a_scenario_written_anew_keeps_the_fate(ran):
    """`turning` writes events with other air into a scenario; the cover's fate has to survive it, and text() too."""
    fate, _, _, dataset = ran
    scenario, _, _ = read_histories(dataset)
    moved = _with_air(scenario, 4.0)
    assert [turn.cover for turn in moved.turns] == [fate, "put back"]
    assert moved.turns[0].air_exchanged == pytest.approx(4.0 * scenario.turns[0].air_exchanged)
