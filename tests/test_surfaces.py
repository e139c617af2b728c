"""The same keys on every surface: one desk, one engine, one record."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from textual import events

from runner import plain
from runner.core.desk import press
from runner.core.panel import Panel
from runner.core.stamp import SECOND, Stamp
from runner.edge.clock import SteppedClock
from runner.screen.app import Runner
from tests.keypad import Player, seen
from tests.rig import answers, begin, ready

PER_KEY = 3 * SECOND
Keys = tuple[str, ...]
WAIT: Keys = ("wait",)
HOLD_AT = (40, 200)
"""After so many answers the hold key is struck."""


class Hand:
    """The clock of a run: it moves with each key and by nothing else."""

    def __init__(self) -> None:
        self.clock = SteppedClock(step_ns=0)

    def now(self) -> Stamp:
        self.clock.advance(PER_KEY)
        return self.clock.now()

    def wait(self) -> None:
        self.clock.advance(5 * SECOND)


def at_the_desk(folder: Path) -> tuple[list[Keys], bytes]:
    """The keys of the whole exchange, answer by answer, with its waits; and the record that they leave."""
    hand, struck, panel = Hand(), list[Keys](), Panel()
    job, journal = begin(folder, hand.clock)
    player = Player(ready().procedure, answers())
    view = job.peek()
    with journal:
        while not view.ended:
            assert len(struck) < 1_000, (view.token, view.alert, struck[-20:])
            keys = ("*",) if len(struck) in HOLD_AT else player.keys(seen(view, panel)) or WAIT
            struck.append(keys)
            if keys == WAIT:
                hand.wait()
                view = job.peek()
                continue
            for key in keys:
                panel, act = press(panel, view, key, hand.now())
                if act is not None:
                    view = job.do(act)
        return struck, journal.path.read_bytes()


@pytest.fixture(scope="module")
def exchange(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Keys], bytes]:
    return at_the_desk(tmp_path_factory.mktemp("desk"))


async def test_the_screen_leaves_the_same_bytes_as_the_bare_desk(
    exchange: tuple[list[Keys], bytes], tmp_path: Path
) -> None:
    struck, record = exchange
    hand = Hand()
    job, journal = begin(tmp_path, hand.clock)
    with journal:
        app = Runner(job.peek(), job.do, job.peek, hand.now)
        async with app.run_test(size=(120, 60)) as pilot:  # the summary stands on one page
            for keys in struck:
                if keys == WAIT:
                    hand.wait()
                    app._tick()
                    continue
                for key in keys:
                    await app.on_event(events.Key(key, key if len(key) == 1 else None))
                await pilot.pause(0)
        assert job.state.phase == "ended"
    assert journal.path.read_bytes() == record


def test_the_line_mode_leaves_the_same_bytes_as_the_bare_desk(
    exchange: tuple[list[Keys], bytes], tmp_path: Path
) -> None:
    struck, record = exchange
    hand = Hand()
    job, journal = begin(tmp_path, hand.clock)

    def lines() -> Iterator[str]:
        """A value is typed as one line, without its Enter; everything else is a line each."""
        for keys in struck:
            if keys == WAIT:
                hand.wait()
            elif keys[-1] == "enter":
                for part in "\0".join(keys).split("enter")[:-1]:
                    yield part.replace("\0", "") + "\n"
            else:
                yield from (f"{key}\n" for key in keys)

    with journal:
        plain.run(lines(), io.StringIO(), job.do, job.peek, hand.now)  # type: ignore[arg-type]
        assert job.state.phase == "ended"
    assert journal.path.read_bytes() == record


def test_the_keypad_alone_is_enough_and_what_it_cannot_type_is_owed(exchange: tuple[list[Keys], bytes]) -> None:
    struck, record = exchange
    keys = [key for keys in struck if keys != WAIT for key in keys]
    assert set(keys) <= {*"0123456789.+-*/", "enter"}
    assert keys.count("*") == len(HOLD_AT)
    assert b'"owed":"batch"' in record
