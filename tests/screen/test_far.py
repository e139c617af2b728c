"""Angles recomputed from the formula of NUREG-0700 rev. 2, 1.3.1-4; a screen of 15.6 inch at 16:9
is 194 mm high (arithmetic)."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runner.core.panel import Panel
from runner.screen.far import LEAST_ARCMIN, MOST_ARCMIN, SHORT, arcmin, far, sign_mm
from runner.screen.glyphs import GLYPHS, HEIGHT, WIDTH, drawable, large
from runner.screen.ink import Rows, cells
from tests.screen.looks import LOOKS


def text(rows: Rows) -> str:
    return "\n".join("".join(t for t, _ in row).rstrip() for row in rows)


@pytest.mark.parametrize(
    ("height_mm", "distance_m", "expected"), [(9.31, 2, 16), (11.64, 2, 20), (13.96, 3, 16), (17.45, 3, 20)]
)
def test_the_visual_angle_is_that_of_the_exact_formula(height_mm: float, distance_m: float, expected: float) -> None:
    assert arcmin(height_mm, distance_m) == pytest.approx(expected, rel=1e-3)


def test_large_signs_on_a_laptop_of_40_rows_are_legible_from_two_and_a_half_metres() -> None:
    assert sign_mm(194, 40) == pytest.approx(17.0, abs=0.05)
    assert LEAST_ARCMIN <= arcmin(sign_mm(194, 40), 2.5) <= MOST_ARCMIN
    assert arcmin(sign_mm(194, 40), 2.9) == pytest.approx(20, abs=0.2)


def test_a_short_action_of_22_signs_fits_one_line_of_133_columns() -> None:
    assert len(large("M" * SHORT)[0]) <= 133


def test_every_sign_has_five_by_seven_dots_and_no_two_look_alike() -> None:
    assert all(len(rows) == HEIGHT and all(len(r) == WIDTH for r in rows) for rows in GLYPHS.values())
    assert len(set(GLYPHS.values())) == len(GLYPHS)
    assert all(set("".join(rows)) <= {"#", "."} for rows in GLYPHS.values())


@pytest.mark.parametrize(
    "unit", ["mm", "µm", "N·m", "°C", "°F", "mL", "L", "bar", "kPa", "psi", "in", "lbf·ft", "V", "Ω", "%"]
)
def test_the_units_of_the_trade_can_be_drawn(unit: str) -> None:
    assert drawable(unit)


def test_digits_and_capitals_can_be_drawn() -> None:
    assert drawable("0123456789 ABCDEFGHIJKLMNOPQRSTUVWXYZ .,:-+*/%?!")


@given(st.text(st.characters(codec="ascii"), max_size=12), st.integers(1, 2))
def test_signs_take_the_room_that_the_page_counts_with(word: str, scale: int) -> None:
    rows = large(word, scale)
    assert len(rows) == 4 * scale
    assert all(len(row) <= len(word) * 6 * scale for row in rows)
    assert set("".join(rows)) <= set(" ▀▄█")


def test_only_half_blocks_are_used_which_every_terminal_font_has() -> None:
    assert all(unicodedata.name(c).endswith(("UPPER HALF BLOCK", "LOWER HALF BLOCK", "FULL BLOCK")) for c in "▀▄█")


def test_the_page_says_at_which_angle_its_signs_stand_and_when_that_is_too_small() -> None:
    view = LOOKS["count"]
    assert "signs of 23' at 2.5 m" in text(far(view, Panel(far=True), 120, 40, 2.5, 194))
    assert "too small" in text(far(view, Panel(far=True), 120, 40, 12, 194))
    assert "too small" not in text(far(replace(view, short=("GO",)), Panel(far=True), 120, 60, 2.5, 194))


@pytest.mark.parametrize("look", ["warning", "danger", "cautions"])
@pytest.mark.parametrize(("width", "height"), [(40, 15), (80, 24), (120, 40)])
def test_a_safety_message_is_whole_beside_its_key_in_the_far_view_too(look: str, width: int, height: int) -> None:
    view = LOOKS[look]
    page = text(far(view, Panel(far=True, token=view.token), width, height, 2.5, 194))
    for message in view.cautions:
        if message.state != "later":
            assert message.word in page
            assert all(word in page for word in message.hazard.split())
    if look != "cautions":
        assert f"[{view.cautions[0].key}]" in page


@pytest.mark.parametrize("look", LOOKS)
@settings(max_examples=25)
@given(width=st.integers(20, 160), height=st.integers(8, 60))
def test_any_size_gets_a_whole_far_page(look: str, width: int, height: int) -> None:
    rows = far(LOOKS[look], Panel(far=True, buffer="22.4"), width, height, 2.5, 194)
    assert len(rows) == height
    assert all(cells(row) <= width for row in rows)
