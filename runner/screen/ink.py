"""Rows of text with inks, the only thing that is drawn. Text goes in as text: never markup, never an escape."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Literal

from rich.cells import cell_len, set_cell_size
from textual.content import Content

Ink = Literal[
    "plain", "strong", "quiet", "mark", "now", "key", "field", "rule", "level", "maybe",
    "danger", "warning", "caution", "notice", "pass", "fail", "unsure", "refused", "demo",
]  # fmt: skip
INKS: tuple[Ink, ...] = (
    "plain", "strong", "quiet", "mark", "now", "key", "field", "rule", "level", "maybe",
    "danger", "warning", "caution", "notice", "pass", "fail", "unsure", "refused", "demo",
)  # fmt: skip
"""What a stretch of text means; the style sheet says how that looks in full colour, 16 colours and none."""

Span = tuple[str, Ink]
Row = tuple[Span, ...]
Rows = tuple[Row, ...]
EMPTY: Row = ()


@lru_cache(4096)
def clean(text: str) -> str:
    """The text without control, direction, private and surrogate characters."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(c for c in text if unicodedata.category(c)[0] != "C")


@lru_cache(2048)
def wrap(text: str, width: int) -> tuple[str, ...]:
    """The text in lines of at most so many cells, broken between words where it can be."""
    return tuple(line.plain.rstrip() for line in Content(clean(text)).wrap(max(width, 1)))


def wrapped(text: str, width: int, ink: Ink = "plain") -> Rows:
    """The wrapped text as rows of one ink."""
    return tuple(((line, ink),) for line in wrap(text, width)) if text else ()


def cells(row: Row) -> int:
    """How many cells the row takes."""
    return sum([cell_len(text) for text, _ in row])


def fit(text: str, width: int) -> str:
    """The text in so many cells; what is cut off is shown as cut off."""
    text = clean(text)
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, max(width - 1, 0)) + "…"[:width]


def squeezed(text: str, width: int) -> str:
    """The text in so many cells with its first and its last words, which tell one entry of a list from the next."""
    text = clean(text)
    if cell_len(text) <= width:
        return text
    words = text.split()
    first, last = 0, 0
    while first + last < len(words):
        # The last words are more: a list of things begins alike and ends differently.
        grown = (first + 1, last) if first < last else (first, last + 1)
        if cell_len(_squeezed(words, *grown)) > width:
            break
        first, last = grown
    return _squeezed(words, first, last) if first and last else fit(text, width)


def _squeezed(words: list[str], first: int, last: int) -> str:
    return " ".join((*words[:first], "…", *words[len(words) - last :]))


def tail(text: str, width: int) -> str:
    """The end of a text in so many cells."""
    if cell_len(text) <= width:
        return text
    while cell_len(text) >= max(width, 1):
        text = text[1:]
    return "…" + text


def pad(row: Row, width: int, ink: Ink = "plain") -> Row:
    """The row in exactly so many cells."""
    spare = width - cells(row)
    if spare < 0:
        return cut(row, width)
    return (*row, (" " * spare, ink)) if spare else row


def cut(row: Row, width: int) -> Row:
    """The beginning of the row in at most so many cells."""
    kept: list[Span] = []
    for text, ink in row:
        size = cell_len(text)
        kept.append((text if size <= width else set_cell_size(text, width), ink))
        width -= size
        if width <= 0:
            break
    return tuple(kept)


def spread(left: Row, right: Row, width: int) -> Row:
    """Two texts at the two ends of a row; the left one gives way."""
    room = width - cells(right)
    return cut((*pad(cut(left, max(room - 1, 0)), max(room, 0)), *right), width)


def beside(left: Rows, right: Rows, width: int) -> Rows:
    """Two columns, the left one so many cells wide."""
    height = max(len(left), len(right))
    return tuple(
        (*pad(left[y] if y < len(left) else EMPTY, width), *(right[y] if y < len(right) else EMPTY))
        for y in range(height)
    )
