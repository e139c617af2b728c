"""The step itself and its gate: the instruction large and alone, the question, its answers, the value typed."""

from __future__ import annotations

import re
from typing import Final

from rich.cells import cell_len

from runner.core.panel import Panel, page_of, pages
from runner.core.view import Field, Option, View
from runner.screen.glyphs import PITCH, drawable, large
from runner.screen.ink import Row, Rows, cells, clean, cut, fit, pad, squeezed, tail, wrap, wrapped
from runner.screen.side import status_row

CORNERS: Final = {"7": "LF", "9": "RF", "1": "LR", "3": "RR"}
_STRIPE: Final = "┃ "
_MANY: Final = 3
_SIGN: Final = re.compile(r"- |\d+\. ")
_HEAD: Final = 16
"""Signs of the record's number and fingerprint that are shown."""


def instruction(view: View, width: int, *, most: int = 0) -> Rows:
    """The one action of now, with the stripe beside it; at most so many rows of its headline if given."""
    status = "STOPPED" if view.kind in ("held", "safe stop") else "DONE" if view.ended else "NOW"
    place = f" {view.step_n}/{view.steps}" if status == "NOW" and view.step_n else ""
    tag = f" {status}{place} "
    head = wrap(f"{'_' * len(tag)} {view.headline}", width - len(_STRIPE))
    if most and len(head) > most:
        head = (*head[: most - 1], fit(head[most - 1] + " " * width, width - len(_STRIPE) - 1))
    first = head[0][len(tag) :]
    rows: list[Row] = [((_STRIPE, "mark"), (tag, "now" if status == "NOW" else "refused"), (first, "strong"))]
    rows += [((_STRIPE, "mark"), (line, "strong")) for line in head[1:]]
    return tuple(rows)


def large_action(view: View, width: int) -> Rows:
    """The short action in large signs, where it fits unbroken and no safety message waits to be read."""
    across = (width - len(_STRIPE) + 1) // PITCH
    owed = any(c.state in ("owed", "together") for c in view.cautions)
    words = [word for text in view.short for word in text.split()]
    if owed or not words or max(map(len, words)) > across:
        return ()
    lines = [line for text in view.short for line in wrap(text, across)]
    return tuple(((_STRIPE, "mark"), (row, "strong")) for line in lines for row in large(line))


def details(view: View, width: int, *, group: bool = True) -> Rows:
    """What stands under the instruction: more text, what to take, the other steps of the group."""
    inner = width - len(_STRIPE)
    # The limit stands at the value that is typed, and not twice.
    limit = f"Limit: {view.field.limit}" if view.field is not None and view.field.limit else ""
    rows = [row for text in view.text if text != limit for row in _hung(text, inner)]
    if view.take:
        rows += wrapped("take: " + ", ".join(view.take), inner, "quiet")
    rows += [status_row(line, inner) for line in view.group if group]
    return tuple(((_STRIPE, "mark"), *row) for row in rows)


def _hung(text: str, width: int) -> Rows:
    """A text; an entry of a list or a numbered line keeps its sign alone at the left."""
    sign = _SIGN.match(text)
    if sign is None:
        return wrapped(text, width)
    room = sign.end()
    lines = wrap(text[room:], width - room) or ("",)
    return tuple((((sign[0] if n == 0 else " " * room) + line, "plain"),) for n, line in enumerate(lines))


def gate(view: View, panel: Panel, width: int, *, roomy: bool, tight: bool, ways: bool = True) -> tuple[Rows, ...]:
    """The question with its answers, the value typed, and what Enter does; a warning asks in its own text."""
    if any(c.state == "owed" for c in view.cautions):
        return ()
    plain = tight and view.enter is not None and any(c.state == "together" for c in view.cautions)
    asked = () if plain else wrapped(view.question, width, "strong")
    asked += answers(view.options, panel.page, width, tight=tight)
    typed = field(view.field, panel, width, big=roomy, named=not view.question) if view.field else ()
    typed += other_way(view.field) if ways else ()
    return asked, typed, go_on(view, width)


def answers(options: tuple[Option, ...], page: int, width: int, *, one_row: bool = False, tight: bool = False) -> Rows:
    """What can be chosen, with its keys; corners lie as they lie on the keypad, short ones in pairs if it is tight."""
    shown = [option for _, option in page_of(options, page)]
    if {o.key for o in shown} == set(CORNERS):
        return _corners({o.key: o for o in shown}, width)
    if tight and len(shown) > _MANY and (paired := _pairs(shown, width)):
        return paired
    rows: list[Row] = []
    for option in shown:
        key, text = f"[{option.key}]", option.text + (" ›" if option.sub or option.field else "")
        note = f" ({option.note})" if option.note else ""
        room = width - len(key) - 1
        lines = (_in_a_row(option, text, note, room),) if one_row else wrap(text + note, room) or ("",)
        rows.append(((key, "key"), (" " + lines[0], "plain")))
        rows += [((" " * (len(key) + 1) + line, "plain"),) for line in lines[1:]]
    if pages(len(options)) > 1:
        count = pages(len(options))
        rows.append((("[+]", "key"), (f" more, page {page % count + 1} of {count}", "quiet")))
    return tuple(rows)


