"""What a session's numbers were made with: machine, versions, sources; and the record that is kept as JSON."""

from __future__ import annotations

import os
import platform
import subprocess
import time
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

PACKAGES = ("numpy", "scipy", "numba", "llvmlite", "matplotlib", "xarray", "scikit-sundae", "fipy", "pytest-benchmark")
ROOT = Path(__file__).resolve().parents[2]


def processor() -> str:
    """The processor's own name, where the system tells it."""
    try:
        with open("/proc/cpuinfo") as info:
            names = [line.split(":", 1)[1].strip() for line in info if line.startswith("model name")]
        return names[0]
    except (OSError, IndexError):
        return platform.processor() or platform.machine()


def memory_gigabytes() -> float | None:
    """Memory of the machine [GB]."""
    try:
        return round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9, 1)
    except (ValueError, OSError, AttributeError):
        return None


def versions() -> dict[str, str | None]:
    """Installed version of each package that matters; None where it is missing."""
    out: dict[str, str | None] = {}
    for name in PACKAGES:
        try:
            out[name] = version(name)
        except PackageNotFoundError:
            out[name] = None
    return out


def commit() -> str | None:
    """Commit of the checkout, with a mark when tracked files differ from it."""
    try:
        words = ["git", "-C", str(ROOT), "describe", "--always", "--dirty", "--abbrev=12", "--exclude=*"]
        return subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return None


def describe() -> dict[str, Any]:
    """Machine and software as plain data."""
    import pilesim
    from pilesim.base.cache import source_hash

    cores = os.environ.get("PILESIM_BENCH_CORES", "")
    pinned = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []
    return {
        "processor": processor(), "cores": os.cpu_count(), "cores_of_the_session": cores, "pinned_to": pinned,
        "memory_gigabytes": memory_gigabytes(), "system": platform.platform(), "python": platform.python_version(),
        "packages": versions(), "pilesim": str(pilesim.__version__), "commit": commit(), "sources": source_hash(),
    }


def record(options: dict[str, Any], found: dict[str, Any], seconds: float, load: list[float]) -> dict[str, Any]:
    """The whole session as plain data, with the targets judged; `load` is the load average before it began."""
    from bench.judge import judge

    whole = {"schema": 1, "date": time.strftime("%Y-%m-%d %H:%M", time.gmtime()), "session_seconds": round(seconds, 1),
             "options": options, "machine": describe() | {"load_before": load}, **found}
    whole["targets"] = judge(whole)
    return whole
