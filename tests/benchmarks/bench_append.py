"""One act appended and synced by the journal, against a bare write and sync of the same bytes, interleaved in one run.

Run it as `python tests/benchmarks/bench_append.py [acts]`.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from runner.core.record import Head, seal
from runner.edge.clock import SteppedClock, SystemClock
from runner.edge.journal import Journal, NotRecorded


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def lines(count: int) -> list[bytes]:
    head, clock, made = Head(), SteppedClock(), []
    for n in range(count):
        act = {"do": "answer", "gate": f"corner-{n % 4}", "value": "25.0 N.m"}
        events = [{"is": "answered", "gate": f"corner-{n % 4}"}, {"is": "arrived", "step": "torque"}]
        made.append(seal(head, clock.now(), "AB", act, events))
        head = head.after(made[-1])
    return made


def bench_append(count: int) -> None:
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:
        folder = Path(name)
        journal = Journal.create(folder, "bench", by="AB", since=SystemClock().now().at)
        if not isinstance(journal, Journal):
            raise NotRecorded("a new record is held", "remove its folder")
        bare = os.open(folder / "bare", os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)

        def bare_append(line: bytes) -> None:
            os.write(bare, line)
            os.fsync(bare)

        ours, theirs = [], []
        with journal:
            for line in lines(count):
                theirs.append(timed(lambda line=line: bare_append(line)))  # type: ignore[misc]
                ours.append(timed(lambda line=line: journal.append(line)))  # type: ignore[misc]
        os.close(bare)
    for name, at in (("median", 0.5), ("p99", 0.99)):
        a, b = (sorted(times)[int(count * at)] for times in (ours, theirs))
        print(f"append {name:6}  journal {a * 1e6:6.0f} us  write + fsync {b * 1e6:6.0f} us  ratio {a / b:.2f}")


if __name__ == "__main__":
    bench_append(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000)
