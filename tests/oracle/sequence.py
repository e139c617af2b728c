"""What came before what, by looking over everything that happened: how a node came out, and what it had to come after.

It shares nothing with the engine's own notes: how a call or a block came out is followed along the edges that were
taken, from the step that was left last inside of it.
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core import event as ev
from runner.core import graph as g
from runner.core.event import AnyEvent
from runner.core.graph import Procedure, find, parent
from tests.oracle.history import Line, told

Came = tuple[str, str, bool]
"""The path of a node, how it came out, and whether it was done."""
UNDONE = ("override", "cannot", "short", "full", "bound")


def early(procedure: Procedure, history: Line | None, event: AnyEvent) -> Iterator[str]:
    """What an event begins or has done of a node that must come after another one, and does not."""
    for path in _begun(procedure, history, event) if not _detour(history) else ():
        yield from _too_soon(procedure, history, path)


def _too_soon(procedure: Procedure, history: Line | None, path: str) -> Iterator[str]:
    """What the node at the path must come after and does not."""
    node = find(procedure, path).node
    asked = getattr(node, "after", ())
    if not asked:
        return
    events = tuple(told(history))[::-1]
    for one in asked:
        before = [came for came in _came(procedure, events, path) if came[0] == path.removesuffix(node.id) + one.node]
        met = before[-1:] and before[-1][1] in one.outcomes if one.outcomes else any(done for _, _, done in before)
        if not met:
            yield f"after: '{path}' was begun, but {one.said}"


def _begun(procedure: Procedure, history: Line | None, event: AnyEvent) -> Iterator[str]:
    """The calls and blocks that begin with an event, the step that was done, the count that is granted."""
    if isinstance(event, ev.Granted) or (isinstance(event, ev.Left) and event.outcome not in (*UNDONE, "skipped")):
        yield event.path
    if isinstance(event, ev.OrderSet):
        yield event.block
    if isinstance(event, ev.Arrived) and event.path not in ("", "safe stop") and not event.because:
        was = next((e.path for e in told(history) if isinstance(e, ev.Arrived | ev.Jumped)), "")
        above = parent(procedure, event.path)
        while above is not None and not was.startswith(f"{above}/"):
            if isinstance(find(procedure, above).node, g.Call):
                yield above
            above = parent(procedure, above)


def _detour(history: Line | None) -> bool:
    """Whether the run is on its way to bring a condition back."""
    every = (e for e in told(history) if isinstance(e, ev.Restoring | ev.Restored | ev.Jumped))
    return isinstance(next(every, None), ev.Restoring)


def _came(procedure: Procedure, events: tuple[AnyEvent, ...], path: str) -> list[Came]:
    """How nodes came out, oldest first, in the turns that go on around the path."""
    found: list[Came] = []
    away = False
    orders: dict[str, list[str]] = {}
    over: dict[str, list[str]] = {}
    for event in events:
        match event:
            case ev.Restoring():
                away = True
            case ev.Restored() | ev.Jumped():
                away = False
            case ev.OrderSet(block=block, order=order):
                orders[block], over[block] = order, []
                found = [c for c in found if not c[0].startswith(f"{block}/")]
            case ev.TurnOver(block=block, member=member):
                over[block].append(member)
                begins = next((m for m in orders[block] if m not in over[block]), "")
                found = [c for c in found if not begins or not c[0].startswith(f"{block}/{begins}/")]
            case ev.Left() if not away:
                found += _ways_out(procedure, event, orders, over)
            case ev.Answered(path=at, value=value) if not away:
                gate = getattr(find(procedure, at).node, "gate", None)
                found += [(at, value, False)] if isinstance(gate, g.Count) and value in gate.again else []
            case _:
                pass
    return found


def _ways_out(
    procedure: Procedure, left: ev.Left, orders: dict[str, list[str]], over: dict[str, list[str]]
) -> Iterator[Came]:
    """The node that was left, and every call and block that was left with it."""
    node = find(procedure, left.path).node
    if isinstance(node, g.Call):
        yield left.path, "skipped", True
        target = node.skip
    else:
        assert isinstance(node, g.Step)
        counted = left.outcome == "bound" and node.bound is not None and left.because.startswith("entered")
        if not counted:
            named = left.outcome if left.outcome not in UNDONE or left.outcome == "override" else ""
            yield left.path, named, left.outcome not in UNDONE
        target = _target(node, left.outcome, counted=counted)
    path = left.path
    while target is not None and (above := parent(procedure, path)) is not None:
        outer = find(procedure, above).node
        if target.kind == "step":
            end = find(procedure, path.rpartition("/")[0] + "/" + target.name).node
            if not isinstance(end, g.End) or not isinstance(outer, g.Call):
                return
            yield above, end.kind, True
            target, path = outer.exits.get(end.kind), above
        elif target.kind in ("exit", "next turn"):
            while isinstance(outer, g.Call):
                above = parent(procedure, above) or ""
                outer = find(procedure, above).node
            assert isinstance(outer, g.Each)
            member = path[len(above) + 1 :].partition("/")[0]
            if target.kind == "exit":
                yield above, target.name, False
                target, path = outer.exits.get(target.name), above
            elif set(orders[above]) <= {*over[above], member}:
                yield above, "", True
                target, path = outer.then, above
            else:
                return
        else:
            return


def _target(step: g.Step, outcome: str, *, counted: bool) -> g.Target | None:
    """Where the edge leads that was taken; arms that lead by another subject than the gate all stay in one body."""
    if counted and step.bound is not None:
        return step.bound.then
    if outcome in ("override", "cannot"):
        return step.override if outcome == "override" else step.cannot
    gate = step.gate
    moves = (*step.moves, *((gate.move,) if isinstance(gate, g.Count) and gate.move is not None else ()))
    if outcome in ("short", "full"):
        return next((to for m in moves if (to := m.if_short if outcome == "short" else m.if_full) is not None), None)
    if outcome == "bound" and isinstance(gate, g.Count):
        return gate.bound
    return next((a.target for a in step.branch.arms if a.value in (None, outcome)), None)
