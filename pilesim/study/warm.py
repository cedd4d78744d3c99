"""Compile the kernels before they are needed, in a process of its own.

Machine code that a process has just compiled differs in the last digits from the same code read back from the cache.
So that the first run of all gives the numbers of every later one, nothing is compiled in the process that simulates.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pilesim.inputs.scenario import Scenario
from pilesim.study.executor import run_jobs

_MARKER = "complete"  # file in the cache folder that says that all kernels are in it


def is_compiled() -> bool:
    """Whether the cache holds all kernels of this version of the sources."""
    return _marker().exists()


def ensure_compiled(announce: Callable[[str], None] | None = None) -> None:
    """Compile all kernels into the cache, unless they are there.

    Parameters
    ----------
    announce : callable, optional
        Called with one line when compilation really happens.

    Raises
    ------
    RuntimeError
        If the process that compiles dies.
    """
    if is_compiled():
        return
    if announce is not None:
        announce("compiling the kernels, once per version, about a minute")
    _apart(_compile, None)
    _marker().touch()


def check_physically(scenario: Scenario) -> None:
    """The checks that need property laws, without simulating.

    Raises
    ------
    ScenarioError
        If the outline or the bed is physically impossible.
    """
    if is_compiled():
        _build(scenario, lambda share: None)
    else:
        _apart(_build, scenario)


def _marker() -> Path:
    from pilesim.base.compiled import CACHE_FOLDER

    return CACHE_FOLDER / _MARKER


def _apart(task: Callable[[Any, Callable[[float], None]], None], job: Any) -> None:
    def lost(index: int) -> None:
        raise RuntimeError("the process that compiles the kernels died; most often memory ran out")

    run_jobs(task, {0: job}, 1, lambda index, result: None, lost)


def _compile(job: None, report: Callable[[float], None]) -> None:
    from pilesim.study.run import warm_up

    warm_up()


def _build(scenario: Scenario, report: Callable[[float], None]) -> None:
    from pilesim.base.compiled import compilation_lock
    from pilesim.build import build

    with compilation_lock():
        build(scenario)
