"""The events of one act while they are being decided: each is folded at once, so that the next sees it."""

from __future__ import annotations

from fractions import Fraction

from msgspec.structs import replace

from runner.core import graph
from runner.core.event import AnyEvent, Refused
from runner.core.graph import Found, Procedure
from runner.core.rational import to_text
from runner.core.stamp import Stamp
from runner.core.state import Enclosure, State, evolve

GRID = 10**15
"""Levels are kept to a millionth of a microlitre, rounded outward, so that numbers stay short."""


class Draft:
    """A decision in the making. It lives inside one call of ``decide`` and is never seen outside."""

    __slots__ = ("events", "now", "procedure", "state")

    def __init__(self, procedure: Procedure, state: State, now: Stamp, by: str) -> None:
        self.procedure = procedure
        self.now = now
        self.state = replace(state, line=state.line + 1, stamp=now, by=by or state.by)
        self.events: list[AnyEvent] = []

    def emit(self, event: AnyEvent) -> None:
        """Add an event and fold it."""
        self.events.append(event)
        self.state = evolve(self.state, event)

    def refuse(self, why: str, help: str = "") -> None:
        """The act changes nothing; say why and what is possible."""
        self.emit(Refused(why=why, help=help))

    def found(self) -> Found:
        """The node where the run stands."""
        return graph.find(self.procedure, self.state.path)


def outward(pair: Enclosure) -> list[str]:
    """The two texts of an enclosure, rounded outward to the grid."""
    low = Fraction(pair[0] * GRID // 1, GRID)
    high = Fraction(-(-pair[1] * GRID // 1), GRID)
    return [to_text(low), to_text(high)]
