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
from functools import lru_cache

from runner.core.finding import Place
from runner.verify.claim import ENTRY, Broken, Claim, breaks
from runner.verify.fields import Field
from runner.verify.flow import Flow, spread

MOST_STATES = 200_000


@dataclass(frozen=True, slots=True)
class Path:
    """The points from the start and the edge taken from each; the last edge is the claim's own or -1."""

    points: tuple[int, ...]
    edges: tuple[int, ...]
    blurred: tuple[str, ...] = ()


def proven(flow: Flow, suspects: Sequence[Broken], first: int, start: int) -> dict[int, Path]:
    """For each suspect (by its index) that is truly broken the shortest path to it."""
    return _Hunt(flow, suspects, first, start).paths()


def reaching(flow: Flow, point: int, start: int) -> Path | None:
    """The shortest path that can be gone to a point."""
    reached = flow.layout.fields["reached"].mask
    here = Claim(check="", edge=ENTRY, bad=(reached,), place=Place("", 0, 0), text="", help="", key="")
    return proven(flow, (Broken(point, here),), 0, start).get(0)


class _Hunt:
    """The search for all suspects, group by group; what one group teaches about the car serves the others."""

    def __init__(self, flow: Flow, suspects: Sequence[Broken], first: int, start: int) -> None:
        self.flow, self.suspects, self.first, self.start = flow, suspects, first, start
        self.cleared: set[int] = set()
        self.found: dict[int, Path] = {}

    def paths(self) -> dict[int, Path]:
        tested = {e.when.field for s in self.flow.expanded.stations for e in s.edges if e.when is not None}
        for name in sorted(tested) if self.suspects else ():
            if name.startswith("ask ") and len(self.cleared) < len(self.suspects):
                self._part(self.flow.layout.fields[name])
        groups: dict[int, list[int]] = {}
        for at, suspect in enumerate(self.suspects):
            mask = 0
            for bad in suspect.claim.bad:
                mask |= _field_of(self.flow, bad).mask
            if at not in self.cleared:
                groups.setdefault(mask, []).append(at)
        todo = list(groups.items())
        while todo:
            todo += self._searched(*todo.pop()).items()
        return self.found

    def _searched(self, mask: int, members: list[int]) -> dict[int, list[int]]:
        """Search; the suspects whose path cannot be gone are left, by the fields to follow next time."""
        paths, whole = _search(self.flow, [self.suspects[m] for m in members], mask, self.first, self.start)
        again: dict[int, list[int]] = {}
        for at, member in enumerate(members):
            path = paths.get(at)
            if path is None:
                if not whole:
                    self.found[member] = Path((self.suspects[member].point,), (-1,), _names(self.flow, mask))
                continue
            clash = blocked(self.flow, path, self.start)
            if clash and clash & ~mask:
                again.setdefault(mask | clash, []).append(member)
            else:
                self.found[member] = path
        return again

    def _part(self, field: Field) -> None:
        """A value of the car is the same all the time: what is broken for none of its values is cleared."""
        left = [at for at in range(len(self.suspects)) if at not in self.cleared]
        broken: set[int] = set()
        for value in field.states:
            states = _spread(self.flow, self.first, self.start & ~field.but(value))
            for at in left:
                x = states[self.suspects[at].point]
                if x and breaks(self.flow, self.suspects[at], x):
                    broken.add(at)
        self.cleared |= set(left) - broken


@lru_cache(maxsize=32)
def _spread(flow: Flow, first: int, start: int) -> tuple[int, ...]:
    """The same ways are followed for one group of suspects after the other."""
    return spread(flow.ways, first, start)


def _field_of(flow: Flow, bits: int) -> Field:
    return next(f for f in flow.layout.fields.values() if f.mask & bits)


def _names(flow: Flow, mask: int) -> tuple[str, ...]:
    return tuple(f.name for f in flow.layout.fields.values() if f.mask & mask)


def blocked(flow: Flow, path: Path, start: int) -> int:
    """The mask of the field that hinders the path; 0 if it can be gone."""
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
    useful = _leading(flow, suspects)
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
            if at not in paths and breaks(flow, suspects[at], x, mask):
                paths[at] = _walked(came, here, suspects[at].claim)
                missing -= 1
        for edge, way in enumerate(flow.ways[point]):
            opens = way[1] & mask
            if not useful[way[0]] or (opens and not x & opens):
                continue
            for one in _single(_after(x, way) & mask, fields):
                if (way[0], one) not in came:
                    came[way[0], one] = (here, edge)
                    todo.append((way[0], one))
        if len(came) > MOST_STATES:
            return paths, False
    return paths, True


def _leading(flow: Flow, suspects: list[Broken]) -> bytearray:
    """The points from which some suspect can be reached."""
    before: list[list[int]] = [[] for _ in flow.ways]
    for at, all_ways in enumerate(flow.ways):
        for way in all_ways:
            before[way[0]].append(at)
    leads = bytearray(len(flow.ways))
    todo = [s.point for s in suspects]
    while todo:
        at = todo.pop()
        if not leads[at]:
            leads[at] = 1
            todo += before[at]
    return leads


def _single(x: int, fields: list[Field]) -> list[int]:
    """Every choice of one state for each field."""
    if x.bit_count() == len(fields) and all(x & f.mask for f in fields):
        return [x]
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
