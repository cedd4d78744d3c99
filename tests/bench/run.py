"""Run the whole bench in one session on one pinned core; print the ratios and keep them as JSON.

    pip install '.[bench]'
    python tests/bench/run.py --results tests/bench/results/session.json
    python tests/bench/plot.py tests/bench/results/session.json figures/benchmark.png

CPU seconds of single machines drift; only the ratios of one session mean anything, so nothing here fails on a time.
Further options (any of pytest works too):

    --quick               short spans and few members: does everything run? Its numbers mean nothing
    --van-leer-days N     span of the slow peer, scipy BDF with van Leer: 3, 10 (default) or 30; 30 takes minutes
    --members N           size of the ensemble (default 200)
    --assert-ratios       end with status 1 if a ratio or a growth misses its target
    -k contest            only one part: contest, growth, start or ensemble
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
PARTS = ("contest", "growth", "start", "ensemble")
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
CORES = "PILESIM_BENCH_CORES"  # tells the ensemble, which is not pinned, what the session could use


def main(arguments: list[str]) -> int:
    """Pin, one thread per library, and hand over to pytest; returns its exit status."""
    if "-h" in arguments or "--help" in arguments:
        print(__doc__)
        return 0
    os.environ.update(dict.fromkeys(THREADS, "1"))
    if hasattr(os, "sched_setaffinity"):
        cores = sorted(os.sched_getaffinity(0))
        os.environ[CORES] = ",".join(map(str, cores))
        os.sched_setaffinity(0, {cores[0]})
    sys.path[0] = str(HERE.parent)
    os.chdir(HERE.parents[1])
    import pytest  # after the threads are set: it may load numpy

    files = [str(HERE / f"bench_{part}.py") for part in PARTS]
    return int(pytest.main([
        "-o", "addopts=--import-mode=importlib", "-o", "python_files=bench_*.py", "-p", "no:cacheprovider", "-q", "-s",
        "--benchmark-columns=min,median,rounds", "--benchmark-sort=name", "--benchmark-warmup=off", *files, *arguments]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
