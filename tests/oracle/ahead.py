"""What lies ahead of each node: which counters, choices and levels can still matter there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from runner.core.graph import Body, Call, Count, Each, End, Holds, Node, Procedure, Step, Target


@dataclass(frozen=True, slots=True)
class Ahead:
    """The ids of nodes that can be come to, the choices that are tested there, whether fluid matters there."""

    ids: frozenset[str]
    subjects: frozenset[str]
    names: frozenset[str]
    fluid: bool


def ahead(procedure: Procedure) -> dict[str, Ahead]:
    """For each node by its id (fragments mixed: more may seem ahead than is)."""
    edges: dict[str, set[str]] = {}
    nodes: dict[str, list[Node]] = {}
    _body(procedure, procedure.body, {}, edges, nodes)
    unless = {d.unless.subject for d in procedure.vocabulary.duties if d.unless}
    always = {n for n, c in procedure.conditions.items() if c.kind == "opening"}
    always |= {r.name for rule in procedure.rules for r in rule.refs}
    found = {}
    for one in edges:
        seen, todo = {one}, [one]
        while todo:
            for other in edges.get(todo.pop(), ()):
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
        steps = [n for i in seen for n in nodes.get(i, ()) if isinstance(n, Step)]
        subjects = frozenset({s.branch.subject for s in steps} | unless)
        names = always | {n for i in seen for node in nodes.get(i, ()) for n in _names(procedure, node)}
        found[one] = Ahead(frozenset(seen), subjects, frozenset(names), any(_wet(s) for s in steps))
    return found


def _names(procedure: Procedure, node: Node) -> Iterator[str]:
    """The conditions that a node looks at."""
    if isinstance(node, Call):
        yield from (r.name for r in (node.ensure, node.give_back) if r is not None)
    if not isinstance(node, Step):
        return
    phases = node.gate.beat if isinstance(node.gate, Count) else ()
    yield from (n.ref.name for needs in (node.needs, *(p.needs for p in phases)) for n in needs if isinstance(n, Holds))
    done = {("place", node.where), *(("deed", d) for one in (node, *phases) for d in one.deeds)}
    for one in (node, *phases, *node.branch.arms):
        done |= {("make", r.name) for r in one.makes} | {("end", r.name) for r in one.ends}
    for duty in procedure.vocabulary.duties:
        if (duty.on, duty.name) in done:
            yield from (n.ref.name for n in duty.needs if isinstance(n, Holds))


def _wet(step: Step) -> bool:
    return bool(step.moves or step.sets) or (isinstance(step.gate, Count) and step.gate.move is not None)


def _body(
    whole: Procedure, body: Body, out: dict[str, str], edges: dict[str, set[str]], nodes: dict[str, list[Node]]
) -> None:
    for node in body.nodes.values():
        nodes.setdefault(node.id, []).append(node)
        leads = edges.setdefault(node.id, set())
        leads |= {t for target in _targets(node) for t in _ids(node, target, out) if t}
        if isinstance(node, Each):
            leads.add(node.body.first)
            inner = {n: next(iter(_ids(node, t, out)), "") for n, t in node.exits.items()}
            inner |= {" turn": node.body.first, " over": next(iter(_ids(node, node.then, out)), "")}
            _body(whole, node.body, inner, edges, nodes)
        elif isinstance(node, Call):
            fragment = whole.fragments[node.fragment]
            leads.add(fragment.body.first)
            inner = {n: next(iter(_ids(node, t, out)), "") for n, t in node.exits.items()}
            _body(whole, fragment.body, inner, edges, nodes)
        elif isinstance(node, End) and out.get(node.kind):
            leads.add(out[node.kind])


def _ids(node: Node, target: Target, out: dict[str, str]) -> tuple[str, ...]:
    match target.kind:
        case "step":
            return (target.name,)
        case "again":
            return (node.id,)
        case "exit":
            return (out.get(target.name, ""),)
        case "next turn":
            return (out.get(" turn", ""), out.get(" over", ""))
        case "safe stop":
            return ()


def _targets(node: Node) -> Iterator[Target]:
    if isinstance(node, Step):
        yield from (a.target for a in node.branch.arms)
        yield from (t for t in (node.override, node.cannot, node.bound.then if node.bound else None) if t)
        moves = (*node.moves, *((node.gate.move,) if isinstance(node.gate, Count) and node.gate.move else ()))
        yield from (t for m in moves for t in (m.if_short, m.if_full) if t)
        if isinstance(node.gate, Count):
            yield node.gate.bound
    elif isinstance(node, Call):
        yield from (t for t in (*node.exits.values(), node.skip) if t)
    elif isinstance(node, Each):
        yield node.then
