"""A run of 20,000 acts: how long until it goes on, and whether a key is as fast then as at the beginning.

``python tests/benchmarks/bench_resume.py [acts] [keys]`` prints both beside what the machine can do, measured in one
run, and fails where resuming takes more than a second or a key more than 1.5 times that of a run of one exchange.

The long record is the shipped exchange over and over, sealed anew: every kind of line in the mix of the work.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from hashlib import sha256
from pathlib import Path
from statistics import median

import msgspec

sys.path.insert(0, str(Path(__file__).parents[2]))

from runner.core import act as ac
from runner.core.desk import press
from runner.core.engine import decide
from runner.core.entry import Entry, entries
from runner.core.folding import fold
from runner.core.line import Head, seal
from runner.core.panel import Panel
from runner.core.record import read
from runner.core.stage import stage
from runner.core.stamp import SECOND
from runner.core.state import State
from runner.edge.clock import SteppedClock
from runner.edge.garage import run_of, runs
from runner.edge.job import Job
from runner.edge.journal import Journal
from tests.rig import Hands, begin, job_on, ready

MOST_S = 1.0
MOST_RATIO = 1.5
AT = "in-hand"
"""The step at which both runs go on: a value is typed, read back and typed again."""
KEYS = ("1", "0", "enter", "-")


def exchange(folder: Path) -> tuple[Entry, ...]:
    clock = SteppedClock()
    job, journal = begin(folder, clock, "exchange")
    with journal:
        Hands(clock, {}, {}).go_on(job)
    return entries(read(journal.path.read_bytes()).lines)


def record(folder: Path, told: tuple[Entry, ...], acts: int) -> Path:
    """A record of about so many acts that was put on hold at the step."""
    there = next(n for n, one in enumerate(told) if one.act == ac.Done() and arrived(one, AT)) + 1
    clock, head, state, lines = SteppedClock(), Head(), State(), list[bytes]()

    def put(act: ac.AnyAct, events: tuple[object, ...]) -> None:
        nonlocal head, state
        now = clock.now()
        lines.append(seal(head, now, "KS", act, events))
        state = fold(state, head.n, now, "KS", act, events)  # type: ignore[arg-type]
        head = head.after(lines[-1])

    for one in told[:2]:
        put(one.act, one.events)
    while len(lines) < acts - len(told):
        for one in told[2:-1]:
            put(one.act, one.events)
    for one in told[2:there]:
        put(one.act, one.events)
    put(ac.Hold(), decide(ready().procedure, state, ac.Hold(), clock.now(), "KS"))
    path = folder / f"run-{len(lines)}.jsonl"
    path.write_bytes(b"".join(lines))
    return path


def arrived(one: Entry, path: str) -> bool:
    return any(getattr(event, "path", "") == path for event in one.events)


def resumed(path: Path) -> tuple[Job, Journal, float]:
    """The run going on, and the seconds until its first picture stood."""
    gc.collect()
    began = time.perf_counter()
    (old, *_), _ = runs(path.parent)
    clock = SteppedClock(old.entries[-1].stamp)
    journal = Journal.open(path, by="KS", since=clock.now().at)
    assert isinstance(journal, Journal)
    job = job_on(journal, clock)
    job.state, job.head = old.state, journal.record.head
    job.do(ac.Resume(clean=True, by="KS"))
    return job, journal, time.perf_counter() - began


def floor(path: Path) -> float:
    """Seconds to read, hash and decode the lines and to do nothing with them."""
    began = time.perf_counter()
    for line in path.read_bytes().split(b"\n")[:-1]:
        sha256(line).digest()
        msgspec.json.decode(line)
    return time.perf_counter() - began


class Seat:
    """Somebody at the keys of a run that stands at the step."""

    def __init__(self, job: Job) -> None:
        self.job = job
        clock = job.clock
        assert isinstance(clock, SteppedClock)
        self.clock = clock
        hands = Hands(clock, {}, {})
        while stage(ready().procedure, job.state, clock.now()).kind != "read":
            hands.go_on(job, 1)
        self.panel, self.view = Panel(), job.peek()

    def strike(self, key: str) -> float:
        """Seconds from the key to the picture, and the line on the disk where the key was an act."""
        self.clock.advance(2 * SECOND)
        now = self.clock.now()
        began = time.perf_counter()
        self.panel, act = press(self.panel, self.view, key, now)
        if act is not None:
            self.view = self.job.do(act)
        return time.perf_counter() - began


def main(acts: int, keys: int) -> int:
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as name:
        told = exchange(Path(name))
        paths = []
        for at, many in enumerate((len(told) + 3, acts)):
            folder = Path(name) / str(at)
            folder.mkdir()
            paths.append(record(folder, told, many))
        took, bare = [], []
        for _ in range(3):
            kept = paths[1].read_bytes()
            _, journal, seconds = resumed(paths[1])
            journal.close()
            took.append(seconds)
            bare.append(floor(paths[1]))
            paths[1].write_bytes(kept)
        opened = [resumed(path) for path in paths]
        seats = [Seat(job) for job, _, _ in opened]
        lines = [seat.job.head.n for seat in seats]
        times: list[list[float]] = [[], []]
        for _ in range(keys // len(KEYS)):
            for seat, own in zip(seats, times, strict=True):
                own += [seat.strike(key) for key in KEYS]
        for _, journal, _ in opened:
            journal.close()
        assert not isinstance(run_of(paths[1]), str)
    few, many_ = (median(t[2::4]) * 1e3 for t in times)
    last_few, last_many = (sorted(t)[len(t) * 99 // 100] * 1e3 for t in times)
    best = min(took)
    print(f"resume {lines[1]:,} acts  {best:.2f} s; read, hash and decode alone {min(bare):.2f} s")
    for what, one, other in (("median", few, many_), ("p99", last_few, last_many)):
        print(f"key, {what}: {one:.2f} ms after {lines[0]} acts, {other:.2f} ms after {lines[1]:,}: {other / one:.2f}")
    return int(best > MOST_S or many_ / few > MOST_RATIO)


if __name__ == "__main__":
    sizes = [int(size) for size in sys.argv[1:]]
    sys.exit(main(sizes[0] if sizes else 20_000, sizes[1] if len(sizes) > 1 else 400))
