"""Start-up: the command's help, the import, the first compilation of all, and a later run up to its first step.

Each in a process of its own, from its start: wall-clock seconds, and CPU seconds beside them, which a busy machine
changes less. The interpreter's own start is part of each.
"""

from __future__ import annotations

import subprocess
import sys
import time

import pytest
from bench.processes import all_cores, call_child, children_cpu

pytestmark = pytest.mark.benchmark(group="start-up, wall seconds", timer=time.perf_counter)
COMMANDS = {"help": ["-m", "pilesim", "--help"], "import": ["-c", "import pilesim"],
            "interpreter": ["-c", "pass"]}


@pytest.mark.parametrize("name", list(COMMANDS))
def test_command(session, timed, name):
    """Seconds of a whole process: `pilesim --help`, `import pilesim`, and, to compare, an empty program."""
    words = [sys.executable, *COMMANDS[name]]
    subprocess.run(words, check=True, capture_output=True)  # once, so that the files are in memory
    rounds = 2 if session.quick else 7
    before = children_cpu()
    seconds, _ = timed(lambda: subprocess.run(words, check=True, capture_output=True), rounds)
    session.put("start", name, wall_seconds=seconds, cpu_seconds=(children_cpu() - before) / rounds)


def test_first_compilation(session, timed, tmp_path):
    """The first run of all, in an empty cache, on all cores of the session; it has to say that it compiles."""
    before = children_cpu()
    with all_cores():
        seconds, answer = timed(lambda: call_child("compile", XDG_CACHE_HOME=str(tmp_path)))
    assert not answer["compiled_before"], "the cache was not empty"
    assert answer["compiled_after"], "nothing was compiled"
    session.put("start", "compilation", wall_seconds=seconds, cpu_seconds=children_cpu() - before,
                announced=bool(answer["announced"]))


def test_first_step(session, timed):
    """A later run, from the start of its process to its first step."""
    call_child("first-step", "reference_pile")  # fills the cache
    cpu = []

    def once():
        began = time.time()
        answer = call_child("first-step", "reference_pile")
        cpu.append(answer["cpu_seconds"])
        walls.append(answer["wall_clock"] - began)

    walls = []
    timed(once, 2 if session.quick else 5)
    session.put("start", "first_step", wall_seconds=walls, cpu_seconds=sum(cpu) / len(cpu))
