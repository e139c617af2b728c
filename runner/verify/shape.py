"""The shape of a graph before it is proven anything: calls that never end, and an order of its points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from runner.core.finding import Finding
from runner.core.graph import Call, Procedure, walk

DEEPEST = 4
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
