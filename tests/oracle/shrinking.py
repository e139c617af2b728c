"""A failing procedure made smaller, as long as it fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy

from tests.oracle.edges import renamed, taken_out
from tests.oracle.plan import Node, Plan, bodies, steps


def shrunk(plan: Plan, fails: Callable[[Plan], bool], most: int = 400) -> Plan:
    """The plan with everything taken out that the failure does not need; ``fails`` says whether it still does."""
    tries, again = 0, True
    while again and tries < most:
        again = False
        for change in list(_smaller(plan)):
            tries += 1
            made = deepcopy(plan)
            if tries < most and change(made) and _whole(made, fails):
                plan, again = made, True
                break
    return plan


def _whole(plan: Plan, fails: Callable[[Plan], bool]) -> bool:
    try:
        return fails(plan)
    except (KeyError, AssertionError, IndexError, StopIteration):
        return False


def _smaller(plan: Plan) -> Iterator[Callable[[Plan], bool]]:
    for at, body in enumerate(bodies(plan)):
        for nth, node in enumerate(body):
            if node.get("after"):
                yield lambda p, a=at, k=nth: list(bodies(p))[a][k].pop("after") is not None
            if "end" not in node:
                yield lambda p, a=at, k=nth: _bridge(list(bodies(p))[a], k)
    for name in ("rules", "duties", "modes"):
        for at in range(len(getattr(plan, name))):
            yield lambda p, n=name, a=at: getattr(p, n).pop(a) is not None
    for at, step in enumerate(steps(plan)):
        for key in ("makes", "ends", "needs", "deeds", "cautions", "moves", "sets"):
            for nth in range(len(step.get(key, ()))):
                yield lambda p, a=at, k=key, i=nth: list(steps(p))[a][k].pop(i) is not None
        for key in ("override", "cannot", "at_most", "starts", "as"):
            if step.get(key):
                yield lambda p, a=at, k=key: list(steps(p))[a].pop(k) is not None


def _bridge(body: list[Node], nth: int) -> bool:
    """Takes a node out; whatever led to it leads on to where it led first."""
    node = body[nth]
    ways = (
        [w[0] for w in node["ways"].values()]
        if "ways" in node
        else [node.get("then") or next(iter(node["exits"].values()))]
    )
    onward = next((w for w in ways if w != node["id"]), None)
    if onward is None or (nth == 0 and onward not in [n["id"] for n in body]):
        return False
    first = next((n for n in body if n["id"] == onward), None)
    taken_out(body, node)
    if nth == 0 and first is not None:
        body.remove(first)
        body.insert(0, first)
    for n in body:
        renamed(n, node["id"], onward)
    return True
