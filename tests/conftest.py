"""Kernels are compiled before tests start on several processes.

Two that compiled into one cache at once would leave machine code that differs in the last digits from the one they ran.
"""

import pytest


def pytest_configure(config: pytest.Config) -> None:
    if getattr(config.option, "numprocesses", None) and not hasattr(config, "workerinput"):
        from pilesim.study.warm import ensure_compiled

        ensure_compiled()
