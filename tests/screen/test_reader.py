"""Leaves on the screen: they open one another by the keys of a keypad, and every text on them is text."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from runner.screen.ink import cells
from runner.screen.leaf import Item, Leaf, drawn, laid
from runner.screen.reader import Reader

Shown = Callable[[Any], str]
SIZES = [(40, 15), (80, 24)]
HOSTILE = "[bold red]a[/] \x1b[2J\x1b]0;title\x07 {x} \u202eb"


def story(count: int = 60) -> Leaf:
    said = "of the story, with words enough to be wrapped at 40 columns"
    lines = tuple((f"{n:>5}  08:00:01  KS    line {n} {said}", "plain") for n in range(1, count + 1))
    return Leaf(title="run-1", lines=lines, at=30)  # type: ignore[arg-type]


def runs(count: int = 12) -> Leaf:
    items = tuple(Item(text=f"run number {n}", note=f"on car {n}", to=story) for n in range(1, count + 1))
    asked = Item(text="ask", to=lambda: Leaf(title="ask across runs"))
    return Leaf(title="records", items=items, keys=(("*", asked),))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("keys", [("2", "2"), ("down", "down"), ("2", "2", "2", "8")])
async def test_the_keys_that_a_keypad_and_arrows_have_in_common_move_and_open(
    shown: Shown, size: tuple[int, int], keys: tuple[str, ...]
) -> None:
    opened: list[int] = []
    items = tuple(Item(text=f"run number {n}", to=lambda n=n: opened.append(n) or story()) for n in range(1, 6))  # type: ignore[misc]
    app = Reader(Leaf(title="records", items=items))
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        assert "▶ run number 3" in shown(app)
        await pilot.press("enter")
        await pilot.pause()
        assert opened == [3]
        assert "line 31 of the" in shown(app)


@pytest.mark.parametrize("size", SIZES)
async def test_the_entry_under_the_cursor_is_always_on_the_screen(shown: Shown, size: tuple[int, int]) -> None:
    app = Reader(runs(40))
    async with app.run_test(size=size) as pilot:
        for key in (*["2"] * 25, "3", "3", "9", "1", "8", "8", "8", "7", "plus"):
            await pilot.press(key)
            await pilot.pause()
            assert shown(app).count("▶") == 1, key


async def test_a_text_is_read_page_by_page_and_nothing_of_it_is_left_out(shown: Shown) -> None:
    app = Reader(story())
    seen: set[int] = set()
    async with app.run_test(size=(40, 15)) as pilot:
        await pilot.press("7")
        for _ in range(30):
            await pilot.pause()
            text = shown(app).replace("\n", " ")
            seen |= {n for n in range(1, 61) if f" line {n} " in text}
            await pilot.press("3")
        assert seen == set(range(1, 61))
        assert "100 %" in shown(app)


async def test_back_closes_one_leaf_after_the_other_and_then_leaves(shown: Shown) -> None:
    app = Reader(runs())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("2", "enter", "minus")
        await pilot.pause()
        assert "▶ run number 2" in shown(app), "where it was left"
        await pilot.press("asterisk")
        await pilot.pause()
        assert "ask across runs" in shown(app)
        await pilot.press("escape", "minus")
        await pilot.pause()
    assert app.return_code == 0


async def test_a_chosen_filter_closes_the_lists_that_led_to_it(shown: Shown) -> None:
    def narrowed() -> Leaf:
        return Leaf(title="narrowed")

    values = Leaf(title="values", items=(Item(text="one", to=narrowed, back=2),))
    app = Reader(Leaf(title="records", items=(Item(text="filter", to=lambda: values),)))
    async with app.run_test(size=(40, 15)) as pilot:
        await pilot.press("enter", "enter")
        await pilot.pause()
        assert "narrowed" in shown(app)
        assert " - leave " in shown(app)


async def test_a_text_that_is_asked_for_is_typed_mended_and_taken(shown: Shown) -> None:
    taken: list[str] = []

    def typed(text: str) -> Leaf:
        taken.append(text)
        return Leaf(title="compared")

    app = Reader(
        Leaf(title="records", items=(Item(text="paper", to=lambda: Leaf(title="p", field="letters:", typed=typed)),))
    )
    async with app.run_test(size=(40, 15)) as pilot:
        await pilot.press("enter", "A", "B", "C", "X", "backspace", "minus", "2")
        await pilot.pause()
        assert "ABC-2_" in shown(app)
        await pilot.press("enter")
        await pilot.pause()
        assert taken == ["ABC-2"]
        assert "compared" in shown(app)


@pytest.mark.parametrize("size", SIZES)
async def test_no_text_is_taken_for_markup_or_obeyed(shown: Shown, size: tuple[int, int]) -> None:
    item = Item(text=HOSTILE, note=HOSTILE, to=story)
    app = Reader(Leaf(title=HOSTILE, about=HOSTILE, mark=HOSTILE, lines=((HOSTILE, "plain"),), items=(item,)))
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        text = shown(app)
    assert text.count("[bold red]a[/]") >= 3
    assert not [c for c in text if (c < " " and c != "\n") or c in "\u202e\x1b"]


@pytest.mark.parametrize("width", [20, 40, 66, 80, 200])
@pytest.mark.parametrize("height", [4, 15, 24])
def test_a_leaf_fills_its_terminal_and_no_more(width: int, height: int) -> None:
    wide = Leaf(
        title="記録" * 30, lines=(("記録" * 40, "plain"),), items=(Item(text="記" * 50, note="録" * 50, to=story),)
    )
    for leaf in (runs(), story(), wide, Leaf(title="x", field="letters:")):
        page = laid(leaf, 0, "A" * 90, width, height)
        rows = drawn(leaf, page, 0, width, height, first=True)
        assert len(rows) == height
        assert max(map(cells, rows)) <= width


async def test_without_colour_nothing_is_told_by_colour_alone(shown: Shown, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = Reader(runs())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        styles = [s.style for strip in app.screen._compositor.render_strips() for s in strip if s.style]
        assert not [style for style in styles if style.color or style.bgcolor]
        assert "▶ run number 1" in shown(app)


def test_what_is_wrapped_stands_under_its_own_column_where_there_is_room_for_it() -> None:
    leaf = Leaf(title="x", lines=(("    7  08:00:25  KS    " + "word " * 30, "plain"),))
    wide = ["".join(text for text, _ in row) for row in laid(leaf, 0, "", 80, 24).body]
    assert wide[0].startswith("    7  08:00:25  KS    word word")
    assert [row[:27] for row in wide[1:]] == [" " * 23 + "word"] * 2
    narrow = ["".join(text for text, _ in row) for row in laid(leaf, 0, "", 40, 15).body]
    assert narrow[0].startswith("  7  08:00:25  KS    word")
    assert narrow[1].startswith("  word word word")
    assert " ".join(" ".join(narrow).split()) == " ".join(leaf.lines[0][0].split())
