"""The two errors that the package raises on purpose; each is one plain line that says what to do."""

from __future__ import annotations

_LONGEST = 120      # characters of a given value that are worth repeating in a message


def one_line(text: object, longest: int = 2000) -> str:
    """`text` as one printable line: white space collapsed, control characters escaped, cut at `longest`."""
    flat = " ".join(str(text).split())
    safe = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in flat)
    return safe if len(safe) <= longest else safe[: longest - 3] + "..."


class ScenarioError(ValueError):
    """Bad input: where it stands, what was given, what is allowed, what to do.

    Parameters
    ----------
    where : str
        Dotted scenario key, or the file name for problems of a whole file.
    given : str
        What was given, quoted as the caller wants it shown; empty where there is nothing to show.
    allowed : str
        Completes the sentence "expected ...".
    advice : str
        One more sentence that helps; may be empty.
    """

    def __init__(self, where: str, given: str, allowed: str, advice: str = "") -> None:
        super().__init__(where, given, allowed, advice)     # all four, so that the error survives pickling
        self.where, self.given, self.allowed, self.advice = where, given, allowed, advice

    def __str__(self) -> str:
        given = one_line(self.given, _LONGEST)
        start = one_line(self.where, _LONGEST) + (f" = {given}" if given else "")
        end = f" {one_line(self.advice)}" if self.advice else ""
        return f"{start}: expected {one_line(self.allowed)}.{end}"


class StepFailed(RuntimeError):
    """A time step did not converge; the message is one line and says what to do."""
