"""What is read on the screen after the work: a leaf of text, or a list to choose from, and how it is laid out.

Each text is drawn as text. A list has a cursor, since somebody at a desk has the arrow keys, and a keypad sends the
same codes: 8 and 2 go up and down, 9 and 3 by the page, 7 and 1 to the ends.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from rich.cells import cell_len

from runner.screen.ink import EMPTY, Ink, Row, Rows, cells, cut, fit, spread, wrap, wrapped

_ROOMY = 66
"""Columns from which texts keep their indents."""
_HANGING = 2
_COLUMNS = re.compile(r"(?=.{1,30}\S)(?: *\S{1,16} {2,})+(?=\S)")
"""Short words with two spaces or more behind each: what is wrapped stands under what follows them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """An entry to choose: its text, what is quieter beside or under it, and the leaf that it opens.

    ``back`` closes so many leaves before that of the entry is opened.
    """

    text: str
    note: str = ""
    ink: Ink = "plain"
    to: Callable[[], Leaf]
    back: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """One thing to read. ``items`` can be chosen, ``lines`` are texts with their inks and follow them.

    ``at`` is the line or entry to begin at. ``keys`` are further keys with their word and the leaf each opens;
    ``field`` asks for a text, which ``typed`` takes. ``mark`` is said at the top, reversed.
    """

    title: str
    about: str = ""
    mark: str = ""
    lines: tuple[tuple[str, Ink], ...] = ()
    items: tuple[Item, ...] = ()
    at: int = 0
    keys: tuple[tuple[str, Item], ...] = ()
    field: str = ""
    typed: Callable[[str], Leaf] | None = None


@dataclass(frozen=True, slots=True)
class Laid:
    """A leaf on a terminal: its rows, where each entry begins and ends, where each line does, and the rows at once."""

    head: Rows
    body: Rows
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    texts: tuple[int, ...]
    room: int


def laid(leaf: Leaf, cursor: int, buffer: str, width: int, height: int) -> Laid:
    """The leaf at that size; the entry under the cursor is marked by a sign and not by colour alone."""
    body: list[Row] = []
    starts: list[int] = []
    ends: list[int] = []
    for number, item in enumerate(leaf.items):
        starts.append(len(body))
        body += _entry(item.text, item.note, item.ink, width, chosen=number == cursor)
        ends.append(len(body))
    if leaf.lines and leaf.items:
        body.append(EMPTY)
    rows, firsts = _text(leaf.lines, width)
    texts = tuple(len(body) + first for first in firsts)
    body += rows
    if leaf.field:
        body += [*wrapped(leaf.field, width, "strong"), ((f" {fit(buffer, width - 4)}_ ", "field"),)]
    head = _head(leaf, width)
    return Laid(head, tuple(body), tuple(starts), tuple(ends), texts, max(height - len(head) - 1, 1))


@lru_cache(4)
def _text(lines: tuple[tuple[str, Ink], ...], width: int) -> tuple[Rows, tuple[int, ...]]:
    """The rows of the lines, and the first row of each."""
    body: list[Row] = []
    starts: list[int] = []
    for text, ink in lines:
        starts.append(len(body))
        body += _hung(text, ink, width)
    return tuple(body), tuple(starts)


def drawn(leaf: Leaf, laid_out: Laid, top: int, width: int, height: int, *, first: bool) -> Rows:
    """The rows from ``top`` on, under the head and above the keys; where there is more, the last row says so."""
    shown = laid_out.body[top : top + laid_out.room]
    filler = (EMPTY,) * (laid_out.room - len(shown))
    last = min(top + laid_out.room, len(laid_out.body))
    more = f"{last * 100 // max(len(laid_out.body), 1)} %" if len(laid_out.body) > laid_out.room else ""
    rows = (*laid_out.head, *shown, *filler, _keys(leaf, width, more, first=first))
    return tuple(cut(row, width) for row in rows[-height:])


def _head(leaf: Leaf, width: int) -> Rows:
    mark: Row = ((f" {fit(leaf.mark, width // 2)} ", "demo"),) if leaf.mark else ()
    room = width - cells(mark) - 1
    title = spread(((fit(leaf.title, room), "strong"),), mark, width)
    return (title, *(((fit(leaf.about, width), "quiet"),),) * bool(leaf.about), (("─" * width, "rule"),))


def _hung(text: str, ink: Ink, width: int) -> Rows:
    """A line with its indent, its further rows under its text; on a narrow terminal with next to none."""
    if not text.strip():
        return (EMPTY,)
    if len(text) <= width and text.isascii() and text.isprintable() and width >= _ROOMY:
        return (((text, ink),),)
    bare = text.lstrip()
    indent = len(text) - len(bare)
    columns = _COLUMNS.match(text)
    under = columns.end() if columns is not None else 0
    if width < _ROOMY:
        indent, under = min(indent, _HANGING), 0
    rows = wrap(bare, width - max(indent, _HANGING)) or ("",)
    if under > indent:
        lead = text[:under]
        rest = wrap(text[under:], width - under) or ("",)
        return tuple((((lead if n == 0 else " " * under) + row, ink),) for n, row in enumerate(rest))
    return tuple(((" " * (indent if n == 0 else max(indent, _HANGING)) + row, ink),) for n, row in enumerate(rows))


@lru_cache(1 << 16)
def _entry(text: str, note: str, inked: Ink, width: int, *, chosen: bool) -> Rows:
    """An entry; its note stands beside it where both fit, else under it."""
    sign: Row = (("▶ ", "mark"),) if chosen else (("  ", "plain"),)
    lines = wrap(text, width - _HANGING) or ("",)
    ink: Ink = "strong" if chosen and inked == "plain" else inked
    rows: list[Row] = [(*(sign if n == 0 else (("  ", "plain"),)), (line, ink)) for n, line in enumerate(lines)]
    if note and len(lines) == 1 and cell_len(lines[0]) + cell_len(note) + _HANGING + 2 <= width:
        rows[0] = spread(rows[0], ((fit(note, width), "quiet"),), width)
    elif note:
        rows += [(("  ", "plain"), *row) for row in wrapped(note, width - _HANGING, "quiet")]
    return tuple(rows)


def _keys(leaf: Leaf, width: int, more: str, *, first: bool) -> Row:
    words = [f"{key} {item.text}" for key, item in leaf.keys]
    words += ["Enter take it"] if leaf.field else ["Enter open"] if leaf.items else ["8 2 9 3 move"]
    row: Row = ((" - leave " if first else " - back ", "refused"), ("  " + "  ".join(words), "quiet"))
    return spread(row, ((more, "quiet"),), width) if more else cut(row, width)
