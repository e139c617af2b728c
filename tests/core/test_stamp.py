"""Times: RFC 3339; the slew limit of 500 ppm is recalled from RFC 5905."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.stamp import (
    DAY,
    MS,
    SECOND,
    UNBOUNDED_NS,
    Elapsed,
    Stamp,
    all_times,
    at_ms,
    at_text,
    elapsed,
    total,
)

START = at_ms("2026-01-01T08:00:00.000Z")
HOUR = 3_600 * SECOND


def stamp(wall_ns: int, mono_ns: int | None = None, boot: str = "one") -> Stamp:
    return Stamp(at_text(START + wall_ns // MS), wall_ns if mono_ns is None else mono_ns, boot)


@given(st.integers(0, 400 * DAY // MS))
def test_a_span_within_one_start_is_that_of_the_running_count(ms):
    assert elapsed(stamp(0), stamp(ms * MS)) == Elapsed(ms * MS, ms * MS, doubtful=False)


@given(st.integers(0, 300 * DAY), st.integers(0, MS - 1))
def test_a_span_across_starts_encloses_the_true_one(span, into_ms):
    between = elapsed(stamp(into_ms, 5, "one"), stamp(into_ms + span, 7, "two"))
    assert between.at_least_ns <= span <= between.at_most_ns
    assert between.at_most_ns - between.at_least_ns <= 2 * MS
    assert not between.doubtful


def test_a_clock_set_back_an_hour_leaves_a_wait_at_nothing_and_doubtful():
    assert elapsed(stamp(0), stamp(-50 * 60 * SECOND, 10 * 60 * SECOND)) == Elapsed(0, 10 * 60 * SECOND, doubtful=True)


def test_a_clock_set_forward_makes_what_perishes_older_and_no_wait_shorter():
    assert elapsed(stamp(0), stamp(2 * HOUR, HOUR)) == Elapsed(HOUR, 2 * HOUR, doubtful=True)


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        pytest.param(stamp(0, boot="one"), stamp(-1 * MS, boot="two"), id="set back between two starts"),
        pytest.param(stamp(0, boot="one"), stamp(367 * DAY, 0, boot="two"), id="leapt between two starts"),
        pytest.param(stamp(0, 9), stamp(MS, 8), id="running count went back"),
    ],
)
def test_clocks_that_contradict_each_other_give_no_bound(earlier, later):
    assert elapsed(earlier, later) == Elapsed(0, UNBOUNDED_NS, doubtful=True)


def test_a_clock_that_is_slewed_is_not_doubted():
    assert not elapsed(stamp(0), stamp(HOUR + HOUR // 2_000, HOUR)).doubtful
    assert not elapsed(stamp(0), stamp(2 * SECOND)).doubtful
    assert elapsed(stamp(0), stamp(HOUR + HOUR // 500, HOUR)).doubtful


def test_a_total_adds_running_counts_within_starts_and_time_of_day_across():
    spans = [stamp(0, 0), stamp(HOUR), stamp(3 * HOUR, 60, "two"), stamp(4 * HOUR, 60 + HOUR, "two")]
    assert total(spans) == Elapsed(4 * HOUR - MS, 4 * HOUR + MS, doubtful=False)
    assert total(spans[:1]) == Elapsed(0, 0, doubtful=False)


def test_a_total_over_a_clock_set_back_keeps_the_good_spans():
    assert total([stamp(0), stamp(HOUR), stamp(0, 0, "two"), stamp(HOUR, HOUR, "two")]) == Elapsed(
        2 * HOUR, UNBOUNDED_NS, doubtful=True
    )


@given(st.integers(0, at_ms("9999-12-31T23:59:59.999Z")))
def test_a_time_of_day_survives_its_text(ms):
    text = at_text(ms)
    assert at_ms(text) == ms
    assert all_times([text, text])


@pytest.mark.parametrize(
    "text",
    ["2026-13-01T08:00:00.000Z", "2026-02-30T08:00:00.000Z", "2026-01-01T24:00:00.000Z", "2026-01-01 08:00:00.000Z",
     "2026-01-01T08:00:00.000z", "2026-01-01T08:00:00Z", "2026-01-01T08:00:00.000+00:00",
     "٢026-01-01T08:00:00.000Z", ""],
)  # fmt: skip
def test_a_time_of_any_other_form_is_none(text):
    assert not all_times(["2026-01-01T08:00:00.000Z", text])
