"""The far page: the few words, the value and the key of now in large signs, for somebody metres away.

Angles: a sign of height h at distance d subtends 2 atan(h / 2d) (NUREG-0700 rev. 2, 1.3.1-4): at least 16 minutes
of arc, 20 to 22 preferred, no group above 45.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, degrees

from runner.core.hazard import Word, highest
from runner.core.panel import Panel
from runner.core.view import View
from runner.screen import gate
from runner.screen.glyphs import HEIGHT, PITCH, large
from runner.screen.head import header
from runner.screen.ink import EMPTY, Ink, Row, Rows, fit, wrap, wrapped
from runner.screen.page import near

LEAST_ARCMIN = 16.0
MOST_ARCMIN = 45.0
SHORT = 22
"""Signs in a line of a short action."""
_WITH_BANNER = 24
"""Rows that a page with a large word needs."""
_FEWEST = 12
"""Rows that are kept for large signs before answers are listed under them in small ones."""


def arcmin(height_mm: float, distance_m: float) -> float:
    """The visual angle of a height in minutes of arc."""
    return degrees(2 * atan(height_mm / (2 * distance_m * 1000))) * 60


def sign_mm(screen_mm: float, rows: int, scale: int = 1) -> float:
    """The height of a large sign on a screen of this height with so many rows of text."""
    return screen_mm / rows * HEIGHT / 2 * scale


@dataclass(frozen=True, slots=True)
class _Item:
    """A piece of the far page; the lowest ``rank`` is enlarged first."""

    text: tuple[str, ...]
    ink: Ink
    rank: int

    def large(self, width: int, scale: int) -> Rows:
        across = max((width + 1) // (PITCH * scale), 1)
        lines = [line for text in self.text for line in wrap(text, min(across, SHORT))]
        return tuple(((row, self.ink),) for line in lines for row in large(line, scale))

    def plain(self, width: int) -> Rows:
        return tuple(row for text in self.text for row in wrapped(text, width, "strong"))


def far(view: View, panel: Panel, width: int, height: int, distance_m: float, screen_mm: float) -> Rows:
    """The far page, exactly so many rows: what matters most is enlarged first, the rest stays plain text.

    A safety message is read near by: its word is large, its text and the key inside it are not.
    """
    if reads_near(view):
        return _called(view, panel, width, height)
    top = header(view, width)
    answers = gate.answers(view.options, panel.page, width, tight=True)
    room = height - len(top) - 1
    below = (*(answers if len(answers) + _FEWEST <= room else ()), *wrapped(panel.say, width, "strong"))
    room -= len(below)
    items = _items(view, panel)
    scale = 1
    drawn = _drawn(items, width, room, scale)
    if arcmin(sign_mm(screen_mm, height), distance_m) < LEAST_ARCMIN:
        twice = _drawn(items, width, room, 2)
        if len(twice[1]) == len(drawn[1]):
            scale, drawn = 2, twice
    rows, enlarged = drawn
    angle = arcmin(sign_mm(screen_mm, height, scale), distance_m)
    verdict = "" if angle >= LEAST_ARCMIN else ": too small, use a larger font"
    foot = f"signs of {angle:.0f}' at {distance_m:g} m{verdict}"
    if len(enlarged) < len(items):
        foot += ", small text: too narrow or too low"
    filler = (EMPTY,) * max(room - len(rows), 0)
    last: Row = ((" * HOLD ", "refused"), ("  " + fit(foot, width - 10), "quiet"))
    return (*top, *rows[:room], *filler, *below, last)


def reads_near(view: View) -> bool:
    """Whether there is text that must be read now: the far page is then the near one."""
    return view.kind == "summary" or bool(_owed(view))


def _owed(view: View) -> list[Word]:
    return [c.word for c in view.cautions if c.state in ("owed", "together")]


def _called(view: View, panel: Panel, width: int, height: int) -> Rows:
    """The near page, under the signal word in large signs where there is one and room for both."""
    word = highest(owed) if (owed := _owed(view)) else ""
    if not word or len(word) * PITCH > width or height < _WITH_BANNER:
        return near(view, panel, width, height)
    banner: Rows = tuple(((row, "strong"),) for row in large(word))
    rows = near(view, panel, width, height - len(banner))
    return (*rows[:2], *banner, *rows[2:])


def _drawn(items: list[_Item], width: int, room: int, scale: int) -> tuple[Rows, set[int]]:
    """The rows of all items, and the ranks of those that could be enlarged."""
    pieces = {item.rank: item.plain(width) for item in items}
    enlarged: set[int] = set()
    for item in sorted(items, key=lambda i: i.rank):
        tried = item.large(width, scale)
        others = sum(len(rows) for rank, rows in pieces.items() if rank != item.rank)
        if len(tried) + others <= room:
            pieces[item.rank] = tried
            enlarged.add(item.rank)
    return tuple(row for item in items for row in pieces[item.rank]), enlarged


def _items(view: View, panel: Panel) -> list[_Item]:
    grave = view.alert_kind in ("fail", "torn", "not recorded")
    all_items = (
        _Item((view.alert_kind.upper(),) if view.alert else (), "fail" if grave else "strong", 0),
        _Item((f"STEP {view.step_n}/{view.steps}",) if view.steps else (), "quiet", 4),
        _Item(view.short, "strong", 2),
        _Item((_value(view, panel),), "mark", 1),
        _Item((_keys(view),), "mark", 3),
    )
    return [item for item in all_items if any(item.text)]


def _value(view: View, panel: Panel) -> str:
    """What is being typed, else what runs out, else what matters."""
    if view.field is not None and panel.buffer:
        _, unit = view.field.ways[panel.way % len(view.field.ways)]
        return f"{panel.buffer} {unit}".rstrip()
    running = next((t.left_s for t in view.timers if t.left_s > 0), None)
    return view.big if running is None else f"{running // 60}:{running % 60:02}"


def _keys(view: View) -> str:
    if view.options:
        return "KEY " + " ".join(o.key for o in view.options[:9] if o.key.isdigit())
    if view.field is not None and view.enter is None:
        return "TYPE IT"
    return "ENTER" if view.enter is not None else ""
