"""What a surface draws beside the view: the open list or field, and the keys that work now, in words."""

from __future__ import annotations

from dataclasses import dataclass

from runner.core.panel import Panel, fresh, lines, opened, page_of, pages
from runner.core.view import Field, Line, Option, View


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """The panel in words.

    ``options`` are at most nine, each with the key that chooses it now. ``typed`` is what stands in the field,
    ``entered`` the points before it, ``prompt`` what to type. ``looking`` are the steps to look at, ``cursor`` the
    one that is read; its number is its position from 1. ``keys`` are (key, what it does).
    """

    mode: str
    title: str
    options: tuple[Option, ...]
    page: str
    field: Field | None
    typed: str
    entered: tuple[str, ...]
    prompt: str
    unit: str
    instrument: str
    say: str
    looking: tuple[Line, ...]
    cursor: int
    keys: tuple[tuple[str, str], ...]


def face(panel: Panel, view: View) -> Face:
    """The panel as it is to be drawn with this view."""
    panel = fresh(panel, view)
    title, options, field = opened(panel, view)
    shown = tuple(option for _, option in page_of(options, panel.page))
    count = pages(len(options))
    instrument, unit = field.ways[panel.way % len(field.ways)] if field is not None else ("", "")
    looking = lines(view) if panel.mode == "look" else ()
    return Face(
        mode=panel.mode,
        title=title,
        options=shown,
        page=f"page {panel.page % count + 1} of {count}" if count > 1 else "",
        field=field,
        typed=panel.buffer if field is not None else "",
        entered=panel.points,
        prompt=prompt(panel, field) if field is not None else "",
        unit=unit,
        instrument=instrument,
        say=panel.say,
        looking=looking,
        cursor=min(panel.cursor, max(0, len(looking) - 1)),
        keys=keys(panel, view, options, field),
    )


def prompt(panel: Panel, field: Field) -> str:
    """What is to be typed next."""
    if len(panel.points) >= field.points:
        return "how many clicks were heard" if field.clicks else "enter takes these values"
    if field.points > 1:
        return f"{field.what}, point {len(panel.points) + 1} of {field.points}"
    return field.what


def keys(panel: Panel, view: View, options: tuple[Option, ...], field: Field | None) -> tuple[tuple[str, str], ...]:
    """The keys that work now, in words; those of the options stand with them."""
    hold = () if view.kind in ("held", "new", "ended") else (("*", "HOLD"),)
    if panel.mode == "look":
        return (("+", "one step on"), ("/", "one step back"), ("number", "that step"), ("-", "leave"), *hold)
    if field is not None:
        return (*_field_keys(panel, view, field), *hold)
    more = (("+", "next page"),) if len(options) > len(page_of(options, 0)) else ()
    if panel.mode == "menu":
        return (*more, ("-", "back"), *hold)
    enter = () if view.enter is None else (("enter", view.enter.text),)
    own = () if any(option.key == "-" for option in options) else (("-", "menu"),)
    return (*enter, *more, *own, ("/", "look back or ahead"), *hold)


def _field_keys(panel: Panel, view: View, field: Field) -> tuple[tuple[str, str], ...]:
    found: list[tuple[str, str]] = []
    if panel.buffer or panel.points:
        last = len(panel.points) + bool(panel.buffer) >= field.points + field.clicks
        found += [("enter", "read it back" if last else "next value"), ("-", "take it back")]
        return tuple(found)
    if panel.mode == "step" and view.enter is not None:
        found.append(("enter", view.enter.text))
    if len(field.ways) > 1:
        found.append(("+", "another unit" if len({i for i, _ in field.ways}) == 1 else "another instrument or unit"))
    back = "back" if panel.mode == "menu" else "menu"
    found.append(("-", f"minus sign; twice: {back}" if field.signed else back))
    if panel.mode == "step" and field.kind != "text":
        found.append(("/", "look back or ahead"))
    return tuple(found)
