"""Plant each fault of `faults.py` in a clean copy of the repository and see that the tests catch it.

    python tests/mutation/run.py                      all faults, about a minute each
    python tests/mutation/run.py --only NAME ...      these faults
    python tests/mutation/run.py --named              the tests named only; what they let pass is called missed
    python tests/mutation/run.py --list               names and what each breaks
    python tests/mutation/run.py --check              only: does each old text stand exactly once in its file

Run from a checkout; what is tested is what is committed (`git archive HEAD`). Each fault gets its own copy and an empty
compilation cache, so no machine code of sound physics can answer for it. The tests that should catch it run first; only
if they pass does the rest of tests/unit, tests/verification and tests/validation run before it is called survived. A
fault counts as caught when a test fails on a value; if the faulty text cannot be run or compiled, it is called broken, for
then the tests have shown nothing. With `--record` the outcome is written to `results.json` beside this file.

Exit code: 0 if all were caught, 1 if not, 2 if a fault or the sound copy is not fit to be tested.
"""

from __future__ import annotations

import argparse
import datetime
import io
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from xml.etree import ElementTree

from faults import FAULTS, Fault

ROOT = Path(__file__).resolve().parents[2]
RESULTS = Path(__file__).with_name("results.json")
WHOLE = ("tests/unit", "tests/verification", "tests/validation")
EXPECTED_LIMIT, WHOLE_LIMIT = 1200.0, 5400.0  # s: a test that hangs is stopped, and proves nothing
# what a text that is no sound program ends in: it must not pass for a test that saw a wrong value
NOT_A_PROGRAM = ("SyntaxError", "IndentationError", "NameError", "ImportError", "ModuleNotFoundError", "TypingError",
                 "LoweringError", "UnsupportedError", "UnsupportedBytecodeError", "AttributeError", "TypeError")


class NotFit(Exception):
    """A fault or a copy that cannot be tested; the message says why."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one fault."""

    name: str
    verdict: str  # caught, survived, missed (by the tests named, others not run), broken
    by: str  # test that failed
    said: str  # first line of its failure
    seconds: float
    commit: str
    date: str
    machine: str


@dataclass(frozen=True, slots=True)
class Ran:
    """One call of pytest: its exit code, and the first test that failed with what it said."""

    code: int
    test: str
    said: str


def git(*words: str) -> bytes:
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True)
    if done.returncode:
        raise NotFit(f"git {' '.join(words)}: {done.stderr.decode().strip()}")
    return done.stdout


def export(folder: Path) -> None:
    """Files of HEAD, nothing else."""
    folder.mkdir(parents=True)
    with tarfile.open(fileobj=io.BytesIO(git("archive", "--format=tar", "HEAD"))) as archive:
        archive.extractall(folder, filter="data")


def faulty_texts(fault: Fault, folder: Path) -> dict[Path, str]:
    """Contents of the changed files; refuses a text that does not stand there exactly once."""
    texts: dict[Path, str] = {}
    for edit in fault.edits:
        path = folder / edit.file
        if not path.is_file():
            raise NotFit(f"{fault.name}: there is no file {edit.file}; mend the fault in tests/mutation/faults.py")
        text = texts.get(path, path.read_text(encoding="utf-8"))
        found = text.count(edit.old)
        if found != 1:
            raise NotFit(f"{fault.name}: {edit.file} holds the text\n    {edit.old!r}\n{found} times, expected once: the "
                         "source has moved on; mend the fault in tests/mutation/faults.py")
        texts[path] = text.replace(edit.old, edit.new)
    return texts


def check_tests(fault: Fault, folder: Path) -> None:
    for test in fault.tests:
        if not (folder / test.split("::")[0]).is_file():
            raise NotFit(f"{fault.name}: there is no test file {test.split('::')[0]}")


def run_tests(copy: Path, tests: Sequence[str], cache: Path, limit: float) -> Ran:
    """Run pytest in `copy` until the first failure, its compilation cache in `cache`."""
    cache.mkdir(parents=True, exist_ok=True)
    report = cache / "report.xml"
    report.unlink(missing_ok=True)
    # the package names its own cache below XDG_CACHE_HOME and sets NUMBA_CACHE_DIR from it; both lead to the empty folder
    environment = {**os.environ, "PYTHONPATH": str(copy), "XDG_CACHE_HOME": str(cache), "NUMBA_CACHE_DIR": str(cache),
                   "PYTHONDONTWRITEBYTECODE": "1", "MPLCONFIGDIR": str(copy.parent / "matplotlib")}
    command = [sys.executable, "-m", "pytest", "-n0", "-x", "--tb=short", "-p", "no:cacheprovider",
               f"--junit-xml={report}", *tests]
    try:
        done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, timeout=limit)
    except subprocess.TimeoutExpired:
        return Ran(-1, "", f"no end within {limit:.0f} s")
    test, said = first_failure(report)
    if done.returncode not in (0, 1) and not said:
        said = " ".join((done.stdout + done.stderr).strip().splitlines()[-3:])
    return Ran(done.returncode, test, said)


def first_failure(report: Path) -> tuple[str, str]:
    if not report.is_file():
        return "", ""
    for case in ElementTree.parse(report).iter("testcase"):
        for kind in ("failure", "error"):
            found = case.find(kind)
            if found is not None:
                where = case.get("classname", "").replace(".", "/")
                where = f"{where}.py::" if where else ""
                return where + case.get("name", ""), " ".join(found.get("message", "").split())[:300]
    return "", ""


