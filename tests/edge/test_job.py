"""A job: on the disk first, on the screen after; and what it asks the checker."""

from __future__ import annotations

from collections.abc import Callable

from runner.core import act as ac
from runner.core import event as ev
from runner.core.entry import entries
from runner.core.line import Head
from runner.core.picture import look
from runner.core.record import read
from runner.core.state import State
from runner.core.view import View
from runner.edge.clock import SteppedClock
from runner.edge.job import Job
from tests.edge.small import begin, procedure


class Told:
    """A record in memory that notes in which state the job was when a line came."""

    def __init__(self) -> None:
        self.lines: list[bytes] = []
        self.before: list[int] = []
        self.job: Job | None = None

    def append(self, line: bytes) -> None:
        assert self.job is not None
        self.before.append(self.job.head.n)
        self.lines.append(line)


def job(told: Told, after: Callable[[View], None] = lambda _view: None, because: str = "") -> Job:
    made, clock = procedure(), SteppedClock()
    told.job = Job(
        procedure=made, journal=told, clock=clock, state=State(by="AB"), head=Head(), after=after,
        picture=lambda state, head, _notice: look(made, state, clock.now()),
        admit=lambda _state, _path: (not because, because),
    )  # fmt: skip
    return told.job


def test_the_status_sheet_is_made_after_every_act_once_its_line_is_kept() -> None:
    told = Told()
    sheets: list[tuple[int, View]] = []
    running = job(told, after=lambda view: sheets.append((len(told.lines), view)))
    shown = [running.do(act) for act in (begin(), ac.Assume(), ac.Done())]
    assert sheets == list(enumerate(shown, start=1))
    assert told.before == [0, 1, 2], "the job stands where it stood until the line is kept"


def test_whether_a_step_may_be_done_again_says_the_checker_and_not_whoever_asks() -> None:
    for because in ("the goggles may be off", ""):
        told = Told()
        running = job(told, because=because)
        for act in (begin(), ac.Assume(), ac.Done()):
            running.do(act)
        running.do(ac.DoAgain(path="goggles", admissible=not because.isascii()))
        asked = entries(read(b"".join(told.lines)).lines)[-1]
        assert asked.act == ac.DoAgain(path="goggles", admissible=not because, because=because)
        assert isinstance(running.state.last, ev.Refused) == bool(because)
