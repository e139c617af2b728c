"""A procedure can be laid out flat: no fragment calls itself, and the whole is not too large.

Calls may be nested four deep, and the procedure with every fragment in place, every turn of every block for each set
of members that may be over before it, and every phase of every count may have 200,000 steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from runner.core.finding import Finding
from runner.core.graph import (
    HERE,
    MEMBERS,
    Arm,
    Body,
    Call,
    Count,
    Each,
    Holds,
    Occasion,
    Phase,
    Procedure,
    Ref,
    Step,
    walk,
)

DEEPEST = 4
MOST_POINTS = 200_000
_MEND = "repeat steps by an edge back, or by a block"


def nested(procedure: Procedure) -> Finding | None:
    """The first call on a way that calls itself or goes too deep."""
    todo: list[tuple[Procedure, tuple[str, ...]]] = [(procedure, ())]
    seen: set[tuple[str, int]] = set()
    while todo:
        owner, above = todo.pop()
        for node in walk(owner.body):
            if not isinstance(node, Call):
                continue
            way = (*above, node.fragment)
            if node.fragment in above or node.fragment == procedure.name:
                text = f"fragment '{node.fragment}' calls itself: {' > '.join(way)}"
                return Finding(place=node.place, check="size", text=text, help=_MEND)
            if len(way) > DEEPEST:
                text = f"calls are nested {len(way)} deep: {' > '.join(way)}"
                return Finding(place=node.place, check="size", text=text, help=f"at most {DEEPEST} may be nested")
            if (node.fragment, len(way)) not in seen:
                seen.add((node.fragment, len(way)))
                todo.append((procedure.fragments[node.fragment], way))
    return None


def members(procedure: Procedure) -> tuple[str | None, ...]:
    """For which corner, axle or side a fragment is looked at: one stands for all, unless it names one by itself."""
    if procedure.here is None:
        return (None,)
    calls = any(isinstance(n, Call) and n.at not in (None, HERE) for n in walk(procedure.body))
    named = calls or any(_names_one(procedure, refs) for refs in _refs(procedure))
    return MEMBERS[procedure.here] if named else (None,)


def _refs(procedure: Procedure) -> Iterator[tuple[Ref | Occasion, ...]]:
    """The conditions that stand together in one list, and what a call or a rule names."""
    for node in walk(procedure.body):
        if isinstance(node, Call):
            yield tuple(ref for ref in (node.ensure, node.give_back) if ref is not None)
        elif isinstance(node, Step):
            count = node.gate if isinstance(node.gate, Count) else None
            asking: tuple[Step | Phase, ...] = (node, *(count.beat if count is not None else ()))
            changing: tuple[Step | Phase | Arm, ...] = (*asking, *node.branch.arms)
            yield from (refs for one in changing for refs in (one.makes, one.ends))
            yield from (tuple(n.ref for n in one.needs if isinstance(n, Holds)) for one in asking)
    for rule in procedure.rules:
        yield rule.refs
        yield tuple(one for one in (rule.what, rule.other) if one is not None)
    if procedure.contract is not None:
        yield tuple(n.ref for n in procedure.contract.needs if isinstance(n, Holds))
        for made, ended in procedure.contract.exits.values():
            yield made
            yield ended


def _names_one(procedure: Procedure, refs: tuple[Ref | Occasion, ...]) -> bool:
    for ref in refs:
        condition = procedure.conditions.get(ref.name)
        index = condition.index if condition is not None else None
        together = {one.at for one in refs if one.name == ref.name}
        if index is not None and ref.at not in (None, HERE) and not together >= set(MEMBERS[index]):
            return True
    return False


def too_large(procedure: Procedure) -> Finding | None:
    """Why the procedure cannot be laid out flat, counted before a single point is laid."""
    known: dict[str, int] = {}
    size = _size(procedure, procedure.body, known)
    if size <= MOST_POINTS:
        return None
    text = f"laid out flat the procedure has {size:,} steps, more than {MOST_POINTS:,}"
    return Finding(place=procedure.place, check="size", text=text, help="split it into several procedures")


def _size(procedure: Procedure, body: Body, known: dict[str, int]) -> int:
    total = 0
    for node in body.nodes.values():
        total += 1
        if isinstance(node, Call):
            if node.fragment not in known:
                known[node.fragment] = _size(procedure, procedure.fragments[node.fragment].body, known)
            total += known[node.fragment]
        elif isinstance(node, Each):
            members = len(MEMBERS[node.index])
            # Each turn once for every set of members that may be over before it, or once in a listed order.
            turns = members << members - 1 if isinstance(node.order, str) else len(node.order)
            total += turns * _size(procedure, node.body, known)
        elif isinstance(node, Step) and isinstance(node.gate, Count):
            total += 2 + len(node.gate.beat)
    return total


def reverse_post_order(targets: Sequence[tuple[int, ...]]) -> list[int]:
    """The points so that loops alone lead back; all of them, since each was reached when it was laid."""
    seen = bytearray(len(targets))
    seen[0] = 1
    post: list[int] = []
    stack: list[tuple[int, Iterator[int]]] = [(0, iter(targets[0]))]
    while stack:
        at, rest = stack[-1]
        for target in rest:
            if not seen[target]:
                seen[target] = 1
                stack.append((target, iter(targets[target])))
                break
        else:
            post.append(at)
            stack.pop()
    return post[::-1]
