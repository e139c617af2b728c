"""No level runs dry and none runs over, for the numbers of a car.

Each level is followed as an enclosure along every path. A draw is stopped by its `if_short` before the low mark, or
proven to stay above it; a fill is stopped by `if_full` or proven to stay under the brim; what is measured afterwards is
stopped only by a look (`sets`) at the same step. A level that a step needs is proven to be that high. A count can give one beat at least after a fill, and its planned beats fit under its bound.
This is repeated for each of the two or more `example_cars`, and for the car itself before a run.

Bad:
    asks:
      low: {what: Fluid at MIN, quantity: volume, unit: mL, sources: [handbook]}
      full: {what: Fluid at MAX, quantity: volume, unit: mL, sources: [handbook]}
    levels:
      can: {what: fluid in the can, unit: mL, floor: 0 mL, brim: 500 mL, marks: {MIN: low, MAX: full}}
    example_cars: {small: {low: 100 mL, full: 200 mL}, large: {low: 120 mL, full: 300 mL}}
    steps:
      fill: {do: Fill the can up to MAX., place: wheel, sets: {can: MAX, by: look, within: 5 mL}, next: draw}
      draw: {do: Draw fluid out of the can., place: wheel, moves: [{from: can, each: [0 mL, 150 mL], low_mark: low}], next: end}
      end: {end: done, say: It is done.}

Good:
    asks:
      low: {what: Fluid at MIN, quantity: volume, unit: mL, sources: [handbook]}
      full: {what: Fluid at MAX, quantity: volume, unit: mL, sources: [handbook]}
    levels:
      can: {what: fluid in the can, unit: mL, floor: 0 mL, brim: 500 mL, marks: {MIN: low, MAX: full}}
    example_cars: {small: {low: 100 mL, full: 200 mL}, large: {low: 120 mL, full: 300 mL}}
    steps:
      fill: {do: Fill the can up to MAX., place: wheel, sets: {can: MAX, by: look, within: 5 mL}, next: draw}
      draw: {do: Draw fluid out of the can., place: wheel, moves: [{from: can, each: [0 mL, 50 mL], low_mark: low}], next: end}
      end: {end: done, say: It is done.}

Source: interval analysis (Cousot and Cousot 1977)
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from runner.core.bind import EXAMPLE
from runner.core.finding import Finding, Place
from runner.core.graph import Count, LevelNeed
from runner.verify.amounts import Car, Raw
from runner.verify.claim import Case
from runner.verify.flow import Flow, ways
from runner.verify.paths import Path, blocked, reaching
from runner.verify.reckoning import senseless
from runner.verify.spans import Draw, Spans, flowed, guarded
from runner.verify.station import Station
from runner.verify.tracking import Track, start_of
from runner.verify.trails import trail

AFTERWARDS = "what is measured afterwards is stopped by no edge: write 'sets: {LEVEL: MARK, by: look, within: ..}' here"
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class _Seen:
    """A fault of a level at a point; ``level`` is followed back for the path."""

    point: int
    level: str
    place: Place
    text: str
    help: str


def findings(case: Case) -> Iterator[Finding]:
    """The example cars, one after the other; what is wrong for all of them is said once."""
    cars, owners = case.procedure.example_cars, (case.procedure, *case.procedure.fragments.values())
    if case.procedure.is_fragment or not any(p.levels for p in owners):
        return
    if len(cars) < 2:
        yield Finding(
            place=case.procedure.place,
            check="level",
            text="levels are proven with numbers, and fewer than two example cars have any",
            help="write two 'example_cars' with a value for each ask",
        )
    told: dict[tuple[Place, str], list[tuple[str, Finding]]] = {}
    for car in cars:
        raw = {k: {"value": str(v), "source": EXAMPLE} for k, v in car.values.items()}
        for found in bound_findings(case, raw):
            told.setdefault((found.place, _NUMBER.sub("#", found.text)), []).append((car.name, found))
    for of in told.values():
        which = "every example car" if len(of) == len(cars) else f"the example car '{of[0][0]}'"
        yield replace(of[0][1], text=f"{of[0][1].text} (for {which})")


def bound_findings(
    case: Case, raw: Raw, first: int = 0, levels: Mapping[str, tuple[Fraction, Fraction] | None] | None = None
) -> tuple[Finding, ...]:
    """What is wrong with the levels for the values of one car, from a point on and from levels that are known there."""
    if not any(p.levels for p in (case.procedure, *case.procedure.fragments.values())):
        return ()
    return tuple(_Levels(case, Car(case.procedure, raw)).findings(first, start_of(case, levels or {})))


class _Levels:
    def __init__(self, case: Case, car: Car) -> None:
        self.case, self.car = case, car
        self.track = Track(case, car)
        self.planned: set[int] = set()
        self.reckoned: set[int] = set()
        self.best: dict[str, Fraction] = {}
        for name, least, _ in (look for looks in self.track.looks.values() for look in looks if look is not None):
            self.best[name] = max(least, self.best.get(name, least))

    def findings(self, first: int, start: Spans) -> Iterator[Finding]:
        """The faults of all levels, each once."""
        self.track.spread(first, start)
        seen: dict[tuple[Place, str], _Seen] = {}
        at_work, points = self.track.at_work, self.case.expanded.points
        for at, spans in enumerate(self.track.states):
            if spans is not None and id(points[at].station) in at_work:
                for fault in self._faults(at, points[at].station, spans):
                    seen.setdefault((fault.place, fault.text), fault)
        for fault in seen.values():
            yield Finding(place=fault.place, check="level", text=fault.text, help=fault.help, trail=self._trail(fault))

    def _faults(self, at: int, station: Station, spans: Spans) -> Iterator[_Seen]:
        yield from self._reckoned(at, station)
        yield from self._low_needs(at, station, spans)
        if station.kind not in ("step", "rest") or (station.kind == "step" and isinstance(_gate(station), Count)):
            return
        inside = self.track.entered(station, spans)
        for d in self.track.draws[id(station)]:
            if d is not None:
                yield from self._dry(at, station, d, inside)
                yield from self._over(at, station, d, inside)
                inside = flowed(d, guarded(d, inside) or inside)
        if station.kind == "rest" and id(station) not in self.planned:
            self.planned.add(id(station))
            yield from self._progress(at, station)

    def _reckoned(self, at: int, station: Station) -> Iterator[_Seen]:
        """Numbers that mean nothing, each told once."""
        if station.kind == "step" and id(station) not in self.reckoned:
            self.reckoned.add(id(station))
            for level, place, text, mend in senseless(self.car, station, self.track.draws[id(station)]):
                yield _Seen(at, level, place, text, mend)

    def _low_needs(self, at: int, station: Station, spans: Spans) -> Iterator[_Seen]:
        for need in station.others:
            least = self.car.least_of(station, need) if isinstance(need, LevelNeed) else None
            if least is None or not isinstance(need, LevelNeed):
                continue
            span = spans[need.level]
            if not span.known or span.lo < least:
                now = (
                    "may not be known"
                    if not span.known
                    else f"may be as low as {self.car.told(station.owner, need.level, span.lo)}"
                )
                yield _Seen(
                    at,
                    need.level,
                    need.place,
                    f"'{need.said}' is needed here: the level {now}",
                    "let every path that leads here look at it or fill it first",
                )

    def _dry(self, at: int, station: Station, d: Draw, spans: Spans) -> Iterator[_Seen]:
        name = d.move.source
        if name is None or _stopped(station, d, name, d.move.if_short):
            return
        span = spans[name]
        if not span.known or span.lo - d.most < d.low:
            now = (
                "is not known on some path"
                if not span.known
                else f"may be {self.car.told(station.owner, name, span.lo)}"
            )
            yield _Seen(
                at,
                name,
                d.move.place,
                f"'{name}' may run below {self.car.told(station.owner, name, d.low)}: it {now} "
                f"and {self._amount(station, name, d)} may leave",
                AFTERWARDS if d.measured else "write 'if_short: step' with a step that fills it, or fill it before",
            )

    def _over(self, at: int, station: Station, d: Draw, spans: Spans) -> Iterator[_Seen]:
        name = d.move.target
        if name is None or _stopped(station, d, name, d.move.if_full):
            return
        span = spans[name]
        if not span.known or span.hi + d.most > d.brim:
            now = (
                "is not known on some path"
                if not span.known
                else f"may be {self.car.told(station.owner, name, span.hi)}"
            )
            yield _Seen(
                at,
                name,
                d.move.place,
                f"'{name}' may run over its brim: it {now} and {self._amount(station, name, d)} may come in",
                AFTERWARDS if d.measured else "write 'if_full: step' with a step that empties it, or empty it before",
            )

    def _progress(self, at: int, station: Station) -> Iterator[_Seen]:
        """A beat is possible after the best fill, and the plan fits under the bound."""
        gate = _gate(station)
        assert isinstance(gate, Count)
        for d in self.track.draws[id(station)]:
            if d is None or d.any_amount:
                continue
            name = d.move.source
            best = self.best.get(name or "")
            if name is not None and best is not None and best - d.most < d.low:
                full, most, low = (self.car.told(station.owner, name, x) for x in (best, d.most, d.low))
                yield _Seen(
                    at,
                    name,
                    gate.place,
                    f"even after a fill to {full} not one beat of {most} stays above {low}",
                    "fill it higher, or take less with each beat",
                )
        planned = self.car.worth(station.owner, gate.planned, station.here) if gate.planned is not None else None
        if planned is not None and planned.hi > gate.at_most:
            on = f" for {station.here}" if station.here else ""
            yield _Seen(
                at,
                "",
                gate.place,
                f"{-(-planned.hi // 1)} {gate.what} are planned{on}, more than 'at_most' {gate.at_most}",
                "allow more, or plan less",
            )

    def _amount(self, station: Station, name: str, d: Draw) -> str:
        return "any amount" if d.any_amount else self.car.told(station.owner, name, d.most)

    def _trail(self, fault: _Seen) -> tuple[str, ...]:
        """The way on which the level fell last; before that the way by which its first point was found."""
        way, at = [fault.point], fault.point
        while (before := self._before(at, fault.level)) is not None and before not in way:
            way.append(before)
            at = before
        while (before := self.track.first.get(at)) is not None:
            way.append(before)
            at = before
        way.reverse()
        points = self.case.expanded.points
        edges = [points[a].targets.index(b) if b in points[a].targets else -1 for a, b in pairwise(way)]
        path = Path(tuple(way), (*edges, -1))
        flow = self.case.once("ways", self._flow)
        if blocked(flow, path, self.case.layout.start):
            path = reaching(flow, fault.point, self.case.layout.start) or path
        notes = [self._note(at, fault.level) for at in path.points]
        return trail(self.case.expanded, path.points, path.edges, notes)

    def _before(self, at: int, level: str) -> int | None:
        return self.track.came.get((at, level), self.track.first.get(at))

    def _flow(self) -> Flow:
        expanded, layout = self.case.expanded, self.case.layout
        return Flow(expanded, layout, ways(expanded, layout), ())

    def _note(self, at: int, level: str) -> str:
        spans, station = self.track.states[at], self.case.expanded.points[at].station
        if spans is None or not level:
            return ""
        span = spans[level]
        return f"{level} {self.car.told(station.owner, level, span.lo)} or more" if span.known else f"{level} not known"


def _stopped(station: Station, d: Draw, level: str, guard: object) -> bool:
    """Whether a move ends in time: by its edge; what is measured afterwards only by a look at the same step."""
    if not d.measured:
        return guard is not None
    return station.step is not None and any(look.level == level for look in station.step.sets)


def _gate(station: Station) -> object:
    return station.step.gate if station.step is not None else None
