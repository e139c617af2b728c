"""The second pass: the shortest path on which a claim is broken, told apart by as much as it takes.

Rules of this module
1. First only the fields of the claim are followed. If a path that is found cannot be gone, because a choice or a
   value of the car would have to be two things at once, the field in conflict is followed too, and so on.
2. It ends: each round adds a field. Past ``MOST_STATES`` the claim stays broken and the fields are named.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from runner.verify.claim import ENTRY, Broken, Claim
from runner.verify.fields import Field
from runner.verify.flow import Flow

MOST_STATES = 200_000


@dataclass(frozen=True, slots=True)
class Path:
    """The points from the start and the edge taken from each; the last edge is the claim's own or -1."""

    points: tuple[int, ...]
    edges: tuple[int, ...]
    blurred: tuple[str, ...] = ()


def proven(flow: Flow, suspects: Sequence[Broken], first: int, start: int) -> dict[int, Path]:
    """For each suspect (by its index) that is truly broken the shortest path to it."""
    groups: dict[int, list[int]] = {}
    for at, suspect in enumerate(suspects):
        mask = 0
        for bad in suspect.claim.bad:
            mask |= _field_of(flow, bad).mask
        groups.setdefault(mask, []).append(at)
    found: dict[int, Path] = {}
    for mask, members in groups.items():
        _refined(flow, suspects, members, mask, first, start, found)
    return found


def _refined(
    flow: Flow,
    suspects: Sequence[Broken],
    members: list[int],
    mask: int,
    first: int,
    start: int,
    found: dict[int, Path],
) -> None:
    """Search; the suspects whose path cannot be gone are searched again with the field that is in conflict."""
    todo: list[tuple[int, list[int]]] = [(mask, members)]
    while todo:
        mask, members = todo.pop()
        paths, whole = _search(flow, [suspects[m] for m in members], mask, first, start)
        again: dict[int, list[int]] = {}
        for at, member in enumerate(members):
            path = paths.get(at)
            if path is None:
                if not whole:
                    found[member] = Path((suspects[member].point,), (-1,), _names(flow, mask))
                continue
            clash = _conflict(flow, path, suspects[member].claim, start)
            if clash and clash & ~mask:
                again.setdefault(mask | clash, []).append(member)
            else:
                found[member] = path
        todo += again.items()


def _field_of(flow: Flow, bits: int) -> Field:
    return next(f for f in flow.layout.fields.values() if f.mask & bits)


def _names(flow: Flow, mask: int) -> tuple[str, ...]:
    return tuple(f.name for f in flow.layout.fields.values() if f.mask & mask)


def _conflict(flow: Flow, path: Path, claim: Claim, start: int) -> int:
    """The mask of the fields that hinder the path; 0 if it can be gone."""
    x = start
    last = len(path.points) - 1
    for at, edge in enumerate(path.edges):
        way = flow.ways[path.points[at]][edge] if edge >= 0 else None
        if way is not None and way[1] and not x & way[1]:
            return _field_of(flow, way[1]).mask
        if way is not None and at < last:
            x = _after(x, way)
    return 0


def _after(x: int, way: tuple[int, int, int, int, tuple[int, ...]]) -> int:
    y = x & way[2] | way[3]
    for mask in way[4]:
        y = y & ~mask | (y & mask) >> 1 & mask | y & mask & -mask
    return y


def _search(flow: Flow, suspects: list[Broken], mask: int, first: int, start: int) -> tuple[dict[int, Path], bool]:
    """Breadth first over (point, one state of each followed field); whether all of it was seen."""
    fields = [f for f in flow.layout.fields.values() if f.mask & mask]
    wanted: dict[int, list[int]] = {}
    for at, suspect in enumerate(suspects):
        wanted.setdefault(suspect.point, []).append(at)
    missing = len(suspects)
    came: dict[tuple[int, int], tuple[tuple[int, int], int] | None] = {}
    todo: deque[tuple[int, int]] = deque()
    for one in _single(start & mask, fields):
        came[first, one] = None
        todo.append((first, one))
    paths: dict[int, Path] = {}
    while todo and missing:
        here = todo.popleft()
        point, x = here
        for at in wanted.get(point, ()):
            if at not in paths and _breaks(flow, suspects[at], x, mask):
                paths[at] = _walked(came, here, suspects[at].claim)
                missing -= 1
        for edge, way in enumerate(flow.ways[point]):
            opens = way[1] & mask
            if opens and not x & opens:
                continue
            for one in _single(_after(x, way) & mask, fields):
                if (way[0], one) not in came:
                    came[way[0], one] = (here, edge)
                    todo.append((way[0], one))
        if len(came) > MOST_STATES:
            return paths, False
    return paths, True


def _single(x: int, fields: list[Field]) -> list[int]:
    """Every choice of one state for each field."""
    made = [0]
    for f in fields:
        bits = x & f.mask
        each: list[int] = []
        while bits:
            low = bits & -bits
            each.append(low)
            bits ^= low
        made = [m | e for m in made for e in each]
    return made


def _breaks(flow: Flow, suspect: Broken, x: int, mask: int) -> bool:
    claim, station = suspect.claim, flow.expanded.points[suspect.point].station
    y = x if claim.edge == ENTRY else flow.layout.changes(station)[0].after(x) & mask
    opens = flow.layout.open_to(station, claim.edge) & mask if claim.edge >= 0 else 0
    return all(y & bad for bad in claim.bad) and (not opens or bool(y & opens))


def _walked(
    came: dict[tuple[int, int], tuple[tuple[int, int], int] | None], here: tuple[int, int], claim: Claim
) -> Path:
    points, edges = [here[0]], [claim.edge if claim.edge >= 0 else -1]
    before = came[here]
    while before is not None:
        points.append(before[0][0])
        edges.append(before[1])
        before = came[before[0]]
    return Path(tuple(points[::-1]), tuple(edges[::-1]))
