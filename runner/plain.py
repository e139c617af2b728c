"""Line mode: the same desk, read from lines and written as lines, for screen readers and serial lines.

A line is its keys, and then Enter if a value was typed; an empty line is Enter. ``hold``, ``menu``, ``back``,
``more``, ``look`` and ``quit`` are words. After a key that passed a gate the rest of its line is dropped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TextIO

from runner.core.act import AnyAct
from runner.core.desk import press
from runner.core.face import Face, face
from runner.core.finding import clean
from runner.core.panel import Panel, fresh
from runner.core.picture_car import timer_words
from runner.core.sheet_text import caution_words
from runner.core.stamp import Stamp
from runner.core.view import CautionView, Field, View

WORDS = {"hold": "*", "menu": "-", "back": "-", "more": "+", "next": "+", "look": "/", "enter": "enter", "esc": "esc"}
LEAVE = "quit"


def run(
    lines: TextIO, out: TextIO, do: Callable[[AnyAct], View], peek: Callable[[], View], now: Callable[[], Stamp]
) -> int:
    """Read lines until the end of the input, ``quit`` or the end of the screen; the exit code of the surface."""
    panel = Panel()
    view = peek()
    _write(out, page(view, face(panel, view), None))
    for raw in lines:
        line = raw.rstrip("\r\n")
        before = view
        view = peek()
        if line.strip().lower() == LEAVE and not _typing_text(panel, view):
            return 0
        typed = keys_of(line, typing_text=_typing_text(panel, view))
        panel, view, dropped = _struck(panel, view, typed, do, now)
        if panel.leave:
            return 0
        shown = face(panel, view)
        _write(out, page(view, shown, before))
        if dropped:
            _write(out, [clean(f"NOTE: not used any more: {dropped}").replace("\n", " ")])
    return 0


def _struck(
    panel: Panel, view: View, typed: tuple[str, ...], do: Callable[[AnyAct], View], now: Callable[[], Stamp]
) -> tuple[Panel, View, str]:
    """Panel and view after the keys of one line, and what was dropped once one of them had passed a gate."""
    field = face(panel, view).field
    if field is not None and field.kind != "text" and any(len(key) == 1 and key.isalpha() for key in typed):
        # A unit that nobody reads would turn 40 lbf ft into 40 N m.
        say = "nothing was taken: a number is digits alone; + before them is another unit"
        return replace(fresh(panel, view), say=say), view, ""
    for n, key in enumerate(typed):
        panel, act = press(panel, view, key, now())
        if act is not None:
            return panel, do(act), "".join(typed[n + 1 :])
    if "enter" not in typed and face(panel, view).typed:
        panel, act = press(panel, view, "enter", now())
        if act is not None:
            view = do(act)
    return panel, view, ""


def _typing_text(panel: Panel, view: View) -> bool:
    field = face(panel, view).field
    return field is not None and field.kind == "text"


def keys_of(line: str, *, typing_text: bool) -> tuple[str, ...]:
    """The keys that a line stands for. Only ``hold`` is a word while free text is typed."""
    word = line.strip().lower()
    if word == "hold" or (word in WORDS and not typing_text):
        return (WORDS[word],)
    return tuple(line.strip()) or ("enter",)


# ── a view as lines ──────────────────────────────────────────────────────────────────────────────


def page(view: View, shown: Face, before: View | None) -> list[str]:
    """The view as lines of text without control characters; what has not changed since ``before`` is left out."""
    return [clean(line).replace("\n", " ") for line in _page(view, shown, before)]


def _page(view: View, shown: Face, before: View | None) -> Iterator[str]:
    yield ""
    if shown.mode == "look":
        line = shown.looking[shown.cursor]
        yield f"LOOKING, {shown.cursor + 1} of {len(shown.looking)}: {line.status}: {line.title}"
        if line.note:
            yield f"  {line.note}"
        yield from (f"  {hazard}" for hazard in line.hazards)
        yield from _foot(shown)
        return
    same = before is not None and before.token == view.token
    if before is None or before.section != view.section or not same:
        yield from _head(view)
    if view.alert:
        word = {"": "NOTE", "note": "NOTE"}.get(view.alert_kind, view.alert_kind.upper())
        yield f"{word}: {'; '.join(view.alert)}"
    if shown.mode == "step":
        yield from _step(view, before, full=not same)
    else:
        yield f"{_status(view)}: {view.headline}"
        yield f"{shown.title.upper()} {shown.page}".strip()
    yield from _choices(shown)
    yield from _foot(shown)


def _head(view: View) -> Iterator[str]:
    parts = (view.demonstration, f"{view.title}, revision {view.revision}", view.section, view.car, view.by)
    yield "; ".join(part for part in parts if part)
    if view.step_n:
        yield f"step {view.step_n} of about {view.steps}" + (f", {view.where}" if view.where else "")
    yield from view.because


def _status(view: View) -> str:
    return "STOPPED" if view.kind in ("held", "safe stop") else "DONE" if view.ended else "NOW"


def _step(view: View, before: View | None, *, full: bool) -> Iterator[str]:
    for caution in view.cautions:
        if full or caution.state in ("owed", "together"):
            yield from _caution(caution)
    if view.take and full:
        yield f"take: {', '.join(view.take)}"
    yield f"{_status(view)}: {view.headline}"
    if full:
        yield from view.text
        yield from (f"{line.status}: {line.title}" for line in view.group)
    if before is None or before.gauges != view.gauges:
        yield from (gauge.text for gauge in view.gauges)
    if before is None or before.open_now != view.open_now:
        yield f"open on the car: {'; '.join(view.open_now) or 'nothing that is known'}"
    yield from (timer_words(timer) for timer in view.timers)
    if view.question:
        yield view.question


def _caution(caution: CautionView) -> Iterator[str]:
    words = caution_words(caution)
    if caution.state == "owed":
        yield f"{words} To confirm it, press {caution.key}."
        if caution.wait_s > 0:
            yield f"It can be confirmed in {int(caution.wait_s) + 1} s."
    elif caution.state in ("in effect", "confirmed"):
        yield f"{words} ({caution.state})"
    else:
        yield words


def _choices(shown: Face) -> Iterator[str]:
    for option in shown.options:
        note = f" ({option.note})" if option.note else ""
        yield f"  {option.key}  {option.text}{note}"
    if shown.field is not None:
        yield from _field(shown, shown.field)


def _field(shown: Face, field: Field) -> Iterator[str]:
    unit = f" in {shown.unit}" if shown.unit else ""
    tool = f", {shown.instrument}" if shown.instrument else ""
    yield f"type {shown.prompt}{unit}{tool}:" + (f" {shown.typed}" if shown.typed else "")
    if field.limit:
        yield f"  limit: {field.limit}"
    if shown.entered:
        yield f"  so far: {', '.join(shown.entered)}"


def _foot(shown: Face) -> Iterator[str]:
    if shown.say:
        yield f"NOTE: {shown.say}"
    yield "keys: " + "; ".join(f"{key} {what}" for key, what in shown.keys)


def _write(out: TextIO, lines: list[str]) -> None:
    out.write("\n".join(lines) + "\n")
    out.flush()
