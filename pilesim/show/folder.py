"""Where a command writes: the rules of `--out`, and files that appear complete or not at all."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pilesim.base.errors import ScenarioError
from pilesim.study.store import FOLDER


def check_folder(
    folder: Path, names: tuple[str, ...], force: bool = False, resume: bool | None = None
) -> None:
    """Refuse a folder that the results cannot or must not go into; nothing is created or changed.

    Parameters
    ----------
    folder : Path
        An empty folder is used, one that does not exist is made later.
    names : tuple of str
        Files the command writes; with `force` only these are replaced.
    resume : bool or None
        Whether to go on with unfinished work in the folder; None if the command cannot.

    Raises
    ------
    ScenarioError
        One line that names the option that helps.
    """
    if force and resume:
        raise ScenarioError(
            "--resume",
            "given with --force",
            "one of the two",
            "--resume keeps finished designs, --force starts again.",
        )
    try:
        existing = _nearest(folder)
        if existing == folder:
            _check_content(folder, names, force, resume)
    except OSError as why:
        raise ScenarioError(
            "--out", repr(str(folder)), "a folder that can be used", f"{why.strerror}."
        ) from None


def _nearest(folder: Path) -> Path:
    """The folder itself or the nearest one above it that exists; refused unless it can be written."""
    existing = folder
    while not existing.exists() and not existing.is_symlink() and existing != existing.parent:
        existing = existing.parent
    if not existing.is_dir():
        raise ScenarioError("--out", repr(str(folder)), "a folder", f"'{existing}' is not a folder.")
    if not os.access(existing, os.W_OK | os.X_OK):
        raise ScenarioError(
            "--out",
            repr(str(folder)),
            "a folder that can be written",
            f"'{existing}' is read-only for you; choose another with --out.",
        )
    return existing


def _check_content(folder: Path, names: tuple[str, ...], force: bool, resume: bool | None) -> None:
    content = os.listdir(folder)
    where, given, unfinished = "--out", repr(str(folder)), FOLDER in content and resume is not None
    blocked = [name for name in names if (folder / name).is_dir()]
    if blocked:
        raise ScenarioError(where, given, f"a folder in which '{blocked[0]}' is not a folder")
    if not content or force or (resume and unfinished):
        return
    if resume:
        raise ScenarioError(
            where,
            given,
            "an empty folder or one with unfinished designs",
            "There is nothing to resume in it; use --force to replace the files pilesim wrote.",
        )
    advice = "It is not empty; use --force to replace the files pilesim wrote (others stay)"
    advice += (
        ", or --resume to go on with its finished designs."
        if unfinished
        else ", or choose another with --out."
    )
    raise ScenarioError(where, given, "an empty or new folder", advice)


@contextmanager
def delivery(folder: Path, names: tuple[str, ...]) -> Iterator[Path]:
    """A temporary folder whose files move into `folder` at the end of the block, or vanish if it fails.

    Of `names`, the files the command may write, those not written this time are removed: a folder never holds
    files of two runs.
    """
    made = _make_parents(folder)
    new = not folder.exists()
    staging = (folder.parent if new else folder) / f".pilesim-{os.getpid()}.tmp"
    try:
        staging.mkdir()
        yield staging
        if new:
            staging.rename(folder)
        else:
            written = sorted(staging.iterdir())
            for path in written:
                path.replace(folder / path.name)
            for name in set(names) - {path.name for path in written}:
                (folder / name).unlink(missing_ok=True)
            staging.rmdir()
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        with suppress(OSError):
            for parent in made:
                parent.rmdir()
        raise


def _make_parents(folder: Path) -> list[Path]:
    """Make the folders above; those that were new, innermost first."""
    missing = [parent for parent in folder.parents if not parent.exists()]
    for parent in reversed(missing):
        parent.mkdir(exist_ok=True)
    return missing
