"""Words and shapes carry what colours carry, for whoever sees no colours."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from runner.core.view import Line, Status, Timer
from runner.screen import head, side
from tests.screen.looks import BASE


def test_a_step_says_its_status_in_a_word_and_by_a_shape() -> None:
    shapes = {}
    for word in get_args(Status):
        row = side.status_row(Line(status=word, path="", title="Push the hose on."), 60)
        shown = "".join(text for text, _ in row)
        assert word in shown.split()
        shapes[word] = shown[0]
    assert len({shapes[word] for word in ("DONE", "NOW", "NEXT", "STOPPED")}) == 4


@pytest.mark.parametrize(
    ("kind", "word"),
    [
        ("refused", "NOT ACCEPTED"), ("fail", "FAIL"), ("too close to call", "TOO CLOSE TO CALL"),
        ("torn", "RECORD TORN"), ("not recorded", "NOT RECORDED"), ("note", "NOTE"),
    ],
)  # fmt: skip
def test_an_alert_begins_with_a_word_of_its_own(kind: str, word: str) -> None:
    view = replace(BASE, alert=("24.1 mm, limit 26.0 mm.",), alert_kind=kind)
    rows = head.alert(view, 60)
    assert "".join(text for text, _ in rows[0]).split()[: len(word.split())] == word.split()


def test_what_a_timer_is_for_is_never_cut_off_and_over_is_said_once() -> None:
    rows = side.timers(
        (Timer(text="after this the level is not known", left_s=140), Timer(text="soak: over", left_s=0)), 38
    )
    text = ["".join(part for part, _ in row) for row in rows]
    assert " ".join(" ".join(text).split()) == "2:20 after this the level is not known over soak"
    assert max(map(len, text)) <= 38


@pytest.mark.parametrize(("section", "person"), [("right rear", True), ("Park and secure the car before work", False)])
def test_which_car_it_is_stands_whole_on_the_narrowest_page(section: str, person: bool) -> None:
    view = replace(BASE, car="Saltmarsh 7", by="KS", section=section, where="")
    row = "".join(text for text, _ in head.header(view, 40)[1])
    assert "Saltmarsh 7" in row
    assert ("KS" in row) == person
    assert len(row) <= 40
