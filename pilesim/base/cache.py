"""The folder in which machine code and parsed units are kept from run to run.

It is named by a hash of all package sources: numba does not notice an edit of a compiled helper in another file and would
run the old physics. Without a writable home it falls back to a temporary one.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]


def source_hash() -> str:
    """Short hash of every Python source of the package."""
    digest = hashlib.sha256()
    for path in sorted(_PACKAGE.rglob("*.py")):
        digest.update(str(path.relative_to(_PACKAGE)).encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder):
            return True
    except OSError:
        return False


@cache
def cache_folder() -> Path:
    """The folder, made if it is not there."""
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    # numba keeps a copy for each place that the sources lie in: so does the mark that all kernels are there
    name = f"{source_hash()}-{hashlib.sha256(str(_PACKAGE).encode()).hexdigest()[:8]}"
    user = getattr(os, "getuid", lambda: "user")()
    for base in (Path(home) / "pilesim", Path(tempfile.gettempdir()) / f"pilesim-{user}"):
        if _writable(base / name):
            return base / name
    return Path(tempfile.mkdtemp(prefix="pilesim-"))
