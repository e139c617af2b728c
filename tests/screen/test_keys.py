"""Codes of the keypad: application mode as in the DEC VT220 manual, the others as terminals send them (recalled)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.screen.keys import LEAVING, Decoder, Key, Paste, Report, name_of

APPLICATION = {
    **{b"\x1bO" + bytes([ord("p") + n]): str(n) for n in range(10)},
    b"\x1bOn": ".", b"\x1bOl": ".", b"\x1bOM": "enter", b"\x1bOk": "+", b"\x1bOm": "-", b"\x1bOj": "*", b"\x1bOo": "/",
}  # fmt: skip
NUMLOCK_OFF = {
    b"\x1b[H": "7", b"\x1b[A": "8", b"\x1b[5~": "9", b"\x1b[D": "4", b"\x1b[E": "5", b"\x1b[C": "6", b"\x1b[F": "1",
    b"\x1b[B": "2", b"\x1b[6~": "3", b"\x1b[2~": "0", b"\x1b[3~": ".",
    b"\x1bOH": "7", b"\x1bOA": "8", b"\x1bOD": "4", b"\x1bOE": "5", b"\x1bOC": "6", b"\x1bOF": "1", b"\x1bOB": "2",
    b"\x1b[1~": "7", b"\x1b[4~": "1", b"\x1b[7~": "7", b"\x1b[8~": "1", b"\x1b[G": "5",
    b"\x1b[1;2A": "8", b"\x1b[3;5~": ".",
}  # fmt: skip
NUMBERED = {
    b"\x1b[57404u": "5", b"\x1b[57409u": ".", b"\x1b[57414u": "enter", b"\x1b[57411u": "*", b"\x1b[57427u": "5",
    b"\x1b[13u": "enter", b"\x1b[13;1u": "enter", b"\x1b[27u": "esc", b"\x1b[127u": "backspace", b"\x1b[55u": "7",
    b"\x1b[44u": ",", b"\x1b[99;5u": "ctrl+c", b"\x1b[27;5;113~": "ctrl+q", b"\x1b[97;1;65u": "A",
    b"\x1b[57404;1:1u": "5",
}  # fmt: skip
PLAIN = {bytes([c]): chr(c) for c in b"0123456789.,+-*/aZ"} | {
    b"\r": "enter", b"\n": "enter", b"\x7f": "backspace", b"\x08": "backspace",
    b"\x03": "ctrl+c", b"\x11": "ctrl+q", "µ".encode(): "µ",
}  # fmt: skip
NOTHING = [
    b"\x1b[99999999u", b"\x1b[999999999999999999999u", b"\x1b[u", b"\x1b[;;u", b"\x1b[-1u", b"\x1b[55296u", b"\x1b[0u",
    b"\xff\xfe", b"\xc3", b"\x80", b"\x00", b"\t", b"\x1b[I", b"\x1b[O", b"\x1bOP", b"\x1b[[A", b"\x1b[15~",
    b"\x1b[<0;3;4M",
    b"\x1b[57404;1:3u", b"\x1b[12;40R", b"\x1b]11;rgb:0000/0000/0000\x1b\\", b"\x1bP1$r0m\x1b\\", b"\x1ba",
]  # fmt: skip


def read(*chunks: bytes) -> list[str]:
    decoder = Decoder()
    signals = [signal for chunk in chunks for signal in decoder.feed(chunk)]
    if decoder.waiting:
        signals += decoder.settle()
    return [signal.name for signal in signals if isinstance(signal, Key)]


@pytest.mark.parametrize(("data", "key"), [*(APPLICATION | NUMLOCK_OFF | NUMBERED | PLAIN).items()], ids=repr)
def test_every_code_of_the_keypad_is_the_key_that_is_printed_on_it(data: bytes, key: str) -> None:
    assert read(data) == [key]


@pytest.mark.parametrize("data", NOTHING, ids=repr)
def test_a_code_that_is_no_key_does_nothing_and_the_next_key_counts(data: bytes) -> None:
    assert read(data, b"7") == ["7"]


@pytest.mark.parametrize("data", [*APPLICATION, *NUMLOCK_OFF, *NUMBERED], ids=repr)
def test_a_code_that_arrives_byte_by_byte_is_the_same_key(data: bytes) -> None:
    assert read(*(data[n : n + 1] for n in range(len(data)))) == read(data)


def test_escape_alone_is_the_esc_key_once_nothing_follows() -> None:
    assert read(b"\x1b") == ["esc"]
    assert read(b"\x1b\x1b") == ["esc", "esc"]


def test_a_hold_is_a_hold_even_with_alt() -> None:
    assert read(b"\x1b*") == ["*"]


def test_what_is_pasted_is_text_and_never_a_key() -> None:
    decoder = Decoder()
    signals = (*decoder.feed(b"\x1b[200~ab\r1"), *decoder.feed(b"2\x1b[A*\x1b[201~9"))
    assert signals == (Paste("ab12[A*"), Key("9"))


def test_answers_of_the_terminal_are_told_from_keys() -> None:
    assert Decoder().feed(b"\x1b[?2026;2$y") == (Report("\x1b[?2026;2$y"),)


@given(st.lists(st.binary(max_size=40), max_size=6))
def test_no_bytes_raise_or_bring_anything_but_a_key_or_text(chunks: list[bytes]) -> None:
    for name in read(*chunks):
        assert name in LEAVING or name in ("enter", "esc", "backspace") or (len(name) == 1 and name.isprintable())


@given(st.lists(st.sampled_from([*APPLICATION, *NUMLOCK_OFF, *PLAIN]), max_size=12), st.data())
def test_keys_do_not_depend_on_where_the_stream_is_cut(codes: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(codes)
    cut = data.draw(st.integers(0, len(stream)))
    assert read(stream[:cut], stream[cut:]) == read(stream)


@given(st.binary(min_size=300, max_size=600))
def test_the_buffer_does_not_grow_for_ever(data: bytes) -> None:
    decoder = Decoder()
    for _ in range(20):
        decoder.feed(b"\x1b[" + data)
    assert len(decoder._text) < 5000


@pytest.mark.parametrize(
    ("key", "character", "name"),
    [("home", None, "7"), ("delete", None, "."), ("escape", "\x1b", "esc"), ("enter", "\r", "enter"),
     ("asterisk", "*", "*"), ("f1", None, None), ("ctrl+q", "\x11", "ctrl+q"), ("tab", "\t", None)],
)  # fmt: skip
def test_events_of_other_drivers_mean_the_same_keys(key: str, character: str | None, name: str | None) -> None:
    assert name_of(key, character) == name
