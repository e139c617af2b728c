"""What the flat graph is made of: a station, what it asks on entry, and its edges with what takes place on each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import msgspec

from runner.core.finding import Place
from runner.core.graph import (
    Condition,
    Count,
    Holds,
    LevelNeed,
    Need,
    Node,
    Phase,
    Procedure,
    Ref,
    Step,
    Target,
    WaitNeed,
    instance,
)

Verb = Literal[
    "step",
    "deed",
    "end",
    "make",
    "lose",
    "waver",
    "start",
    "use",
    "choose",
    "read",
    "tell",
    "enter",
    "turn",
    "over",
    "come",
]
Kind = Literal["gate", "step", "rest", "phase", "look", "call", "each", "exit", "end", "safe stop"]


class Op(msgspec.Struct, frozen=True):
    """One thing that takes place; not ``sure`` where it may have happened or not."""

    verb: Verb
    name: str
    place: Place
    sure: bool = True
    values: tuple[str, ...] = ()

    @property
    def told(self) -> str:
        """The occasion in words: ``make nipple_open@RR``, ``deed pedal_rise@RR``, ``step torque``."""
        return f"{self.verb} {self.name}"


class When(msgspec.Struct, frozen=True):
    """The edge is taken only while the field has one of these values."""

    field: str
    values: tuple[str, ...]


class Edge(msgspec.Struct, frozen=True, kw_only=True):
    """A way out: a target of the graph, or the name of another station of the same step (``to``)."""

    label: str
    kind: Literal["arm", "bound", "short", "full", "override", "cannot", "on", "skip"]
    to: Target | str
    ops: tuple[Op, ...] = ()
    when: When | None = None
    place: Place


class Asked(msgspec.Struct, frozen=True):
    """A condition that is needed here, as an instance, and the need that says so."""

    instance: str
    wanted: bool
    need: Holds


class Station(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """One place where a run stands or passes, for one ``here``; ``part`` tells those of one step apart."""

    kind: Kind
    part: str
    node: Node | None
    phase: Phase | None = None
    owner: Procedure
    here: str | None
    block: str = ""
    asked: tuple[Asked, ...] = ()
    others: tuple[LevelNeed | WaitNeed, ...] = ()
    entry: tuple[Op, ...] = ()
    edges: tuple[Edge, ...] = ()
    place: Place

    @property
    def step(self) -> Step | None:
        """The step of the station, if it is one of a step."""
        return self.node if isinstance(self.node, Step) else None

    @property
    def bounded(self) -> bool:
        """Whether a loop that passes here ends: its step has a bound, or counts."""
        step = self.step
        return step is not None and (step.bound is not None or isinstance(step.gate, Count))


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Where a step stands: whose it is, what is here, the block it is in, what the conditions are."""

    conditions: Mapping[str, Condition]
    owner: Procedure
    here: str | None
    block: str
    choices: Mapping[str, tuple[str, ...]]
    awaited: frozenset[str] = frozenset()
    told_apart: frozenset[str] = frozenset()
    """The nodes that another one must come after, and those of them whose outcomes count."""

    def come(self, node: Node, outcome: str, place: Place, *, sure: bool = True) -> tuple[Op, ...]:
        """How a node came out, where another one waits for it; not ``sure`` where it was left undone."""
        if node.id not in self.awaited:
            return ()
        return (Op("come", f"{self.block}{node.id}", place, sure=sure, values=(outcome,)),)

    def name(self, ref: Ref) -> str:
        """The instance that a reference means here."""
        return instance(self.conditions, ref, self.here)

    def at_here(self, name: str) -> str:
        """The name with what is here: ``pedal_rise@RR``."""
        return f"{name}@{self.here}" if self.here else name


def asked(setting: Setting, needs: tuple[Need, ...]) -> tuple[Asked, ...]:
    """The condition needs as instances."""
    return tuple(Asked(setting.name(n.ref), n.wanted, n) for n in needs if isinstance(n, Holds))


def glue(
    kind: Kind, node: Node | None, setting: Setting, edges: tuple[Edge, ...], entry: tuple[Op, ...] = ()
) -> Station:
    """A station that only passes on: a call, a block between two turns, an exit, an end."""
    place = node.place if node is not None else setting.owner.place
    return Station(
        kind=kind,
        part="",
        node=node,
        owner=setting.owner,
        here=setting.here,
        block=setting.block,
        edges=edges,
        entry=entry,
        place=place,
    )


def asked_of(conditions: Mapping[str, Condition], station: Station) -> tuple[Asked, ...]:
    """What is asked at a station and at the step that it is part of."""
    if station.step is None or station.kind == "step":
        return station.asked
    own = tuple(
        Asked(instance(conditions, n.ref, station.here), n.wanted, n)
        for n in station.step.needs
        if isinstance(n, Holds)
    )
    return (*own, *station.asked)
