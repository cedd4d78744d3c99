"""Options of the bench, the record that its parts fill, and the table and JSON at the end of a session."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest


@dataclass(slots=True)
class Session:
    """Spans of this session, and what was found so far (plain data, see `machine.record`)."""

    quick: bool
    days: tuple[float, ...]
    van_leer_days: float
    members: int
    found: dict[str, Any] = field(default_factory=dict)

    def put(self, part: str, name: str, **values: Any) -> None:
        """Keep values under a part and a name; a second call adds to the first."""
        self.found.setdefault(part, {}).setdefault(name, {}).update(values)


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("pilesim bench")
    group.addoption("--quick", action="store_true", help="short spans and few members; the numbers mean nothing")
    group.addoption("--van-leer-days", type=float, default=10.0, choices=(3.0, 10.0, 30.0), metavar="3|10|30")
    group.addoption("--members", type=int, default=200, help="size of the ensemble")
    group.addoption("--results", type=Path, default=Path("out/bench.json"), help="where the JSON goes")
    group.addoption("--assert-ratios", action="store_true", help="end with status 1 if a ratio misses its target")


def pytest_configure(config: pytest.Config) -> None:
    from bench.peer_ida import REPORT_DAYS

    quick = config.getoption("--quick")
    config.stash[SESSION] = Session(
        quick, (1.0, 3.0) if quick else REPORT_DAYS, 1.0 if quick else config.getoption("--van-leer-days"),
        min(config.getoption("--members"), 6) if quick else config.getoption("--members"))


SESSION = pytest.StashKey[Session]()
BEGAN = time.time()
LOAD = list(os.getloadavg()) if hasattr(os, "getloadavg") else []  # of other people's work, before ours


@pytest.fixture(scope="session")
def session(request: pytest.FixtureRequest) -> Session:
    """Spans and record of this session."""
    return request.config.stash[SESSION]


@pytest.fixture
def timed(benchmark: Any) -> Callable[..., tuple[list[float], Any]]:
    """`timed(function, rounds, warm)`: seconds of each round on the benchmark's timer, and the last result."""

    def measure(function: Callable[[], Any], rounds: int = 1,
                warm: Callable[[], Any] | None = None) -> tuple[list[float], Any]:
        if warm is not None:
            warm()  # compiles
        result = benchmark.pedantic(function, rounds=rounds, iterations=1)
        return [float(seconds) for seconds in benchmark.stats.stats.data], result

    return measure


def pytest_terminal_summary(terminalreporter: Any, exitstatus: int, config: pytest.Config) -> None:
    from bench.judge import text

    if "record" in config.stash[SESSION].found:
        terminalreporter.write_line("\n" + text(config.stash[SESSION].found["record"]))
        terminalreporter.write_line(f"kept in {config.getoption('--results')}")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Judge, write the JSON whole or not at all, and with --assert-ratios turn a miss into status 1."""
    from bench.judge import missed_ratios
    from bench.machine import record

    config = session.config
    kept = config.stash[SESSION]
    if not kept.found or config.getoption("--collect-only"):
        return
    options = {"quick": kept.quick, "van_leer_days": kept.van_leer_days, "members": kept.members}
    whole = record(options, dict(kept.found), time.time() - BEGAN, LOAD)
    kept.found["record"] = whole
    path = config.getoption("--results")
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    part.replace(path)
    if config.getoption("--assert-ratios") and missed_ratios(whole):
        session.exitstatus = max(int(exitstatus), 1)
