"""The command line: parse, call, print."""

from pilesim.cli.commands import app
from pilesim.cli.main import main

__all__ = ["app", "main"]
