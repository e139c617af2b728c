"""Every reading of a run for whoever must judge it later: value, limit and where the limit came from, in all units.

Rules of this module
1. What was typed stands as typed; what follows from it (another unit, a place on a scale) is worked out beside it.
2. A corrected reading shows what it was and what it is.
3. Where instrument and source differ in their units, value and limit stand in both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.gaterows import on_one_line
from runner.core.graph import Found, LimitBand, Procedure, Reading, Step, find
from runner.core.picture_value import inward
from runner.core.quantity import DIMENSIONS, Quantity, Unit
from runner.core.rational import from_text
from runner.core.replay import UNHEARD_OF, states
from runner.core.state import State
from runner.core.units import show, units_of
from runner.core.values import worth
from runner.core.wording import plain, what_of

_ROOM = Fraction(1, 8)
"""So much of a scale stays free beyond its last value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A reading drawn against its limit: places on a scale from 0 to 1. `passes` are the stretches that pass."""

    low: float
    high: float
    least: float
    most: float
    passes: tuple[tuple[float, float], ...]
    start: str
    end: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One taking of a reading. `typed` to `probability` are as recorded, `values` pairs in coherent SI.

    `where` is the corner, axle or side in words; `shown` and `limit_shown` hold every unit that matters; `sources`
    say which values of the car the limit stands on, as given, and from where.
    """

    line: int
    at: str
    who: str
    path: str
    name: str
    what: str
    member: str
    typed: tuple[str, ...]
    unit: str
    instrument: str
    dimension: str
    values: tuple[tuple[str, str], ...]
    error: str
    limit: str
    limit_kind: str
    rule: str
    outcome: str
    label: str
    probability: str
    because: str
    clicks: str
    repeat: int
    shown: str
    limit_shown: str
    sources: tuple[str, ...] = ()
    bars: tuple[Bar, ...] = ()
    corrected: str = ""


def measured(entries: Sequence[Entry], procedure: Procedure | None = None) -> tuple[Measured, ...]:
    """Every taking of every reading, oldest first; `procedure` lends words, limits and units."""
    rows: list[Measured] = []
    nth: dict[tuple[str, int], int] = {}
    for before, one, _ in states(entries):
        for event in one.events:
            if isinstance(event, ev.Taken):
                count = sum(row.name == event.name for row in rows)
                nth[(event.name, count)] = len(rows)
                rows.append(_row(before, one, event, procedure))
            elif isinstance(event, ev.Restated) and (at := nth.get((event.name, event.nth))) is not None:
                rows[at] = _restated(before, rows[at], one, event, procedure)
    return tuple(rows)


def _row(before: State, one: Entry, event: ev.Taken, procedure: Procedure | None) -> Measured:
    base, _, member = event.name.partition("@")
    row = Measured(
        line=one.line + 1,
        at=one.stamp.at,
        who=on_one_line(one.by),
        path=on_one_line(event.path),
        name=on_one_line(event.name),
        what=plain(base),
        member=member,
        typed=tuple(on_one_line(text) for text in event.typed),
        unit=on_one_line(event.unit),
        instrument=on_one_line(event.instrument),
        dimension=event.dimension,
        values=tuple((pair[0], pair[1]) for pair in event.values if len(pair) == 2),
        error=event.twice_u,
        limit=on_one_line(event.limit),
        limit_kind=on_one_line(event.limit_kind),
        rule=on_one_line(event.rule),
        outcome=on_one_line(event.outcome),
        label=on_one_line(event.label),
        probability=on_one_line(event.probability),
        because=on_one_line(event.because),
        clicks=on_one_line(event.clicks),
        repeat=event.repeat,
        shown=_with_unit(event.typed, event.unit),
        limit_shown=on_one_line(event.limit),
    )
    return _judged(before, row, event.path, procedure)


def _with_unit(typed: Sequence[str], unit: str) -> str:
    texts = [on_one_line(text) for text in typed]
    bare = [text for text in texts if not text.endswith(unit)]
    return f"{', '.join(texts)} {on_one_line(unit)}".strip() if bare else ", ".join(texts)


