"""Heat, oxygen and moisture in covered, passively aerated compost piles.

The public functions load on first use, so that ``import pilesim`` stays fast::

    scenario = pilesim.load("reference_pile").with_(**{"pile.base_width": "7 m"})
    result = pilesim.simulate(scenario)             # an xarray.Dataset
    pilesim.summarise(result).measures["cold_edge_fraction"]
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pilesim.base.errors import ScenarioError
    from pilesim.inputs.scenario import Scenario, load
    from pilesim.result import summarise
    from pilesim.study.compare import compare
    from pilesim.study.run import simulate

    __version__: str

_HOME = {
    "load": "pilesim.inputs.scenario",
    "Scenario": "pilesim.inputs.scenario",
    "ScenarioError": "pilesim.base.errors",
    "simulate": "pilesim.study.run",
    "summarise": "pilesim.result",
    "compare": "pilesim.study.compare",
}

__all__ = ["Scenario", "ScenarioError", "__version__", "compare", "load", "simulate", "summarise"]


def __getattr__(name: str) -> object:
    if name == "__version__":
        value: object = _version()
    elif name in _HOME:
        value = getattr(import_module(_HOME[name]), name)
    else:
        raise AttributeError(f"module 'pilesim' has no attribute '{name}'")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])


def _version() -> str:
    """The version of the installed package, or of the source tree that is imported without installation."""
    from importlib.metadata import PackageNotFoundError, version
    from pathlib import Path

    project = Path(__file__).resolve().parents[1] / "pyproject.toml"
    if project.is_file():  # a source tree: an installed copy elsewhere says nothing about it
        import tomllib

        table = tomllib.loads(project.read_text(encoding="utf-8")).get("project", {})
        if table.get("name") == "pilesim":
            return str(table["version"])
    try:
        return version("pilesim")
    except PackageNotFoundError:
        return "0.0.0"
