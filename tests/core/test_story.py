"""How events read: a line of a story in the words of the shop."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runner.core import event as ev
from runner.core.event import AnyEvent
from runner.core.story import tell
from tests.core.bench import harmless
from tests.core.test_picture import walk


@pytest.mark.parametrize("kind", get_args(AnyEvent), ids=lambda kind: kind.__name__)
def test_every_event_reads_as_one_line_whatever_stands_in_it(kind: type[AnyEvent]) -> None:
    @given(event=st.builds(kind))
    @settings(max_examples=25)
    def reads(event: AnyEvent) -> None:
        assert harmless(tell(event))

    reads()


@pytest.mark.parametrize(
    ("event", "line"),
    [
        (ev.Arrived(path="corners/RR/bleed", because=""), "came to corners, right rear, bleed"),
        (
            ev.Left(path="disc", outcome="fail", because="21.9 mm, at least 22 mm"),
            "left disc by 'fail', because 21.9 mm, at least 22 mm",
        ),
        (
            ev.Became(changes={"nipple_open@RR": "T", "cap_off": "U"}, why="bleed"),
            "nipple open, right rear: so; cap off: not known, because bleed",
        ),
        (
            ev.Confirmed(
                path="jack",
                hazards=["spray"],
                words=["WARNING"],
                how="own",
                key="4",
                shown_ms=5200,
                needed_ms=3400,
                fast=False,
            ),
            "confirmed with a key of its own: WARNING spray; 5.2 s of 3.4 s to read",
        ),
        (
            ev.Confirmed(
                path="jack",
                hazards=["paint"],
                words=["NOTICE"],
                how="together",
                key="",
                shown_ms=100,
                needed_ms=3400,
                fast=True,
            ),
            "confirmed together: NOTICE paint; 0.1 s of 3.4 s to read, FASTER THAN IT CAN BE READ",
        ),
        (
            ev.Left(path="hose", outcome="done", late="07:40"),
            "left hose by 'done', in truth done at about 07:40, entered now",
        ),
        (
            ev.Overridden(path="corners/LF/torque", gate="reading", reason="no wrench fits", initials="MB"),
            "OVERRIDDEN at corners, left front, torque: reading; no wrench fits; MB",
        ),
        (
            ev.Ended(kind="left open", open=["cap_off"], unmet=[], do_not_drive=True),
            "the run ended: left open; open: cap off; THE CAR IS NOT TO BE DRIVEN",
        ),
    ],
)
def test_events_are_told_in_the_words_of_the_shop(event: AnyEvent, line: str) -> None:
    assert tell(event) == line


def test_the_events_of_a_run_show_no_brace_and_no_underscore() -> None:
    for bench, _, _ in walk(7, 50):
        last = bench.state.last
        if last is not None:
            assert not set("{}_") & set(tell(last)), tell(last)
