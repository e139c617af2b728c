"""What the sheet for the car's owner says: all from the record, in words that need no knowledge of this program.

Rules of this module
1. Nothing says more of the car than that it was checked on a date at an odometer.
2. What was not done, not met, overridden or corrected stands in the open; reading speed is the technician's matter.
3. What has become of an owed text or a finding is told as the record has it; the sheet decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from runner.core import event as ev
from runner.core.course import LevelCurve, Stretch, level_curves, time_line
from runner.core.entry import Entry
from runner.core.gaterows import on_one_line
from runner.core.graph import CORNER_WORDS, Procedure, Step, find
from runner.core.hazard import ORDER, Caution
from runner.core.measured import Measured, measured
from runner.core.picture_car import open_words
from runner.core.replay import UNHEARD_OF, states
from runner.core.signature import told as key_told
from runner.core.stage import open_now
from runner.core.state import SAFE_STOP, State, kind_of_step, visits
from runner.core.wording import fill, leave_words, plain, says_all, sentence, title

SHEET = "Write on the handover sheet "
"""A step that begins so hands its words and its note to the sheet, as something that is due."""
NOT_NOTED = "not noted"
_SERIOUS = {
    "unsafe": "Dangerous, do not drive with it",
    "fail": "Did not pass",
    "advisory": "To be watched",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """The car as its own file has it; each text may be empty. `steering` is left, right or not known ("")."""

    name: str = ""
    vin: str = ""
    odometer: str = ""
    steering: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Something that is due: what, and when or at which distance."""

    what: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A signature as it is printed: name, time and meaning, and the key that made it."""

    name: str
    at: str
    meaning: str
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """All that the sheet says; texts are clean and on one line. `corners` are what was measured or found at each."""

    title: str
    revision: str
    purpose: str
    not_for: tuple[str, ...]
    demonstration: bool
    finished: str
    do_not_drive: bool
    vehicle: Vehicle
    reference: str
    odometer: str
    begun: str
    ended: str
    before_driving: tuple[str, ...]
    not_done: tuple[str, ...]
    due: tuple[Due, ...]
    done: tuple[str, ...]
    measured: tuple[Measured, ...]
    found: tuple[str, ...]
    overrides: tuple[str, ...]
    corrections: tuple[str, ...]
    cautions: tuple[Caution, ...]
    levels: tuple[LevelCurve, ...]
    stretches: tuple[Stretch, ...]
    corners: tuple[tuple[str, tuple[str, ...]], ...]
    instruments: tuple[str, ...]
    people: tuple[str, ...]
    signatures: tuple[Signed, ...]


def handover(entries: Sequence[Entry], procedure: Procedure, vehicle: Vehicle) -> Handover:
    """What the sheet of a run says. `vehicle` is what may be said of the car beside its salted reference."""
    walked = list(states(entries))
    last = walked[-1][2] if walked else State()
    events = [(one, event) for _, one, _ in walked for event in one.events]
    end = next((event for _, event in events if isinstance(event, ev.Ended)), None)
    ended_at = next((one.stamp.at for one, event in events if isinstance(event, ev.Ended)), "")
    rows = measured(entries, procedure)
    cautions = tuple(_cautions(procedure, events))
    owed = tuple(f"Still to be written down: {on_one_line(what)}." for what in last.owed.values())
    not_done = (*_not_done(procedure, walked), *_unmet(procedure, last), *owed)
    return Handover(
        title=on_one_line(procedure.title),
        revision=on_one_line(procedure.revision),
        purpose=on_one_line(procedure.purpose),
        not_for=tuple(on_one_line(text) for text in procedure.not_for),
        demonstration=last.demonstration,
        finished=on_one_line(end.kind) if end else "",
        do_not_drive=end is None or end.do_not_drive,
        vehicle=Vehicle(**{name: on_one_line(getattr(vehicle, name)) for name in Vehicle.__slots__}),
        reference=on_one_line(last.car),
        odometer=_odometer(last, vehicle),
        begun=entries[0].stamp.at if entries else "",
        ended=ended_at or (entries[-1].stamp.at if entries else ""),
        before_driving=tuple(_before_driving(procedure, last, events, cautions)),
        not_done=not_done,
        due=tuple(_due(procedure, walked, last)),
        done=tuple(_done(procedure, last)),
        measured=rows,
        found=tuple(_finding(event) for event in last.findings),
        overrides=tuple(_overrides(procedure, walked)),
        corrections=tuple(_corrections(events)),
        cautions=cautions,
        levels=level_curves(entries, procedure),
        stretches=time_line(entries),
        corners=tuple(_corners(rows, last)),
        instruments=tuple(_instruments(rows, last)),
        people=tuple(dict.fromkeys(on_one_line(one.by) for before, one, _ in walked if _works(before, one))),
        signatures=tuple(
            Signed(
                name=on_one_line(event.initials),
                at=one.stamp.at,
                meaning=on_one_line(event.meaning),
                key=on_one_line(key_told(event.reference)) if event.reference else "no key",
            )
            for one, event in events
            if isinstance(event, ev.Signed)
        ),
    )


def _works(before: State, one: Entry) -> bool:
    """Whether a line is work on the car by somebody; what comes after the end is not."""
    return before.ended is None and bool(one.by)


Events = Sequence[tuple[Entry, ev.AnyEvent]]
Walked = Sequence[tuple[State, Entry, State]]


def _odometer(last: State, vehicle: Vehicle) -> str:
    asked = next((value for name, value, _ in last.asks if name == "odometer"), "")
    return on_one_line(asked or vehicle.odometer) or NOT_NOTED


def _before_driving(
    procedure: Procedure, last: State, events: Events, cautions: Sequence[Caution]
) -> Iterator[str]:
    """What a lay person must know or do first: open things, dangers found, the last messages of the work."""
    end = last.ended
    yield from (sentence(text) for text in open_words(procedure, last))
    yield from leave_words(procedure, [c for c in open_now(procedure, last) if last.value(c) == "T"])
    if end is not None and end.do_not_drive:
        yield "Have all this put right by a licensed workshop before the car is moved under its own power."
    for event in last.findings:
        if event.severity == "unsafe":
            yield _finding(event)
    lasting = [event for _, event in events if isinstance(event, ev.Confirmed)]
    named = {c.name: c for c in cautions}
    for name in lasting[-1].hazards if lasting else ():
        if name in named:
            yield f"{named[name].avoid} {named[name].hazard} {named[name].consequence}"


def _not_done(procedure: Procedure, walked: Walked) -> Iterator[str]:
    for before, one, _ in walked:
        for event in one.events:
            if isinstance(event, ev.CannotDo):
                what = _title(procedure, before, event.path)
                yield on_one_line(f"{what} Not done as written: {event.reason}.")
            elif isinstance(event, ev.Named):
                yield on_one_line(f"Not measured: {plain(event.name)}; {event.result}.")


def _unmet(procedure: Procedure, last: State) -> Iterator[str]:
    if last.ended is None:
        yield "The work is not finished."
    elif last.ended.kind != "done":
        yield f"The work was ended before its aim: {on_one_line(last.ended.kind)}."
    yield from (sentence(f"Not met: {plain(text)}") for text in (last.ended.unmet if last.ended else ()))


def _due(procedure: Procedure, walked: Walked, last: State) -> Iterator[Due]:
    """What must be looked at again: steps that write on the sheet, conditions that are carried on, advisories."""
    for before, one, _ in walked:
        for event in one.events:
            found = _step(procedure, event.path) if isinstance(event, ev.Left) else None
            if found is not None and found[0].do.startswith(SHEET):
                step, owner, here = found
                what = fill(step.do, owner, before, here).removeprefix(SHEET).removeprefix("that ")
                yield Due(what=on_one_line(sentence(what)), when=on_one_line(fill(step.note, owner, before, here)))
    kept = [(c, True) for c, v in last.conditions.items() if v == "T" and c.partition("@")[0] in procedure.carries]
    yield from (Due(what=on_one_line(sentence(text)), when="") for text in says_all(procedure, kept))
    for event in last.findings:
        if event.severity == "advisory":
            yield Due(what=_finding(replace(event, follows="")), when=on_one_line(sentence(event.follows)))


def _done(procedure: Procedure, last: State) -> Iterator[str]:
    """Each instruction that was carried out, once, with all the corners at which it was."""
    places: dict[str, list[str]] = {}
    for visit in visits(last):
        places.setdefault(kind_of_step(visit.path), []).append(visit.path)
    for paths in places.values():
        found = _step(procedure, paths[0])
        if found is None:
            continue
        heres = [here for path in dict.fromkeys(paths) if (one := _step(procedure, path)) and (here := one[2])]
        words = dict.fromkeys(CORNER_WORDS.get(here, here) for here in heres)
        named = " and ".join(filter(None, [", ".join([*words][:-1]), *[*words][-1:]]))
        yield on_one_line(fill(found[0].do, found[1], last, named or None))


def _step(procedure: Procedure, path: str) -> tuple[Step, Procedure, str | None] | None:
    if path in ("", SAFE_STOP):
        return None
    try:
        found = find(procedure, path)
    except LookupError:
        return None
    return (found.node, found.procedure, found.here) if isinstance(found.node, Step) else None


def _title(procedure: Procedure, state: State, path: str) -> str:
    try:
        return on_one_line(title(find(procedure, path), state))
    except UNHEARD_OF:
        return plain(path)


def _finding(event: ev.FindingMade) -> str:
    where = f", {CORNER_WORDS.get(event.where, event.where)}" if event.where else ""
    follows = f" {sentence(event.follows)}" if event.follows else ""
    return on_one_line(f"{_SERIOUS.get(event.severity, event.severity)}: {sentence(event.what + where)}{follows}")


def _overrides(procedure: Procedure, walked: Walked) -> Iterator[str]:
    for before, one, _ in walked:
        for event in one.events:
            if isinstance(event, ev.Overridden):
                what = _title(procedure, before, event.path)
                text = f"{what} This was not met, and the work went on all the same: {event.reason}; {event.initials}"
                yield on_one_line(f"{text}, {one.stamp.at} (line {one.line + 1}).")
            elif isinstance(event, ev.Contradicted):
                was, now = (_said(procedure, event.condition, value) for value in (event.was, event.value))
                yield on_one_line(f"The car was not as noted (line {one.line + 1}): noted was '{was}', seen '{now}'.")


def _said(procedure: Procedure, instance: str, value: str) -> str:
    return "not known" if value == "U" else says_all(procedure, [(instance, value == "T")])[0]


def _corrections(events: Events) -> Iterator[str]:
    for one, event in events:
        if isinstance(event, ev.Corrected):
            change = f"In line {event.line + 1} '{event.was}' was corrected to '{event.now}': {event.reason}"
            held = f"; in truth not met: {', '.join(plain(b) for b in event.broken)}" if event.broken else ""
            yield on_one_line(f"{change}{held} ({one.by}, {one.stamp.at}).")


def _cautions(procedure: Procedure, events: Events) -> Iterator[Caution]:
    """The dangers and warnings that applied in the work, gravest first."""
    named = dict.fromkeys(h for _, event in events if isinstance(event, ev.Confirmed) for h in event.hazards)
    known = [procedure.vocabulary.hazards[name] for name in named if name in procedure.vocabulary.hazards]
    yield from sorted((c for c in known if c.own_act), key=lambda c: ORDER.index(c.word))


def _corners(rows: Iterable[Measured], last: State) -> Iterator[tuple[str, tuple[str, ...]]]:
    at: dict[str, list[str]] = {corner: [] for corner in CORNER_WORDS}
    for row in rows:
        if row.member in at:
            at[row.member].append(f"{row.what}: {row.shown}")
    for event in last.findings:
        if event.where in at:
            at[event.where].append(_finding(event))
    yield from ((corner, tuple(texts)) for corner, texts in at.items())


def _instruments(rows: Iterable[Measured], last: State) -> Iterator[str]:
    for name in dict.fromkeys(row.instrument for row in rows):
        card = last.instruments.get(name)
        if card is not None:
            error = f", error {card['error']}" if card.get("error") else ", error not known"
            due = f", to be calibrated again by {card['due']}" if card.get("due") else ""
            yield on_one_line(f"{card.get('what', name)} ({name}){error}{due}")
