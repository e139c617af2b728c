"""What the sheet for the car's owner says: all from the record, in words that need no knowledge of this program.

Rules of this module
1. Nothing says more of the car than that it was checked on a date at an odometer.
2. What was not done, not met, overridden or corrected stands in the open; reading speed is the technician's matter.
3. What has become of an owed text or a finding is told as the record has it; the sheet decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from runner.core import event as ev
from runner.core.aftercare import (
    Due,
    Events,
    Walked,
    before_driving,
    due,
    finding_words,
    not_done,
    step_at,
    titled,
    unmet,
)
from runner.core.course import LevelCurve, Stretch, level_curves, time_line
from runner.core.entry import Entry
from runner.core.gaterows import on_one_line
from runner.core.graph import CORNER_WORDS, Procedure
from runner.core.hazard import ORDER, Caution
from runner.core.measured import Measured, measured
from runner.core.names import Names, left_undone
from runner.core.replay import states
from runner.core.signature import told as key_told
from runner.core.state import State, kind_of_step, visits
from runner.core.wording import fill, says_all

NOT_NOTED = "not noted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """The car as its own file has it; each text may be empty. `steering` is left, right or not known ("")."""

    name: str = ""
    vin: str = ""
    odometer: str = ""
    steering: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A signature as it is printed: name, time and meaning, and the key that made it."""

    name: str
    at: str
    meaning: str
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictured:
    """A picture that was kept: at which step and corner, when and by whom; `digest` is the SHA-256 of its file."""

    what: str
    member: str
    at: str
    who: str
    digest: str


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
    pictures: tuple[Pictured, ...]
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
    names = Names(procedure, last)
    cautions = tuple(_cautions(procedure, events))
    owed = tuple(f"Still to be written down: {on_one_line(what)}." for what in last.owed.values())
    left = (*not_done(procedure, walked), *unmet(procedure, last), *owed)
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
        before_driving=tuple(before_driving(procedure, last, events, cautions)),
        not_done=left,
        due=tuple(due(procedure, walked, last)),
        done=tuple(_done(procedure, last)),
        measured=rows,
        pictures=tuple(_pictures(procedure, walked)),
        found=tuple(finding_words(event, names) for event in last.findings if not left_undone(event)),
        overrides=tuple(_overrides(procedure, walked)),
        corrections=tuple(_corrections(events, names)),
        cautions=cautions,
        levels=level_curves(entries, procedure),
        stretches=time_line(entries),
        corners=tuple(_corners(rows, last, names)),
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


def _odometer(last: State, vehicle: Vehicle) -> str:
    asked = next((value for name, value, _ in last.asks if name == "odometer"), "")
    return on_one_line(asked or vehicle.odometer) or NOT_NOTED


def _done(procedure: Procedure, last: State) -> Iterator[str]:
    """Each instruction that was carried out, once, with all the corners at which it was."""
    places: dict[str, list[str]] = {}
    for visit in visits(last):
        places.setdefault(kind_of_step(visit.path), []).append(visit.path)
    for paths in places.values():
        found = step_at(procedure, paths[0])
        if found is None:
            continue
        heres = [here for path in dict.fromkeys(paths) if (one := step_at(procedure, path)) and (here := one[2])]
        words = dict.fromkeys(CORNER_WORDS.get(here, here) for here in heres)
        named = " and ".join(filter(None, [", ".join([*words][:-1]), *[*words][-1:]]))
        yield on_one_line(fill(found[0].do, found[1], last, named or None))


def _pictures(procedure: Procedure, walked: Walked) -> Iterator[Pictured]:
    for before, one, _ in walked:
        for event in one.events:
            if isinstance(event, ev.Identified) and event.digest:
                yield Pictured(
                    what=titled(procedure, before, event.path),
                    member=on_one_line(event.name.partition("@")[2]),
                    at=one.stamp.at,
                    who=on_one_line(one.by),
                    digest=on_one_line(event.digest),
                )


def _overrides(procedure: Procedure, walked: Walked) -> Iterator[str]:
    for before, one, _ in walked:
        for event in one.events:
            if isinstance(event, ev.Overridden):
                what = titled(procedure, before, event.path)
                text = f"{what} This was not met, and the work went on all the same: {event.reason}; {event.initials}"
                yield on_one_line(f"{text}, {one.stamp.at} (line {one.line + 1}).")
            elif isinstance(event, ev.Contradicted):
                was, now = (_said(procedure, event.condition, value) for value in (event.was, event.value))
                yield on_one_line(f"The car was not as noted (line {one.line + 1}): noted was '{was}', seen '{now}'.")


def _said(procedure: Procedure, instance: str, value: str) -> str:
    return "not known" if value == "U" else says_all(procedure, [(instance, value == "T")])[0]


def _corrections(events: Events, names: Names) -> Iterator[str]:
    for one, event in events:
        if isinstance(event, ev.Corrected):
            change = f"In line {event.line + 1} '{event.was}' was corrected to '{event.now}': {event.reason}"
            held = f"; in truth not met: {'; '.join(names.of(b) for b in event.broken)}" if event.broken else ""
            yield on_one_line(f"{change}{held} ({one.by}, {one.stamp.at}).")


def _cautions(procedure: Procedure, events: Events) -> Iterator[Caution]:
    """The dangers and warnings that applied in the work, gravest first."""
    named = dict.fromkeys(h for _, event in events if isinstance(event, ev.Confirmed) for h in event.hazards)
    known = [procedure.vocabulary.hazards[name] for name in named if name in procedure.vocabulary.hazards]
    yield from sorted((c for c in known if c.own_act), key=lambda c: ORDER.index(c.word))


def _corners(rows: Iterable[Measured], last: State, names: Names) -> Iterator[tuple[str, tuple[str, ...]]]:
    at: dict[str, list[str]] = {corner: [] for corner in CORNER_WORDS}
    for row in rows:
        if row.member in at:
            at[row.member].append(f"{row.what}: {row.shown}")
    for event in last.findings:
        if event.where in at:
            at[event.where].append(finding_words(event, names))
    yield from ((corner, tuple(texts)) for corner, texts in at.items())


def _instruments(rows: Iterable[Measured], last: State) -> Iterator[str]:
    for name in dict.fromkeys(row.instrument for row in rows):
        card = last.instruments.get(name)
        if card is not None:
            error = f", error {card['error']}" if card.get("error") else ", error not known"
            due = f", to be calibrated again by {card['due']}" if card.get("due") else ""
            yield on_one_line(f"{card.get('what', name)} ({name}){error}{due}")
