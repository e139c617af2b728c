"""Every key of the keypad, what it does now, and the one act that may come of it.

Rules of this module
1. Keys are the digits, ``. + - * /``, ``enter``, ``backspace``, ``esc``, or one typed character.
2. ``*`` holds, whatever is open. ``-`` takes back what is typed, then leaves what is open, then opens the menu.
3. A key that passed a gate passes the next one only after a second without it: a key that is held passes one gate.
   Nothing else depends on time.
4. No key that goes on confirms a warning: only the digit printed in its text does.
"""

from __future__ import annotations

from dataclasses import replace

import msgspec

from runner.core import act as acts
from runner.core.act import AnyAct
from runner.core.panel import Panel, closed, fresh, lines, opened, page_of, pages
from runner.core.stamp import SECOND, Stamp, elapsed
from runner.core.view import Field, Option, View

__all__ = ["Panel", "press"]

GUARD_NS = SECOND * 6 // 5
"""Longer than the first repeat of a held key takes (terminals: 0.25 to 1 s, common practice, no source)."""

Answered = tuple[Panel, AnyAct | None]
_LONGEST = 200


def press(panel: Panel, view: View, key: str, now: Stamp) -> Answered:
    """The panel after one key, and the act that it asks for, if any."""
    panel = replace(fresh(panel, view), say="")
    if key == "*":
        return _hold(panel, view)
    after, act = _pressed(panel, view, key)
    recent = tuple((k, at) for k, at in panel.passed if elapsed(at, now).at_least_ns < GUARD_NS)
    held = any(k == key for k, _ in recent)
    others = tuple(pair for pair in recent if pair[0] != key)
    if act is None:
        return replace(after, passed=(*others, (key, now)) if held else recent), None
    if held:
        say = "the key was held or struck twice: let go of it for a second, then press it again"
        return replace(panel, passed=(*others, (key, now)), say=say), None
    return replace(closed(after), token=view.token, passed=(*others, (key, now))), act


def _hold(panel: Panel, view: View) -> Answered:
    if view.kind in ("held", "new", "ended"):
        return replace(closed(panel), say="the run stands still already"), None
    return closed(panel), acts.Hold()


def _pressed(panel: Panel, view: View, key: str) -> Answered:
    if panel.mode == "look":
        return _look(panel, view, key), None
    _, options, field = opened(panel, view)
    if field is not None:
        taken = _typed(panel, view, field, key)
        if taken is not None:
            return taken
    shown = page_of(options, panel.page)
    for at, option in shown:
        if option.key == key:
            return _choose(panel, at, option)
    if panel.mode == "menu":
        return _in_list(panel, key, len(options)), None
    return _at_step(panel, view, key)


def _at_step(panel: Panel, view: View, key: str) -> Answered:
    for caution in view.cautions:
        if caution.state == "owed" and caution.key == key:
            return panel, caution.act
    match key:
        case "enter" if view.enter is not None:
            return _choose(panel, 0, view.enter)
        case "enter":
            return replace(panel, say=_why_not_enter(view)), None
        case "-":
            return replace(closed(panel), mode="menu"), None
        case "/":
            return replace(closed(panel), mode="look", cursor=len(view.trail)), None
        case "+":
            return replace(panel, page=panel.page + 1), None
        case _ if view.kind == "own caution" and key.isdigit():
            return replace(panel, say="the key that confirms the warning is printed in its text"), None
        case _:
            return replace(panel, say=f"the key {key} does nothing here"), None


def _why_not_enter(view: View) -> str:
    if view.kind == "own caution":
        return "enter does not confirm a warning: press the key that is printed in its text"
    if view.field is not None:
        return f"type {view.field.what} first"
    if view.options:
        return "enter does not answer this: press the key of what is so"
    return "enter does nothing here: - opens the menu"


def _choose(panel: Panel, at: int, option: Option) -> Answered:
    if option.sub or option.field is not None:
        root = panel.root if panel.mode == "menu" else "options"
        return replace(closed(panel), mode="menu", root=root, chosen=(*panel.chosen, at)), None
    if option.turn == "far":
        return replace(closed(panel), far=not panel.far), None
    if option.turn == "leave":
        return replace(closed(panel), leave=True), None
    if option.act is None:
        return replace(panel, say=option.note or "this is not possible now"), None
    return panel, option.act


def _in_list(panel: Panel, key: str, count: int) -> Panel:
    match key:
        case "-" | "esc" | "backspace":
            return _back(panel)
        case "+":
            return replace(panel, page=(panel.page + 1) % pages(count))
        case "enter":
            return replace(panel, say="enter chooses nothing in a list: press the number of a line, or - to go back")
        case _:
            return replace(panel, say=f"the key {key} is not in this list")


def _back(panel: Panel) -> Panel:
    if len(panel.chosen) > 1 or (panel.chosen and panel.root == "menu"):
        return replace(closed(panel), mode="menu", root=panel.root, chosen=panel.chosen[:-1])
    return closed(panel)


# ── typing ───────────────────────────────────────────────────────────────────────────────────────


