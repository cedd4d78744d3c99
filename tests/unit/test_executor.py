"""Parallel jobs: all results arrive, a dead process costs one job, an interruption leaves no process."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from unit import worker_tasks

from pilesim.study.executor import run_jobs

TESTS = Path(__file__).resolve().parents[1]


def collect(task, jobs, workers, progress=None):
    results, lost = {}, []
    run_jobs(task, jobs, workers, results.__setitem__, lost.append, progress)
    return results, lost


def test_every_job_once_in_processes_of_one_thread():
    """Planted: the thread settings left out of the environment; results keyed by slot, not by index."""
    seen = []
    results, lost = collect(worker_tasks.square, {7: 2, 3: 5, 11: 4}, 2, seen.append)
    assert {index: value[0] for index, value in results.items()} == {7: 4, 3: 25, 11: 16}
    assert all(threads == "1" for _, _, threads in results.values())
    assert len({process for _, process, _ in results.values()} - {multiprocessing.current_process().pid}) in (
        1,
        2,
    )
    assert lost == []
    assert seen == sorted(seen) and seen[-1] == 1.0


def test_a_dead_process_costs_one_job():
    """As when memory runs out. Planted: return at the first broken pool; the suspects not tried alone."""
    results, lost = collect(worker_tasks.die_on_three, {i: i for i in range(6)}, 2)
    assert lost == [3]
    assert results == {i: i for i in range(6) if i != 3}


SCRIPT = """
from unit import worker_tasks
from pilesim.study.executor import run_jobs
print("started", flush=True)
run_jobs(worker_tasks.square, {0: 3}, 1, lambda index, result: print(result[0]), print)
"""


def test_a_script_needs_no_main_guard(tmp_path):
    """The workers do not import it. Planted: the stand-in for __main__ removed (the script starts itself again)."""
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, encoding="utf-8")
    paths = os.pathsep.join(str(path) for path in (TESTS.parent, TESTS, *filter(None, sys.path)))
    done = subprocess.run(
        [sys.executable, script], capture_output=True, text=True, env=os.environ | {"PYTHONPATH": paths}, timeout=60
    )
    assert done.stdout.split() == ["started", "9"], done.stderr


def test_an_interruption_leaves_no_process():
    """Ctrl-C arrives as an exception from `progress`. Planted: processes not terminated (60 s of waiting)."""
    before = set(multiprocessing.active_children())
    start = time.monotonic()

    def interrupt(fraction):
        if fraction > 0.0:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        collect(worker_tasks.slow, {0: 0, 1: 1}, 2, interrupt)
    assert time.monotonic() - start < 20.0  # a job alone takes 60 s; starting processes takes about one
    assert set(multiprocessing.active_children()) <= before


def test_no_jobs():
    assert collect(worker_tasks.square, {}, 4) == ({}, [])
