"""One record line as act and events: to seal it, to read it back, to fold a record into a state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import msgspec

from runner.core.act import AnyAct
from runner.core.canonical import canonical
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.line import Line
from runner.core.stamp import Stamp
from runner.core.state import State

_acts: msgspec.json.Decoder[AnyAct] = msgspec.json.Decoder(AnyAct)
_events: msgspec.json.Decoder[tuple[AnyEvent, ...]] = msgspec.json.Decoder(tuple[AnyEvent, ...])


@dataclass(frozen=True, slots=True)
class Entry:
    """What a line says: number, moment, person, act and the events that it caused."""

    line: int
    stamp: Stamp
    by: str
    act: AnyAct
    events: tuple[AnyEvent, ...]


def entry(line: Line) -> Entry:
    """The line understood. Raises ``msgspec.ValidationError`` where a newer program wrote an unknown act."""
    return Entry(line.n, line.stamp, line.by, _acts.decode(line.act), _events.decode(line.events))


def as_recorded(act: AnyAct) -> AnyAct:
    """The act as it will be read back: the engine decides on nothing else, so that a replay agrees."""
    return _acts.decode(canonical(msgspec.to_builtins(act)))


def entries(lines: Iterable[Line]) -> tuple[Entry, ...]:
    """All lines understood, oldest first."""
    return tuple(entry(line) for line in lines)


def folded(all_entries: Iterable[Entry]) -> State:
    """The state that a record stands for."""
    state = State()
    for one in all_entries:
        state = fold(state, one.line, one.stamp, one.by, one.act, one.events)
    return state
