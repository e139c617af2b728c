"""Line mode: the same desk, one line at a time."""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.desk import press
from runner.core.face import face
from runner.core.panel import Panel
from runner.core.view import View
from runner.plain import keys_of, page, run
from tests.core.bench import Bench, begun, harmless
from tests.core.test_picture import brought_to


class Seat:
    """A person at the line mode: each look at the clock is some seconds after the last."""

    def __init__(self, bench: Bench, apart: float = 3.0) -> None:
        self.bench, self.apart, self.acts = bench, apart, list[AnyAct]()

    def now(self) -> object:
        self.bench.seconds += self.apart
        return self.bench.now

    def do(self, act: AnyAct) -> View:
        self.acts.append(act)
        return self.bench.do(act, wait=0)

    def type(self, text: str) -> str:
        out = io.StringIO()
        assert run(io.StringIO(text), out, self.do, self.bench.view, self.now) == 0  # type: ignore[arg-type]
        return out.getvalue()


def test_an_empty_line_is_enter() -> None:
    seat = Seat(begun())
    seat.type("\n\n")
    assert seat.acts == [ac.Assume(), ac.Done()]


def test_a_line_of_digits_is_the_value_and_enter() -> None:
    seat = Seat(brought_to("read", "disc"))
    seat.type("23.4\n23,5\n\n")
    assert seat.acts == [ac.Enter(typed=["23.4", "23.5"], unit="mm", instrument="micrometer 2"), ac.Accept()]


def test_a_unit_behind_a_number_is_not_passed_over_nothing_of_the_line_is_taken() -> None:
    seat = Seat(brought_to("read", "disc"))
    out = seat.type("23.4 in\n0.9in\n")
    assert seat.acts == []
    assert "NOTE: nothing was taken: a number is digits alone; + before them is another unit" in out
    assert seat.type("23.4\n23.5\n\n")
    assert seat.acts == [ac.Enter(typed=["23.4", "23.5"], unit="mm", instrument="micrometer 2"), ac.Accept()]


def test_a_digit_that_answers_does_not_enter_what_comes_next() -> None:
    seat = Seat(brought_to("check", "RR/which"))
    out = seat.type("3\n")
    assert seat.acts == [ac.Answer(value="RR")]
    assert "NOTE: not used" not in out


def test_what_follows_a_key_that_passed_a_gate_is_dropped_and_named() -> None:
    seat = Seat(brought_to("check", "RR/which"))
    out = seat.type("34\n")
    assert seat.acts == [ac.Answer(value="RR")]
    assert "NOTE: not used any more: 4" in out


@pytest.mark.parametrize(
    ("word", "key"), [("hold", "*"), ("menu", "-"), ("back", "-"), ("more", "+"), ("look", "/"), ("HOLD", "*")]
)
def test_words_stand_for_keys(word: str, key: str) -> None:
    assert keys_of(word, typing_text=False) == (key,)


def test_hold_is_a_word_even_while_text_is_typed_and_the_others_are_not() -> None:
    assert keys_of("hold", typing_text=True) == ("*",)
    assert keys_of("back", typing_text=True) == ("b", "a", "c", "k")


def test_quit_leaves_without_any_act() -> None:
    seat = Seat(begun())
    seat.type("quit\n\n\n")
    assert seat.acts == []


def test_the_menu_is_walked_by_numbers_and_enter_chooses_nothing_in_it() -> None:
    seat = Seat(brought_to("do", "RR/hose"))
    out = seat.type("menu\n1\n\n1\n2\n")
    assert seat.acts == [ac.Cannot(reason="the part is seized or broken", way="stop")]
    assert "enter chooses nothing in a list" in out


def test_a_marking_is_typed_as_text() -> None:
    seat = Seat(brought_to("identify", "batch"))
    seat.type("LOT-42\n")
    assert seat.acts == [ac.Enter(typed=["LOT-42"])]


def test_a_warning_is_read_out_with_its_key_and_the_seconds_left() -> None:
    bench = brought_to("own caution")
    bench.seconds -= 29
    out = Seat(bench).type("")
    key = next(c.key for c in bench.view().cautions if c.state == "owed")
    assert "/!\\ WARNING: Keep the goggles on. Brake fluid squirts from an open nipple. It can blind an eye." in out
    assert f"To confirm it, press {key}." in out
    assert "It can be confirmed in" in out


def test_the_step_stays_in_sight_while_a_menu_is_open_or_an_alert_stands() -> None:
    seat = Seat(brought_to("check", "RR/which"))
    out = seat.type("menu\nback\n7\n")
    pages = out.split("\n\n")
    assert len(pages) == 4
    assert all("Find the right rear wheel." in one for one in pages)
    assert "REFUSED: 'LF' is not so here" in pages[-1]


def test_300_empty_lines_in_ten_seconds_pass_one_gate() -> None:
    seat = Seat(begun(), apart=1 / 30)
    seat.type("\n" * 300)
    assert seat.acts == [ac.Assume()]


@given(text=st.text(st.characters(codec="utf-8"), max_size=40))
@settings(max_examples=80)
def test_no_line_brings_a_control_character_to_the_terminal(text: str) -> None:
    seat = Seat(brought_text())
    out = seat.type(text + "\n")
    assert all(harmless(line) for line in out.split("\n"))


def brought_text() -> Bench:
    bench = TEXT
    return Bench(bench.procedure, bench.state, bench.seconds)


def test_the_same_keys_ask_for_the_same_acts_as_at_the_desk() -> None:
    lines = ["", "", "", "1", "1", "hold", "", "1"]
    seat = Seat(begun())
    seat.type("\n".join(lines) + "\n")
    bench, panel, acts = begun(), Panel(), list[AnyAct]()
    for line in lines:
        for key in keys_of(line, typing_text=False):
            bench.seconds += 3
            panel, act = press(panel, bench.view(), key, bench.now)
            if act is not None:
                acts.append(act)
                bench.do(act, wait=0)
    assert seat.acts == acts
    assert seat.bench.view().token == bench.view().token


def test_a_page_names_the_run_the_step_and_the_keys() -> None:
    view = brought_to("grant", "RR/bleed").view()
    text = "\n".join(page(view, face(Panel(), view), None))
    for part in (
        "DEMONSTRATION",
        "revision 3",
        "right rear (1 of 4)",
        "step 8 of about 22",
        "NOW: Pump the granted strokes.",
        "6 pedal strokes, then look.",
        "keys: enter take 6 pedal strokes",
        "* HOLD",
    ):
        assert part in text


TEXT = brought_to("identify", "batch")