def _in_a_row(option: Option, text: str, note: str, room: int) -> str:
    """An entry in one row; why it cannot be taken is said when its key is pressed."""
    if cell_len(text + note) <= room:
        return text + note
    if option.act is None and not (option.sub or option.field or option.turn):
        note = " (not now)"
        return squeezed(text, room - len(note)) + note
    return squeezed(option.text, room - 2) + text[len(option.text) :]


def _pairs(options: list[Option], width: int) -> Rows:
    """Two columns, read down the left one first; empty if they do not fit."""
    half = -(-len(options) // 2)
    left, right = options[:half], options[half:]
    room = max(cell_len(o.text) for o in left) + 6
    if any(o.note or o.sub or o.field for o in options) or room + max(cell_len(o.text) for o in right) + 4 > width:
        return ()
    return tuple(
        (*pad(_short(option, room), room), *(_short(right[y], width - room) if y < len(right) else ()))
        for y, option in enumerate(left)
    )


def _corners(by_key: dict[str, Option], width: int) -> Rows:
    half = width // 2
    rows: list[Row] = []
    for left, right in (("7", "9"), ("1", "3")):
        rows.append((*pad(_short(by_key[left], half), half), *_short(by_key[right], half)))
    return tuple(rows)


def _short(option: Option, width: int) -> Row:
    return ((f"[{option.key}]", "key"), (" " + fit(option.text, width - 4), "plain"))


def field(asked: Field, panel: Panel, width: int, *, big: bool, named: bool = True) -> Rows:
    """The value as it is typed, its unit large beside it, its limit and instrument under it."""
    instrument, unit = asked.ways[panel.way % len(asked.ways)]
    clicks = asked.clicks and len(panel.points) >= asked.points
    what = "how many clicks were heard" if clicks else asked.what if named else ""
    if asked.points > 1 and not clicks:
        what = f"{what}: ".removeprefix(": ") + f"point {min(len(panel.points) + 1, asked.points)} of {asked.points}"
    rows = [*wrapped(what, width, "strong")]
    if asked.points > 1 and panel.points:
        rows += wrapped("so far: " + "  ".join(panel.points), width, "quiet")
    rows += _typed(clean(panel.buffer), "" if clicks else unit, width, big=big and asked.kind != "text")
    if asked.limit:
        rows += wrapped(f"limit: {asked.limit}", width, "strong")
    if instrument:
        rows += wrapped(f"with: {instrument}", width, "quiet")
    return tuple(rows)


def other_way(asked: Field | None) -> Rows:
    """The key that changes the unit or the instrument of the field, where it has several."""
    if asked is None or len(asked.ways) < 2:
        return ()
    return ((("[+]", "key"), (" another unit or instrument", "quiet")),)


def _typed(buffer: str, unit: str, width: int, *, big: bool) -> Rows:
    shown = buffer + "_"
    if big and drawable(shown + unit) and (len(shown) + len(unit)) * PITCH + 3 <= width:
        room = len(shown) * PITCH + 1
        return tuple(
            ((f" {value}".ljust(room), "field"), ("  " + beside, "mark"))
            for value, beside in zip(large(shown), large(unit), strict=True)
        )
    beside = f" {unit} " if unit else ""
    return (((f" {tail(shown, width - len(beside) - 2)} ", "field"), (beside, "now")),)


def go_on(view: View, width: int) -> Rows:
    """What Enter does now, in words."""
    if view.enter is None:
        return ()
    lines = wrap(view.enter.text, width - 8) or ("",)
    note = wrapped(view.enter.note, width, "quiet")
    first: Row = (("[Enter]", "key"), (" " + lines[0], "strong"))
    return (first, *(((" " * 8 + line, "strong"),) for line in lines[1:]), *note)


def keys(view: View, panel: Panel, width: int, more: str) -> Row:
    """The last row: the keys that work everywhere."""
    if panel.mode == "look":
        words = ["+ on", "/ back", "- leave"]
    elif panel.mode == "menu":
        words = ["- back"]
    else:
        typing = view.field is not None and bool(panel.buffer or panel.points)
        taken = {option.key for option in view.options}
        words = ["- undo"] if typing else [] if "-" in taken else ["- menu"]
        words += [] if view.field else ["/ look"]
    words = [*([more] if more else []), *words]
    hold: Row = ((" * HOLD ", "refused"),)
    row: Row = (*hold, ("  " + "  ".join(words), "quiet"))
    head = clean(view.head)[:_HEAD]
    if head and cells(row) + len(head) + 2 <= width:
        row = (*pad(row, width - len(head)), (head, "quiet"))
    return cut(row, width)