def try_fault(fault: Fault, sound: Path, work: Path, stamp: tuple[str, str, str], further: bool) -> Outcome:
    copy, cache = work / "copy", work / "cache"
    for folder in (copy, cache):
        shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(sound, copy)
    for path, text in faulty_texts(fault, copy).items():
        path.write_text(text, encoding="utf-8")
    start = time.perf_counter()
    ran = run_tests(copy, fault.tests, cache, EXPECTED_LIMIT)
    if ran.code == 0 and further:
        print(f"    {fault.name}: not seen by the tests named; trying all others")
        ran = run_tests(copy, WHOLE, cache, WHOLE_LIMIT)
        if ran.code == 1 and run_tests(sound, [ran.test], work / "cache-sound", EXPECTED_LIMIT).code != 0:
            raise NotFit(f"{ran.test} fails without a fault: {ran.said}")
    missed = "survived" if further else "missed"
    verdict = missed if ran.code == 0 else "caught" if ran.code == 1 else "broken"
    if verdict == "caught" and re.match(rf"(\w+\.)*({'|'.join(NOT_A_PROGRAM)})\b|Failed in nopython", ran.said):
        verdict = "broken"
    return Outcome(fault.name, verdict, ran.test, ran.said, round(time.perf_counter() - start, 1), *stamp)


def machine() -> str:
    import numba

    return (f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
            f"numba {numba.__version__}")


def record(outcomes: Sequence[Outcome]) -> None:
    """Merge into the results file, in the order of the list; faults no longer in the list are dropped."""
    kept = {entry["name"]: entry for entry in json.loads(RESULTS.read_text())} if RESULTS.exists() else {}
    kept |= {outcome.name: asdict(outcome) for outcome in outcomes}
    rows = [kept[fault.name] for fault in FAULTS if fault.name in kept]
    text = json.dumps(rows, indent=1, ensure_ascii=False) + "\n"
    part = RESULTS.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    part.replace(RESULTS)


def chosen(names: Sequence[str]) -> list[Fault]:
    known = {fault.name: fault for fault in FAULTS}
    unknown = [name for name in names if name not in known]
    if unknown:
        raise NotFit(f"--only {unknown[0]}: no such fault; --list names them all")
    return [known[name] for name in names] if names else list(FAULTS)


def check_sound(sound: Path, work: Path, faults: Sequence[Fault]) -> None:
    """The tests named must pass where there is no fault."""
    tests = list(dict.fromkeys(test for fault in faults for test in fault.tests))
    start = time.perf_counter()
    print(f"without a fault: {len(tests)} tests and files named", flush=True)
    ran = run_tests(sound, tests, work / "cache-sound", WHOLE_LIMIT)
    if ran.code != 0:
        raise NotFit(f"the sound copy fails {ran.test or 'to run'}: {ran.said}")
    print(f"    pass, {time.perf_counter() - start:.0f} s", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description="Plant faults and see that the tests catch them.")
    parser.add_argument("--only", nargs="+", default=[], metavar="NAME", help="these faults")
    parser.add_argument("--named", action="store_true", help="run only the tests named, not all others after them")
    parser.add_argument("--list", action="store_true", help="name the faults and stop")
    parser.add_argument("--check", action="store_true", help="look for the old texts and stop")
    parser.add_argument("--record", action="store_true", help=f"write the outcome to {RESULTS.name}")
    choice = parser.parse_args()
    faults = chosen(choice.only)
    if choice.list:
        for fault in faults:
            print(f"{fault.name:32} {fault.breaks}")
        return 0
    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        work = Path(name)
        sound = work / "sound"
        export(sound)
        moved = []
        for fault in faults:
            try:
                faulty_texts(fault, sound)
                check_tests(fault, sound)
            except NotFit as why:
                moved.append(str(why))
        if moved:
            raise NotFit("\n".join(moved))
        if choice.check:
            print(f"{len(faults)} faults: each old text stands once")
            return 0
        if git("status", "--porcelain", "--", "pilesim", "tests", "scenarios", ":!tests/mutation"):
            print("note: what is not committed is not tested")
        check_sound(sound, work, faults)
        stamp = (git("rev-parse", "--short", "HEAD").decode().strip(),
                 datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%d"), machine())
        outcomes = []
        for fault in faults:
            outcome = try_fault(fault, sound, work, stamp, not choice.named)
            outcomes.append(outcome)
            print(f"{outcome.verdict:9}{outcome.name:32} {outcome.seconds:6.0f} s  {outcome.by or outcome.said}", flush=True)
            if choice.record:
                record([outcome])
    print()
    print(f"{'fault':32} {'seconds':>8}  caught by")
    for outcome in outcomes:
        by = outcome.by if outcome.verdict == "caught" else outcome.verdict.upper()
        print(f"{outcome.name:32} {outcome.seconds:8.1f}  {by}")
    caught = sum(outcome.verdict == "caught" for outcome in outcomes)
    print(f"{caught} of {len(outcomes)} caught")
    return 0 if caught == len(outcomes) else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except NotFit as why:
        print(why, file=sys.stderr)
        sys.exit(2)
