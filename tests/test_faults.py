"""When the world does not play along: a full disk, a second program, two procedures on one car."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from runner import plain
from runner.core import act as ac
from runner.core import event as ev
from runner.core.act import AnyAct
from runner.core.entry import entries
from runner.core.face import face
from runner.core.finding import Finding
from runner.core.graph import Procedure
from runner.core.panel import Panel
from runner.core.record import read
from runner.core.state import visits
from runner.core.view import View
from runner.edge.clock import SteppedClock
from runner.edge.garage import run_of, runs, take_over
from runner.edge.job import Job
from runner.edge.journal import Journal
from runner.edge.reader import read as read_procedure
from runner.edge.shelf import Loaded, Shelf
from runner.edge.verifying import audit_verify
from tests.rig import NAME, Hands, begin, ready

ROOT = Path(__file__).resolve().parents[1]


# ── a full disk ──────────────────────────────────────────────────────────────────────────────────


@contextmanager
def full_disk(journal: Journal, room: int) -> Iterator[None]:
    """The record's file may grow by ``room`` bytes and no further."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (journal.path.stat().st_size + room, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def brought_to(folder: Path, there: Callable[[Job], bool]) -> tuple[Job, Journal, Hands]:
    """A run on a disk, played until it stands there; its clock then stands still between acts."""
    clock = SteppedClock()
    job, journal = begin(folder, clock)
    hands = Hands(clock, {}, {})
    while not there(job):
        hands.go_on(job, 1)
    clock._step_ns = 0
    return job, journal, hands


def in_a_grant(job: Job) -> bool:
    return job.state.out is not None


def text_of(view: View) -> str:
    return "\n".join(plain.page(view, face(Panel(), view), None))


@pytest.mark.parametrize("room", [0, 1, 100])
def test_on_a_full_disk_an_act_has_not_happened_and_the_screen_stays_as_it_was(tmp_path: Path, room: int) -> None:
    job, journal, hands = brought_to(tmp_path, lambda job: job.state.path == "covers")
    with journal:
        state, head, shown, file = job.state, job.head, job.peek(), journal.path.read_bytes()
        with full_disk(journal, room):
            view = job.do(ac.Done())
        assert (job.state, job.head) == (state, head)
        assert journal.path.read_bytes() == file
        assert view.alert_kind == "not recorded"
        assert replace(view, alert=shown.alert, alert_kind=shown.alert_kind) == shown
        assert "NOT RECORDED" in text_of(view)
        assert "make room" in text_of(view)
        after = job.do(ac.Done())
        assert after.alert == ()
        assert job.state.path != "covers"
        hands.go_on(job)
    assert audit_verify([journal.path], None, as_json=False)[1] == 0


def test_on_a_full_disk_hold_still_shows_the_order_of_making_safe_and_says_not_recorded(tmp_path: Path) -> None:
    job, journal, _ = brought_to(tmp_path, in_a_grant)
    with journal:
        lines = len(read(journal.path.read_bytes()).lines)
        with full_disk(journal, 10):
            view = job.do(ac.Hold())
            assert view.kind == "held"
            assert view.alert_kind == "not recorded"
            text = text_of(view)
            assert "NOT RECORDED" in text
            assert "Close the right rear nipple" in text
            assert job.peek().kind == "held", "it stays until something is recorded again"
            again = job.do(ac.MadeSafe(condition="nipple_open@RR"))
            assert again.kind == "held"
            assert again.alert_kind == "not recorded"
        assert len(read(journal.path.read_bytes()).lines) == lines
        view = job.do(ac.MadeSafe(condition="nipple_open@RR"))
        assert view.kind == "held"
        assert view.alert == ()
        record = read(journal.path.read_bytes())
        assert [one.act for one in entries(record.lines[lines:])] == [
            ac.Hold(),
            ac.MadeSafe(condition="nipple_open@RR"),
        ], "with room again the hold is recorded first"
        assert job.state.value("nipple_open@RR") == "F"


# ── a second program ─────────────────────────────────────────────────────────────────────────────


