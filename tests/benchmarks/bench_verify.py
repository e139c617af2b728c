"""How fast a record is verified, beside what hashing and decoding of the same bytes take; interleaved in one run.

read: `read` of a record of the shipped exchange over and over, which checks form, hashes, chain and times. The floors
hash and decode each line and do nothing else: one drops what it decoded at once, one holds it as a replay needs it.
replay: all that `audit verify` does with that record, with the engine judging every act again.

Run it as `python tests/benchmarks/bench_verify.py [acts]`; it fails where read is below 60 % of the floor that holds.
Times are those of the processor for this process, without the collector of cycles, so that neighbours count less.
"""

import gc
import sys
import tempfile
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from statistics import median

import msgspec

sys.path.insert(0, str(Path(__file__).parents[2]))

from runner.core import act as ac
from runner.core.engine import decide
from runner.core.entry import Entry, folded
from runner.core.folding import fold
from runner.core.record import read
from runner.core.replay import replay
from runner.edge.clock import SteppedClock
from tests.benchmarks.bench_resume import AT, arrived, exchange, record
from tests.rig import ready

LEAST = 0.6


def timed(work: Callable[[], object]) -> float:
    gc.collect()
    start = time.process_time()
    work()
    return time.process_time() - start


def typing(told: tuple[Entry, ...], acts: int) -> tuple[Entry, ...]:
    """An honest record of so many acts: the exchange up to a reading, which is typed and taken back ever again."""
    made = list(told[: 1 + next(n for n, one in enumerate(told) if arrived(one, AT))])
    state = folded(made)
    clock = SteppedClock(made[-1].stamp)
    typed = next(one.act for one in told if isinstance(one.act, ac.Enter) and one.line >= len(made))
    while len(made) < acts:
        act = ac.Retype() if len(made) % 2 else typed
        now = clock.now()
        events = decide(ready().procedure, state, act, now, "KS")
        made.append(Entry(len(made), now, "KS", act, events))
        state = fold(state, made[-1].line, now, "KS", act, events)
    return tuple(made)


def bench_read(data: bytes) -> float:
    """The share of the floor that holds what it decoded."""

    def dropped() -> None:
        for line in data.split(b"\n")[:-1]:
            sha256(line).digest()
            msgspec.json.decode(line)

    def held() -> list[object]:
        return [(sha256(line).digest(), msgspec.json.decode(line)) for line in data.split(b"\n")[:-1]]

    works: dict[str, Callable[[], object]] = {"read": lambda: read(data), "dropped": dropped, "held": held}
    times: dict[str, list[float]] = {name: [] for name in works}
    gc.disable()
    for _ in range(9):
        for name, work in works.items():
            times[name].append(timed(work))
    gc.enable()
    count = data.count(b"\n")
    ours, bare, kept = (count / median(times[name]) for name in ("read", "dropped", "held"))
    print(f"read    {ours:9,.0f} lines/s of {len(data) // count} bytes")
    print(f"        hash + decode, dropped at once  {bare:9,.0f} lines/s  read is {ours / bare:.0%} of it")
    print(f"        hash + decode, held for replay  {kept:9,.0f} lines/s  read is {ours / kept:.0%} of it")
    return ours / kept


def bench_replay(told: tuple[Entry, ...]) -> None:
    """Every act judged again."""
    seconds = timed(lambda: replay(ready().procedure, told))
    assert replay(ready().procedure, told[:1_000]) is None
    print(f"replay  {len(told):,} acts judged again in {seconds:.2f} s: {len(told) / seconds:,.0f} acts/s")


def main(acts: int) -> int:
    with tempfile.TemporaryDirectory() as folder:
        told = exchange(Path(folder))
        data = record(Path(folder), told, acts).read_bytes()
    share = bench_read(data)
    bench_replay(typing(told, acts))
    return 0 if share >= LEAST else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000))
