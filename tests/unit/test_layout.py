"""How the package is laid out: imports point one way, modules stay small, libraries keep to their door.

Plain Python, so that it also runs without pytest: ``python tests/unit/test_layout.py``.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "pilesim"
ROWS = (
    ("base",),
    ("inputs",),
    ("matter",),
    ("section",),
    ("balances",),
    ("build",),
    ("model",),
    ("solver",),
    ("result",),
    ("assess",),
    ("estimate",),
    ("study",),
    ("verify",),
    ("show",),
    ("cli",),
    ("__init__", "__main__"),
)
RANK = {name: number for number, row in enumerate(ROWS) for name in row}
OUTER = {  # library: the only modules that may import it
    "pint": {"base/units.py"},
    "numba": {"base/compiled.py"},
    "typer": {"cli/options.py", "cli/commands.py", "cli/estimating.py", "cli/judging.py", "cli/materials.py",
              "cli/turning.py", "cli/winter.py", "cli/main.py"},
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "pilesim", "scenarios", "tests", "figures"}
LONGEST_MODULE = 400
LONGEST_FUNCTION = 60
KERNELS = {"solver"}  # where splitting hurts speed, a function may be longer


def sources() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def row_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imported(tree: ast.AST) -> Iterator[str]:
    """Dotted names a module imports anywhere in it, also inside functions."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the row"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def uphill(path: Path, text: str) -> list[str]:
    """Names of pilesim that `path` imports from a row below its own."""
    names = [name.split(".")[1] for name in imported(ast.parse(text)) if name.startswith("pilesim.")]
    own = RANK[row_of(path)]
    return sorted({name for name in names if RANK.get(name, -1) > own})


def test_every_module_has_a_row():
    """A new folder needs a place in the order of rows. Planted: a folder `extra` in the package."""
    strange = {row_of(path) for path in sources()} - set(RANK)
    assert not strange, f"no row for {sorted(strange)}; add it to ROWS and to the developers' page"


def test_imports_point_one_way():
    """Planted: `from pilesim.cli import main` in base/errors.py, also inside a function."""
    wrong = {str(path.relative_to(ROOT)): up for path in sources() if (up := uphill(path, path.read_text()))}
    assert not wrong, f"imports from a row below: {wrong}"


def test_the_import_check_sees_lazy_and_from_imports():
    """The check itself: an import that points the wrong way is found wherever it stands."""
    here = PACKAGE / "matter" / "bed.py"
    for text in (
        "import pilesim.cli",
        "from pilesim import cli",
        "from pilesim.study.compare import compare",
        "def f():\n    from pilesim.solver import run",
    ):
        assert uphill(here, text), text
    assert not uphill(here, "import pilesim\nfrom pilesim.base.errors import one_line")


def test_libraries_stay_behind_their_door():
    """Units meet pint, and machine code meets numba, in one module each. Planted: `import pint` in cli/commands.py."""
    wrong = []
    for path in sources():
        name = path.relative_to(PACKAGE).as_posix()
        for library in {full.split(".")[0] for full in imported(ast.parse(path.read_text()))}:
            if name not in OUTER.get(library, {name}):
                wrong.append(f"{name} imports {library}")
    assert not wrong, wrong


def test_modules_stay_small():
    """Aim 300 lines; beyond 400 a module is two. Planted: a module of 401 lines."""
    long = {
        str(path.relative_to(ROOT)): lines
        for path in sources()
        if (lines := line_count(path)) > LONGEST_MODULE
    }
    assert not long, f"modules over {LONGEST_MODULE} lines: {long}"


def line_count(path: Path) -> int:
    return len(path.read_text().splitlines())


def long_functions() -> list[str]:
    """Functions over the limit, kernels left out: to look at, not to refuse."""
    found = []
    for path in sources():
        if row_of(path) in KERNELS:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef):
                size = node.end_lineno - node.lineno + 1 - len((ast.get_docstring(node) or "").splitlines())
                if size > LONGEST_FUNCTION:
                    found.append(
                        f"{path.relative_to(ROOT)}: {node.name} has {size} lines without its docstring"
                    )
    return found


def test_top_level_is_the_agreed_one():
    """In a checkout only. Planted: a tracked file `notes.txt` beside README.md."""
    if not (ROOT / ".git").exists():
        return
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    entries = {line.split("/")[0] for line in listing.splitlines()}
    strange = {entry for entry in entries if not entry.startswith(".")} - TOP_LEVEL
    assert not strange, f"top-level entries that are not agreed: {sorted(strange)}"


def test_import_is_light():
    """`import pilesim` and the public error class load no heavy library. Planted: `import numba` there."""
    code = (
        "import sys, pilesim; pilesim.ScenarioError; pilesim.__version__;"
        "print([m for m in ('numba', 'xarray', 'pint', 'matplotlib', 'scipy', 'rich') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]", out.stdout


if __name__ == "__main__":
    for check in [value for name, value in list(globals().items()) if name.startswith("test_")]:
        check()
        print(f"ok {check.__name__}")
    print("\n".join(["functions to look at:", *long_functions()]))
