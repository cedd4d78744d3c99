"""Independent jobs in parallel processes: one thread each, clean on Ctrl-C, alive after a process dies.

Processes are spawned, not forked (compiled code and BLAS threads may not survive a fork), and do not import
the caller's main module, so a script needs no main guard. Results do not depend on their number.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import types
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any

Task = Callable[[Any, Callable[[float], None]], Any]

_THREAD_SETTINGS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "NUMBA_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
_STARTED = 1e-9  # fraction that says "a process has taken this job"
_LOOK_EVERY = 0.25  # seconds between looks at the progress

_fractions: Any = None  # in a worker: shared done fractions, one a job


def available_workers() -> int:
    """Number of processors this process may use."""
    try:
        return max(1, len(os.sched_getaffinity(0)))
    except AttributeError:  # not on every system
        return max(1, os.cpu_count() or 1)


def run_jobs(
    task: Task,
    jobs: Mapping[int, Any],
    workers: int,
    on_result: Callable[[int, Any], None],
    on_lost: Callable[[int], None],
    progress: Callable[[float], None] | None = None,
) -> None:
    """Run ``task(job, report)`` for every job in `workers` processes.

    Parameters
    ----------
    task : callable
        A module-level function; `report` takes the done fraction 0..1 of this job. It should not raise.
    jobs : mapping of int to picklable
        By index.
    on_result : callable
        Called here with index and result, as jobs finish.
    on_lost : callable
        Called here with the index of a job whose process died, also when tried alone.
    progress : callable, optional
        Called here with the done fraction of all jobs, 0..1.

    Raises
    ------
    RuntimeError
        If no process can be started.
    """
    if not jobs:
        return
    context = multiprocessing.get_context("spawn")
    slot = {index: number for number, index in enumerate(jobs)}
    fractions = context.Array("d", len(jobs), lock=False)
    left = dict(jobs)

    def finish(index: int, result: Any) -> None:
        fractions[slot[index]] = 1.0
        del left[index]
        on_result(index, result)

    def tick() -> None:
        if progress is not None:
            progress(min(1.0, sum(fractions) / len(jobs)))

    def attempt(indices: list[int], count: int) -> bool:
        chosen = {index: (slot[index], left[index]) for index in indices}
        return _round(context, task, chosen, count, fractions, finish, tick)

    while left:
        before = len(left)
        if attempt(list(left), workers):
            break
        suspects = [index for index in left if fractions[slot[index]] > 0.0]
        if not suspects and len(left) == before:
            raise RuntimeError(
                "the worker processes do not start; try --workers 1, or look at the memory limit"
            )
        for index in suspects:
            fractions[slot[index]] = 0.0
            if not attempt([index], 1):
                fractions[slot[index]] = 1.0
                del left[index]
                on_lost(index)
        tick()


def _round(
    context: Any,
    task: Task,
    chosen: dict[int, tuple[int, Any]],
    workers: int,
    fractions: Any,
    finish: Callable[[int, Any], None],
    tick: Callable[[], None],
) -> bool:
    """One pool of processes; False if one of them died before all was done."""
    others = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(min(workers, len(chosen)), context, _start_worker, (fractions,))
    try:
        with _clean_start():
            futures: dict[Future[Any], int] = {
                pool.submit(_run_one, task, number, job): index for index, (number, job) in chosen.items()
            }
        while futures:
            for future in wait(futures, _LOOK_EVERY, FIRST_COMPLETED).done:
                finish(futures.pop(future), future.result())
            tick()
    except BrokenProcessPool:
        return False
    except BaseException:
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
    return True


@contextmanager
def _clean_start() -> Iterator[None]:
    """Children born here run one thread each, leave Ctrl-C to the parent, do not import its main module."""
    saved = {name: os.environ.get(name) for name in _THREAD_SETTINGS}
    main = sys.modules["__main__"]
    mask = getattr(signal, "pthread_sigmask", None)
    before = mask(signal.SIG_BLOCK, {signal.SIGINT}) if mask else None
    os.environ.update(dict.fromkeys(_THREAD_SETTINGS, "1"))
    sys.modules["__main__"] = types.ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main
        for name, value in saved.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
        if mask:
            mask(signal.SIG_SETMASK, before)


def _start_worker(fractions: Any) -> None:
    global _fractions
    _fractions = fractions
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _run_one(task: Task, number: int, job: Any) -> Any:
    _fractions[number] = _STARTED

    def report(fraction: float) -> None:
        _fractions[number] = min(1.0, max(_STARTED, fraction))

    return task(job, report)
