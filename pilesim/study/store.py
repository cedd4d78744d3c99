"""Finished members of a study on disk, so that an interrupted study goes on where it stopped.

A folder holds ``manifest.json`` (what is being studied) and one JSON file for each finished member, by index.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pilesim.base.errors import ScenarioError
from pilesim.result import write_text

FOLDER = ".parts"
_MANIFEST = "manifest.json"


def open_store(folder: Path, manifest: dict[str, Any]) -> dict[int, dict[str, Any]]:
    """The members finished so far, by index; a new folder gets the manifest and holds none.

    Parameters
    ----------
    folder : Path
        Created if it does not exist.
    manifest : dict
        What is being studied; plain JSON data.

    Raises
    ------
    ScenarioError
        If the folder belongs to another study; the message names what differs.
    """
    path = folder / _MANIFEST
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        write_text(json.dumps(manifest, indent=1), path)
        return {}
    stored = _read(path)
    if stored is None:
        raise ScenarioError(
            str(path), "", "a readable list of what is being studied", "Start again with --force."
        )
    differs = [key for key in manifest if stored.get(key) != json.loads(json.dumps(manifest[key]))]
    if differs:
        names = " and ".join("--vary" if key == "vary" else key for key in differs)
        raise ScenarioError(
            str(folder),
            "",
            "the same scenario, version and --vary as in the interrupted study",
            f"What differs: {names}. Repeat the first command, choose another --out, or start again "
            "with --force.",
        )
    parts = {int(part.stem): _read(part) for part in folder.glob("*.json") if part.stem.isdigit()}
    return {index: part for index, part in sorted(parts.items()) if part is not None}


def save_member(folder: Path, index: int, member: dict[str, Any]) -> None:
    """Keep one finished member; the file appears complete or not at all."""
    write_text(json.dumps(member), folder / f"{index:06d}.json")


def count_members(folder: Path) -> int:
    """Number of finished members in the folder."""
    return sum(part.stem.isdigit() for part in folder.glob("*.json"))


def remove_store(folder: Path) -> None:
    """Delete the files of a study and its folder if nothing else is in it."""
    for part in folder.glob("*.json"):
        part.unlink()
    for part in folder.glob(".*.json.*.tmp"):  # left by a kill in the middle of a write
        part.unlink()
    folder.rmdir()


def _read(path: Path) -> dict[str, Any] | None:
    """The content of a JSON file, or None if it is not a JSON object."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return None
    return content if isinstance(content, dict) else None
