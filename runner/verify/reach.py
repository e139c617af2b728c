"""Every step can be reached, and from every step an end can be reached.

The safe stop that is open everywhere is no end in this sense. Of the steps that are caught the first is told, and none
where they are caught in a loop without a bound: that is said of the loop.

Bad:
    steps:
      first: {do: Look at the pan., place: wheel, next: end}
      lost: {do: Empty the pan., place: wheel, next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      first: {do: Look at the pan., place: wheel, next: lost}
      lost: {do: Empty the pan., place: wheel, next: end}
      end: {end: done, say: It is done.}
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Finding
from runner.core.graph import walk
from runner.verify.claim import Case


def findings(case: Case) -> Iterator[Finding]:
    """Steps that no path reaches, and steps from which no end is reached."""
    points = case.expanded.points
    reached = {id(p.station.node) for p in points}
    for node in walk(case.procedure.body):
        if id(node) not in reached:
            yield Finding(
                place=node.place,
                check="reach",
                text=f"no path reaches '{node.id}'",
                help="lead an edge to it, or remove it",
            )
    leads = _leading_to_an_end(case)
    caught: set[int] = set()
    for at, point in enumerate(points):
        stuck = point.station.node
        if leads[at] or stuck is None or point.frame.owner is not case.procedure or at in caught:
            continue
        region = _from(case, at)
        caught |= region
        if _endless(case, region):
            continue
        yield Finding(
            place=stuck.place,
            check="reach",
            text=f"from '{stuck.id}' no path comes to an end",
            help="give it an edge onward to 'done' or 'stopped'",
        )


def _from(case: Case, first: int) -> set[int]:
    """All points to which ways lead from one."""
    found, todo = {first}, [first]
    while todo:
        for target in case.expanded.points[todo.pop()].targets:
            if target not in found:
                found.add(target)
                todo.append(target)
    return found


def _endless(case: Case, region: set[int]) -> bool:
    """Whether a loop of the region passes no step with a bound."""
    points = case.expanded.points
    left = {at for at in region if not points[at].station.bounded}
    ahead = {at: [t for t in points[at].targets if t in left] for at in left}
    while gone := [at for at in left if not any(t in left for t in ahead[at])]:
        left -= set(gone)
    return bool(left)


def _leading_to_an_end(case: Case) -> bytearray:
    points = case.expanded.points
    before: list[list[int]] = [[] for _ in points]
    for at, point in enumerate(points):
        for target in point.targets:
            before[target].append(at)
    leads = bytearray(len(points))
    todo = [at for at, p in enumerate(points) if p.station.kind in ("end", "exit", "safe stop")]
    while todo:
        at = todo.pop()
        if not leads[at]:
            leads[at] = 1
            todo += before[at]
    return leads
