"""What a record tells later: the run in short, each gate that was passed, and the whole as a story."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeVar

import msgspec

from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.gaterows import GateRow, count, gate_line, gates, on_one_line
from runner.core.graph import Procedure
from runner.core.names import Names, left_undone
from runner.core.replay import UNHEARD_OF
from runner.core.state import State
from runner.core.story import tell

__all__ = ["GateRow", "Summary", "gate_line", "gates", "story", "summary", "tell_safely"]

_NO_NAMES = Names()
_E = TypeVar("_E", bound=ev.Event)


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """One run in short. `finished` is how it ended, empty while it has not; times are those of the lines."""

    procedure: str
    revision: str
    car: str
    demonstration: bool
    rehearsal: bool
    begun: str
    last: str
    lines: int
    people: tuple[str, ...]
    gates: int
    overrides: tuple[str, ...]
    corrections: tuple[str, ...]
    not_as_written: tuple[str, ...]
    findings: tuple[str, ...]
    contradictions: tuple[str, ...]
    fast: int
    late: int
    mistaken: int
    refused: int
    breaks: int
    owed: tuple[str, ...]
    finished: str
    open: tuple[str, ...]
    do_not_drive: bool
    signatures: tuple[str, ...]


def summary(entries: Sequence[Entry], procedure: Procedure | None = None) -> Summary:
    """The run in short; `procedure` lends its words."""
    events = _Events(entries)
    names = Names(procedure)
    begun = next((event for _, event in events.of(ev.Begun)), None)
    ended = next((event for _, event in events.of(ev.Ended)), None)
    settled = {event.owed for _, event in events.of(ev.Settled)}

    def told(kind: type[ev.Event]) -> tuple[str, ...]:
        return tuple(f"line {one.line + 1}: {tell_safely(event, names)}" for one, event in events.kinds.get(kind, ()))

    return Summary(
        procedure=on_one_line(begun.procedure) if begun else "",
        revision=on_one_line(begun.revision) if begun else "",
        car=on_one_line(begun.car) if begun else "",
        demonstration=begun is not None and begun.demonstration,
        rehearsal=begun is not None and begun.rehearsal,
        begun=entries[0].stamp.at if entries else "",
        last=entries[-1].stamp.at if entries else "",
        lines=len(entries),
        people=_people(entries),
        gates=count(entries),
        overrides=told(ev.Overridden),
        corrections=told(ev.Corrected),
        not_as_written=told(ev.CannotDo),
        findings=_findings(events, names),
        contradictions=told(ev.Contradicted),
        fast=sum(event.fast for _, event in events.of(ev.Confirmed)),
        late=sum(bool(event.late) for _, event in events.of(ev.Left)),
        mistaken=len(events.of(ev.Mistaken)),
        refused=len(events.of(ev.Refused)),
        breaks=len(events.of(ev.Resumed)),
        owed=tuple(on_one_line(event.what) for _, event in events.of(ev.Owes) if event.owed not in settled),
        finished=on_one_line(ended.kind) if ended else "",
        open=names.open(ended.open) if ended else (),
        do_not_drive=ended is not None and ended.do_not_drive,
        signatures=tuple(
            f"line {one.line + 1}: {one.stamp.at}, {tell_safely(event)}" for one, event in events.of(ev.Signed)
        ),
    )


class _Events:
    """The events of a record by their kind, each with its line."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        self.kinds: dict[type[ev.Event], list[tuple[Entry, AnyEvent]]] = {}
        for one in entries:
            for event in one.events:
                self.kinds.setdefault(type(event), []).append((one, event))

    def of(self, kind: type[_E]) -> list[tuple[Entry, _E]]:
        return [(one, event) for one, event in self.kinds.get(kind, ()) if isinstance(event, kind)]


def _findings(events: _Events, names: Names) -> tuple[str, ...]:
    """The findings; what the run ended without is told for all places of one thing together."""
    told = [(one, tell_safely(event, names)) for one, event in events.of(ev.FindingMade) if not left_undone(event)]
    for one, end in events.of(ev.Ended):
        if any(left_undone(event) for event in one.events):
            told += [(one, f"finding (fail): left undone; {text}") for text in names.all_amiss(end.unmet)]
    return tuple(f"line {one.line + 1}: {on_one_line(text)}" for one, text in told)


def _people(entries: Sequence[Entry]) -> tuple[str, ...]:
    named: dict[str, None] = {}
    for one in entries:
        if one.events:
            named[one.by] = None
        for event in one.events:
            if isinstance(event, ev.PersonSet | ev.Overridden | ev.Signed):
                named[event.initials] = None
    return tuple(dict.fromkeys(on_one_line(name) for name in named if name))


def story(entries: Sequence[Entry], procedure: Procedure | None = None) -> tuple[str, ...]:
    """The run told line by line: when, who, what happened, and under each gate how it was passed."""
    rows: dict[int, list[GateRow]] = {}
    for row in gates(entries, procedure):
        rows.setdefault(row.line, []).append(row)
    told: list[str] = []
    day = ""
    state = State()
    for one in entries:
        if one.stamp.at[:10] != day:
            day = one.stamp.at[:10]
            told.append(f"{day} (UTC)")
        first = f"{one.line + 1:>5}  {one.stamp.at[11:19]}  {on_one_line(one.by) or '-':<4}  "
        lead = first
        names = Names(procedure, state)
        with suppress(*UNHEARD_OF):  # an edited record is told all the same
            state = fold(state, one.line, one.stamp, one.by, one.act, one.events)
        ends = any(isinstance(event, ev.Ended) for event in one.events)
        for event in one.events:
            if ends and left_undone(event):
                continue  # the end tells it
            told.append(lead + tell_safely(event, names))
            lead = " " * len(first)
        told += [f"{' ' * len(first)}= {gate_line(row)}" for row in rows.get(one.line + 1, ())]
    return tuple(told)


def tell_safely(event: AnyEvent, names: Names = _NO_NAMES) -> str:
    """The event in words; of one that no engine made, its name."""
    if isinstance(event, ev.Corrected):
        event = msgspec.structs.replace(event, line=event.line + 1)  # acts count lines from 0, readers from 1
    try:
        return on_one_line(tell(event, names))
    except UNHEARD_OF:
        return f"an event that cannot be told: {event.__struct_config__.tag}"
