"""The records on the screen: leaves that are opened one over the other, and closed again."""

from __future__ import annotations

from dataclasses import dataclass

from runner.screen.ink import Rows, clean
from runner.screen.leaf import Item, Laid, Leaf, drawn, laid
from runner.screen.surface import Surface

_LONGEST = 80
_BACK = frozenset({"-", "esc", "backspace", "4", "q"})
_OPEN = frozenset({"enter", "6"})
_STEPS = {"8": -1, "2": 1}
_LEAVING = frozenset({"ctrl+c", "ctrl+q", "ctrl+d"})


@dataclass(slots=True)
class _Open:
    """A leaf that is open, where its cursor stands, and the first row that is shown."""

    leaf: Leaf
    cursor: int = 0
    top: int = 0
    sought: bool = True


class Reader(Surface):
    """Leaves from ``first`` on, until that one is left; nothing is written."""

    def __init__(self, first: Leaf) -> None:
        super().__init__()
        self._stack = [_Open(first, cursor=first.at)]
        self._buffer = ""

    def rows(self, width: int, height: int) -> Rows:
        """The leaf that is on top."""
        now = self._stack[-1]
        page = laid(now.leaf, now.cursor, self._buffer, width, height)
        now.top = _top(now, page)
        return drawn(now.leaf, page, now.top, width, height, first=len(self._stack) == 1)

    def paste(self, text: str) -> None:
        """Pasted text is typed where a text is asked for, and goes nowhere else."""
        if self._stack[-1].leaf.field:
            self._buffer = (self._buffer + clean(text))[:_LONGEST]
            self._sheet.redraw()

    def key(self, name: str | None) -> None:
        """A key moves, opens or closes."""
        if name is None or self._exit:
            return
        now = self._stack[-1]
        if name in _LEAVING:
            self.exit(return_code=0)
        elif now.leaf.field and name not in ("esc",):
            self._type(now.leaf, name)
        elif name in _BACK:
            self._close(1)
        elif name in _OPEN and now.leaf.items:
            self._open(now.leaf.items[now.cursor])
        elif (item := dict(now.leaf.keys).get(name)) is not None:
            self._open(item)
        else:
            self._move(now, name)
        self._sheet.redraw()

    def _type(self, leaf: Leaf, name: str) -> None:
        if name == "backspace" and self._buffer:
            self._buffer = self._buffer[:-1]
        elif name == "backspace" or (name == "-" and not self._buffer):
            self._close(1)
        elif name == "enter" and leaf.typed is not None:
            typed, self._buffer = self._buffer, ""
            self._stack[-1] = _Open(leaf.typed(typed))
        elif len(name) == 1:
            self._buffer = (self._buffer + name)[:_LONGEST]

    def _open(self, item: Item) -> None:
        leaf = item.to()
        del self._stack[max(len(self._stack) - item.back, 0) :]
        self._stack.append(_Open(leaf, cursor=leaf.at))

    def _close(self, count: int) -> None:
        self._buffer = ""
        if len(self._stack) <= count:
            self.exit(return_code=0)
        else:
            del self._stack[-count:]
            self._stack[-1].sought = True

    def _move(self, now: _Open, name: str) -> None:
        page = laid(now.leaf, now.cursor, self._buffer, self.size.width, self.size.height)
        if name in _STEPS and now.leaf.items:
            now.cursor = min(max(now.cursor + _STEPS[name], 0), len(now.leaf.items) - 1)
            now.sought = True
            return
        last = max(len(page.body) - page.room, 0)
        by_page = {"9": -page.room, "3": page.room, "+": page.room, "7": -len(page.body), "1": len(page.body)}
        now.top = min(max(now.top + (_STEPS | by_page).get(name, 0), 0), last)
        now.sought = False
        shown = [n for n, start in enumerate(page.starts) if now.top <= start and page.ends[n] <= now.top + page.room]
        if shown and now.cursor not in shown:
            now.cursor = shown[-1] if name == "1" else shown[0]


def _top(now: _Open, page: Laid) -> int:
    """The first row to show: that of the line that was sought, or so that the entry under the cursor is seen."""
    top = now.top
    if now.sought and now.leaf.items:
        first, end = page.starts[now.cursor], page.ends[now.cursor]
        top = min(max(top, end - page.room), first)
    elif now.sought and page.texts:
        top = page.texts[min(now.cursor, len(page.texts) - 1)]
    return min(max(top, 0), max(len(page.body) - page.room, 0))
