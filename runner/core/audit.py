"""What a record tells later: the run in short, each gate that was passed, and the whole as a story."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

import msgspec

from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.gaterows import GateRow, gate_line, gates, on_one_line
from runner.core.graph import Procedure
from runner.core.names import Names
from runner.core.replay import UNHEARD_OF
from runner.core.state import State
from runner.core.story import tell

__all__ = ["GateRow", "Summary", "gate_line", "gates", "story", "summary", "tell_safely"]

_NO_NAMES = Names()


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
    events = [(one, event) for one in entries for event in one.events]
    names = Names(procedure)
    begun = next((event for _, event in events if isinstance(event, ev.Begun)), None)
    ended = next((event for _, event in events if isinstance(event, ev.Ended)), None)
    rows = gates(entries)
    settled = {event.owed for _, event in events if isinstance(event, ev.Settled)}

    def told(*kinds: type[AnyEvent]) -> tuple[str, ...]:
        meant = ((one, event) for one, event in events if isinstance(event, kinds))
        return tuple(f"line {one.line + 1}: {tell_safely(event, names)}" for one, event in meant)

    return Summary(
        procedure=on_one_line(begun.procedure) if begun else "",
        revision=on_one_line(begun.revision) if begun else "",
        car=on_one_line(begun.car) if begun else "",
        demonstration=begun is not None and begun.demonstration,
        rehearsal=begun is not None and begun.rehearsal,
        begun=entries[0].stamp.at if entries else "",
        last=entries[-1].stamp.at if entries else "",
        lines=len(entries),
        people=_people(events),
        gates=len(rows),
        overrides=told(ev.Overridden),
        corrections=told(ev.Corrected),
        not_as_written=told(ev.CannotDo),
        findings=told(ev.FindingMade),
        contradictions=told(ev.Contradicted),
        fast=sum(isinstance(event, ev.Confirmed) and event.fast for _, event in events),
        late=sum(isinstance(event, ev.Left) and bool(event.late) for _, event in events),
        mistaken=sum(isinstance(event, ev.Mistaken) for _, event in events),
        refused=sum(isinstance(event, ev.Refused) for _, event in events),
        breaks=sum(isinstance(event, ev.Resumed) for _, event in events),
        owed=tuple(on_one_line(e.what) for _, e in events if isinstance(e, ev.Owes) and e.owed not in settled),
        finished=on_one_line(ended.kind) if ended else "",
        open=tuple(names.open((name,)) for name in ended.open) if ended else (),
        do_not_drive=ended is not None and ended.do_not_drive,
        signatures=tuple(
            f"line {one.line + 1}: {one.stamp.at}, {tell_safely(event)}"
            for one, event in events
            if isinstance(event, ev.Signed)
        ),
    )


def _people(events: Sequence[tuple[Entry, AnyEvent]]) -> tuple[str, ...]:
    named: list[str] = []
    for one, event in events:
        named.append(one.by)
        if isinstance(event, ev.PersonSet | ev.Overridden | ev.Signed):
            named.append(event.initials)
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
        for event in one.events:
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
