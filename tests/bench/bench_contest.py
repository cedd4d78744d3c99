"""R1 by pilesim and by general-purpose solvers, in one session on one core: CPU seconds, errors, memory.

Peers that are slow run a shorter span; pilesim is timed over each span that a peer runs, so that every ratio is of equal
spans. Errors are against the grid-converged answer, itself known to 0.06 K and 0.4 % (half the spread of two computations).
"""

from __future__ import annotations

import time
import warnings

import pytest
from bench.contestants import R1, errors, in_turns
from bench.peer_ida import REPORT_DAYS
from bench.processes import call_child

pytestmark = pytest.mark.benchmark(group="R1", timer=time.process_time)
FIPY_DAYS = 3.0
ROUNDS = {"pilesim_30": 9, "pilesim_pair": 5}  # short runs feel the machine's moods more
MEMORY_DAYS = {"pilesim_30": 30.0, "pilesim_60": 30.0, "pilesim_pair": 30.0}  # the others: three, their peak comes early


def span(session, days):
    """Report days up to `days`, within what this session runs."""
    return tuple(day for day in REPORT_DAYS if day <= min(days, session.days[-1]))


def fipy_days(session):
    return 1.0 if session.quick else FIPY_DAYS


def keep(session, name, label, days, seconds, result):
    session.put("contest", name, label=label, days=days[-1], cpu_seconds=seconds, nodes=result["nodes"],
                errors=errors(result["found"]), **({"steps": result["steps"]} if "steps" in result else {}))


def solve(session, timed, name, days):
    label, function = R1[name]
    seconds, result = timed(lambda: function(days), 1 if session.quick else ROUNDS.get(name, 1), lambda: warm(name))
    keep(session, name, label, days, seconds, result)


def warm(name):
    """Compile and import everything by a short run."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the peers' packages, not ours
        _, function = R1[name]
        if name.startswith("pilesim"):
            function((1.0,))
        else:
            function((1.0,), 30, 25)


def test_pilesim_and_ida_in_turns(session, timed):
    """Thirty days, at the begin of the session; at its end once more (`bench_growth.py`)."""
    for name, (seconds, result) in in_turns(timed, session.days, session.quick).items():
        keep(session, name, R1[name][0], session.days, seconds, result)


@pytest.mark.parametrize("name", ["bdf", "pilesim_30", "pilesim_pair"])
def test_full_span(session, timed, name):
    """Thirty days."""
    solve(session, timed, name, session.days)


@pytest.mark.filterwarnings("default")
def test_fipy(session, timed):
    """Three days: the longest span with an outside answer that stays short."""
    pytest.importorskip("fipy")
    solve(session, timed, "fipy", span(session, fipy_days(session)))


def test_van_leer(session, timed):
    """As many days as --van-leer-days says."""
    solve(session, timed, "van_leer", span(session, session.van_leer_days))


@pytest.mark.parametrize("name", ["pilesim_60", "pilesim_pair"])
@pytest.mark.parametrize("peer", ["fipy", "van_leer"])
def test_equal_span(session, timed, name, peer):
    """pilesim over the span of the slower peers."""
    days = span(session, fipy_days(session) if peer == "fipy" else session.van_leer_days)
    seconds, result = timed(lambda: R1[name][1](days), 1 if session.quick else 2, lambda: warm(name))
    keep(session, f"{name}_as_{peer}", R1[name][0], days, seconds, result)


@pytest.mark.parametrize("name", list(R1))
def test_memory(session, name):
    """Peak memory in a process of its own, interpreter and libraries included."""
    if name == "fipy":
        pytest.importorskip("fipy")
    days = min(MEMORY_DAYS.get(name, 1.0 if name in ("fipy", "van_leer") else 3.0), session.days[-1])
    answer = call_child("memory", name, str(days))
    session.put("contest", name, megabytes=answer["megabytes"])
