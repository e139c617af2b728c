"""Where a run goes: along an edge, through calls, blocks and bounds, to the step at which it stands."""

from __future__ import annotations

from collections.abc import Iterator

from runner.core import event as ev
from runner.core import graph
from runner.core.draft import MOST_HOPS, Draft, at
from runner.core.graph import SKIPPED, Call, Each, End, Found, Step, Target
from runner.core.order import note, unmet
from runner.core.state import SAFE_STOP
from runner.core.values import named


def go(draft: Draft, target: Target) -> None:
    """Follow an edge from where the run stands."""
    follow(draft, draft.state.path, target)


def follow(draft: Draft, path: str, target: Target) -> None:
    """Follow an edge that starts at the node ``path``."""
    match target.kind:
        case "safe stop":
            draft.emit(ev.Arrived(path=SAFE_STOP))
        case "again":
            arrive(draft, path)
        case "step":
            arrive(draft, graph.prefix(draft.procedure, path) + target.name)
        case "next turn":
            _next_turn(draft, path)
        case "exit":
            _exit(draft, path, target.name)


def _exit(draft: Draft, path: str, name: str) -> None:
    above = graph.parent(draft.procedure, path)
    if above is None:
        draft.emit(ev.Arrived(path=SAFE_STOP, because=f"no way out by '{name}'"))
        return
    node = at(draft.procedure, above).node
    way = node.exits.get(name) if isinstance(node, Call | Each) else None
    if way is None:
        draft.emit(ev.Arrived(path=SAFE_STOP, because=f"no way out by '{name}'"))
        return
    if isinstance(node, Each):
        _turn_over(draft, above, path, node)
    note(draft, above, name, done=isinstance(node, Call))
    follow(draft, above, way)


def _next_turn(draft: Draft, path: str) -> None:
    above = graph.parent(draft.procedure, path)
    while above is not None and not isinstance(at(draft.procedure, above).node, Each):
        above = graph.parent(draft.procedure, above)
    block = at(draft.procedure, above).node if above is not None else None
    if above is None or not isinstance(block, Each):
        draft.emit(ev.Arrived(path=SAFE_STOP, because="there is no next turn here"))
        return
    _turn_over(draft, above, path, block)
    left = [m for m in draft.state.orders.get(above, ()) if m not in draft.state.over[above]]
    if left:
        arrive(draft, f"{above}/{left[0]}/{block.body.first}")
    else:
        note(draft, above, "")
        follow(draft, above, block.then)


def _turn_over(draft: Draft, above: str, path: str, block: Each) -> None:
    """A turn ends, by its edge or by an exit; the choices that were made in it and in what it calls are forgotten."""
    gates = (step.gate for step in _inside(draft, block.body))
    forgotten = {g.name for g in gates if isinstance(g, graph.Choice | graph.Count) and g.name}
    member = path[len(above) + 1 :].partition("/")[0]
    draft.emit(ev.TurnOver(block=above, member=member, forgotten=sorted(forgotten)))


def _inside(draft: Draft, body: graph.Body) -> Iterator[Step]:
    for node in graph.walk(body):
        if isinstance(node, Step):
            yield node
        elif isinstance(node, Call):
            yield from _inside(draft, draft.procedure.fragments[node.fragment].body)


def arrive(draft: Draft, path: str) -> None:
    """Move to a path; calls, blocks and bounds are passed through to the step where the run stands."""
    draft.hops += 1
    if draft.hops > MOST_HOPS:
        draft.emit(ev.Arrived(path=SAFE_STOP, because="the procedure goes in circles here"))
        return
    found = at(draft.procedure, path)
    node = found.node
    match node:
        case Each() if waits_for := unmet(draft.state, found):
            draft.refuse(f"a rule forbids it now: {waits_for[0].said}", "say what cannot be done")
        case Call():
            _call(draft, path, found, node)
        case Each():
            _block(draft, path, found, node)
        case End(kind=kind):
            above = graph.parent(draft.procedure, path)
            if above is not None and isinstance(at(draft.procedure, above).node, Call):
                _exit(draft, path, kind)
            else:
                draft.emit(ev.Arrived(path=path))
        case Step():
            bound = node.bound
            if bound is not None and draft.state.entries.get(path, 0) >= bound.times:
                draft.emit(ev.Left(path=path, outcome="bound", because=f"entered {bound.times} times"))
                follow(draft, path, bound.then)
            else:
                draft.emit(ev.Arrived(path=path))


def _call(draft: Draft, path: str, found: Found, node: Call) -> None:
    for ref, why in ((node.ensure, "already so"), (node.give_back, "")):
        if ref is None or node.skip is None:
            continue
        name = draft.name(found, ref)
        holder = draft.state.claims.get(name, "")
        if (ref is node.ensure and draft.state.value(name) == "T") or (ref is node.give_back and holder):
            draft.emit(ev.Left(path=path, outcome=SKIPPED, because=why or f"still needed by {holder}"))
            note(draft, path, SKIPPED)
            follow(draft, path, node.skip)
            return
    if waits_for := unmet(draft.state, found):
        draft.refuse(f"a rule forbids it now: {waits_for[0].said}", "say what cannot be done")
        return
    arrive(draft, f"{path}/{draft.procedure.fragments[node.fragment].body.first}")


def _block(draft: Draft, path: str, found: Found, node: Each) -> None:
    order: tuple[str, ...] | None
    if isinstance(node.order, str):
        value = named(found.procedure, draft.state, node.order, found.here)
        order = value if isinstance(value, tuple) else None
    else:
        order = node.order
    if order is None:
        draft.emit(ev.Arrived(path=path, because="the order is not known yet"))
        return
    source = node.order if isinstance(node.order, str) else "the procedure"
    draft.emit(ev.OrderSet(block=path, order=list(order), source=source))
    arrive(draft, f"{path}/{order[0]}/{node.body.first}")
