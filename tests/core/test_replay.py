"""The acts of a record through the engine give the events that stand in it, or the first that differs is named."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core import act as ac
from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.replay import replay
from tests.edge.small import USUAL, begin, lines, procedure

MADE = procedure()
TOLD = lines()[1]


def put(at: int, entry: Entry) -> tuple[Entry, ...]:
    return (*TOLD[:at], entry, *TOLD[at + 1 :])


def with_events(at: int, *events: object) -> tuple[Entry, ...]:
    one = TOLD[at]
    return put(at, Entry(one.line, one.stamp, one.by, one.act, events))


def test_an_honest_record_replays():
    assert replay(MADE, TOLD) is None


@given(st.data())
def test_any_change_of_an_act_or_of_an_event_is_named_at_its_line_or_after_it(data: st.DataObject):
    at = data.draw(st.integers(1, len(TOLD) - 1))
    other = data.draw(st.integers(1, len(TOLD) - 1).filter(lambda n: TOLD[n].events != TOLD[at].events))
    mismatch = replay(MADE, with_events(at, *TOLD[other].events))
    assert mismatch is not None
    assert mismatch.line == at + 1
    assert mismatch.text.startswith("the engine does not give these events: ")


def test_a_failed_reading_that_was_made_to_pass_is_found():
    told = lines((*USUAL[:5], ac.Enter(typed=["2.1"], unit="mm", instrument="outside mike"), ac.Accept()))[1]
    taken, left, *rest = told[6].events
    assert isinstance(taken, ev.Taken)
    assert isinstance(left, ev.Left)
    forged = (msgspec.structs.replace(taken, outcome="pass"), left, *rest)
    one = told[6]
    mismatch = replay(MADE, (*told[:6], Entry(6, one.stamp, one.by, one.act, forged)))
    assert mismatch is not None
    assert mismatch.line == 7
    assert mismatch.text == (
        "the engine does not give these events: 'outcome' of 'taken' is '\"pass\"', the engine gives '\"fail\"'"
    )


@pytest.mark.parametrize(
    ("events", "said"),
    [
        (TOLD[4].events[:-1], "'arrived' is missing"),
        ((*TOLD[4].events, ev.Ticked()), "'ticked' is one too many"),
        ((ev.Ticked(),), "event 1 is 'ticked', the engine gives 'answered'"),
        ((), "'answered' is missing"),
    ],
)
def test_the_first_difference_is_named(events: tuple[ev.AnyEvent, ...], said: str):
    mismatch = replay(MADE, with_events(4, *events))
    assert mismatch is not None
    assert (mismatch.line, mismatch.text) == (5, f"the engine does not give these events: {said}")


def test_an_act_put_in_place_of_another_is_found():
    one = TOLD[3]
    mismatch = replay(MADE, put(3, Entry(3, one.stamp, one.by, ac.Done(), one.events)))
    assert mismatch is not None
    assert mismatch.line == 4
    assert mismatch.text.endswith("event 1 is 'confirmed', the engine gives 'refused'")


def test_a_time_that_was_changed_so_that_a_message_was_read_too_fast_is_found():
    one, before = TOLD[3], TOLD[2]
    mismatch = replay(MADE, put(3, Entry(3, before.stamp, one.by, one.act, one.events)))
    assert mismatch is not None
    assert mismatch.line == 4


def test_a_beginning_that_no_engine_can_carry_out_is_a_finding_and_no_crash():
    one = TOLD[0]
    wild = begin(levels={"reservoir": ["one"]}, waits={"soak": {}})
    mismatch = replay(MADE, (Entry(0, one.stamp, "AB", wild, one.events),))
    assert mismatch is not None
    assert mismatch.line == 1
    assert "the engine cannot carry out this act" in mismatch.text
