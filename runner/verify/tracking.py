"""How each level moves along the paths: enclosures over the flat graph, widened round a loop to the next mark."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from fractions import Fraction

from runner.core.graph import LevelNeed, levels_of
from runner.verify.amounts import Car, Look
from runner.verify.claim import Case
from runner.verify.spans import MOST, NONE, Draw, Span, Spans, flowed, guarded, in_the_way
from runner.verify.station import Station


def start_of(case: Case, levels: Mapping[str, tuple[Fraction, Fraction] | None]) -> Spans:
    """The spans in which a run starts."""
    owners = (case.procedure, *case.procedure.fragments.values())
    names = {name for owner in owners for name in owner.levels}
    known = {name: levels.get(name) for name in names}
    return {name: NONE if pair is None else Span(*pair) for name, pair in known.items()}


def _at_work(case: Case) -> dict[int, tuple[Station, tuple[str, ...]]]:
    """The stations that move, look at or need a level, or count, and the levels that they move or look at."""
    made = {}
    for station in case.expanded.stations:
        levels = levels_of(station.step) if station.step is not None else ()
        if levels or station.others or station.kind == "rest":
            made[id(station)] = (station, levels)
    return made


class Track:
    """The spans of every level at every point, for one car, from one point on."""

    def __init__(self, case: Case, car: Car) -> None:
        self.case, self.car = case, car
        self.at_work = case.once("levels at work", lambda: _at_work(case))
        self.draws: dict[int, tuple[Draw | None, ...]] = {}
        self.looks: dict[int, tuple[Look | None, ...]] = {}
        self.marks = self._thresholds()
        self.states: list[Spans | None] = [None] * len(case.expanded.points)
        self.shown: dict[tuple[str, str, Fraction, Fraction], tuple[Fraction, Fraction]] = {}
        self.came: dict[tuple[int, str], int] = {}
        self.first: dict[int, int] = {}

    def _thresholds(self) -> tuple[Fraction, ...]:
        """Where a value that keeps falling or rising round a loop comes to rest."""
        found, shown = [Fraction(0), MOST], {}
        steps: dict[tuple[int, str | None], tuple[tuple[Draw | None, ...], tuple[Look | None, ...]]] = {}
        for station, levels in self.at_work.values():
            key = (id(station.node), station.here)
            if key not in steps:
                steps[key] = draws, looks = self.car.draws(station), self.car.looks(station)
                found += [x for d in draws if d is not None for x in (d.low, d.brim)]
                found += [x for look in looks if look is not None for x in look[1:]]
                shown.update({(name, station.owner.name): station.owner for name in levels})
            self.draws[id(station)], self.looks[id(station)] = steps[key]
        found += [x for (name, _), owner in shown.items() for pair in self.car.seen(owner, name) for x in pair]
        # Most are one and the same object: exact fractions are dear to compare.
        return tuple(sorted(set({id(x): x for x in found}.values())))

    def spread(self, first: int, start: Spans) -> None:
        """Follow every level from ``first`` on, until nothing more is possible anywhere."""
        self.states[first] = start
        dirty = bytearray(len(self.states))
        dirty[first] = 1
        at = first
        while at >= 0:
            dirty[at] = 0
            back, point = at, self.case.expanded.points[at]
            spans = self.states[at] or {}
            idle = id(point.station) not in self.at_work
            inside = spans if idle else self.entered(point.station, spans)
            for nth, target in enumerate(point.targets):
                after = inside if idle else self._left(point.station, nth, inside)
                if after is not None and self._joined(at, target, after):
                    dirty[target], back = 1, min(back, target)
            at = dirty.find(1, back)

    def _joined(self, at: int, target: int, after: Spans) -> bool:
        """Whether more is possible at the target than before; round a loop to the next threshold at once."""
        old = self.states[target]
        if old is after:
            return False
        if old is None:
            self.states[target] = after
            self.first[target] = at
            return True
        new = dict(old)
        for name, span in after.items():
            was = old[name]
            if span is was or (joined := was.join(span)) == was:
                continue
            if target <= at:
                joined = self._widened(was, joined)
            if joined.lo < was.lo or (was.known and not joined.known):
                self.came[target, name] = at
            new[name] = joined
        if new == old:
            return False
        self.states[target] = new
        return True

    def _widened(self, old: Span, new: Span) -> Span:
        lo, hi = new.lo, new.hi
        if old.empty or new.empty:
            return new
        if lo < old.lo:
            below = bisect_right(self.marks, lo)
            lo = self.marks[below - 1] if below else Fraction(0)
        if hi > old.hi:
            above = bisect_left(self.marks, hi)
            hi = self.marks[above] if above < len(self.marks) else MOST
        return Span(lo, hi, new.known)

    def entered(self, station: Station, spans: Spans) -> Spans:
        """Its needs hold from here; after a grant comes the look."""
        if not station.others:
            return spans
        spans = dict(spans)
        for need in station.others:
            least = self.car.least_of(station, need) if isinstance(need, LevelNeed) else None
            if least is not None and isinstance(need, LevelNeed):
                old = spans[need.level]
                spans[need.level] = Span(max(old.lo, least), max(old.hi, least))
        return spans

    def _left(self, station: Station, nth: int, spans: Spans) -> Spans | None:
        """The spans after an edge; None if it cannot be taken."""
        edge, draws = station.edges[nth], self.draws[id(station)]
        if edge.kind in ("override", "cannot") and station.step is not None:
            return {**spans, **dict.fromkeys(levels_of(station.step), NONE)}
        if edge.kind in ("short", "full"):
            return spans if any(d is not None and in_the_way(d, spans, edge.kind) for d in draws) else None
        if edge.kind == "arm" and station.kind == "step":
            return self._moved(station, spans)
        if station.kind == "rest" and edge.kind == "on":
            return self._granted(station, spans, used=bool(edge.ops))
        return spans

    def _moved(self, station: Station, spans: Spans) -> Spans | None:
        spans = dict(spans)
        for d in self.draws[id(station)]:
            if d is None:
                return None
            narrowed = spans if d.measured else guarded(d, spans)
            if narrowed is None:
                return None
            spans = flowed(d, narrowed)
        for look in self.looks[id(station)]:
            if look is None:
                return None
            spans[look[0]] = Span(look[1], look[2])
        return spans

    def _granted(self, station: Station, spans: Spans, *, used: bool) -> Spans | None:
        """After a grant, of which something was used or nothing, and the look that follows it."""
        for d in self.draws[id(station)]:
            narrowed = None if d is None else guarded(d, spans, always=True)
            if d is None or narrowed is None:
                return None
            spans = dict(narrowed)
            if used and d.move.source is not None:
                spans[d.move.source] = Span(d.low, spans[d.move.source].hi)
            if used and d.move.target is not None:
                spans[d.move.target] = Span(spans[d.move.target].lo, d.brim)
            for name in filter(None, (d.move.source, d.move.target)):
                spans[name] = self._looked(station, name, spans[name])
        return spans

    def _looked(self, station: Station, name: str, now: Span) -> Span:
        """A look shows a position that agrees with what was known; "cannot see" leaves it."""
        key = (station.owner.name, name, now.lo, now.hi)
        if key not in self.shown:
            fits = [(lo, hi) for lo, hi in self.car.seen(station.owner, name) if hi > now.lo and lo < now.hi]
            self.shown[key] = min([now.lo, *(lo for lo, _ in fits)]), max([now.hi, *(hi for _, hi in fits)])
        return Span(*self.shown[key], now.known)
