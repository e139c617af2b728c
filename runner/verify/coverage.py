"""What a rehearsal has to cross: every edge of the unexpanded procedure, every outcome, both sides of every limit.

Rules of this module
1. An item is crossed where the events of an act show it; nothing is counted because it was planned.
2. Edges of a fragment and of the body of a block count once, wherever and however often they are gone.
3. ``ways`` may lead further than a run can: it is a map for the search, no proof.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from runner.core import event as ev
from runner.core import graph
from runner.core.event import AnyEvent
from runner.core.graph import MEMBERS, Call, Count, Each, End, Procedure, Reading, Step, Target, outcomes
from runner.core.quantity import Quantity
from runner.core.state import SAFE_STOP, State
from runner.core.values import subject_value, worth

FORCED = ("bound", "short", "full", "skipped")
"""Edges that the engine takes by itself when a count, a level or the car calls for it."""

FAR = 10_000
"""Further than any place lies from another."""
_FIRST = {member: members[0] for members in MEMBERS.values() for member in members}


@dataclass(frozen=True, slots=True, order=True)
class Item:
    """One thing to cross: the procedure or fragment, its node, and the edge, outcome or side of a limit."""

    owner: str
    node: str
    label: str
    kind: str = "edge"


@dataclass(frozen=True, slots=True)
class Way:
    """What may be crossed on leaving a node by an outcome, and where that may lead (paths of the first member)."""

    items: tuple[Item, ...]
    to: tuple[str, ...]


def alike(path: str) -> str:
    """The path with every turn replaced by that of the first member, so that a step is one place."""
    return "/".join(_FIRST.get(part, part) for part in path.split("/"))


@dataclass(frozen=True, slots=True)
class Chart:
    """The map of a procedure: from each place its ways; ``items`` is all there is to cross."""

    ways: Mapping[str, tuple[Way, ...]]
    items: Mapping[Item, str]
    _ahead: dict[tuple[str, frozenset[Item]], frozenset[Item]] = field(default_factory=dict)

    def ahead(self, start: str, closed: frozenset[Item]) -> frozenset[Item]:
        """All that may be crossed from a place on, without the ways that cross what is closed."""
        key = (start, closed)
        if key not in self._ahead:
            every = (way for path, _ in self._spread(start, closed) for way in self.open(path, closed))
            self._ahead[key] = frozenset(item for way in every for item in way.items)
        return self._ahead[key]

    def nearest(self, start: str, goal: set[Item], closed: frozenset[Item]) -> tuple[int, list[Item]]:
        """How many steps it is to the nearest of the goals, and which there are at that place."""
        for path, far in self._spread(start, closed):
            hit = {item for way in self.open(path, closed) for item in way.items} & goal
            if hit:
                return far, sorted(hit)
        return FAR, []

    def steps_to(self, start: str, goal: str) -> int:
        """How many steps it is from one place to another."""
        return next((far for path, far in self._spread(start, frozenset()) if path == goal), FAR)

    def leads_back(self, place: str) -> bool:
        """Whether some way leads from a place back to it."""
        return any(self.steps_to(to, place) < FAR for way in self.ways.get(place, ()) for to in way.to)

    def open(self, path: str, closed: frozenset[Item]) -> Iterator[Way]:
        """The ways from a place that cross nothing closed."""
        return (way for way in self.ways.get(path, ()) if closed.isdisjoint(way.items))

    def _spread(self, start: str, closed: frozenset[Item]) -> Iterator[tuple[str, int]]:
        todo, seen = deque([(start, 0)]), {start}
        while todo:
            path, far = todo.popleft()
            yield path, far
            for to in (to for way in self.open(path, closed) for to in way.to if to not in seen):
                seen.add(to)
                todo.append((to, far + 1))


def chart(procedure: Procedure, car: Mapping[str, str] | None = None) -> Chart:
    """The map, from the first step on: for every car, or for one whose values that decide a way are known."""
    ways: dict[str, tuple[Way, ...]] = {}
    items: dict[Item, str] = {}
    todo = list(_land(procedure, procedure.body.first)[1])
    while todo:
        path = todo.pop()
        if path in ways or path == SAFE_STOP:
            continue
        ways[path] = tuple(_ways(procedure, path, car or {}))
        items |= {item: path for way in ways[path] for item in way.items if item not in items}
        todo += [to for way in ways[path] for to in way.to]
    return Chart(ways, items)


def _ways(procedure: Procedure, path: str, car: Mapping[str, str]) -> Iterator[Way]:
    found = graph.find(procedure, path)
    node, owner = found.node, found.procedure.name
    if isinstance(node, End):
        yield Way((Item(owner, node.id, "reached"),), ())
    if isinstance(node, Call) and node.skip is not None:
        yield _way(procedure, path, (Item(owner, node.id, "skipped"),), node.skip)
    if isinstance(node, Call):
        first = procedure.fragments[node.fragment].body.first
        yield Way((), _land(procedure, f"{path}/{first}")[1])
    if not isinstance(node, Step):
        return
    yield from _by_outcome(procedure, path, node, car)
    for label, target in beside(node):
        yield _way(procedure, path, (Item(owner, node.id, label),), target)
    if isinstance(node.gate, Reading):
        yield Way(tuple(Item(owner, node.id, label, "limit") for label in _sides(node.gate)), ())


def _by_outcome(procedure: Procedure, path: str, step: Step, car: Mapping[str, str]) -> Iterator[Way]:
    owner = graph.find(procedure, path).procedure.name
    again = step.gate.again if isinstance(step.gate, Count) else frozenset()
    for outcome in outcomes(step.gate) or ("done",):
        item = Item(owner, step.id, outcome, "outcome" if step.gate is not None else "edge")
        if outcome in again:
            yield Way((item,), (path,))
        elif step.branch.subject == "gate":
            arm = next((a for a in step.branch.arms if a.value in (None, outcome)), None)
            if arm is not None:
                yield _way(procedure, path, (item,), arm.target)
        else:
            known = car.get(step.branch.subject)
            for arm in (a for a in step.branch.arms if known in (None, a.value)):
                by = Item(owner, step.id, f"{step.branch.subject} is {arm.value}")
                yield _way(procedure, path, (item, by), arm.target)


def beside(step: Step) -> Iterator[tuple[str, Target]]:
    """The ways that leave a step beside its outcomes: bounds, override, cannot, a move that runs short or over."""
    if step.bound is not None:
        yield "bound", step.bound.then
    if step.override is not None:
        yield "override", step.override
    if step.cannot is not None:
        yield "cannot", step.cannot
    count = step.gate if isinstance(step.gate, Count) else None
    if count is not None:
        yield "bound", count.bound
    for move in (*step.moves, *((count.move,) if count is not None and count.move is not None else ())):
        if move.if_short is not None:
            yield "short", move.if_short
        if move.if_full is not None:
            yield "full", move.if_full


def _sides(reading: Reading) -> tuple[str, ...]:
    ends = {e.text for band in reading.bands for e in (band.low, band.high) if e is not None}
    return tuple(f"{side} limit {n + 1}" for n in range(len(ends)) for side in ("below", "above"))


def _way(procedure: Procedure, path: str, items: tuple[Item, ...], target: Target) -> Way:
    more, to = follow(procedure, path, target)
    return Way((*items, *more), to)


def follow(procedure: Procedure, path: str, target: Target) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """What is crossed on the way along an edge that starts at a path, and the places where it may end."""
    match target.kind:
        case "safe stop":
            return (), (SAFE_STOP,)
        case "again":
            return (), (alike(path),)
        case "step":
            return _land(procedure, graph.prefix(procedure, path) + target.name)
        case "exit":
            above = graph.parent(procedure, path)
            return _out(procedure, above, target.name) if above is not None else ((), (SAFE_STOP,))
        case "next turn":
            above = graph.parent(procedure, path)
            while above is not None and not isinstance(graph.find(procedure, above).node, Each):
                above = graph.parent(procedure, above)
            if above is None:
                return (), (SAFE_STOP,)
            block = graph.find(procedure, above)
            assert isinstance(block.node, Each)
            more, to = follow(procedure, above, block.node.then)
            over = Item(block.procedure.name, block.node.id, "then")
            return (over, *more), (*_first(procedure, above, block.node), *to)


def _first(procedure: Procedure, path: str, block: Each) -> tuple[str, ...]:
    return _land(procedure, f"{path}/{MEMBERS[block.index][0]}/{block.body.first}")[1]


def _out(procedure: Procedure, above: str, name: str) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    found = graph.find(procedure, above)
    node = found.node
    if not isinstance(node, Call | Each) or name not in node.exits:
        return (), (SAFE_STOP,)
    items, to = follow(procedure, above, node.exits[name])
    return (Item(found.procedure.name, node.id, f"exit {name}"), *items), to


def _land(procedure: Procedure, path: str) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    node = graph.find(procedure, path).node
    if isinstance(node, Each):
        return (), _first(procedure, path, node)
    if isinstance(node, End):
        above = graph.parent(procedure, path)
        if above is not None and isinstance(graph.find(procedure, above).node, Call):
            return _out(procedure, above, node.kind)
    return (), (alike(path),)


def crossed(procedure: Procedure, before: State, events: Iterable[AnyEvent], after: State) -> frozenset[Item]:
    """The items that the events of one act show."""
    made: set[Item] = set()
    choices = dict(before.choices)
    for event in events:
        match event:
            case ev.Left(path=path, outcome=outcome):
                made |= set(_left(procedure, before, path, outcome, choices))
            case ev.TurnOver(block=path):
                block = graph.find(procedure, path)
                if isinstance(block.node, Each) and len(before.over.get(path, ())) + 1 >= len(before.orders[path]):
                    made.add(Item(block.procedure.name, block.node.id, "then"))
            case ev.Answered(path=path, outcome=outcome, name=name):
                choices |= {name: event.value} if name else {}
                found = graph.find(procedure, path)
                made.add(Item(found.procedure.name, found.node.id, outcome, "outcome"))
            case ev.Taken(path=path):
                made |= set(_measured(procedure, after, path, event.name))
            case ev.Ended():
                if before.path not in ("", SAFE_STOP):
                    found = graph.find(procedure, before.path)
                    made.add(Item(found.procedure.name, found.node.id, "reached"))
            case _:
                pass
    return frozenset(made)


def _left(procedure: Procedure, state: State, path: str, outcome: str, choices: Mapping[str, str]) -> Iterator[Item]:
    found = graph.find(procedure, path)
    node, owner = found.node, found.procedure.name
    target: Target | None = None
    kind = "edge"
    if isinstance(node, Step):
        aside = dict(beside(node))
        if outcome in outcomes(node.gate):
            kind = "outcome"
        if outcome in aside and kind == "edge":
            target = aside[outcome]
        elif node.branch.subject == "gate":
            target = next((a.target for a in node.branch.arms if a.value in (None, outcome)), None)
        else:
            subject = node.branch.subject
            value = choices.get(subject) or subject_value(found.procedure, state, subject, found.here)
            yield Item(owner, node.id, f"{subject} is {value}")
            target = next((a.target for a in node.branch.arms if a.value in (None, value)), None)
    elif isinstance(node, Call):
        target = node.skip
    yield Item(owner, node.id, outcome, kind)
    if target is not None:
        yield from follow(procedure, path, target)[0]


def _measured(procedure: Procedure, state: State, path: str, name: str) -> Iterator[Item]:
    found = graph.find(procedure, path)
    step = found.node
    if not isinstance(step, Step) or not isinstance(step.gate, Reading):
        return
    ends = {e.text: e for band in step.gate.bands for e in (band.low, band.high) if e is not None}
    points = state.readings[name][-1].points
    for nth, end in enumerate(ends.values(), 1):
        limit = worth(found.procedure, state, end, found.here)
        if isinstance(limit, Quantity):
            sides = {"below" if p.hi < limit.lo else "above" for p in points if p.hi < limit.lo or p.lo >= limit.hi}
            yield from (Item(found.procedure.name, step.id, f"{side} limit {nth}", "limit") for side in sides)
