"""What must not come about at a place of the graph, and whether it may.

A claim is broken where every one of its masks has a state in common with the states of the place. Each mask
speaks of one field; with two or more masks the first pass may only suspect, and the search along paths decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

import msgspec

from runner.core.finding import Finding, Place
from runner.core.graph import Duty, Procedure
from runner.verify.expand import Expanded
from runner.verify.fields import Change, Field, Layout
from runner.verify.flow import Flow
from runner.verify.station import Station

T = TypeVar("T")
ENTRY = -1
"""On entry, before the needs are taken to hold."""
INSIDE = -2
"""While the step is done: its needs hold."""


class Claim(msgspec.Struct, frozen=True, kw_only=True):
    """At ``edge`` of a station (or on entry, or inside it) not all of ``bad`` at once. ``key`` tells faults apart."""

    check: str
    edge: int
    bad: tuple[int, ...]
    place: Place
    text: str
    help: str
    key: str
    related: tuple[tuple[Place, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """What a proof may look at: the procedure, its flat graph, the fields, and the duties by occasion."""

    procedure: Procedure
    expanded: Expanded
    layout: Layout
    duties: Mapping[tuple[str, str], tuple[Duty, ...]]
    parts: Mapping[tuple[int, str | None], tuple[Station, ...]]
    """The stations of one step for one ``here``, by the id of the step."""
    touched: frozenset[str]
    """The condition instances that some step makes, ends or leaves unknown."""
    _known: dict[object, Any] = field(default_factory=dict)

    def once(self, key: object, make: Callable[[], T]) -> T:
        """What is the same wherever it is asked, worked out at the first asking."""
        if key not in self._known:
            self._known[key] = make()
        found: T = self._known[key]
        return found

    def field(self, name: str) -> Field:
        """A field by its name."""
        return self.layout.fields[name]

    def step_of(self, station: Station) -> tuple[Station, ...]:
        """All stations of the same step."""
        return self.parts[id(station.node), station.here]

    @property
    def always(self) -> tuple[int, ...]:
        """The mask of a claim that is broken wherever its place is reached."""
        return (self.field("reached").mask,)


def case_of(procedure: Procedure, expanded: Expanded, layout: Layout) -> Case:
    """The case, with its tables."""
    duties: dict[tuple[str, str], tuple[Duty, ...]] = {}
    for duty in procedure.vocabulary.duties:
        duties[duty.on, duty.name] = (*duties.get((duty.on, duty.name), ()), duty)
    parts: dict[tuple[int, str | None], tuple[Station, ...]] = {}
    for station in expanded.stations:
        if station.step is not None:
            key = (id(station.node), station.here)
            parts[key] = (*parts.get(key, ()), station)
    touched = frozenset(
        op.name
        for s in expanded.stations
        for e in s.edges
        for op in e.ops
        if op.verb in ("make", "end", "lose", "waver")
    )
    return Case(procedure, expanded, layout, duties, parts, touched)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """One proof: its name, its manual page, and its two functions (either may be missing)."""

    name: str
    manual: str
    findings: Callable[[Case], Iterable[Finding]] | None = None
    claims: Callable[[Case, Station], Iterable[Claim]] | None = None


class Broken(msgspec.Struct, frozen=True):
    """A claim that may be broken at a point."""

    point: int
    claim: Claim


def back(masks: Iterable[tuple[int, int]], change: Change) -> tuple[int, ...] | None:
    """(field mask, bad bits) seen from before a change; None where it can then never be broken."""
    found = tuple(change.before(mask, bad) for mask, bad in masks)
    return None if 0 in found else found


def broken(flow: Flow, claims: Mapping[int, tuple[Claim, ...]]) -> Iterator[Broken]:
    """The claims that may be broken, by the states of the first pass; ``claims`` go by station id."""
    for at, x in enumerate(flow.states):
        if not x:
            continue
        station = flow.expanded.points[at].station
        here = claims.get(id(station))
        if not here:
            continue
        inside = flow.layout.changes(station)[0].after(x)
        for claim in here:
            y = x if claim.edge == ENTRY else inside
            for mask in claim.bad:
                if not y & mask:
                    break
            else:
                if _taken(flow, station, claim, y):
                    yield Broken(at, claim)


def breaks(flow: Flow, suspect: Broken, x: int, within: int = -1) -> bool:
    """Whether the claim may be broken when its point is entered in ``x``, as far as the bits ``within`` tell."""
    claim, station = suspect.claim, flow.expanded.points[suspect.point].station
    y = x if claim.edge == ENTRY else flow.layout.changes(station)[0].after(x) & within
    opens = flow.layout.open_to(station, claim.edge) & within if claim.edge >= 0 else 0
    return all(y & bad for bad in claim.bad) and (not opens or bool(y & opens))


def _taken(flow: Flow, station: Station, claim: Claim, x: int) -> bool:
    opens = flow.layout.open_to(station, claim.edge) if claim.edge >= 0 else 0
    return not opens or bool(x & opens)