def program(home: Path, *more: str) -> subprocess.Popen[str]:
    env = {k: v for k, v in os.environ.items() if not k.startswith("WITNESSMARK")}
    env |= {"WITNESSMARK_HOME": str(home), "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-m", "runner", "run", NAME, "--demo", "--plain", *more],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env, cwd=home,
    )  # fmt: skip


def test_a_second_program_on_the_same_run_is_told_who_holds_it_and_writes_nothing(tmp_path: Path) -> None:
    first = program(tmp_path)
    try:
        assert first.stdin is not None
        assert first.stdout is not None
        first.stdin.write("\n")
        first.stdin.flush()
        while "What brakes does the car have?" not in first.stdout.readline():
            assert first.poll() is None
        (record,) = (tmp_path / "demonstration").glob("*.jsonl")
        before = record.read_bytes()
        second = program(tmp_path)
        _, said = second.communicate("\n\n", timeout=60)
        assert second.returncode == 2
        assert "this run is open already: KS since" in said
        assert f"process {first.pid} on" in said
        assert "Traceback" not in said
        assert record.read_bytes() == before
    finally:
        out, _ = first.communicate("quit\n", timeout=60)
    assert first.returncode == 0
    assert "not finished; the same command goes on with it" in out
    assert audit_verify([record], None, as_json=False)[1] == 0


# ── two procedures ───────────────────────────────────────────────────────────────────────────────

UNDER_LOOK = """\
procedure: under-look
title: Look under the rear
revision: "1"
purpose: Says whether the underside is dry.
steps:
  up:
    {call: raise-and-support, at: rear, ensure: on_stands@rear, next: see,
     exits: {supported: see, not supported: safe stop}}
  see:
    do: Look along the lines under the rear end.
    short: LOOK
    place: round the car
    next: down
  down: {call: lower, at: rear, give_back: on_stands@rear, next: roll, exits: {down: roll}}
  roll:
    do: Let the parking brake go.
    short: BRAKE OFF
    place: cabin
    ends: [parking_brake_on]
    next: done
  done: {end: done, say: Looked at.}
"""


def test_a_second_procedure_on_the_car_takes_nothing_away_from_a_paused_run(tmp_path: Path) -> None:
    job, journal, hands = brought_to(tmp_path, lambda job: job.state.path == "lock-left")
    with journal:
        job.do(ac.Hold())
    first = run_of(journal.path)
    assert not isinstance(first, str)
    taken = take_over(runs(tmp_path)[0], ready().car.reference, demonstration=True)
    assert {"on_stands@rear", "on_stands@front", "parking_brake_on"} <= set(taken.claims)
    assert set(taken.claims.values()) == {"run"}
    assert taken.heads == {"run": first.record.head.hash}

    vocabulary = Shelf().load(NAME)
    assert isinstance(vocabulary, Loaded)
    other = read_procedure({**vocabulary.files, "under-look.yaml": UNDER_LOOK.encode()}, "under-look.yaml")
    assert isinstance(other, Procedure), other
    clock = SteppedClock()
    second, journal = begin(tmp_path, clock, "second", other, taken)
    hands = Hands(clock, {}, {}, other)
    with journal:
        hands.go_on(second, 1)
        assert second.state.path == "see", "the rear stands on its stands already"
        while second.state.path != "roll":
            hands.go_on(second, 1)
        while not isinstance(second.state.last, ev.Refused):
            second.do(act_of(hands, second))
    assert second.state.path == "roll"
    passed = {v.path: (v.outcome, v.because) for v in visits(second.state)}
    assert passed["up"] == ("skipped", "already so")
    assert passed["down"] == ("skipped", "still needed by run")
    assert second.state.last.why == "'parking_brake_on' is held by the paused run run"
    assert second.state.last.help == "finish or safely stop that run first"
    assert second.state.value("parking_brake_on") == "T"


def act_of(hands: Hands, job: Job) -> AnyAct:
    act = hands.next_act(job.state)
    assert not isinstance(act, Finding), act
    return act
