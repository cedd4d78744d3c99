"""Summary and files of a result. The fields are synthetic: these tests are about form, not about physics."""

from __future__ import annotations

import json
import warnings

import numpy as np
import pytest
import xarray as xr
from synthetic_pile import synthetic_dataset

from pilesim.base.errors import ScenarioError
from pilesim.result import read_result, replacing, summarise, write_netcdf, write_summary


@pytest.fixture
def dataset():
    made = synthetic_dataset(np.array([0.0, 1.0, 2.0]))
    made["time"].attrs["units"] = "d"
    zones = np.array([0.9, 0.4, np.nan, 0.2, 0.0])
    for name, value, dims, unit in (
        ("cold_edge_fraction", 0.25, (), "1"),
        ("days_to_aerobic", np.nan, (), "d"),
        ("cover_leakance", np.inf, (), "m"),
        ("cold_edge_fraction_by_zone", zones, ("mix_zone",), "1"),
    ):
        made[name] = (dims, value, {"units": unit, "long_name": f"meaning of {name}"})
        made[f"{name}_error"] = (dims, np.asarray(value) * 0.1, {"units": unit})
    made.attrs["messages"] = json.dumps(["one caution"])
    return made


def strict(text):
    """JSON as the standard has it: NaN and Infinity are refused."""
    return json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))


def test_summary_file_has_the_contract_form(dataset, tmp_path):
    """Planted: NaN passed on (refused by `strict`); the zone values as a list; the flag as text."""
    write_summary(summarise(dataset), tmp_path / "summary.json")
    read = strict((tmp_path / "summary.json").read_text(encoding="utf-8"))
    assert list(read) == ["schema", "scenario", "version", "freezing_modelled", "errors_trusted", "measures", "messages"]
    assert read["schema"] == 1 and read["freezing_modelled"] is False and read["scenario"] == "synthetic"
    assert read["messages"] == ["one caution"]
    assert read["measures"]["cold_edge_fraction"] == {
        "value": 0.25,
        "unit": "1",
        "meaning": "meaning of cold_edge_fraction",
        "error": pytest.approx(0.025, rel=1e-12),
    }
    assert read["measures"]["days_to_aerobic"]["value"] is None
    assert read["measures"]["cover_leakance"]["value"] is None
    by_zone = read["measures"]["cold_edge_fraction_by_zone"]["value"]
    assert by_zone == {"toe": 0.9, "floor": 0.4, "crest": None, "flank": 0.2, "core": 0.0}
    assert set(read["measures"]) == {
        "cold_edge_fraction",
        "days_to_aerobic",
        "cover_leakance",
        "cold_edge_fraction_by_zone",
    }


def test_netcdf_opens_with_plain_xarray_and_reads_back(dataset, tmp_path):
    """Fields keep float32 digits (6e-8 relative), all else every bit. Planted: history packed as well."""
    write_netcdf(dataset, tmp_path / "result.nc")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with xr.open_dataset(tmp_path / "result.nc") as plain:
            plain.load()
    assert plain["time"].dtype == np.float64 and plain["temperature"].dtype == np.float32
    np.testing.assert_allclose(plain["temperature"], dataset["temperature"], rtol=1e-7)
    np.testing.assert_array_equal(plain["heat_released"], dataset["heat_released"])
    np.testing.assert_array_equal(plain["zone"], dataset["zone"])
    assert summarise(read_result(tmp_path / "result.nc")) == summarise(dataset)


@pytest.mark.parametrize("content", [b"", b"not netCDF", None])
def test_what_is_no_result_is_refused_in_one_line(tmp_path, content):
    path = tmp_path / "x.nc"
    if content is None:
        xr.Dataset({"a": 1.0}).to_netcdf(path, engine="h5netcdf")
    else:
        path.write_bytes(content)
    with pytest.raises(ScenarioError) as caught:
        read_result(path)
    assert "written by pilesim" in str(caught.value) and str(caught.value).isprintable()


def test_a_file_appears_complete_or_not_at_all(tmp_path):
    """Planted: writing to the final name."""
    path = tmp_path / "file.txt"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(RuntimeError, match="halfway"), replacing(path) as temporary:
        temporary.write_text("ne", encoding="utf-8")
        raise RuntimeError("halfway")
    assert path.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["file.txt"]
    with replacing(path) as temporary:
        temporary.write_text("new", encoding="utf-8")
    assert path.read_text(encoding="utf-8") == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["file.txt"]
