"""Contrast by the formula of WCAG 2.2 (relative luminance); colours are asked of the running style sheet."""

from __future__ import annotations

from itertools import combinations

import pytest
from rich.color import Color, ColorSystem
from rich.style import Style

from runner.screen.app import Runner
from runner.screen.ink import INKS
from tests.screen.looks import BASE, stamp, turning


def luminance(color: Color) -> float:
    parts = [c / 255 for c in color.get_truecolor()]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(style: Style, system: ColorSystem) -> float:
    assert style.color is not None
    assert style.bgcolor is not None
    one, other = (luminance(c.downgrade(system)) for c in (style.color, style.bgcolor))
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


async def inks(monkeypatch: pytest.MonkeyPatch, **env: str) -> dict[str, Style]:
    for name in ("NO_COLOR", "COLORTERM", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in env.items():
        monkeypatch.setenv(name, value)
    _, do, peek = turning([BASE])
    app = Runner(BASE, do, peek, stamp)
    async with app.run_test(size=(80, 24)):
        return {ink: app._sheet.get_component_rich_style(ink) for ink in INKS}


@pytest.mark.parametrize("system", [ColorSystem.TRUECOLOR, ColorSystem.EIGHT_BIT])
async def test_every_pair_of_colours_has_a_contrast_of_seven_to_one(
    system: ColorSystem, monkeypatch: pytest.MonkeyPatch
) -> None:
    styles = await inks(monkeypatch, TERM="xterm-256color", COLORTERM="truecolor")
    least = {ink: round(contrast(style, system), 2) for ink, style in styles.items()}
    assert {ink: ratio for ink, ratio in least.items() if ratio < 7} == {}


async def test_safety_colours_are_those_of_the_words(monkeypatch: pytest.MonkeyPatch) -> None:
    styles = await inks(monkeypatch, TERM="xterm-256color", COLORTERM="truecolor")
    grounds = {word: styles[word].bgcolor for word in ("danger", "warning", "caution", "notice")}
    expected = {"danger": "#9b2423", "warning": "#ff7900", "caution": "#ffd100", "notice": "#005387"}
    assert {word: c.name for word, c in grounds.items() if c is not None} == expected


async def test_a_terminal_of_16_colours_gets_its_own_colours_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    styles = await inks(monkeypatch, TERM="linux")
    for style in styles.values():
        for color in (style.color, style.bgcolor):
            assert color is not None
            assert color.is_default or (color.number is not None and color.number < 16)
    pairs = [(styles[a].color, styles[a].bgcolor) for a in ("danger", "warning", "caution", "notice")]
    assert all(a != b for a, b in combinations(pairs, 2))


async def test_nothing_blinks_and_nothing_is_faint(monkeypatch: pytest.MonkeyPatch) -> None:
    for env in ({"TERM": "xterm-256color"}, {"TERM": "linux"}, {"TERM": "linux", "NO_COLOR": "1"}):
        for style in (await inks(monkeypatch, **env)).values():
            assert not style.blink
            assert not style.blink2
            assert not style.dim
