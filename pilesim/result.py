"""Results on disk and in short: netCDF and JSON files that appear complete or not at all, and the summary.

The Dataset itself is described in DEVELOPERS.md; a measure is a variable that has `<name>_error` beside it.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pilesim.base.errors import ScenarioError, one_line

if TYPE_CHECKING:
    import xarray as xr

SCHEMA = 1
ZONE_DIMENSION = "mix_zone"
Number = float | dict[str, float | None] | None


@dataclass(frozen=True, slots=True)
class Measure:
    """One number of a result; value and error in `unit`; a mapping by zone; None where never reached."""

    value: Number
    unit: str
    meaning: str
    error: Number


@dataclass(frozen=True, slots=True)
class Summary:
    """All measures of one simulation.

    Attributes
    ----------
    scenario, version : str
        Name of the scenario and version of pilesim.
    freezing_modelled : bool
        Whether ice was part of the balances.
    measures : dict of Measure
        By name, in the order of the Dataset.
    messages : list of str
        One-line cautions of the run.
    errors_trusted : bool
        False where the errors mean nothing: a mix that convects in plumes.
    """

    scenario: str
    version: str
    freezing_modelled: bool
    measures: dict[str, Measure]
    messages: list[str]
    errors_trusted: bool = True

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``summary.json``; what is not a finite number is None."""
        measures = {
            name: {key: _finite(value) for key, value in asdict(measure).items()}
            for name, measure in self.measures.items()
        }
        return {
            "schema": SCHEMA,
            "scenario": self.scenario,
            "version": self.version,
            "freezing_modelled": self.freezing_modelled,
            "errors_trusted": self.errors_trusted,
            "measures": measures,
            "messages": list(self.messages),
        }


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(part) for key, part in value.items()}
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _number(variable: xr.DataArray) -> Number:
    """Float, mapping by zone, or None for NaN."""
    if variable.dims == (ZONE_DIMENSION,):
        zones = [str(zone) for zone in variable[ZONE_DIMENSION].values]
        return {zone: _number(variable[i]) for i, zone in enumerate(zones)}  # type: ignore[misc]
    value = float(variable)
    return None if math.isnan(value) else value


def summarise(dataset: xr.Dataset) -> Summary:
    """The measures of a result with units, meanings and numerical errors.

    Parameters
    ----------
    dataset : xarray.Dataset
        As returned by :func:`pilesim.simulate` or :func:`read_result`.

    Raises
    ------
    ScenarioError
        If the Dataset is not a result of pilesim.
    """
    needed = ("scenario_name", "pilesim_version", "freezing_modelled", "messages")
    missing = [name for name in needed if name not in dataset.attrs]
    names = [str(name) for name in dataset.data_vars if f"{name}_error" in dataset.data_vars]
    if missing or not names:
        lacks = "measures" if not missing else f"attribute {missing[0]}"
        raise ScenarioError("result", "", "a Dataset written by pilesim", f"This one lacks {lacks}.")
    measures = {
        name: Measure(
            _number(dataset[name]),
            str(dataset[name].attrs.get("units", "1")),
            str(dataset[name].attrs.get("long_name", name)),
            _number(dataset[f"{name}_error"]),
        )
        for name in names
    }
    attrs = dataset.attrs
    return Summary(
        str(attrs["scenario_name"]),
        str(attrs["pilesim_version"]),
        str(attrs["freezing_modelled"]) == "true",
        measures,
        list(json.loads(attrs["messages"])),
        errors_trusted(attrs),
    )


def errors_trusted(attrs: Mapping[Any, Any]) -> bool:
    """Whether the numerical errors of a run mean anything, from the attributes of its Dataset."""
    return str(attrs.get("errors_trusted", "true")) == "true"


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A temporary path in the same folder that becomes `path` at the end, or vanishes if the block fails."""
    path = Path(path)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        yield temporary
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def write_netcdf(dataset: xr.Dataset, path: Path) -> None:
    """Write a Dataset as netCDF 4: fields over time and section as compressed float32, all else as it is."""
    packing = {"dtype": "float32", "zlib": True, "complevel": 4, "shuffle": True}
    fields = [name for name, variable in dataset.data_vars.items() if {"time", "z"} <= set(variable.dims)]
    with replacing(path) as temporary:
        dataset.to_netcdf(temporary, engine="h5netcdf", encoding=dict.fromkeys(fields, packing))


def read_result(path: Path | str) -> xr.Dataset:
    """The Dataset of a ``result.nc``, in memory.

    Raises
    ------
    ScenarioError
        If the file is missing or is not a result of pilesim.
    """
    import xarray as xr

    try:
        dataset = xr.load_dataset(path, engine="h5netcdf")
    except Exception as why:  # h5py, h5netcdf and xarray raise a dozen classes for a damaged file
        raise ScenarioError(str(path), "", "a result.nc written by pilesim", one_line(why, 200)) from None
    summarise(dataset)
    return dataset


def write_summary(summary: Summary, path: Path) -> None:
    """Write ``summary.json``."""
    write_text(json.dumps(summary.as_json(), indent=2, allow_nan=False, ensure_ascii=False) + "\n", path)


def write_text(text: str, path: Path) -> None:
    """Write a UTF-8 text file with plain line ends."""
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")
