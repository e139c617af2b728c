"""A real run of the shipped procedure on the invented car: job, journal on a disk, clock that is moved by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from runner.core import act as ac
from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.finding import Finding
from runner.core.folding import fold
from runner.core.graph import Procedure
from runner.core.line import Head
from runner.core.picture import Extras, look
from runner.core.sheet_text import status_sheet
from runner.core.stage import stage
from runner.core.stamp import SECOND
from runner.core.state import State
from runner.core.view import View
from runner.edge.answers import Answers, Said, _Script, read_answers
from runner.edge.carfile import Car, read_car
from runner.edge.clock import SteppedClock
from runner.edge.garage import Run, Taken, run_of
from runner.edge.job import Job
from runner.edge.journal import Journal
from runner.edge.reader import read
from runner.edge.sheet import write_sheet
from runner.edge.shelf import Loaded, Shelf
from runner.verify import Checked, admissible, verify

NAME = "brake-fluid-exchange"
NOTHING = Taken(conditions={}, levels={}, waits={}, claims={}, heads={}, unfinished=(), warnings=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """The shipped procedure, its proof, and the invented car."""

    procedure: Procedure
    checked: Checked
    car: Car


@lru_cache(maxsize=1)
def ready() -> Ready:
    """What a run needs before its first line."""
    loaded = Shelf().load(NAME)
    assert isinstance(loaded, Loaded), loaded
    procedure = read(loaded.files, loaded.main)
    assert isinstance(procedure, Procedure), procedure
    checked = verify(procedure)
    assert isinstance(checked, Checked), checked
    car = read_car(Shelf().demo("demo/saltmarsh-unit-7.yaml"))
    assert isinstance(car, Car), car
    return Ready(procedure=procedure, checked=checked, car=car)


BESIDE = {"bottle-full": "60 mL"}
"""Answers for the steps beside the usual way, to which only a run that was broken off comes."""


@lru_cache(maxsize=1)
def answers() -> Answers:
    """The answers that are shipped with it, and those for the steps beside."""
    told = read_answers(Shelf().demo(f"demo/{NAME}.answers.yaml"))
    assert isinstance(told, Answers)
    more = {step: (Said({"value": value}, told.file),) for step, value in BESIDE.items()}
    return replace(told, steps={**told.steps, **more})


def job_on(journal: Journal, clock: SteppedClock, procedure: Procedure | None = None) -> Job:
    """A job that shows its pictures and writes its sheet."""
    procedure, car, checked = procedure or ready().procedure, ready().car, ready().checked
    sheet = journal.path.with_suffix(".status.txt")

    def picture(state: State, head: str, said: str) -> View:
        extras = Extras(people=car.people, car=car.name, steering=car.steering, head=head, alert=said)
        return look(procedure, state, clock.now(), extras)

    def admit(state: State, path: str) -> tuple[bool, str]:
        verdict = admissible(checked, path, state.conditions, state.levels, remaining={})
        return (verdict.ok, verdict.because)

    def after(view: View) -> None:
        write_sheet(sheet, status_sheet(view, clock.now().at))

    return Job(
        procedure=procedure, journal=journal, clock=clock, picture=picture, admit=admit, after=after,
        state=State(by="KS"), head=Head(),
    )  # fmt: skip


def begin(
    folder: Path, clock: SteppedClock, name: str = "run", procedure: Procedure | None = None, taken: Taken = NOTHING
) -> tuple[Job, Journal]:
    """A new run and its journal, at the summary, on a car as it was ``taken`` over."""
    procedure, car = procedure or ready().procedure, ready().car
    journal = Journal.create(folder, name, by="KS", since=clock.now().at)
    assert isinstance(journal, Journal)
    job = job_on(journal, clock, procedure)
    start = ac.Begin(
        procedure=procedure.name, revision=procedure.revision, version="test", texts=dict(procedure.texts),
        hashes={name: sha256(text.encode()).hexdigest() for name, text in procedure.texts.items()},
        car=car.reference, demonstration=True, salt="rig", asks={k: dict(v) for k, v in car.asks.items()},
        conditions={**car.conditions, **taken.conditions}, levels={}, waits={}, parts=dict(car.parts),
        instruments={k: dict(v) for k, v in car.instruments.items()}, claims=dict(taken.claims),
        heads=dict(taken.heads),
    )  # fmt: skip
    job.do(start)
    return job, journal


def resume(path: Path, clock: SteppedClock) -> tuple[Job, Journal]:
    """A run taken up again after a crash."""
    old = run_of(path)
    assert isinstance(old, Run), old
    journal = Journal.open(path, by="KS", since=clock.now().at)
    assert isinstance(journal, Journal)
    job = job_on(journal, clock)
    job.state, job.head = old.state, journal.record.head
    job.do(ac.Resume(clean=job.state.phase == "held", torn=journal.torn is not None, by="KS"))
    return job, journal


class Hands(_Script):
    """Acts by the shipped answers, from wherever a run stands; ``truths`` are what is so on the car."""

    def __init__(
        self,
        clock: SteppedClock,
        used: Mapping[str, int],
        truths: Mapping[str, bool],
        procedure: Procedure | None = None,
    ) -> None:
        attest = {c: Said({"value": "true" if holds else "false"}, answers().file) for c, holds in truths.items()}
        told = replace(answers(), attest=attest)
        super().__init__(procedure or ready().procedure, told, clock)
        self._used = dict(used)

    @property
    def used(self) -> dict[str, int]:
        """How many of each list of answers were given."""
        return dict(self._used)

    def go_on(self, job: Job, most: int = 2_000) -> None:
        """Act until the run is over, or ``most`` times; nothing may be refused."""
        for _ in range(most):
            if job.state.phase == "ended":
                return
            act = self.next_act(job.state)
            if isinstance(act, Finding):
                options = stage(self.procedure, job.state, job.clock.now()).options
                assert options, f"{act.text}: {act.help}"
                act = ac.Answer(value=options[0])
            job.do(act)
            assert not job.notice, job.notice
            assert not isinstance(job.state.last, ev.Refused), (job.state.path, act, job.state.last)


def truths(entries: tuple[Entry, ...]) -> dict[str, bool]:
    """What was last known of each condition while no grant was out."""
    state, known = State(), dict[str, bool]()
    for one in entries:
        state = fold(state, one.line, one.stamp, one.by, one.act, one.events)
        if state.out is None:
            known |= {c: v == "T" for c, v in state.conditions.items() if v != "U"}
    return known


def later(entries: tuple[Entry, ...], seconds: int = 30, step_ns: int = SECOND) -> SteppedClock:
    """A clock that goes on so much after the last line."""
    clock = SteppedClock(entries[-1].stamp, step_ns=step_ns)
    clock.advance(seconds * SECOND)
    return clock
