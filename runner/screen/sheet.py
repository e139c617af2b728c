"""The one widget: rows of inked text, of which only those that changed are drawn again.

One widget because each further one costs a key press a share of its time, and because the page decides itself
what gives way at 40 columns by 15 rows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from rich.segment import Segment
from textual import events
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from runner.screen.ink import EMPTY, INKS, Row, Rows, pad


class Sheet(Widget):
    """Shows the rows that ``paint`` returns for its width and height."""

    ALLOW_SELECT: ClassVar[bool] = False
    COMPONENT_CLASSES: ClassVar[set[str]] = set(INKS)

    def __init__(self, paint: Callable[[int, int], Rows]) -> None:
        super().__init__()
        self._paint = paint
        self._shown: Rows = ()

    def redraw(self) -> None:
        """Paint anew and draw what differs."""
        width, height = self.size
        if not width or not height:
            return
        before, self._shown = self._shown, self._paint(width, height)
        changed = [y for y in range(height) if _row(before, y) != _row(self._shown, y)]
        if changed:
            self.refresh(*(Region(0, y, width, 1) for y in changed))

    def on_resize(self, _event: events.Resize) -> None:
        """Lay the page out for the new size."""
        self._shown = ()
        self.redraw()
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """One row as the terminal gets it."""
        width = self.size.width
        bare = self.app.no_color
        segments = []
        for text, ink in pad(_row(self._shown, y), width):
            style = self.get_component_rich_style(ink)
            segments.append(Segment(text, style.without_color if bare else style))
        return Strip(segments, width)


def _row(rows: Rows, y: int) -> Row:
    return rows[y] if y < len(rows) else EMPTY
