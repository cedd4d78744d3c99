"""The commands of README.md: every pilesim line must parse, and the two main commands can be taken out.

check_readme.py parse           parse every pilesim command line in the bash blocks, without running it
check_readme.py command TITLE   print the only line of the first bash block under the heading TITLE
"""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"
PROGRAMS = {"pilesim", ".venv/bin/pilesim"}
BLOCK = re.compile(r"^```bash\n(.*?)^```", re.MULTILINE | re.DOTALL)


def blocks(text: str) -> list[list[str]]:
    """The lines of every bash block, continued lines joined, comments and empty lines left out."""
    out = []
    for block in BLOCK.findall(text):
        lines = [line.strip() for line in block.replace("\\\n", " ").splitlines()]
        out.append([line for line in lines if line and not line.startswith("#")])
    return out


def command_under(text: str, title: str) -> str:
    """The only line of the first bash block under a heading such as ``## Run it``."""
    parts = re.split(r"^#{1,6} +(.*)$", text, flags=re.MULTILINE)
    for heading, body in zip(parts[1::2], parts[2::2], strict=True):
        if heading.strip() == title:
            found = blocks(body)
            if not found or len(found[0]) != 1:
                raise SystemExit(f"README.md: the first bash block under '{title}' must be one line")
            return found[0][0]
    raise SystemExit(f"README.md has no heading '{title}'")


def pilesim_commands(line: str) -> list[list[str]]:
    """The arguments of every call of pilesim in a shell line (`a && pilesim run x; pilesim new y`)."""
    words = shlex.shlex(line, posix=True, punctuation_chars=True)
    words.whitespace_split = True
    calls: list[list[str]] = []
    current: list[str] = []
    for word in [*words, ";"]:
        if set(word) <= set("&|;()<>"):
            if current and current[0] in PROGRAMS:
                calls.append(current[1:])
            current = []
        else:
            current.append(word)
    return calls


def parse_all(text: str) -> int:
    """Parse every pilesim command of the README; print those that do not parse; return how many do."""
    import typer

    from pilesim.cli import app

    group = typer.main.get_command(app)
    good = 0
    for arguments in [call for block in blocks(text) for line in block for call in pilesim_commands(line)]:
        name, rest = (arguments or [""])[0], arguments[1:]
        if name not in group.commands and name not in ("--version", "--help"):
            raise SystemExit(f"README.md: {shlex.join(['pilesim', *arguments])}: no such command")
        try:
            if name in group.commands:
                group.commands[name].make_context(name, rest)
        except typer.Exit:  # --help of a command
            pass
        except typer.BadParameter.__mro__[2] as why:
            raise SystemExit(
                f"README.md: {shlex.join(['pilesim', *arguments])}: {why.format_message()}"
            ) from None
        good += 1
    return good


def main() -> None:
    text = README.read_text(encoding="utf-8")
    if sys.argv[1:] == ["parse"]:
        count = parse_all(text)
        if count == 0:
            raise SystemExit("README.md shows no pilesim command")
        print(f"{count} pilesim commands of README.md parse")
    elif len(sys.argv) == 3 and sys.argv[1] == "command":
        print(command_under(text, sys.argv[2]))
    else:
        raise SystemExit(__doc__)


if __name__ == "__main__":
    main()
