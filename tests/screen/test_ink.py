"""What may be drawn: text, and nothing that a terminal obeys."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from runner.screen.ink import clean, fit, wrap

HOSTILE = "a\x1b[31m\u202eb\x07\u200b\ud800\x9bc\ue000"


def test_a_text_loses_what_a_terminal_obeys_and_what_turns_it_round() -> None:
    assert clean(HOSTILE) == "a[31mbc"
    assert fit(HOSTILE, 20) == "a[31mbc"
    assert wrap(HOSTILE, 20) == ("a[31mbc",)


@given(st.text(max_size=60))
def test_no_text_has_a_control_left(text: str) -> None:
    assert not [c for c in clean(text) if unicodedata.category(c).startswith("C")]
