"""What the nodes of a plan come after: mostly what is so on every way, sometimes what is not."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from tests.oracle.edges import reached, targets
from tests.oracle.plan import Node, Plan, bodies

After = tuple[str, tuple[str, ...]]


def ordered(plan: Plan, r: Random) -> None:
    """States in some bodies what comes after what, plainly and with outcomes."""
    for body in bodies(plan):
        for n in body:
            sure = list(_always(body, n)) if "end" not in n and r.random() < 0.25 else []
            if sure:
                n["after"] = r.sample(sure, 1)
        for n in body:
            beyond = next((o for o in body if n.get("count") and o["id"] == n["count"]["bound"]), {"end": ""})
            if "end" not in beyond and r.random() < 0.15:
                # At its bound a count came out in no way any more, though it did before.
                beyond["after"] = [(n["id"], ("clear", "dark"))]


def disordered(plan: Plan, r: Random) -> bool:
    """States somewhere what may not be so."""
    found = [(n, body) for body in bodies(plan) for n in body if "end" not in n and len(body) > 2]
    if found:
        n, body = r.choice(found)
        others = [o for o in body if "end" not in o and o is not n]
        other = r.choice(others) if others else n
        named = list(_outcomes(other))
        n["after"] = [(other["id"], tuple(r.sample(named, 1)) if named and r.random() < 0.6 else ())]
    return bool(found)


def _always(body: list[Node], n: Node) -> Iterator[After]:
    """What is so on every way to the node."""
    first = body[0]["id"]
    for other in body:
        if other is n or "end" in other:
            continue
        name = other["id"]
        undone = [other[k] for k in ("override", "cannot") if other.get(k)]
        undone += [*other.get("exits", {}).values()] if "each" in other else []
        undone += [t for t in targets(other) if t not in [*_outcomes(other).values(), other.get("then")]]
        # What the node leads to undone counts as a way around it.
        if n["id"] not in reached(body, [first, *undone], name):
            yield (name, ())
        here = {outcome for outcome, to in _outcomes(other).items() if to == n["id"]}
        past = [to for outcome, to in _outcomes(other).items() if outcome not in here]
        past += [t for t in targets(other) if t not in _outcomes(other).values()]
        if here and n["id"] not in reached(body, [first, *past], name):
            yield (name, tuple(sorted(here)))


def _outcomes(n: Node) -> dict[str, str]:
    """The outcomes of a node that can be named, and where they lead."""
    if "call" in n or "each" in n:
        return {**n["exits"], **({"skipped": n["skip"]} if n.get("skip") else {})}
    own = n.get("subject", "gate") == "gate" and any(key in n for key in ("choice", "check", "count"))
    return {v: w[0] for v, w in n["ways"].items() if own and v} | (
        {"override": n["override"]} if n.get("override") else {}
    )
