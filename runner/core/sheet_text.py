"""The status sheet: the run on one page of plain text, so that the work can go on with paper alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap

from runner.core.finding import clean
from runner.core.picture_car import timer_words
from runner.core.record import fingerprint
from runner.core.view import CautionView, View

_WIDTH = 78
_DONE = 30
"""So many of the last steps; a sheet that is longer than a page is not read."""


def status_sheet(view: View, at: str) -> str:
    """The sheet for a view that was taken at ``at``: plain text, lines of at most 78 characters."""
    return "\n".join(line for text in _texts(view, at) for line in _wrapped(text)) + "\n"


def _texts(view: View, at: str) -> Iterator[str]:
    if view.demonstration:
        yield f"*** {view.demonstration} ***"
    yield f"STATUS of {view.title}, revision {view.revision}"
    yield f"car: {view.car}   by: {view.by or 'nobody yet'}   at: {at}"
    if len(view.head) == 64:
        yield f"fingerprint of the last line: {fingerprint(view.head)}"
    yield ""
    yield from _part("ALERT", view.alert)
    yield "PLACE"
    place = "; ".join(part for part in (view.section, view.where) if part)
    number = f"step {view.step_n} of about {view.steps}" if view.step_n else ""
    yield "  " + ", ".join(part for part in (number, place) if part)
    yield "  STOPPED" if view.kind in ("held", "safe stop") else "  DONE" if view.ended else "  NOW"
    for caution in view.cautions:
        yield f"    {caution_words(caution)}"
    yield f"    {view.headline}"
    yield from (f"    {text}" for text in (view.question, *view.text) if text)
    yield from (f"    {option.key}  {option.text}" for option in view.options)
    yield ""
    yield from _part("OPEN ON THE CAR", view.open_now or ("nothing that is known",))
    yield from _part("TIMERS", (timer_words(timer) for timer in view.timers))
    yield from _part("LEVELS", (gauge.text for gauge in view.gauges))
    yield from _part("LAST READINGS", view.readings)
    yield from _part("TEXTS OWED", (what for _, what in view.owed))
    yield "NEXT, if all goes as it usually does"
    for line in view.ahead:
        yield f"  [ ] {line.title}"
        yield from (f"      {hazard}" for hazard in line.hazards)
    yield ""
    yield "DONE"
    if len(view.trail) > _DONE:
        yield f"  {len(view.trail) - _DONE} steps before these"
    for line in view.trail[-_DONE:]:
        note = f" ({line.note})" if line.note else ""
        yield f"  {line.status:<7} {line.title}{note}"


def caution_words(caution: CautionView) -> str:
    """A safety message as one text: how to avoid it, the hazard, the consequence."""
    alert = "" if caution.word == "NOTICE" else "/!\\ "
    return f"{alert}{caution.word}: {caution.avoid} {caution.hazard} {caution.consequence}"


def _part(head: str, lines: Iterable[str]) -> Iterator[str]:
    listed = list(lines)
    if listed:
        yield head
        yield from (f"  {line}" for line in listed)
        yield ""


def _wrapped(text: str) -> list[str]:
    plain = clean(text).replace("\n", " ")
    indent = " " * (len(plain) - len(plain.lstrip()))
    return wrap(plain, _WIDTH, subsequent_indent=indent + "  ", drop_whitespace=True) or [""]
