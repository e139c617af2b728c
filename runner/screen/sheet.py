"""The one widget: rows of inked text, of which only those that changed are drawn again.

One widget because each further one costs a key press a share of its time, and because the page decides itself
what gives way at 40 columns by 15 rows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from runner.screen.ink import EMPTY, INKS, Ink, Row, Rows, pad


class Sheet(Widget):
    """Shows the rows that ``paint`` returns for its width and height."""

    ALLOW_SELECT: ClassVar[bool] = False
    COMPONENT_CLASSES: ClassVar[set[str]] = set(INKS)

    def __init__(self, paint: Callable[[int, int], Rows]) -> None:
        super().__init__()
        self._paint = paint
        self._shown: Rows = ()
        self._strips: list[Strip] = []
        self._styles: dict[Ink, Style] = {}

    def redraw(self) -> None:
        """Paint anew and draw what differs."""
        width, height = self.size
        before, self._shown = self._shown, self._paint(width, height) if width and height else ()
        changed = [y for y in range(height) if y >= len(self._strips) or _row(before, y) != _row(self._shown, y)]
        self._strips += [Strip.blank(width)] * (height - len(self._strips))
        for y in changed:
            self._strips[y] = self._strip(_row(self._shown, y), width)
        if changed:
            self.refresh(*(Region(0, y, width, 1) for y in changed))

    def on_resize(self, _event: events.Resize) -> None:
        """Lay the page out for the new size."""
        self._strips = []
        self.redraw()

    def notify_style_update(self) -> None:
        """Take the inks anew from the style sheet."""
        super().notify_style_update()
        self._styles.clear()
        self._strips = []
        self.redraw()

    def render_lines(self, crop: Region) -> list[Strip]:
        """The rows as the terminal gets them; without the framework's box round each, which this sheet has not."""
        strips = self._strips[crop.y : crop.bottom]
        if crop.x or crop.width != self.size.width:
            strips = [strip.crop(crop.x, crop.right) for strip in strips]
        return strips + [Strip.blank(crop.width)] * (crop.height - len(strips))

    def _strip(self, row: Row, width: int) -> Strip:
        return Strip([Segment(text, self.ink(ink)) for text, ink in pad(row, width)], width)

    def ink(self, ink: Ink) -> Style:
        """How an ink looks on this terminal."""
        style = self._styles.get(ink)
        if style is None:
            style = self.get_component_rich_style(ink)
            # Not even the code for the default colour is sent where no colour is wanted.
            style = self._styles[ink] = style.without_color if self.app.no_color else style
        return style


def _row(rows: Rows, y: int) -> Row:
    return rows[y] if y < len(rows) else EMPTY
