"""What may be drawn: text, and nothing that a terminal obeys."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from runner.screen.ink import clean, fit, squeezed, wrap

HOSTILE = "a\x1b[31m\u202eb\x07\u200b\ud800\x9bc\ue000"


def test_a_text_loses_what_a_terminal_obeys_and_what_turns_it_round() -> None:
    assert clean(HOSTILE) == "a[31mbc"
    assert fit(HOSTILE, 20) == "a[31mbc"
    assert wrap(HOSTILE, 20) == ("a[31mbc",)


@given(st.text(max_size=60))
def test_no_text_has_a_control_left(text: str) -> None:
    assert not [c for c in clean(text) if unicodedata.category(c).startswith("C")]


def test_entries_that_begin_alike_are_told_apart_by_their_ends() -> None:
    long = "not so: the upper pin of the carrier is "
    assert squeezed(long + "clean", 34) == "not so: the … the carrier is clean"
    assert squeezed(long + "bent", 34) != squeezed(long + "clean", 34)
    assert squeezed("the pads are in", 34) == "the pads are in"
    assert squeezed("a" * 50, 10) == "a" * 9 + "…"


@given(st.text(max_size=80), st.integers(1, 40))
def test_an_entry_is_never_wider_than_its_row(text: str, width: int) -> None:
    assert cell_len(squeezed(text, width)) <= width
