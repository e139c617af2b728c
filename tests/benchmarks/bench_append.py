"""How close the record stays to what the machine can do; prints ratios, measured interleaved in one run.

append: one act appended and synced by the journal, against a bare write and sync of the same bytes.
verify: `read` of a whole record, against SHA-256 and a JSON decode of the same stored lines.

Run it as `python tests/benchmarks/bench_append.py [acts] [lines]`.
"""

import gc
import os
import sys
import tempfile
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from statistics import median

import msgspec

sys.path.insert(0, str(Path(__file__).parents[2]))

from runner.core.record import Head, clock_faults, read, seal
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


def bench_verify(count: int) -> None:
    data = b"".join(lines(count))

    def floor() -> None:
        for line in data.split(b"\n")[:-1]:
            sha256(line).digest()
            msgspec.json.decode(line)

    def kept() -> list[object]:
        return [(sha256(line).digest(), msgspec.json.decode(line)) for line in data.split(b"\n")[:-1]]

    works: dict[str, Callable[[], object]] = {
        "read": lambda: read(data), "both": lambda: clock_faults(read(data).lines), "floor": floor, "kept": kept,
    }  # fmt: skip
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(7):
        for name, work in works.items():
            gc.collect()
            times[name].append(timed(work))
    ours, both, bare, held = (count / median(times[name]) for name in ("read", "both", "floor", "kept"))
    print(f"verify  read {ours:9,.0f} lines/s of {len(data) // count} bytes")
    print(f"        read and clock warnings        {both:9,.0f} lines/s")
    print(f"        hash + decode, dropped at once {bare:9,.0f} lines/s  read is {ours / bare:.0%} of it")
    print(f"        hash + decode, all kept        {held:9,.0f} lines/s  read is {ours / held:.0%} of it")


if __name__ == "__main__":
    sizes = [int(size) for size in sys.argv[1:]]
    bench_append(sizes[0] if sizes else 1_000)
    bench_verify(sizes[1] if len(sizes) > 1 else 50_000)
