"""The course of a run as it is drawn: nothing is left out, a pause is seen to be one."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runner.core import act as ac
from runner.core.course import LONGEST_STEP_S, level_curves, time_line
from tests.edge.small import USUAL, Spans, lines, procedure


@settings(max_examples=30)
@given(st.lists(st.integers(1, 3 * 86_400), min_size=12, max_size=12))
def test_the_stretches_of_a_run_fill_the_line_and_follow_each_other(seconds: list[int]):
    told = lines(clock=Spans(list(map(float, seconds))))[1]
    drawn = time_line(told)
    assert sum(one.width for one in drawn) == pytest.approx(1)
    for one, after in pairwise(drawn):
        assert one.ended == after.begun
        assert one.left + one.width == pytest.approx(after.left)
        assert one.pause is not after.pause
    assert any(one.pause for one in drawn) is any(s > LONGEST_STEP_S for s in seconds[:11])


def test_a_hold_is_a_pause_however_short():
    told = lines((*USUAL[:3], ac.Hold(), ac.Resume(clean=True), ac.Hold()), clock=Spans([20, 20, 5, 7]))[1]
    assert [(one.pause, one.long) for one in time_line(told)] == [(False, "45 s"), (True, "7 s"), (False, "20 s")]


def test_what_is_signed_later_is_no_work():
    told = lines(clock=Spans([20] * 11 + [86_400]))[1]
    assert [one.pause for one in time_line(told)] == [False]


def test_a_run_of_one_line_has_no_course():
    told = lines(USUAL[:1])[1]
    assert time_line(told) == ()
    assert level_curves(told, procedure()) == ()
