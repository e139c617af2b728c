"""Break one promise at a time and see that the tests notice: ``python tests/sabotage/run.py [--only N] [--list]``.

Each entry of the ``*.toml`` files beside this one is a small patch and the test that must then fail. The tree is
copied once for each worker; one patch is applied, its test is run, and the file is put back. Before that every named
test must pass on the copy as it is, or nothing is proven by its failing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
COPIED = ("runner", "tests", "procedures", "schemas", "pyproject.toml", "README.md")
LEFT_OUT = shutil.ignore_patterns("__pycache__", ".*", "shots", "sabotage")
WORKERS = 2
LONGEST_S = 120
"""A test that a broken promise keeps from ending has noticed it."""
FAILED = 1
"""The exit status of pytest where a test failed; any other is a trouble of the run itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sabotage:
    """One promise, the patch that breaks it, and the test that must then fail."""

    number: int
    promise: str
    file: str
    old: str
    new: str
    test: str


def listed() -> tuple[Sabotage, ...]:
    """Every entry of the lists, numbered from 1 in the order of the files."""
    found = [one for path in sorted(HERE.glob("*.toml")) for one in tomllib.loads(path.read_text("utf-8"))["sabotage"]]
    return tuple(Sabotage(number=n, **one) for n, one in enumerate(found, 1))


def copy(into: Path) -> Path:
    """A copy of the tree in which patches may be applied."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, into / name, ignore=LEFT_OUT)
        elif source.exists():
            shutil.copy2(source, into / name)
    return into


def tested(tree: Path, *tests: str, longest_s: float | None) -> tuple[int, str]:
    """The exit status of pytest on these tests, and the end of what it said."""
    environment = os.environ | {"PYTHONPATH": str(tree), "WITNESSMARK_ACTS": os.environ.get("WITNESSMARK_ACTS", "9000")}
    command = [sys.executable, "-m", "pytest", "-q", "-x", "--tb=line", "-p", "no:cacheprovider", *tests]
    try:
        done = subprocess.run(
            command, cwd=tree, env=environment, capture_output=True, text=True, timeout=longest_s, check=False
        )
    except subprocess.TimeoutExpired:
        return FAILED, f"not over after {longest_s} s"
    return done.returncode, "\n".join((done.stdout + done.stderr).strip().splitlines()[-4:])


def tried(one: Sabotage, tree: Path) -> str | None:
    """What is wrong with this entry; None where its test failed as it must."""
    path = tree / one.file
    whole = path.read_text("utf-8") if path.exists() else ""
    if whole.count(one.old) != 1:
        return f"{one.file} holds the old text {whole.count(one.old)} times, expected once: bring the entry up to date"
    try:
        path.write_text(whole.replace(one.old, one.new), "utf-8")
        # A kept byte code is told apart by the second and the size: neither may repeat.
        os.utime(path, (one.number * 10, one.number * 10))
        status, said = tested(tree, one.test, longest_s=LONGEST_S)
    finally:
        path.write_text(whole, "utf-8")
    if status == FAILED:
        return None
    return "nobody noticed" if status == 0 else f"pytest could not run it (status {status}):\n{said}"


def main() -> int:
    """Try all entries, or one; 0 where every broken promise was noticed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--only", type=int, metavar="N", help="try entry N alone")
    parser.add_argument("--list", action="store_true", help="show the promises and stop")
    given = parser.parse_args()
    every = [one for one in listed() if given.only in (None, one.number)]
    if given.list:
        print("\n".join(f"{one.number:3} {one.promise}" for one in every))
        return 0
    if not every:
        print(f"there is no entry {given.only}")
        return 2
    with tempfile.TemporaryDirectory(prefix="sabotage-") as folder:
        trees: SimpleQueue[Path] = SimpleQueue()
        for n in range(min(WORKERS, len(every))):
            (Path(folder) / str(n)).mkdir()
            trees.put(copy(Path(folder) / str(n)))

        def whole(tests: list[str]) -> tuple[int, str]:
            tree = trees.get()
            try:
                return tested(tree, *tests, longest_s=None) if tests else (0, "")
            finally:
                trees.put(tree)

        names = list(dict.fromkeys(one.test for one in every))
        with ThreadPoolExecutor(WORKERS) as pool:
            for status, said in pool.map(whole, (names[n::WORKERS] for n in range(WORKERS))):
                if status != 0:
                    print(f"a test fails before anything was broken:\n{said}")
                    return 2

        def one_of(one: Sabotage) -> bool:
            tree = trees.get()
            try:
                wrong = tried(one, tree)
            finally:
                trees.put(tree)
            print(f"{one.number:3} {'noticed' if wrong is None else 'NOT NOTICED'}: {one.promise}", flush=True)
            if wrong is not None:
                print(f"    {one.file}, {one.test}: {wrong}", flush=True)
            return wrong is None

        with ThreadPoolExecutor(WORKERS) as pool:
            noticed = list(pool.map(one_of, every))
    print(f"{sum(noticed)} of {len(noticed)} broken promises were noticed")
    return 0 if all(noticed) else 1


if __name__ == "__main__":
    sys.exit(main())
