"""Child processes of the bench."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

CHILD = Path(__file__).with_name("child.py")


def children_cpu() -> float:
    """CPU seconds of all ended child processes of this one."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def call_child(*words: str, **environment: str) -> dict[str, Any]:
    """Run a job of `child.py` and read its answer; `environment` is added to this process's.

    Raises
    ------
    RuntimeError
        When the child fails; carries the end of what it wrote to stderr.
    """
    done = subprocess.run([sys.executable, str(CHILD), *words], env={**os.environ, **environment}, capture_output=True,
                          text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"child {' '.join(words)} ended with {done.returncode}: {done.stderr.strip()[-2000:]}")
    return dict(json.loads(done.stdout.splitlines()[-1]))


@contextmanager
def all_cores() -> Iterator[None]:
    """This process, and so its children, on all cores of the session instead of the one it is pinned to."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    pinned = os.sched_getaffinity(0)
    cores = os.environ.get("PILESIM_BENCH_CORES")
    try:
        if cores:
            os.sched_setaffinity(0, {int(core) for core in cores.split(",")})
        yield
    finally:
        os.sched_setaffinity(0, pinned)
