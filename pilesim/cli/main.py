"""Run the command line: exit codes, and one plain line for every error."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Sequence
from typing import Any

import typer

import pilesim.cli.estimating
import pilesim.cli.judging
import pilesim.cli.materials
import pilesim.cli.turning
import pilesim.cli.winter  # noqa: F401  (their commands join the others)
from pilesim.cli.commands import app
from pilesim.cli.options import BAD_INPUT, FAILURE, INTERRUPTED, OK, say

_COMMAND_LINE_ERROR = typer.BadParameter.__mro__[2]  # base of every usage error, wherever typer keeps it


def _explain(why: BaseException) -> tuple[int, str]:
    """Exit code and the one line for an error."""
    from pilesim.base.errors import ScenarioError, StepFailed, one_line

    if isinstance(why, _COMMAND_LINE_ERROR):
        context = getattr(why, "ctx", None)
        command = context.command_path if context is not None else "pilesim"
        said = one_line(why.format_message()).rstrip(".")  # type: ignore[attr-defined]
        return BAD_INPUT, f"{command}: {said}. See '{command} --help'."
    if isinstance(why, ScenarioError):
        return BAD_INPUT, str(why)
    if isinstance(why, StepFailed):
        return FAILURE, one_line(why)
    if isinstance(why, OSError):
        place = f"{why.filename}: " if why.filename else ""
        return FAILURE, one_line(f"{place}{why.strerror or why}")
    if isinstance(why, MemoryError):
        return FAILURE, "memory ran out: use a larger run.cell or fewer --workers"
    return FAILURE, one_line(f"unexpected {type(why).__name__}: {why}. Please report it with what --debug shows.")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code: 0 done, 2 bad input, 1 failure, 130 interrupted."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job of a shell ignores it
    command = typer.main.get_command(app)
    try:
        if not words:
            allowed = ", ".join(_commands(command))
            say(f"pilesim: no command given: expected one of {allowed}. See 'pilesim --help'.")
            return BAD_INPUT
        with command.make_context("pilesim", words) as context:
            command.invoke(context)
        sys.stdout.flush()
    except typer.Exit as stop:
        return stop.exit_code
    except (KeyboardInterrupt, typer.Abort):
        say("interrupted; nothing was written")
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILURE
    except Exception as why:
        code, text = _explain(why)
        if "--debug" in words:
            import traceback

            traceback.print_exc()
        say(text)
        return code
    return OK


def _commands(command: Any) -> list[str]:
    return list(command.commands)
