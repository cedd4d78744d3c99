"""What must be measured in a process of its own; prints one line of JSON. Started by the bench, not by hand.

    child.py memory NAME DAYS       peak memory of one contestant of R1, or of full physics (NAME full:10 cm)
    child.py compile                the first run of all, in an empty cache: compile every kernel
    child.py first-step SCENARIO    load, build and begin a run as `pilesim run` does, up to its first step
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

sys.path[0] = str(Path(__file__).resolve().parents[1])


def peak_memory() -> float:
    """Largest resident memory of this process so far [MB].

    Not ``ru_maxrss``: a child inherits that of the process that started it.
    """
    try:
        with open("/proc/self/status") as status:
            for line in status:
                if line.startswith("VmHWM"):
                    return float(line.split()[1]) / 1024.0
    except OSError:
        pass
    import resource

    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / 1024.0 / (1024.0 if sys.platform == "darwin" else 1.0)


def memory(name: str, days: str) -> dict[str, Any]:
    """Peak memory of one run, interpreter and libraries included."""
    from bench.contestants import R1, full_physics
    from bench.peer_ida import REPORT_DAYS

    if name.startswith("full:"):
        full_physics(float(days), name.removeprefix("full:"))
    else:
        R1[name][1](tuple(day for day in REPORT_DAYS if day <= float(days)))
    return {"megabytes": peak_memory()}


def compile_all() -> dict[str, Any]:
    """Compile into the cache that XDG_CACHE_HOME names, as the first run of all does."""
    from pilesim.study.warm import ensure_compiled, is_compiled

    said: list[str] = []
    before = is_compiled()
    ensure_compiled(said.append)
    return {"compiled_before": before, "compiled_after": is_compiled(), "announced": said}


def first_step(scenario: str) -> dict[str, Any]:
    """CPU seconds since the process began, when the run observes its start, before the first step."""
    import pilesim

    class Begun(Exception):
        pass

    def progress(share: float) -> None:
        raise Begun

    try:
        pilesim.simulate(pilesim.load(scenario), progress=progress)
    except Begun:
        return {"cpu_seconds": time.process_time(), "wall_clock": time.time()}
    raise SystemExit("the run never told its progress")


def main(words: list[str]) -> None:
    """One job, its answer to the file descriptor of stdout."""
    answer = {"memory": memory, "compile": compile_all, "first-step": first_step}[words[0]](*words[1:])
    sys.stdout.write(json.dumps(answer) + os.linesep)


if __name__ == "__main__":
    main(sys.argv[1:])
