"""Every shipped procedure runs from start to end by keypad keys alone, with the same record on every surface."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import pytest
from textual import events

from runner import plain
from runner.core import act as ac
from runner.core import event as ev
from runner.core.desk import press
from runner.core.finding import Finding
from runner.core.panel import Panel
from runner.core.stamp import SECOND, Stamp
from runner.edge.answers import Answers, _Script, read_answers
from runner.edge.clock import SteppedClock
from runner.edge.shelf import Shelf
from runner.screen.app import Runner
from tests.library import FOLDER, procedure
from tests.rig import begin
from tests.typist import KEYPAD, Keys, lines_for

NAMES = sorted(path.name.removesuffix(".answers.yaml") for path in (FOLDER / "demo").glob("*.answers.yaml"))
PER_KEY = 3 * SECOND


class Hand:
    """The clock of a run: it moves with each key, and where a wait is waited for."""

    def __init__(self) -> None:
        self.clock = SteppedClock(step_ns=0)

    def now(self) -> Stamp:
        self.clock.advance(PER_KEY)
        return self.clock.now()


@dataclass(frozen=True, slots=True)
class Struck:
    """One line of keys, after so many nanoseconds of waiting."""

    waited: int
    keys: Keys


@dataclass(frozen=True, slots=True)
class Played:
    """A run at the bare desk: what was struck, what it left, how it ended."""

    struck: tuple[Struck, ...]
    record: bytes
    end: str


@lru_cache(maxsize=2)
def played(name: str, folder: Path) -> Played:
    """The run of a procedure by its shipped answers, each turned into keys."""
    told = read_answers(FOLDER / "demo" / f"{name}.answers.yaml")
    assert isinstance(told, Answers), told
    hand, panel, struck = Hand(), Panel(), list[Struck]()
    job, journal = begin(folder, hand.clock, procedure=procedure(name))
    script = _Script(procedure(name), told, hand.clock)
    with journal:
        view = job.peek()
        while not view.ended:
            assert len(struck) < 3_000, [one.keys for one in struck[-20:]]
            before = hand.clock.now().mono
            act = script.next_act(job.state)
            assert not isinstance(act, Finding), act
            waited = hand.clock.now().mono - before
            view = job.peek()
            lines = ((),) if isinstance(act, ac.Tick) else lines_for(act, view)
            for keys in lines:
                struck.append(Struck(waited, keys))
                waited = 0
                for key in keys:
                    panel, asked = press(panel, view, key, hand.now())
                    if asked is not None:
                        view = job.do(asked)
                        assert not isinstance(job.state.last, ev.Refused | ev.Mistaken), (act, asked, job.state.last)
            view = job.peek()
        assert job.state.ended is not None
        return Played(tuple(struck), journal.path.read_bytes(), job.state.ended.kind)


@pytest.mark.parametrize("name", NAMES)
async def test_a_procedure_runs_to_its_end_by_keypad_on_the_screen_and_in_lines_with_the_same_record(
    name: str, tmp_path: Path
) -> None:
    run = played(name, tmp_path)
    assert run.end == "done"
    assert {key for one in run.struck for key in one.keys} <= KEYPAD
    assert await _on_the_screen(name, tmp_path / "screen", run.struck) == run.record
    assert _in_lines(name, tmp_path / "lines", run.struck) == run.record


async def _on_the_screen(name: str, folder: Path, struck: tuple[Struck, ...]) -> bytes:
    folder.mkdir()
    hand = Hand()
    job, journal = begin(folder, hand.clock, procedure=procedure(name))
    with journal:
        app = Runner(job.peek(), job.do, job.peek, hand.now)
        async with app.run_test(size=(140, 100)) as pilot:  # every list and the summary stand on one page
            for one in struck:
                if one.waited or not one.keys:
                    hand.clock.advance(one.waited)
                    app._tick()
                for key in one.keys:
                    await app.on_event(events.Key(key, key if len(key) == 1 else None))
            await pilot.pause(0)
        assert job.state.phase == "ended"
    return journal.path.read_bytes()


def _in_lines(name: str, folder: Path, struck: tuple[Struck, ...]) -> bytes:
    folder.mkdir()
    hand = Hand()
    job, journal = begin(folder, hand.clock, procedure=procedure(name))

    def lines() -> Iterator[str]:
        """A value is a line, which Enter ends by itself; so is each other key."""
        for one in struck:
            hand.clock.advance(one.waited)
            if one.keys:
                yield "".join(one.keys).removesuffix("enter") + "\n"

    with journal:
        plain.run(lines(), io.StringIO(), job.do, job.peek, hand.now)  # type: ignore[arg-type]
        assert job.state.phase == "ended"
    return journal.path.read_bytes()


def test_each_procedure_of_the_library_has_answers() -> None:
    assert set(NAMES) == set(Shelf((FOLDER,)).available())
