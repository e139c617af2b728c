"""What each key of the keypad does, and what a key that is held cannot do."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.desk import press
from runner.core.face import face
from runner.core.panel import Panel
from runner.core.view import View
from tests.core.bench import Bench, begun, stamp
from tests.core.test_picture import brought_to

KEYS = [*"0123456789.+-*/", "enter", "backspace", "esc", ",", "a"]


def strike(bench: Bench, panel: Panel, keys: str, apart: float = 2.0) -> tuple[Panel, list[AnyAct]]:
    """Press keys one after the other, each act carried out at once; ``e`` is enter, ``b`` backspace."""
    acts: list[AnyAct] = []
    for key in keys:
        bench.seconds += apart
        panel, act = press(panel, bench.view(), {"e": "enter", "b": "backspace"}.get(key, key), bench.now)
        if act is not None:
            acts.append(act)
            if isinstance(act, ac.DoAgain):
                act = msgspec.structs.replace(act, admissible=True)
            bench.do(act, wait=0)
    return panel, acts


def struck(bench: Bench, keys: str) -> list[AnyAct]:
    return strike(bench, Panel(), keys)[1]


# ── one key at a time ────────────────────────────────────────────────────────────────────────────


def test_enter_does_what_the_screen_says() -> None:
    bench = begun()
    assert struck(bench, "ee") == [ac.Assume(), ac.Done()]


def test_a_corner_is_answered_by_its_place_on_the_keypad() -> None:
    for key, corner in zip("7913", ("LF", "RF", "LR", "RR"), strict=True):
        assert struck(brought_to("check", "RR/which"), key) == [ac.Answer(value=corner)]


def test_enter_does_not_confirm_a_warning_and_says_what_does() -> None:
    bench = brought_to("own caution")
    panel, acts = strike(bench, Panel(), "e")
    assert acts == []
    assert "printed in its text" in panel.say


def test_only_the_printed_digit_confirms_a_warning() -> None:
    bench = brought_to("own caution")
    key = next(c.key for c in bench.view().cautions if c.state == "owed")
    for other in "0123456789":
        if other != key:
            assert struck(bench, other) == []
    assert struck(bench, key) == [ac.Confirm(hazard="spray", key=key)]


def test_a_value_is_typed_read_back_and_accepted() -> None:
    bench = brought_to("read", "disc")
    assert struck(bench, "23.4e23,5e") == [ac.Enter(typed=["23.4", "23.5"], unit="mm", instrument="micrometer 2")]
    assert struck(bench, "e") == [ac.Accept()]


def test_minus_at_the_read_back_asks_for_the_value_anew() -> None:
    bench = brought_to("read", "disc")
    assert struck(bench, "23.4e23.5e-")[-1] == ac.Retype()
    assert bench.view().kind == "read"


def test_fractions_and_mixed_numbers_are_typed_on_the_keypad() -> None:
    bench = brought_to("read", "disc")
    assert struck(bench, "7/8e1+1/2e") == [ac.Enter(typed=["7/8", "1 1/2"], unit="mm", instrument="micrometer 2")]


def test_plus_in_an_empty_field_takes_the_next_unit() -> None:
    bench = brought_to("read", "disc")
    view = bench.view()
    assert view.field is not None
    _, second = view.field.ways[:2]
    panel, _ = strike(bench, Panel(), "+")
    assert face(panel, view).unit == second[1]
    _, acts = strike(bench, panel, "1e1e")
    assert acts == [ac.Enter(typed=["1", "1"], unit=second[1], instrument=second[0])]


def test_the_clicks_of_the_wrench_are_asked_after_its_setting() -> None:
    bench = brought_to("read", "torque")
    panel, _ = strike(bench, Panel(), "12e")
    assert face(panel, bench.view()).prompt == "how many clicks were heard"
    _, acts = strike(bench, panel, "1e")
    assert acts == [ac.Enter(typed=["12"], unit="N m", clicks="1")]


def test_minus_takes_back_what_is_typed_then_opens_the_menu_then_leaves_it() -> None:
    bench = brought_to("read", "torque")
    panel, _ = strike(bench, Panel(), "12-")
    assert (panel.buffer, panel.mode) == ("", "step")
    panel, _ = strike(bench, panel, "-")
    assert panel.mode == "menu"
    panel, _ = strike(bench, panel, "1")
    assert face(panel, bench.view()).title == "cannot be done as written"
    panel, acts = strike(bench, panel, "--")
    assert panel.mode == "step"
    assert acts == []


def test_minus_in_an_empty_text_field_opens_the_menu_so_that_the_text_can_be_owed() -> None:
    bench = brought_to("identify", "batch")
    panel, acts = strike(bench, Panel(), "-11")
    assert acts == [ac.Instead(result="owed until sign-off")]
    panel, _ = strike(brought_to("identify", "batch"), Panel(), "L-1")
    assert panel.buffer == "L-1"


def test_in_a_field_that_may_be_below_zero_one_minus_is_the_sign_and_two_are_the_menu() -> None:
    bench = brought_to("read", "disc")
    panel, _ = strike(bench, Panel(), "-")
    assert panel.buffer == "-"
    panel, _ = strike(bench, panel, "-")
    assert panel.mode == "menu"


def test_a_named_result_stands_first_among_what_cannot_be_done() -> None:
    assert struck(brought_to("read", "torque"), "-11") == [ac.Instead(result="by feel")]


def test_a_step_that_cannot_be_done_takes_a_way_and_a_reason() -> None:
    bench = brought_to("do", "RR/hose")
    assert struck(bench, "-112") == [ac.Cannot(reason="the part is seized or broken", way="stop")]
    assert bench.view().kind == "safe stop"


def test_a_finding_takes_what_where_and_how_bad() -> None:
    assert struck(brought_to("do", "goggles"), "-3132") == [ac.Note(what="leaking", where="RR", severity="fail")]


def test_the_car_is_not_as_you_say_by_place_then_condition() -> None:
    bench = brought_to("do", "RR/hose-off")
    panel, _ = strike(bench, Panel(), "-23")
    texts = [o.text for o in face(panel, bench.view()).options]
    believed = "not so: the hose is on the nipple"
    assert believed in texts
    assert not any("has no hose" in text for text in texts)
    _, acts = strike(bench, panel, str(texts.index(believed) + 1))
    assert acts == [ac.Contradict(condition="hose_on@RR", holds=False)]


@pytest.mark.parametrize(
    ("typed", "late"), [("0740", "07:40"), ("740", "07:40"), ("7.40", "07:40"), ("07.40", "07:40")]
)
def test_a_late_entry_takes_the_time_of_day(typed: str, late: str) -> None:
    assert struck(brought_to("do", "RR/hose"), f"-7{typed}e") == [ac.Done(late=late)]


def test_strokes_are_told_one_by_one_or_as_one_number() -> None:
    assert struck(brought_to("beats", "RR/bleed"), "eee6e") == [ac.Beat(), ac.Beat(), ac.Beat(), ac.Report(used="6")]


def test_a_value_of_the_car_takes_its_source_first() -> None:
    bench = brought_to("ask", "disc")
    assert struck(bench, "222.0e") == [ac.Supply(name="disc_min", typed="22.0 mm", source="marked on the part")]


def test_a_picture_is_chosen_from_those_that_were_taken() -> None:
    bench = brought_to("photo", "picture")
    digest = "0123456789abcdef" * 4
    bench.extras = replace(bench.extras, pictures=(("IMG 12, 10:42", digest),))
    assert struck(bench, "1") == [ac.Enter(typed=[digest])]


def test_looking_back_and_ahead_reaches_any_step_in_three_keys_and_changes_nothing() -> None:
    bench = brought_to("check", "RR/which")
    before = bench.state
    panel, acts = strike(bench, Panel(), "/13")
    shown = face(panel, bench.view())
    assert shown.looking[shown.cursor].title == "Take the hose off the left rear nipple."
    assert acts == []
    panel, _ = strike(bench, panel, "/")
    assert face(panel, bench.view()).cursor == 11
    panel, _ = strike(bench, panel, "e")
    assert panel.mode == "step"
    assert bench.state is before


def test_the_far_view_is_turned_by_the_menu_and_stays() -> None:
    bench = brought_to("do", "goggles")
    panel, acts = strike(bench, Panel(), "-+4")
    assert panel.far
    assert acts == []
    panel, _ = strike(bench, panel, "e")
    assert panel.far


def test_enter_in_a_list_chooses_nothing() -> None:
    panel, acts = strike(brought_to("do", "goggles"), Panel(), "-e1e")
    assert acts == []
    assert panel.mode == "menu"


def test_what_was_typed_for_one_question_is_dropped_at_the_next() -> None:
    bench = brought_to("read", "disc")
    panel, _ = strike(bench, Panel(), "23.4")
    bench.do(ac.Hold())
    assert face(panel, bench.view()).typed == ""


# ── hold ─────────────────────────────────────────────────────────────────────────────────────────


@example(keys=["/"])
@example(keys=["-", "1"])
@given(keys=st.lists(st.sampled_from(KEYS), max_size=12))
@settings(max_examples=60)
def test_hold_works_at_once_whatever_is_open(keys: list[str]) -> None:
    bench = HELD_FROM
    view = bench.view()
    panel = Panel()
    for n, key in enumerate(keys):
        panel, _ = press(panel, view, key, stamp(bench.seconds + n / 10))
    _, act = press(panel, view, "*", stamp(bench.seconds + len(keys) / 10))
    assert act == ac.Hold()


def test_a_run_that_stands_still_is_not_held_twice() -> None:
    assert struck(brought_to("do", "goggles"), "***") == [ac.Hold()]


# ── held keys ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("key", ["enter", "1", "3", "7", "-", "/", "*"])
@pytest.mark.parametrize("kind", ["do", "check", "read", "grant", "beats", "fluid", "own caution", "choose", "unknown"])
def test_of_300_equal_keys_in_10_seconds_one_passes_a_gate_at_most(kind: str, key: str) -> None:
    bench = _at(kind)
    state, seconds = bench.state, bench.seconds
    view, panel, acts = bench.view(), Panel(), 0
    for n in range(300):
        bench.seconds += 1 / 30
        panel, act = press(panel, view, key, bench.now)
        if act is not None:
            acts += 1
            view = bench.do(act, wait=0)
        elif n % 30 == 0:
            view = bench.view()
    assert acts <= 1
    bench.state, bench.seconds = state, seconds


@pytest.mark.parametrize("apart", [0.25, 0.5, 0.99])
def test_slow_repeats_of_a_held_key_pass_nothing_either(apart: float) -> None:
    _, acts = strike(begun(), Panel(), "e" * 40, apart)
    assert acts == [ac.Assume()]


def test_the_first_repeat_may_come_late_and_still_passes_nothing() -> None:
    bench = begun()
    panel, acts = strike(bench, Panel(), "e")
    panel, more = strike(bench, panel, "e", 1.0)
    panel, rest = strike(bench, panel, "e" * 100, 0.033)
    assert (acts, more, rest) == ([ac.Assume()], [], [])
    assert "let go" in panel.say


def test_a_key_that_was_let_go_for_a_second_works_again() -> None:
    bench = begun()
    panel, _ = strike(bench, Panel(), "e" * 5, 0.1)
    _, acts = strike(bench, panel, "e", 1.3)
    assert acts == [ac.Done()]


def test_typing_is_free_for_a_key_that_passed_a_gate() -> None:
    bench = brought_to("own caution")
    key = next(c.key for c in bench.view().cautions if c.state == "owed")
    panel, acts = strike(bench, Panel(), key, 0.1)
    assert len(acts) == 1
    field = brought_to("read", "torque")
    field.seconds = bench.seconds
    panel, _ = strike(field, panel, f"{key}{key}", 0.05)
    assert face(panel, field.view()).typed == key * 2


def test_a_clock_that_was_set_back_does_not_lock_the_keys() -> None:
    bench = begun()
    panel, _ = strike(bench, Panel(), "e")
    bench.seconds -= 3600
    panel, first = strike(bench, panel, "e", 0.0)
    panel, second = strike(bench, panel, "e", 2.0)
    assert (first, len(second)) == ([], 1)


@given(keys=st.lists(st.sampled_from(KEYS), max_size=25), apart=st.floats(0.0, 3.0))
@settings(max_examples=60)
def test_no_row_of_keys_breaks_the_desk_and_escape_leads_back(keys: list[str], apart: float) -> None:
    bench = HELD_FROM
    view: View = bench.view()
    panel = Panel()
    for n, key in enumerate(keys):
        panel, _ = press(panel, view, key, stamp(bench.seconds + n * apart))
        face(panel, view)
    for _ in range(9):
        panel, act = press(panel, view, "esc", stamp(bench.seconds + 1000))
        assert act is None
    assert (panel.mode, panel.buffer, panel.points) == ("step", "", ())


def _at(kind: str) -> Bench:
    if kind == "unknown":
        bench = brought_to("do", "RR/hose-off")
        bench.do(ac.Hold(), ac.Resume(clean=True))
        return bench
    bench = STANDS.get(kind) or brought_to(kind)
    STANDS[kind] = bench
    return bench


STANDS: dict[str, Bench] = {}
HELD_FROM = brought_to("read", "disc")
