"""How fast procedures are proven, how that grows, and beside it general tools on one property; prints ratios.

all checks: `verify` on synthetic procedures of 100 to 100,000 steps, 64 conditions and 4 levels, the garbage collector
    off as in `witnessmark check`; each size in a process of its own, median of the runs; memory beyond what the
    procedure itself takes.
one property: "no path reaches these steps without that gate", on the same graphs, for a gate that holds and for one
    that does not: the checker's own pass with one field, two graph libraries (dominators), an answer set solver, a
    fixpoint engine, a model checker. Building the tool's own graph counts, starting the process and imports do not.
whole command: `witnessmark check` of a procedure of 40 kB and its vocabulary, start included.

Seconds are those that cores were busy, so that others on the machine do not count; the command also by the clock.

Run it as `python tests/benchmarks/bench_check.py [--most STEPS] [--limit SECONDS]`; the tools come with
`pip install -e '.[bench]'` and Debian's packages spin and gcc.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))

from runner.verify import Checked, verify
from runner.verify.expand import Expanded, expand
from tests.benchmarks import synthetic
from tests.benchmarks.dominance import TOOLS, asked, installed
from tests.benchmarks.measure import busy_s, forget_peak, peak_mib, resident_mib

ROOT = Path(__file__).parents[2]
SIZES = (100, 1_000, 10_000, 100_000)
COMMAND_BYTES = 40_000


def proven(steps: int) -> dict[str, float]:
    """All checks on so many steps, in this process."""
    procedure = synthetic.procedure(steps)
    gc.collect()
    gc.disable()
    before = resident_mib()
    forget_peak()
    seconds = []
    for _ in range(1 if steps > 20_000 else 3):
        start = busy_s()
        checked = verify(procedure)
        seconds.append(busy_s() - start)
        if not isinstance(checked, Checked):
            raise ValueError(f"{steps} steps: {checked[0]}")
        if len(seconds) == 1:
            peak = peak_mib() - before
        points = checked.case.expanded.points
        claims = sum(len(checked.claims[id(p.station)]) for p in points)
        checked = None
    return {
        "steps": len(procedure.body.nodes),
        "points": len(points),
        "claims": claims,
        "seconds": median(seconds),
        "mib": peak,
    }


def all_checks(sizes: tuple[int, ...]) -> None:
    """One line a size, with what a decade multiplies."""
    head = ("steps", "points", "claims", "seconds", "growth", "us/step", "us/claim", "MiB", "growth")
    print("all checks\n" + " ".join(f"{word:>9}" for word in head))
    last: dict[str, float] = {}
    for steps in sizes:
        words = [sys.executable, __file__, "--one", str(steps)]
        now: dict[str, float] = json.loads(subprocess.run(words, capture_output=True, text=True, check=True).stdout)
        grown = [f"{now[k] / last[k]:.1f}" if last.get(k) else "" for k in ("seconds", "mib")]
        each = [f"{1e6 * now['seconds'] / now[k]:.1f}" for k in ("steps", "claims")]
        counts = [f"{now[k]:,}" for k in ("steps", "points", "claims")]
        line = (*counts, f"{now['seconds']:.4f}", grown[0], *each, f"{now['mib']:.1f}", grown[1])
        print(" ".join(f"{word:>9}" for word in line))
        last = now
    print()


def one_property(sizes: tuple[int, ...], limit: float) -> None:
    """Every tool on every size, and how many times as long as the checker's own pass it takes."""
    print(f"one property: gate before step (limit {limit:.0f} s each)")
    print(f"{'steps':>8}  {'tool':<10} {'seconds':>10} {'times own':>10} {'MiB':>8}  answers")
    with tempfile.TemporaryDirectory() as folder:
        for steps in sizes:
            graphs = _graphs(steps, Path(folder))
            base = 0.0
            for tool in TOOLS:
                if not installed(tool):
                    print(f"{steps:>8,}  {tool:<10} not installed")
                    continue
                told = [asked(tool, graph, limit) for graph, _ in graphs]
                if failed := next((t["failed"] for t in told if "failed" in t), None):
                    print(f"{steps:>8,}  {tool:<10} {failed}")
                    continue
                seconds = sum(t["seconds"] for t in told) / len(told)
                base = base or seconds
                right = all(t["holds"] == holds for t, (_, holds) in zip(told, graphs, strict=True))
                memory = max(t["mib"] for t in told)
                print(
                    f"{steps:>8,}  {tool:<10} {seconds:>10.4f} {seconds / base:>10.1f} {memory:>8.0f}"
                    f"  {'as expected' if right else 'DIFFERENT'}"
                )
    print()


def _graphs(steps: int, folder: Path) -> list[tuple[Path, bool]]:
    """The flat graph with a gate that all ways pass, and with one that a way goes round."""
    expanded = expand(synthetic.procedure(steps))
    if not isinstance(expanded, Expanded):
        raise ValueError(expanded)
    guarded = [at for path, ats in expanded.at.items() if path.startswith("h-") for at in ats]
    made = []
    for gate, holds in (("e-0", True), ("c-0", False)):
        file = folder / f"{steps}-{gate}.json"
        to = [list(dict.fromkeys(p.targets)) for p in expanded.points]
        file.write_text(json.dumps([to, expanded.at[gate][0], guarded]), encoding="utf-8")
        made.append((file, holds))
    return made


def whole_command() -> None:
    """The command as a person starts it."""
    sections = 1
    while len(synthetic.text(sections)) < COMMAND_BYTES:
        sections += 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "vocabulary.yaml").write_bytes(synthetic.vocabulary())
        (folder / "bench.yaml").write_bytes(synthetic.text(sections))
        size = (folder / "bench.yaml").stat().st_size, (folder / "vocabulary.yaml").stat().st_size
        print(f"whole command: {size[0]:,} bytes and a vocabulary of {size[1]:,}, {sections * synthetic.SECTION} steps")
        check = [sys.executable, "-m", "runner", "check", str(folder / "bench.yaml")]
        home = folder / "home"
        empty = _took([sys.executable, "-c", "pass"], home, lambda: None)[0]

        def touched() -> None:
            with (folder / "bench.yaml").open("ab") as file:
                file.write(b"# looked at\n")

        before = {
            "nothing kept": lambda: shutil.rmtree(home, ignore_errors=True),
            "procedure changed": touched,
            "nothing changed": lambda: None,
        }
        for what, prepare in before.items():
            busy, clock = _took(check, home, prepare)
            print(
                f"  check, {what:<18} {busy:7.3f} s ({busy / empty:4.1f} empty starts of Python), clock {clock:.3f} s"
            )
    print()


def _took(words: list[str], home: Path, prepare: Callable[[], None], runs: int = 7) -> tuple[float, float]:
    """Medians of several starts, busy and by the clock; the first is not counted."""
    busy, clock = [], []
    for _ in range(runs + 1):
        prepare()
        began, start = busy_s(), time.perf_counter()
        environment = {**os.environ, "WITNESSMARK_HOME": str(home)}
        subprocess.run(words, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=True)
        busy.append(busy_s() - began)
        clock.append(time.perf_counter() - start)
    return median(busy[1:]), median(clock[1:])


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--most", type=int, default=SIZES[-1], metavar="STEPS")
    parser.add_argument("--limit", type=float, default=60.0, metavar="SECONDS")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one is not None:
        print(json.dumps(proven(options.one)))
        return
    sizes = tuple(n for n in SIZES if n <= options.most)
    whole_command()
    all_checks(sizes)
    one_property(sizes, options.limit)


if __name__ == "__main__":
    main()
