"""Every loop ends: it holds a step with `at_most`, or a count.

Take away the bounded steps and the counts, and no loop may be left. "Until it is clear" is a way out, never the bound.
A bound leads out of its loop: where its edge comes back to it, the loop goes on though the bound is reached.
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

from collections.abc import Iterator, Mapping

from runner.core.finding import Finding
from runner.core.graph import Each
from runner.verify.claim import Case
from runner.verify.expand import Frame, Point
from runner.verify.flow import spread, ways
from runner.verify.station import Edge, Station


def findings(case: Case) -> Iterator[Finding]:
    """The loops without a bound, each once; of two tests the plain one speaks first."""
    starts = _starts(case)
    seen: set[frozenset[int]] = set()
    for graph, again, spent in _tests(case):
        if not _has_loop(graph):
            continue
        for last, nexts in enumerate(graph):
            for first in nexts:
                if first in starts if again else first <= last:
                    yield from _found(case, _way(graph, first, last), seen, spent=spent)


def _tests(case: Case) -> Iterator[tuple[list[list[int]], bool, bool]]:
    """The graphs that must have no loop; whether only those around a block count; whether each bound is reached there.

    In the first no bounded step is left. In the others each is past its bound: it is not begun, and its other edges
    stay, if they are ever open; those for short and full are looked at where nothing on the way has filled or emptied.
    Around a block that is walked again, what is bounded in the block is not.
    """
    points = case.expanded.points
    inside = [_in_block(p) for p in points]
    bounded = [p.station.bounded for p in points]
    reached = case.once("reached", lambda: spread(ways(case.expanded, case.layout), 0, case.layout.start))
    fills = [p.station.step is not None and bool(p.station.step.sets or p.station.step.moves) for p in points]
    for again in (False, True) if _starts(case) else (False,):
        ends = [bounded[a] and not (again and inside[a]) for a in range(len(points))]
        yield [[] if ends[a] else [t for t in p.targets if not ends[t]] for a, p in enumerate(points)], again, False
        for guards in (False, True):
            yield (
                [
                    [
                        t
                        for nth, (t, e) in enumerate(zip(p.targets, p.station.edges, strict=True))
                        if not (ends[a] and _begins(p.station, e))
                        and (not (opens := case.layout.open_to(p.station, nth)) or reached[a] & opens)
                        and not (fills[a] and e.kind == "arm" if guards else e.kind in ("short", "full"))
                    ]
                    for a, p in enumerate(points)
                ],
                again,
                True,
            )


def _has_loop(ways: list[list[int]]) -> bool:
    """Whether not all points fall away when those that nothing leads to are taken off, again and again."""
    into = [0] * len(ways)
    for nexts in ways:
        for target in nexts:
            into[target] += 1
    off = [at for at, n in enumerate(into) if not n]
    for at in off:
        for target in ways[at]:
            into[target] -= 1
            if not into[target]:
                off.append(target)
    return len(off) < len(ways)


def _begins(station: Station, edge: Edge) -> bool:
    """Whether the edge begins what is counted: the step behind its gate, or a grant, of which nothing may be used."""
    return station.kind == "phase" or (station.kind in ("gate", "rest") and edge.kind == "on")


def _found(case: Case, way: list[int], seen: set[frozenset[int]], *, spent: bool) -> Iterator[Finding]:
    points = case.expanded.points
    steps = [points[at].station for at in way if points[at].station.step is not None]
    key = frozenset(id(s.node) for s in steps)
    if not way or key in seen:
        return
    seen.add(key)
    place = steps[0].place if steps else points[way[0]].station.place
    names = " > ".join(dict.fromkeys(s.step.id for s in steps if s.step is not None))
    past = "when its bound is reached, this loop goes on all the same"
    yield Finding(
        place=place,
        check="loop",
        text=f"{past if spent else 'this loop has no bound'}: {names}" if names else "this loop has no step in it",
        help="lead the bound out of the loop" if spent else "give one of its steps 'at_most: {times: n, then: step}'",
        trail=tuple(s.step.do for s in steps if s.step is not None),
    )


def _starts(case: Case) -> set[int]:
    """Where a block begins: none of its turns is over. Where the order is a value of the car, each may come first."""
    turns: dict[int, int] = {}
    for station in case.expanded.stations:
        if station.kind == "each":
            turns[id(station.node)] = max(len(station.edges), turns.get(id(station.node), 0))
    return {at for at, p in enumerate(case.expanded.points) if _is_start(p.station, turns)}


def _is_start(station: Station, turns: Mapping[int, int]) -> bool:
    node = station.node
    if station.kind != "each" or not isinstance(node, Each) or not station.edges[0].ops:
        return False
    if isinstance(node.order, str):
        return len(station.edges) == turns[id(node)]
    return station.edges[0].label == node.order[0]


def _in_block(point: Point) -> bool:
    frame: Frame | None = point.frame
    while frame is not None and not isinstance(frame.node, Each):
        frame = frame.up
    return frame is not None


def _way(ways: list[list[int]], first: int, last: int) -> list[int]:
    """The shortest way from ``first`` to ``last``; [] if there is none."""
    came = {first: first}
    todo = [first]
    for at in todo:
        if at == last:
            break
        for target in ways[at]:
            if target not in came:
                came[target] = at
                todo.append(target)
    if last not in came:
        return []
    way = [last]
    while way[-1] != first:
        way.append(came[way[-1]])
    return way[::-1]
