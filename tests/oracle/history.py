"""The list of everything that happened in a run, and how to look back over it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from runner.core import event as ev
from runner.core import graph as g
from runner.core.event import AnyEvent


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: its events, the occasions that they stand for, and the line before."""

    events: tuple[AnyEvent, ...]
    words: tuple[str, ...]
    before: Line | None


def told(line: Line | None) -> Iterator[AnyEvent]:
    """The events of a history, latest first."""
    while line is not None:
        yield from reversed(line.events)
        line = line.before


def words(line: Line | None) -> Iterator[str]:
    """The occasions of a history, latest first."""
    while line is not None:
        yield from reversed(line.words)
        line = line.before


def changes(event: AnyEvent) -> dict[str, str]:
    """What an event says of conditions."""
    match event:
        case ev.Begun(conditions=c) | ev.Became(changes=c) | ev.Returned(conditions=c) | ev.Granted(touched=c):
            return c
        case ev.Stopped(unknown=c) | ev.Resumed(unknown=c):
            return c
        case ev.Expired(conditions=names):
            return dict.fromkeys(names, "U")
        case ev.Attested(condition=name, value=value) | ev.Contradicted(condition=name, value=value):
            return {name: value}
    return {}


def value(line: Line | None, name: str) -> str:
    """T, F or U: what the latest event that speaks of the condition said."""
    return next((c[name] for e in told(line) if name in (c := changes(e))), "U")


def alike(one: str, other: str) -> bool:
    """Whether both lie on one corner or its axle or side, or one of them on none."""
    a, b = one.partition("@")[2], other.partition("@")[2]
    wider = {a: (g.AXLE_OF.get(a), g.SIDE_OF.get(a)), b: (g.AXLE_OF.get(b), g.SIDE_OF.get(b))}
    return not a or not b or a == b or b in wider[a] or a in wider[b]
