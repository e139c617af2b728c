"""What stands round the step: the car from above, levels, timers, steps done and to come."""

from __future__ import annotations

from math import ceil
from typing import Final

from runner.core.view import CarPlan, Gauge, Line, Status, Timer, View
from runner.screen.ink import EMPTY, Ink, Row, Rows, Span, fit, wrap, wrapped

_SIGN: Final[dict[Status, tuple[str, Ink]]] = {
    "DONE": ("╪", "mark"), "NOW": ("╂", "now"), "NEXT": ("┼", "quiet"), "N/A": ("·", "quiet"),
    "STOPPED": ("■", "fail"),
}  # fmt: skip
_TALL: Final = 7


def status_row(line: Line, width: int) -> Row:
    """A step in one row: its status in a word and a shape."""
    note = f" ({line.note})" if line.note else ""
    state = status(line)
    text = fit(line.title + note, max(width - len(state[0]) - 1, 1))
    shown: Ink = "strong" if line.status == "NOW" else "plain" if line.status == "DONE" else "quiet"
    return (state, (" " + text, shown))


def status(line: Line) -> Span:
    """The status of a step: a shape and a word."""
    sign, ink = _SIGN[line.status]
    return f"{sign} {line.status:<4}", ink


def trail(view: View, width: int, before: int, after: int) -> Rows:
    """The last steps done, the one now and the next ones, in the order of the work."""
    stopped = view.kind in ("held", "safe stop")
    now = Line(status="STOPPED" if stopped else "NOW", path="", title=view.headline)
    lines = (*(view.trail[-before:] if before else ()), now, *view.ahead[:after])
    return tuple(status_row(line, width) for line in lines)


def plan(car: CarPlan, width: int) -> Rows:
    """The car from above, front up, its own left on the left; what is open or done at each corner under it."""
    if width < 24 or not (car.now or car.marks or car.steering):
        return ()
    marked = {corner for corner, _ in car.marks}
    wheel = {"left": "◎       ", "right": "       ◎"}.get(car.steering, "        ")
    rows: list[Row] = [
        (("its left  ", "quiet"), ("front", "strong"), ("  its right", "quiet")),
        _axle("LF", "RF", "╭────────╮", car, marked),
        (("       ", "plain"), (f"│{wheel}│", "rule")),
        (("       ", "plain"), ("│        │", "rule")),
        _axle("LR", "RR", "╰────────╯", car, marked),
    ]
    for corner, text in car.marks:
        rows += wrapped(f"{corner} {text}", width)
    return tuple(rows)


def _axle(left: str, right: str, body: str, car: CarPlan, marked: set[str]) -> Row:
    def tyre(corner: str) -> tuple[str, Ink]:
        if corner == car.now:
            return corner, "now"
        return corner, "strong" if corner in marked else "quiet"

    def wheel(corner: str) -> str:
        return "◀▶"[corner[0] == "R"] if corner == car.now else "○" if corner in marked else "▮"

    here: dict[bool, Ink] = {True: "mark", False: "rule"}
    return (
        ("  ", "plain"), tyre(left), (" " + wheel(left) + " ", here[left == car.now]), (body, "rule"),
        (" " + wheel(right) + " ", here[right == car.now]), tyre(right),
    )  # fmt: skip


def timers(running: tuple[Timer, ...], width: int) -> Rows:
    """Waits that run, with the time that is left."""
    rows: list[Row] = []
    for timer in running:
        over = timer.left_s <= 0
        left = " over " if over else f" {timer.left_s // 60}:{timer.left_s % 60:02} "
        lines = wrap(timer.text.removesuffix(": over"), width - len(left) - 1) or ("",)
        rows.append(((left, "pass" if over else "now"), (" " + lines[0], "plain")))
        rows += [(("  " + line, "plain"),) for line in lines[1:]]
    return tuple(rows)


def vessel(gauge: Gauge, width: int) -> Rows:
    """A level upright: sure of up to the least, perhaps up to the most, its marks at their heights."""
    if gauge.least is None or gauge.most is None:
        return strip(gauge, width)
    sure, may = _down(gauge.least, _TALL), _up(gauge.most, _TALL)
    marks = {max(_up(at, _TALL), 1): fit(name, 9) for name, at in gauge.marks}
    rows: list[Row] = [((fit(gauge.name, width), "strong"),)]
    for high in range(_TALL, 0, -1):
        name = marks.get(high, "")
        fill: Span = ("█████", "level") if high <= sure else ("▒▒▒▒▒", "maybe") if high <= may else ("     ", "plain")
        rows.append(((f"{name:>9} ", "plain"), ("┤" if name else "│", "rule"), fill, ("│", "rule")))
    rows.append(((" " * 10, "plain"), ("└─────┘", "rule")))
    return (*rows, *wrapped(gauge.text, width))


def _down(part: float, cells: int) -> int:
    """Whole cells that a part of them surely fills."""
    return min(max(int(part * cells + 1e-9), 0), cells)


def _up(part: float, cells: int) -> int:
    """Cells that a part of them at most reaches into."""
    return min(max(ceil(part * cells - 1e-9), 0), cells)


def strip(gauge: Gauge, width: int) -> Rows:
    """A level lying down: one row with the brim at the right, one row with its words."""
    long = min(width - 2, 38)
    if gauge.least is None or gauge.most is None:
        bar: Row = (("▕", "rule"), ("?" * long, "quiet"), ("▏", "rule"))
    else:
        sure = _down(gauge.least, long)
        may = max(_up(gauge.most, long) - sure, 0)
        empty = "·" * (long - sure - may)
        bar = (("▕", "rule"), ("█" * sure, "level"), ("▒" * may, "maybe"), (empty, "rule"), ("▏", "rule"))
    marks = [" "] * (long + 2)
    for name, at in gauge.marks:
        place = min(max(int(at * long) + 1 - len(name) // 2, 0), long + 2 - len(name))
        marks[place : place + len(name)] = name
    under: Row = (("".join(marks).rstrip(), "quiet"),) if gauge.marks else EMPTY
    named = wrapped(gauge.text if gauge.name in gauge.text else f"{gauge.name}: {gauge.text}", width)
    return (*named, bar, under) if under else (*named, bar)


def listed(title: str, names: tuple[str, ...], width: int, *, one_row: bool = False) -> Rows:
    """A few names under a title, whole or each cut to one row; empty if there are none."""
    if not names:
        return ()
    rows: list[Row] = [((title, "strong"),)]
    for name in names:
        for n, line in enumerate((fit(name, width - 2),) if one_row else wrap(name, width - 2)):
            rows.append((("○ " if n == 0 else "  ", "plain"), (line, "plain")))
    return tuple(rows)
