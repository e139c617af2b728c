"""The events of one act while they are being decided: each is folded at once, so that the next sees it."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from runner.core import graph
from runner.core.event import AnyEvent, Refused
from runner.core.folding import evolve, opened
from runner.core.graph import Call, Each, Found, Procedure, Ref, Step
from runner.core.rational import to_text
from runner.core.stamp import Stamp
from runner.core.state import Enclosure, State

GRID = 10**15
"""Levels are kept to a millionth of a microlitre, rounded outward, so that numbers stay short."""

MOST_HOPS = 100
"""Nodes that one act may pass through without standing at one: more is a procedure that goes in circles."""


class Draft:
    """A decision in the making. It lives inside one call of ``decide`` and is never seen outside."""

    __slots__ = ("_kept", "events", "hops", "now", "procedure", "state")

    def __init__(self, procedure: Procedure, state: State, now: Stamp, by: str) -> None:
        self.procedure = procedure
        self.now = now
        self.state = opened(state, state.line + 1, now, by)
        self.events: list[AnyEvent] = []
        self.hops = 0
        self._kept: tuple[int, State] = (0, self.state)

    def emit(self, event: AnyEvent) -> None:
        """Add an event and fold it."""
        self.events.append(event)
        self.state = evolve(self.state, event)

    def keep(self) -> None:
        """What was decided so far stands, even if the act itself is refused."""
        self._kept = (len(self.events), self.state)

    def refuse(self, why: str, help: str = "") -> None:
        """The act changes nothing, whatever it had begun to; say why and what is possible."""
        count, self.state = self._kept
        del self.events[count:]
        self.emit(Refused(why=why, help=help))

    @property
    def refused(self) -> bool:
        """Whether the act was refused."""
        return bool(self.events) and isinstance(self.events[-1], Refused)

    def found(self) -> Found:
        """The node where the run stands."""
        return at(self.procedure, self.state.path)

    def name(self, found: Found, ref: Ref) -> str:
        """The condition instance that a reference means where ``found`` stands."""
        return graph.instance(self.procedure.conditions, ref, found.here)


@lru_cache(maxsize=8192)
def at(procedure: Procedure, path: str) -> Found:
    """The node at a path. Raises KeyError for a path that the procedure does not have."""
    return graph.find(procedure, path)


@lru_cache(maxsize=16)
def paths(procedure: Procedure) -> tuple[str, ...]:
    """Every path of the procedure to a step, turns and calls included."""
    return tuple(_paths(procedure, procedure.body, ""))


def _paths(procedure: Procedure, body: graph.Body, before: str) -> list[str]:
    made: list[str] = []
    for name, node in body.nodes.items():
        if isinstance(node, Call):
            made += _paths(procedure, procedure.fragments[node.fragment].body, f"{before}{name}/")
        elif isinstance(node, Each):
            for member in graph.MEMBERS[node.index]:
                made += _paths(procedure, node.body, f"{before}{name}/{member}/")
        elif isinstance(node, Step):
            made.append(before + name)
    return made


def outward(pair: Enclosure) -> list[str]:
    """The two texts of an enclosure, rounded outward to the grid."""
    low = Fraction(pair[0] * GRID // 1, GRID)
    high = Fraction(-(-pair[1] * GRID // 1), GRID)
    return [to_text(low), to_text(high)]