def _typed(panel: Panel, view: View, field: Field, key: str) -> Answered | None:
    """What a key does in a field; None if it does what it does elsewhere."""
    buffer = panel.buffer
    match key:
        case "enter" if buffer or (panel.points and not field.clicks):
            return _entered(panel, field)
        case "enter" if panel.mode == "menu":
            return replace(panel, say=f"type {field.what} first, or - to go back"), None
        case "backspace" | "esc" | "-" if field.kind == "text" and buffer and key == "-":
            return _grown(panel, key), None
        case "backspace" if buffer:
            return replace(panel, buffer=buffer[:-1]), None
        case "-" if not buffer and field.signed and not _at_clicks(panel, field):
            return _grown(panel, key), None
        case "-" | "esc" | "backspace" if buffer or panel.points:
            return _taken_back(panel, field, key), None
        case "-" | "esc" | "backspace" if panel.mode == "menu":
            return _back(panel), None
        case "-" if not buffer and not panel.points:
            return None
        case "+" if not buffer and not panel.points:
            return replace(panel, way=(panel.way + 1) % len(field.ways), page=panel.page + 1), None
        case _:
            grown = _fits(panel, field, key)
            return None if grown is None else (grown, None)


def _taken_back(panel: Panel, field: Field, key: str) -> Panel:
    """One thing less: the text that is typed, else the last point; a lone sign leads on to the menu."""
    if panel.buffer == "-" and key == "-" and not panel.points and panel.mode == "step":
        return replace(closed(panel), mode="menu")
    if panel.buffer == "-" and key == "-" and not panel.points:
        return _back(panel)
    if panel.buffer:
        return replace(panel, buffer="")
    return replace(panel, points=panel.points[:-1])


def _fits(panel: Panel, field: Field, key: str) -> Panel | None:
    """The panel with one more character; None if the key is none for this field."""
    if len(key) != 1:
        return None
    if field.kind == "text":
        return _grown(panel, key) if key.isprintable() else None
    if key.isascii() and key.isdigit():
        return _grown(panel, key)
    buffer = panel.buffer
    if field.kind == "time of day":
        return _grown(panel, ":") if key in ".:," and buffer and ":" not in buffer else None
    if field.kind != "value" or _at_clicks(panel, field):
        return None
    if key in ".,":
        return _grown(panel, ".")
    # 1+1/2 on the keypad is the mixed number 1 1/2.
    if key in "/+ " and buffer.strip("-"):
        return _grown(panel, "/" if key == "/" else " ")
    return None


def _grown(panel: Panel, text: str) -> Panel:
    if len(panel.buffer) >= _LONGEST:
        return replace(panel, say=f"no more than {_LONGEST} characters")
    return replace(panel, buffer=panel.buffer + text)


def _at_clicks(panel: Panel, field: Field) -> bool:
    return field.clicks and len(panel.points) >= field.points


def _entered(panel: Panel, field: Field) -> Answered:
    """One more point, or the act that the value completes."""
    points = (*panel.points, panel.buffer) if panel.buffer else panel.points
    if len(points) < field.points + field.clicks:
        return replace(panel, buffer="", points=points), None
    return panel, complete(field, points, panel.way)


def complete(field: Field, points: tuple[str, ...], way: int) -> AnyAct:
    """The act of a field with what was typed in it; a time of day gets its colon."""
    clicks = points[field.points] if field.clicks and len(points) > field.points else ""
    typed = list(points[: field.points])
    instrument, unit = field.ways[way % len(field.ways)]
    match field.base:
        case acts.Enter():
            return msgspec.structs.replace(field.base, typed=typed, unit=unit, instrument=instrument, clicks=clicks)
        case acts.Correct():
            return msgspec.structs.replace(field.base, typed=typed, unit=unit)
        case acts.Supply():
            text = f"{typed[0]} {unit}".strip() if field.kind == "value" else typed[0]
            return msgspec.structs.replace(field.base, typed=text)
        case acts.Answer():
            return msgspec.structs.replace(field.base, value=typed[0])
        case acts.Report():
            return msgspec.structs.replace(field.base, used=typed[0])
        case acts.Done():
            return msgspec.structs.replace(field.base, late=_clock(typed[0]))
        case acts.Settle():
            return msgspec.structs.replace(field.base, text=typed[0])
        case acts.PartsCame():
            return msgspec.structs.replace(field.base, have=int(typed[0]))
        case acts.Person() | acts.Sign() | acts.Override():
            return msgspec.structs.replace(field.base, initials=typed[0])
        case acts.Note():
            return msgspec.structs.replace(field.base, what=typed[0])
        case acts.Cannot() | acts.Abandon() | acts.Contradict():
            return msgspec.structs.replace(field.base, reason=typed[0])
        case _:
            return field.base


def _clock(typed: str) -> str:
    """``hh:mm`` of what was typed: 942 and 9.42 are 09:42."""
    hours, colon, minutes = typed.partition(":")
    if not colon:
        hours, minutes = typed[:-2], typed[-2:]
    return f"{hours.zfill(2)}:{minutes.zfill(2)}"


# ── looking back and ahead ───────────────────────────────────────────────────────────────────────


def _look(panel: Panel, view: View, key: str) -> Panel:
    """The panel with the cursor on another step: its number typed, or a page on or back."""
    last = len(lines(view)) - 1
    if key in ("-", "esc", "enter"):
        return closed(panel)
    if key == "+":
        return replace(panel, buffer="", cursor=min(last, panel.cursor + 1))
    if key == "/":
        return replace(panel, buffer="", cursor=max(0, panel.cursor - 1))
    if not (key.isascii() and key.isdigit()):
        return replace(panel, say="+ one step on, / one step back, a number goes to that step, - leaves")
    typed = (panel.buffer + key).lstrip("0")
    if not typed or int(typed) > last + 1:
        typed = key.lstrip("0")
    return replace(panel, buffer=typed, cursor=min(last, max(0, int(typed or 1) - 1)))
