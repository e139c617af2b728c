"""The program is killed at any moment, the file is cut at any byte: at most the act in flight is lost."""

from __future__ import annotations

import gc
import os
import random
import select
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.entry import Entry, entries
from runner.core.record import fingerprint, read
from runner.core.replay import replay
from runner.edge.clock import SteppedClock
from runner.edge.garage import Run, run_of
from runner.edge.job import Job
from runner.edge.journal import Journal
from runner.edge.verifying import audit_verify
from tests.rig import Hands, begin, job_on, later, ready, resume, truths

KILLS = 1_000 if os.environ.get("WITNESSMARK_LONG") else 60
SEED = 20_260
AHEAD = 12
"""So many acts a child carries out at most before it is killed."""


class Whole:
    """The exchange without a break: its lines, and how many answers were used up before each."""

    def __init__(self, folder: Path) -> None:
        clock = SteppedClock()
        job, journal = begin(folder, clock, "whole")
        hands = Hands(clock, {}, {})
        self.used = [{}, {}]
        with journal:
            while job.state.phase != "ended":
                hands.go_on(job, 1)
                self.used.append(hands.used)
        self.lines = journal.path.read_bytes().splitlines(keepends=True)
        self.entries = entries(read(b"".join(self.lines)).lines)


@contextmanager
def in_memory() -> Iterator[Path]:
    """A folder in memory where there is one: a program that is killed does not notice, and a sync costs nothing."""
    shared = Path("/dev/shm")
    with TemporaryDirectory(dir=shared if shared.is_dir() else None) as folder:
        yield Path(folder)


@pytest.fixture
def memory() -> Iterator[Path]:
    with in_memory() as folder:
        yield folder


@pytest.fixture(scope="module")
def whole() -> Whole:
    with in_memory() as folder:
        return Whole(folder)


def blind(job: Job) -> None:
    """Play on without anybody looking: pictures and sheets cost more than the rest."""
    shown = job.peek()
    job.picture = lambda *_: shown
    job.after = lambda _view: None


def finish(path: Path, whole: Whole, *, used_at: int) -> Job:
    """Resume a record and play it to its end."""
    old = run_of(path)
    assert isinstance(old, Run), old
    clock = later(old.entries)
    job, journal = resume(path, clock)
    with journal:
        blind(job)
        hands = Hands(clock, whole.used[used_at], truths(old.entries))
        hands.go_on(job)
    return job


# ── killed ───────────────────────────────────────────────────────────────────────────────────────


def child(path: Path, whole: Whole, at: int, told: int) -> None:
    """Go on with a record and tell the number of each line once the act has returned."""
    taken = whole.entries[:at]
    clock = later(taken, seconds=0)
    journal = Journal.open(path, by="KS", since=clock.now().at)
    assert isinstance(journal, Journal)
    job = job_on(journal, clock)
    job.take_over(taken)
    job.head = journal.record.head
    hands = Hands(clock, whole.used[at], {})
    while job.state.phase != "ended":
        hands.go_on(job, 1)
        os.write(told, f"{job.head.n}\n".encode())


def killed(path: Path, whole: Whole, at: int, chance: random.Random) -> int:
    """How many lines had been acknowledged when the program was killed at a random moment."""
    hear, told = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            child(path, whole, at, told)
        finally:
            os._exit(0)
    os.close(told)
    heard = b""
    wanted = chance.randrange(AHEAD)
    while heard.count(b"\n") < wanted and select.select([hear], [], [], 20)[0]:
        more = os.read(hear, 4096)
        if not more:
            break
        heard += more
    time.sleep(chance.uniform(0, 0.02))
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    while more := os.read(hear, 4096):
        heard += more
    os.close(hear)
    return int(heard.split()[-1]) if heard.strip() else at


SHARED: list[tuple[Whole, Path]] = []
"""What the processes of the pool take over from this one as it is: to send it would cost more than the work."""


def killed_and_finished(n: int) -> tuple[str, bool]:
    """How the run ended after its ``n``-th kill, and whether that was inside a grant."""
    whole, folder = SHARED[-1]
    chance = random.Random(SEED + n)
    path = folder / f"kill-{n}.jsonl"
    at = chance.randrange(2, len(whole.lines))
    path.write_bytes(b"".join(whole.lines[:at]))
    acknowledged = killed(path, whole, at, chance)
    record = read(path.read_bytes())
    assert record.fault is None or record.torn, (n, record.fault)
    kept = len(record.lines)
    assert acknowledged <= kept <= acknowledged + 1, n
    assert_sheet_is_fresh(path, kept, at)
    job = finish(path, whole, used_at=kept)
    assert job.state.ended is not None, n
    assert_verified(path, whole=n % 20 == 0)
    for left in folder.glob(f"kill-{n}.*"):
        left.unlink()
    return job.state.ended.kind, granted(whole.entries[kept - 1])


def test_killed_at_random_moments_at_most_the_act_in_flight_is_lost(whole: Whole, memory: Path) -> None:
    SHARED.append((whole, memory))
    gc.freeze()  # so that the children share what the parent holds
    with get_context("fork").Pool() as pool:
        ends = pool.map(killed_and_finished, range(KILLS), chunksize=5)
    print(f"{KILLS} kills, {sum(inside for _, inside in ends)} of them inside a grant")
    assert {kind for kind, _ in ends} == {"done"}