def _judged(state: State, row: Measured, path: str, procedure: Procedure | None) -> Measured:
    """The row with what the procedure and the car's values say of it, as far as they can be read."""
    try:
        if procedure is None:
            return row
        found = find(procedure, path)
        gate = found.node.gate if isinstance(found.node, Step) else None
        if not isinstance(gate, Reading):
            return row
        used = next((u for u in units_of(gate.dimension) if u.symbol == row.unit), gate.unit)
        ends = tuple(_ends(found, state, band) for band in _passing(gate))
        row = replace(row, what=on_one_line(gate.what), sources=tuple(_sources(found, state, gate)))
        if used != gate.unit:
            other = ", ".join(show(point, gate.unit) for point in _points(row))
            limit = "; ".join(_between(pair, band, used) for pair, band in zip(ends, _passing(gate), strict=True))
            row = replace(row, shown=f"{row.shown} ({other})")
            row = replace(row, limit_shown=f"{row.limit} ({limit})" if row.limit and limit else row.limit)
        return replace(row, bars=_bars(row, ends, used))
    except UNHEARD_OF:  # an edited record
        return row


def _restated(state: State, row: Measured, one: Entry, event: ev.Restated, procedure: Procedure | None) -> Measured:
    new = replace(
        row,
        values=tuple((pair[0], pair[1]) for pair in event.values if len(pair) == 2),
        outcome=on_one_line(event.outcome),
        corrected=f"corrected in line {one.line + 1}; it was: {row.shown}, {row.outcome}",
    )
    try:
        unit = next(u for u in units_of(DIMENSIONS[row.dimension]) if u.symbol == row.unit)
        now = ", ".join(show(point, unit) for point in _points(new))
    except (*UNHEARD_OF, StopIteration):
        return new
    return _judged(state, replace(new, shown=now), row.path, procedure)


def _points(row: Measured) -> tuple[Quantity, ...]:
    return tuple(Quantity(from_text(lo), from_text(hi), DIMENSIONS[row.dimension]) for lo, hi in row.values)


def _passing(gate: Reading) -> tuple[LimitBand, ...]:
    return tuple(band for band in gate.bands if band.outcome == "pass")


Ends = tuple[Quantity | None, Quantity | None]


def _ends(found: Found, state: State, band: LimitBand) -> Ends:
    low, high = (None if e is None else worth(found.procedure, state, e, found.here) for e in (band.low, band.high))
    return (low if isinstance(low, Quantity) else None, high if isinstance(high, Quantity) else None)


def _between(ends: Ends, band: LimitBand, unit: Unit) -> str:
    low, high = ends
    if low is not None and high is not None:
        if low == high:
            return show(low, unit)
        return f"{inward(low, unit, up=True, signed=False)} to {inward(high, unit, up=False)}"
    if low is not None:
        return f"{'at least' if band.low_inclusive else 'more than'} {inward(low, unit, up=True)}"
    return f"{'at most' if band.high_inclusive else 'less than'} {inward(high, unit, up=False)}" if high else ""


def _sources(found: Found, state: State, gate: Reading) -> Iterator[str]:
    """The values of the car in the limits that pass, as they were given."""
    given = {name: (value, source) for name, value, source in state.asks}
    names = {n for band in _passing(gate) for e in (band.low, band.high) if e is not None for n in e.names}
    for name in sorted(names):
        base = name.partition("@")[0]
        if base in found.procedure.asks:
            value, source = given.get(name) or given.get(f"{base}@{found.here}") or ("", "")
            if value:
                yield on_one_line(f"{what_of(found.procedure, base)}: {value}, from {source}")


def _bars(row: Measured, ends: Sequence[Ends], unit: Unit) -> tuple[Bar, ...]:
    """One bar a point, all on one scale; none where nothing limits the reading."""
    limits = [[None if q is None else q.within(unit) for q in pair] for pair in ends]
    known = [end for pair in limits for q in pair if q is not None for end in q]
    if not known:
        return ()
    points = [point.within(unit) for point in _points(row)]
    doubt = from_text(row.error) / unit.factor
    reached = [*known, *(low - doubt for low, _ in points), *(high + doubt for _, high in points)]
    absolute = unit.dimension.absolute
    low = min(reached) if absolute else min(Fraction(0), *reached)
    high = max(reached)
    room = (high - low) * _ROOM or Fraction(1)
    low, high = low - room if absolute or low < 0 else low, high + room

    def at(value: Fraction) -> float:
        return float((value - low) / (high - low))

    passes = tuple(
        (at(first[0]) if first is not None else 0.0, at(last[1]) if last is not None else 1.0) for first, last in limits
    )
    return tuple(
        Bar(
            low=at(first),
            high=at(last),
            least=at(first - doubt),
            most=at(last + doubt),
            passes=passes,
            start=_tick(low, unit),
            end=_tick(high, unit),
        )
        for first, last in points
    )


def _tick(value: Fraction, unit: Unit) -> str:
    return f"{float(f'{float(value):.3g}'):g} {unit.symbol}".strip()  # never 1.14e+03
