"""Compile the kernels before they are needed, in two processes of their own: halves of a step apart, then the whole.

Machine code that a process has just compiled differs in the last digits from the same code read back from the cache.
So that the first run of all gives the numbers of every later one, nothing is compiled in the process that simulates.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pilesim.base.compiled import CACHE_FOLDER, compilation_lock
from pilesim.inputs.scenario import Scenario
from pilesim.study.executor import available_workers, run_jobs

# files in the cache folder that say that all kernels are in it, or those of the gas flow or of the stages
_MARKER, _FLOW, _STAGES = "complete", "flow", "stages"


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
    with compilation_lock():
        if not is_compiled():
            _apart(_compile, {0: "stages", 1: "the rest"})
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
        _apart(_build, {0: scenario})


def _marker() -> Path:
    return CACHE_FOLDER / _MARKER


def _apart(task: Callable[[Any, Callable[[float], None]], None], jobs: dict[int, Any]) -> None:
    def lost(index: int) -> None:
        raise RuntimeError("the process that compiles the kernels died; most often memory ran out")

    run_jobs(task, jobs, min(len(jobs), available_workers()), lambda index, result: None, lost)


def _compile(part: str, report: Callable[[float], None]) -> None:
    from pilesim.build import build
    from pilesim.solver import ahead
    from pilesim.study.run import compile_assessment, tiny_pile, warm_up

    problem = build(tiny_pile(), 1)
    if part == "stages":
        ahead.compile_flow(problem)
        (CACHE_FOLDER / _FLOW).touch()
        ahead.compile_stages(problem)
        (CACHE_FOLDER / _STAGES).touch()
        compile_assessment(problem)
        return
    ahead.compile_oxygen(problem)
    _await(_FLOW)
    ahead.compile_start(problem)
    _await(_STAGES)
    warm_up()


def _await(name: str) -> None:
    """Wait for the file that the other process leaves; if it dies, so does this one."""
    while not (CACHE_FOLDER / name).exists():
        time.sleep(0.05)


def _build(scenario: Scenario, report: Callable[[float], None]) -> None:
    from pilesim.build import build

    with compilation_lock():
        build(scenario)
