"""Throughput of an ensemble of unlike members through the executor that `compare` uses, two processes at once.

The unit is the CPU time of the median member run alone: two perfect processes need half as many units as there are members.
"""

from __future__ import annotations

import statistics
import time

import pytest
from bench.ensemble_member import members, run_member
from bench.processes import all_cores

WORKERS = 2
SETTLED = 0.2  # of the members: what memory is compared with


@pytest.mark.benchmark(group="ensemble, wall seconds", timer=time.perf_counter)
def test_ensemble(session, timed):
    """Members of varied mix, cover, weather and start; wall time, CPU of each, memory of the processes as they go."""
    from pilesim.study.executor import available_workers, run_jobs
    from pilesim.study.warm import ensure_compiled

    ensure_compiled()
    jobs = members(session.members, 2.0 if session.quick else 30.0, "20 cm" if session.quick else "10 cm")
    results, order, lost = {}, [], []

    def keep(index, result):
        results[index] = result
        order.append(index)

    with all_cores():
        cores = available_workers()
        wall, _ = timed(lambda: run_jobs(run_member, jobs, WORKERS, keep, lost.append))
    assert not lost, f"processes died with members {lost}"
    good = {index: result for index, result in results.items() if result["status"] == "ok"}
    assert len(good) >= 0.95 * len(jobs), [result["messages"] for result in results.values() if result["status"] != "ok"][:3]
    cpu = {index: result["cpu_seconds"] for index, result in good.items()}
    middle = sorted(cpu, key=cpu.get)[len(cpu) // 2]
    alone = {}
    run_jobs(run_member, dict.fromkeys(range(4), jobs[middle]), 1, alone.__setitem__, lost.append)
    again = [alone[repeat]["cpu_seconds"] for repeat in (1, 2, 3)]  # the first also loads the kernels
    early = [results[index]["megabytes"] for index in order[: max(1, round(SETTLED * len(order)))]]
    session.put("ensemble", "run", members=len(jobs), good=len(good), workers=WORKERS, cores=cores, wall_seconds=wall[0],
                cpu_in_workers=sum(cpu.values()), median_cpu_in_workers=statistics.median(cpu.values()),
                spread=[min(cpu.values()), max(cpu.values())], median_alone=statistics.median(again),
                megabytes_early=max(early), megabytes_end=max(result["megabytes"] for result in results.values()))