def assert_verified(path: Path, *, whole: bool) -> None:
    """The record is good and follows from its acts; ``whole``: as the audit says it, from the texts in the record."""
    if whole:
        text, code = audit_verify([path], None, as_json=False)
        assert code == 0, text
        return
    record = read(path.read_bytes())
    assert record.fault is None
    assert replay(ready().procedure, entries(record.lines)) is None


def granted(entry: Entry) -> bool:
    return any(isinstance(e, ev.Granted) for e in entry.events)


def assert_sheet_is_fresh(path: Path, kept: int, at: int) -> None:
    """The sheet was made from the last line or from the one before."""
    sheet = path.with_suffix(".status.txt")
    if kept <= at + 1 and not sheet.exists():
        return
    text = sheet.read_text("utf-8")
    hashes = [line.hash for line in read(path.read_bytes()).lines[-2:]]
    assert any(fingerprint(h) in text for h in hashes), f"the sheet is older than one act:\n{text[:400]}"


# ── a grant ──────────────────────────────────────────────────────────────────────────────────────


def test_killed_inside_a_grant_what_the_beat_touches_is_not_known_and_a_look_is_owed(
    whole: Whole, memory: Path
) -> None:
    grants = [n for n, one in enumerate(whole.entries) if granted(one)]
    assert len(grants) == 14
    for n in grants[::5]:
        path = memory / f"grant-{n}.jsonl"
        path.write_bytes(b"".join(whole.lines[: n + 1]))
        out = next(e for e in whole.entries[n].events if isinstance(e, ev.Granted))
        job, journal = resume(path, later(whole.entries[: n + 1]))
        with journal:
            state = job.state
            touched = set(out.touched)
            assert touched
            assert {c for c in touched if state.value(c) == "U"} == touched
            assert touched <= set(state.unknown)
            assert state.levels["reservoir"] is None
            assert state.out is None
            assert state.beats[state.path] >= out.beats, "what was granted counts as used"
            while state.unknown:
                view = job.peek()
                assert view.kind == "unknown"
                job.do(ac.Attest(condition=state.unknown[0], holds=truths(whole.entries[:n])[state.unknown[0]]))
                state = job.state
            view = job.peek()
            assert view.kind == "look"
            assert {"reservoir", "bottle"} == set(state.looks_owed)
            refused = job.do(ac.Done())
            assert refused.alert_kind == "refused"


# ── cut ──────────────────────────────────────────────────────────────────────────────────────────


def kinds_of_last_line(whole: Whole) -> dict[str, int]:
    """The first line of each of several kinds of act."""
    kinds = (ac.Assume, ac.Answer, ac.Done, ac.Enter, ac.Accept, ac.Confirm, ac.ConfirmRest, ac.Look)
    found: dict[str, int] = {}
    for kind in kinds:
        found[kind.__name__] = next(n for n, one in enumerate(whole.entries) if isinstance(one.act, kind))
    found["Granted"] = next(n for n, one in enumerate(whole.entries) if granted(one))
    found["the end"] = len(whole.lines) - 1
    return found


@pytest.mark.parametrize(
    "kind", ["Assume", "Answer", "Done", "Enter", "Accept", "Confirm", "ConfirmRest", "Look", "Granted", "the end"]
)
def test_cut_at_every_byte_of_its_last_line_a_record_is_named_torn_and_resumes(
    whole: Whole, memory: Path, kind: str
) -> None:
    n = kinds_of_last_line(whole)[kind]
    before, last = b"".join(whole.lines[:n]), whole.lines[n]
    for cut in range(1, len(last)):
        record = read(before + last[:cut])
        assert len(record.lines) == n
        assert record.torn == last[:cut]
        assert record.fault is not None
        assert record.fault.kind == "torn: crash or cut"
        assert record.head == read(before).head
    for cut in (1, len(last) // 2, len(last) - 1):
        path = memory / f"{cut}.jsonl"
        path.write_bytes(before + last[:cut])
        job, journal = resume(path, later(whole.entries[:n]))
        with journal:
            assert journal.torn is not None
            assert journal.torn.kept.read_bytes() == last[:cut]
            assert isinstance(job.state.last, ev.Resumed | ev.Expired | ev.Arrived), job.state.last
        assert_verified(path, whole=False)
    job = finish(path, whole, used_at=n)
    assert job.state.ended is not None
    assert_verified(path, whole=True)


def test_a_whole_last_line_is_no_torn_one(whole: Whole, memory: Path) -> None:
    """Cut after its newline nothing is lost, and nothing is said to be."""
    path = memory / "whole.jsonl"
    path.write_bytes(b"".join(whole.lines[:100]))
    job, journal = resume(path, later(whole.entries[:100]))
    with journal:
        assert journal.torn is None
        assert journal.record.fault is None
        assert b'"torn":false' in path.read_bytes().splitlines()[-1]
        assert job.state.line == 100
