"""What always stands on top: which procedure, which car, where in it; then alerts, in rows of their own."""

from __future__ import annotations

from typing import Final

from rich.cells import cell_len

from runner.core.view import View
from runner.screen.ink import Ink, Row, Rows, cut, fit, spread, wrap, wrapped

_ALERT: Final[dict[str, tuple[str, Ink]]] = {
    "refused": ("NOT ACCEPTED", "refused"),
    "fail": ("FAIL", "fail"),
    "too close to call": ("TOO CLOSE TO CALL", "unsure"),
    "torn": ("RECORD TORN", "fail"),
    "not recorded": ("NOT RECORDED", "fail"),
    "note": ("NOTE", "refused"),
}
_ROOMY: Final = 66
"""Columns from which a mark is written out."""


def header(view: View, width: int) -> Rows:
    """Two rows: title, revision, DEMONSTRATION; section, place, car and person."""
    words = view.demonstration if width >= _ROOMY else view.demonstration.partition(":")[0]
    demo: Row = ((f" {fit(words, width // 2)} ", "demo"),) if words else ()
    room = width - sum(len(t) for t, _ in demo) - 1
    revision = f" rev {view.revision}" if view.revision else ""
    title = fit(view.title, max(room - len(revision), 4)) + fit(revision, 16)
    place = " · ".join(t for t in (view.section, view.where) if t)
    car = " · ".join(t for t in (view.car, view.by) if t)
    # Where both do not fit, which car it is stays whole as long as it can, then where one is.
    if cell_len(place) + cell_len(car) >= width and view.car:
        car = view.car
    if cell_len(place) + cell_len(car) >= width:
        car = fit(car, width // 2)
    place = fit(place, max(width - cell_len(car) - 1, 0))
    return (
        spread(((title, "strong"),), demo, width),
        spread(((place, "quiet"),), ((car, "quiet"),), width),
    )


def mark_line(view: View, width: int) -> Rows:
    """The whole procedure as one line: steps done bear the mark, the step now is open, the rest is plain."""
    if not 0 < view.step_n <= view.steps:
        return ((("─" * width, "rule"),),)
    words = f" step {view.step_n} of {view.steps}"
    room = width - len(words)
    count = min(view.steps, room)
    here = (view.step_n - 1) * count // view.steps
    starts = [cell * room // count for cell in range(count + 1)]
    done = "".join("╪" + "═" * (starts[i + 1] - starts[i] - 1) for i in range(here))
    now = "╂" + "─" * (starts[here + 1] - starts[here] - 1)
    ahead = "".join("┼" + "─" * (starts[i + 1] - starts[i] - 1) for i in range(here + 1, count))
    line: Row = ((done, "mark"), (now, "strong"), (ahead, "rule"), (words, "quiet"))
    return (cut(line, width),)


def alert(view: View, width: int) -> Rows:
    """What went wrong, its word first and reversed; empty if nothing did."""
    if not view.alert:
        return ()
    word, ink = _ALERT.get(view.alert_kind, ("NOTE", "refused"))
    texts = [t for t in (view.alert[0].removeprefix(word).lstrip(" :."), *view.alert[1:]) if t]
    tag = f" {word} "
    lines = wrap(texts[0], max(width - len(tag) - 1, 8)) if texts else ("",)
    rows: list[Row] = [((tag, ink), (" " + lines[0], "strong"))]
    for text in (" ".join(lines[1:]), *texts[1:]):
        rows += [(("│", ink), (" ", "plain"), *row) for row in wrapped(text, width - 2)]
    return tuple(rows)


def because(view: View, width: int) -> Rows:
    """Why the run is here: what came of the last step, with its inputs; what an alert says already is not repeated."""
    return tuple(row for text in view.because if text not in view.alert for row in wrapped(text, width, "quiet"))
