"""Whether the engine, given the acts of a record, makes the events that stand in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import msgspec

from runner.core.canonical import canonical
from runner.core.engine import decide
from runner.core.entry import Entry
from runner.core.event import AnyEvent
from runner.core.finding import quote
from runner.core.folding import fold
from runner.core.graph import Procedure
from runner.core.state import State

UNHEARD_OF = (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError)
"""What folding or deciding may raise over a record that no engine wrote; over one that an engine wrote, never."""


@dataclass(frozen=True, slots=True)
class Mismatch:
    """The first line (from 1) whose events are not the engine's, and what differs first."""

    line: int
    text: str


def replay(procedure: Procedure, entries: Sequence[Entry]) -> Mismatch | None:
    """None if every act makes exactly its events; else the first line where it does not."""
    return next(mismatches(procedure, entries), None)


def mismatches(procedure: Procedure, entries: Sequence[Entry]) -> Iterator[Mismatch]:
    """Every line whose events are not the engine's, each judged from the state that the record had come to.

    As long as engine and record agree that state is the engine's own; it ends where the record can be folded no more.
    """
    state = State()
    for one in entries:
        try:
            events = decide(procedure, state, one.act, one.stamp, one.by)
        except UNHEARD_OF as error:
            yield Mismatch(one.line + 1, f"the engine cannot carry out this act ({type(error).__name__})")
            events = one.events
        if events != one.events and (difference := _difference(events, one.events)):
            yield Mismatch(one.line + 1, f"the engine does not give these events: {difference}")
            events = one.events
        try:
            state = fold(state, one.line, one.stamp, one.by, one.act, events)
        except UNHEARD_OF as error:
            yield Mismatch(one.line + 1, f"these events cannot follow what went before ({type(error).__name__})")
            return


def states(entries: Sequence[Entry]) -> Iterator[tuple[State, Entry, State]]:
    """Each line with the state before and after it; it ends where a record is not one that an engine wrote."""
    state = State()
    for one in entries:
        try:
            after = fold(state, one.line, one.stamp, one.by, one.act, one.events)
        except UNHEARD_OF:
            return
        yield state, one, after
        state = after


def _difference(own: tuple[AnyEvent, ...], told: tuple[AnyEvent, ...]) -> str:
    """In words where they part first; empty if they say the same as a record writes it."""
    for number, (mine, theirs) in enumerate(zip(own, told, strict=False), start=1):
        if type(mine) is not type(theirs):
            return f"event {number} is '{_tag(theirs)}', the engine gives '{_tag(mine)}'"
        for name in mine.__struct_fields__:
            ours, written = (_written(getattr(event, name)) for event in (mine, theirs))
            if ours != written:
                return f"'{name}' of '{_tag(theirs)}' is {quote(written)}, the engine gives {quote(ours)}"
    if len(own) != len(told):
        more = told[len(own) :] or own[len(told) :]
        return f"'{_tag(more[0])}' is {'one too many' if len(told) > len(own) else 'missing'}"
    return ""


def _written(value: object) -> str:
    return canonical(msgspec.to_builtins(value, order="deterministic")).decode()


def _tag(event: AnyEvent) -> str:
    return str(event.__struct_config__.tag)
