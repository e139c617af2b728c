"""The nodes of a procedure: steps, calls, blocks and ends, and how they come out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from runner.core.finding import Place
from runner.core.graph.condition import Need, Ref
from runner.core.graph.gate import Branch, Count, Gate, Move, SetByLook, Target, Times, outcomes
from runner.core.graph.member import Index
from runner.core.hazard import Caution


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """What must have come before a node: another node of the same body, done in the same turn or run.

    With ``outcomes`` the latest way in which it came out must be one of them; ``said`` keeps the author's words.
    """

    node: str
    outcomes: tuple[str, ...]
    said: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Commit:
    """The last moment before what cannot be undone: parts in hand, time it takes, the way out."""

    parts: tuple[str, ...]
    takes: str
    way_out: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One action with its cautions, its gate, its effects and where to go next.

    Effects count when the step is left by an edge of the graph; an override makes them U instead.
    ``cautions`` are already joined from the vocabulary and in order of their word. ``uses`` are parts of no stack.
    """

    id: str
    do: str
    short: str
    where: str
    take: tuple[str, ...] = ()
    why: str = ""
    note: str = ""
    expect: str = ""
    cautions: tuple[Caution, ...] = ()
    needs: tuple[Need, ...] = ()
    makes: tuple[Ref, ...] = ()
    ends: tuple[Ref, ...] = ()
    deeds: tuple[str, ...] = ()
    gate: Gate | None = None
    moves: tuple[Move, ...] = ()
    sets: tuple[SetByLook, ...] = ()
    starts: str | None = None
    branch: Branch
    bound: Times | None = None
    override: Target | None = None
    cannot: Target | None = None
    group: str | None = None
    commit: Commit | None = None
    park: str | None = None
    slides: tuple[tuple[Literal["on", "off", "cut"], str], ...] = ()
    uses: tuple[str, ...] = ()
    after: tuple[After, ...] = ()
    place: Place

    @property
    def taken(self) -> tuple[str, ...]:
        """The parts that go on the car here: slid on, or used otherwise."""
        return (*(part for how, part in self.slides if how == "on"), *self.uses)


def moves_of(step: Step) -> tuple[Move, ...]:
    """Every move of a step: its own, and that of its count."""
    counted = step.gate.move if isinstance(step.gate, Count) else None
    return step.moves if counted is None else (*step.moves, counted)


def levels_of(step: Step) -> tuple[str, ...]:
    """The levels that a step moves or looks at; they are not known while it goes on, nor where it was left undone."""
    return tuple(n for m in moves_of(step) for n in (m.source, m.target) if n) + tuple(s.level for s in step.sets)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """A fragment taken in place. ``ensure``: skipped when the condition is T; ``give_back``: skipped
    while a paused run of the same car still claims the condition.
    """

    id: str
    fragment: str
    at: str | None
    exits: Mapping[str, Target]
    ensure: Ref | None = None
    give_back: Ref | None = None
    skip: Target | None = None
    after: tuple[After, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Each:
    """A block with one turn for each member of ``index``; ``order`` is an ask or a listed order."""

    id: str
    index: Index
    order: str | tuple[str, ...]
    body: Body
    then: Target
    exits: Mapping[str, Target]
    after: tuple[After, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """``done`` owes all rules; ``stopped`` only what must be closed; in a fragment a named exit."""

    id: str
    kind: str
    say: str
    place: Place


Node = Step | Call | Each | End
OVERRIDDEN, SKIPPED = "override", "skipped"
"""How a step is passed without its gate, and a call whose condition was true already."""
LEFT = ""
"""What came out where a step was left undone: nothing that could be named."""


def comings(node: Node) -> tuple[str, ...]:
    """The names of all ways in which a node may come out, as ``after`` may name them."""
    match node:
        case Step():
            return (*outcomes(node.gate), *((OVERRIDDEN,) if node.override is not None else ()))
        case Call():
            return (*node.exits, *((SKIPPED,) if node.skip is not None else ()))
        case Each():
            return tuple(node.exits)
        case End():
            return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The nodes of one scope by id, and the first of them."""

    nodes: Mapping[str, Node]
    first: str


def walk(body: Body) -> Iterator[Node]:
    """Every node of a body and of the blocks in it, in the author's order."""
    for node in body.nodes.values():
        yield node
        if isinstance(node, Each):
            yield from walk(node.body)
