"""Every loop ends: it holds a step with `at_most`, or a count.

Take away the bounded steps and the counts, and no loop may be left. "Until it is clear" is a way out, never the bound.
What is counted inside a block begins anew when the block is walked again: a loop around a block has its bound outside.

Bad:
    steps:
      try: {do: Turn the bolt., place: wheel, choose: {ask: Did it move?, options: ["yes", "no"]}, next: {"yes": end, "no": soak}}
      soak: {do: Spray the thread., place: wheel, next: try}
      end: {end: done, say: It is done.}

Good:
    steps:
      try: {do: Turn the bolt., place: wheel, choose: {ask: Did it move?, options: ["yes", "no"]}, next: {"yes": end, "no": soak}}
      soak: {do: Spray the thread., place: wheel, at_most: {times: 3, then: safe stop}, next: try}
      end: {end: done, say: It is done.}

Source: DOE-STD-1029: a repeated step says when to stop
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Finding
from runner.core.graph import MEMBERS, Each
from runner.verify.claim import Case
from runner.verify.expand import Frame, Point
from runner.verify.station import Station


def findings(case: Case) -> Iterator[Finding]:
    """The loops without a bound, each once."""
    points = case.expanded.points
    free = bytearray(not p.station.bounded for p in points)
    back = [(a, t) for a, p in enumerate(points) if free[a] for t in p.targets if t <= a and free[t]]
    around = bytearray(not p.station.bounded or _in_block(p) for p in points)
    starts = {at for at, p in enumerate(points) if _is_start(p.station)}
    again = [(a, t) for a, p in enumerate(points) if around[a] for t in p.targets if t in starts]
    seen: set[frozenset[int]] = set()
    for last, first, left in (*((a, t, free) for a, t in back), *((a, t, around) for a, t in again)):
        way = _way(case, left, first, last)
        steps = [points[at].station for at in way if points[at].station.step is not None]
        key = frozenset(id(s.node) for s in steps)
        if not way or key in seen:
            continue
        seen.add(key)
        place = steps[0].place if steps else points[first].station.place
        names = " > ".join(dict.fromkeys(s.step.id for s in steps if s.step is not None))
        yield Finding(
            place=place,
            check="loop",
            text=f"this loop has no bound: {names}" if names else "this loop has no step in it",
            help="give one of its steps 'at_most: {times: n, then: step}'",
            trail=tuple(s.step.do for s in steps if s.step is not None),
        )


def _is_start(station: Station) -> bool:
    """Whether a block begins here: none of its turns is over."""
    node = station.node
    if station.kind != "each" or not isinstance(node, Each) or not station.edges[0].ops:
        return False
    if isinstance(node.order, str):
        return len(station.edges) == len(MEMBERS[node.index])
    return station.edges[0].label == node.order[0]


def _in_block(point: Point) -> bool:
    frame: Frame | None = point.frame
    while frame is not None and not isinstance(frame.node, Each):
        frame = frame.up
    return frame is not None


def _way(case: Case, free: bytearray, first: int, last: int) -> list[int]:
    """The shortest way from ``first`` to ``last`` without a bound; [] if there is none."""
    came = {first: first}
    todo = [first]
    for at in todo:
        if at == last:
            break
        for target in case.expanded.points[at].targets:
            if free[target] and target not in came:
                came[target] = at
                todo.append(target)
    if last not in came:
        return []
    way = [last]
    while way[-1] != first:
        way.append(came[way[-1]])
    return way[::-1]
