"""Tasks for the tests of the executor; worker processes import them by name."""

import os
import signal
import time


def square(job, report):
    report(0.5)
    return job * job, os.getpid(), os.environ.get("OMP_NUM_THREADS")


def die_on_three(job, report):
    """The process of job 3 is killed as the kernel does when memory runs out."""
    time.sleep(0.05)
    if job == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return job


def slow(job, report):
    for step in range(600):
        time.sleep(0.1)
        report(step / 600)
    return job
