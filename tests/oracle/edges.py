"""Where the nodes of a plan lead, and what leads elsewhere when one is taken out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tests.oracle.plan import Node


def targets(n: Node) -> Iterator[str]:
    """Where a node may lead in its own body, or out of it."""
    yield from (w[0] for w in n.get("ways", {}).values())
    yield from (n[k] for k in ("then", "skip", "override", "cannot") if n.get(k))
    yield from n.get("exits", {}).values()
    if n.get("at_most"):
        yield n["at_most"][1]
    if n.get("count"):
        yield n["count"]["bound"]
    moves = [*n.get("moves", ()), *([n["count"]["draw"]] if n.get("count", {}).get("draw") else [])]
    yield from (m[k] for m in moves for k in ("short", "full") if m.get(k))


def renamed(n: Node, old: str, new: str) -> None:
    """Leads every edge of a node that went to ``old`` to ``new``."""
    if "ways" in n:
        n["ways"] = {v: (new if t == old else t, m, e) for v, (t, m, e) in n["ways"].items()}
    for key in ("then", "skip", "override", "cannot"):
        if n.get(key) == old:
            n[key] = new
    if n.get("at_most") and n["at_most"][1] == old:
        n["at_most"] = (n["at_most"][0], new)
    if "exits" in n:
        n["exits"] = {k: new if t == old else t for k, t in n["exits"].items()}
    for holder, key in (
        (n.get("count"), "bound"),
        ((n.get("count") or {}).get("draw"), "short"),
        *((m, "short") for m in n.get("moves", ())),
        *((m, "full") for m in n.get("moves", ())),
    ):
        if holder and holder.get(key) == old:
            holder[key] = new


def taken_out(body: list[Node], gone: Node) -> None:
    """The node is not in the body any more, and nothing asks to come after it."""
    body.remove(gone)
    for n in body:
        if n.get("after"):
            n["after"] = [one for one in n["after"] if one[0] != gone["id"]]


def reached(body: list[Node], starts: Iterable[str], without: str) -> set[str]:
    """The nodes of a body that a way leads to from the starts, never on from ``without``."""
    by = {n["id"]: n for n in body}
    seen, todo = set[str](), list(starts)
    while todo:
        name = todo.pop()
        if name in by and name not in seen:
            seen.add(name)
            todo += targets(by[name]) if name != without else ()
    return seen
