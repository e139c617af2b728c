"""What stays to be known and done after the work: before the car is driven, what was not done, what is due.

Each text is clean, on one line, and for somebody who knows neither the procedure nor this program.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.gaterows import on_one_line
from runner.core.graph import CORNER_WORDS, Procedure, Step, find
from runner.core.hazard import Caution
from runner.core.names import Names
from runner.core.picture_car import open_words
from runner.core.replay import UNHEARD_OF
from runner.core.stage import open_now
from runner.core.state import SAFE_STOP, State
from runner.core.wording import fill, leave_words, plain, says_all, sentence, title

SHEET = "Write on the handover sheet "
"""A step that begins so hands its words and its note to the sheet, as something that is due."""
_SERIOUS = {
    "unsafe": "Dangerous, do not drive with it",
    "fail": "Did not pass",
    "advisory": "To be watched",
}

Events = Sequence[tuple[Entry, ev.AnyEvent]]
Walked = Sequence[tuple[State, Entry, State]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Something that is due: what, and when or at which distance."""

    what: str
    when: str


def before_driving(procedure: Procedure, last: State, events: Events, cautions: Sequence[Caution]) -> Iterator[str]:
    """What a lay person must know or do first: open things, dangers found, the last messages of the work."""
    end, names = last.ended, Names(procedure, last)
    unsafe = [(event.origin, finding_words(event, names)) for event in last.findings if event.severity == "unsafe"]
    yield from (text for origin, text in unsafe if origin == "person")
    yield from (sentence(text) for text in open_words(procedure, last))
    yield from leave_words(procedure, [c for c in open_now(procedure, last) if last.value(c) == "T"])
    if end is not None and end.do_not_drive:
        yield "Have all this put right by a licensed workshop before the car is moved under its own power."
    yield from (text for origin, text in unsafe if origin != "person")
    lasting = [event for _, event in events if isinstance(event, ev.Confirmed)]
    named = {c.name: c for c in cautions}
    for name in lasting[-1].hazards if lasting else ():
        if name in named:
            yield f"{named[name].avoid} {named[name].hazard} {named[name].consequence}"


def not_done(procedure: Procedure, walked: Walked) -> Iterator[str]:
    """What was not done as written, or not measured."""
    for before, one, _ in walked:
        for event in one.events:
            if isinstance(event, ev.CannotDo):
                what = titled(procedure, before, event.path)
                yield on_one_line(f"{what} Not done as written: {event.reason}.")
            elif isinstance(event, ev.Named):
                yield on_one_line(f"Not measured: {_measured(procedure, event)}: {event.result}.")


def _measured(procedure: Procedure, event: ev.Named) -> str:
    """What was to be measured, and where."""
    name, _, member = event.name.partition("@")
    found = step_at(procedure, event.path)
    what = getattr(found[0].gate, "what", "") if found is not None else ""
    where = member or (found[2] if found is not None else "")
    return (plain(what) if what else plain(name)) + (f", {CORNER_WORDS.get(where, where)}" if where else "")


def unmet(procedure: Procedure, last: State) -> Iterator[str]:
    """What the run ended without."""
    names = Names(procedure, last)
    if last.ended is None:
        yield "The work is not finished."
    elif last.ended.kind != "done":
        yield f"The work was ended before it was finished: {on_one_line(last.ended.kind)}."
    # What stands open is told before: it is what must be known before the car is driven.
    left = [name for name in last.ended.unmet if name not in last.ended.open] if last.ended else ()
    yield from (sentence(on_one_line(text)) for text in names.all_amiss(left))


def due(procedure: Procedure, walked: Walked, last: State) -> Iterator[Due]:
    """What must be looked at again: steps that write on the sheet, conditions that are carried on, advisories."""
    for before, one, _ in walked:
        for event in one.events:
            found = step_at(procedure, event.path) if isinstance(event, ev.Left) else None
            if found is not None and found[0].do.startswith(SHEET):
                step, owner, here = found
                what = fill(step.do, owner, before, here).removeprefix(SHEET).removeprefix("that ")
                yield Due(what=on_one_line(sentence(what)), when=on_one_line(fill(step.note, owner, before, here)))
    kept = [(c, True) for c, v in last.conditions.items() if v == "T" and c.partition("@")[0] in procedure.carries]
    yield from (Due(what=on_one_line(sentence(text)), when="") for text in says_all(procedure, kept))
    for event in last.findings:
        if event.severity == "advisory" or (event.severity == "fail" and event.origin == "person"):
            what = finding_words(replace(event, follows=""), Names(procedure, last))
            yield Due(what=what, when=on_one_line(sentence(event.follows)))


def step_at(procedure: Procedure, path: str) -> tuple[Step, Procedure, str | None] | None:
    """The step at a path with the procedure that wrote it and the corner; None where no step is."""
    if path in ("", SAFE_STOP):
        return None
    try:
        found = find(procedure, path)
    except LookupError:
        return None
    return (found.node, found.procedure, found.here) if isinstance(found.node, Step) else None


def titled(procedure: Procedure, state: State, path: str) -> str:
    """The instruction at a path, or the path in words where the record is not of this procedure."""
    try:
        return on_one_line(title(find(procedure, path), state))
    except UNHEARD_OF:
        return plain(path)


def finding_words(event: ev.FindingMade, names: Names) -> str:
    """A finding as a sentence: how bad, what, where, and what follows."""
    where = f", {CORNER_WORDS.get(event.where, event.where)}" if event.where else ""
    follows = f" {sentence(event.follows)}" if event.follows else ""
    what = sentence(names.in_text(names.found(event.what)) + where)
    return on_one_line(f"{_SERIOUS.get(event.severity, event.severity)}: {what}{follows}")
