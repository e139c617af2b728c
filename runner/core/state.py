"""The state of a run: the fold of its events. Nothing else ever changes it.

Rules of this module
1. ``evolve`` is total over the closed union of events and never refuses: what may happen was decided before.
2. Values belong to the car: conditions T, F or U; levels an enclosure in coherent SI, or None (not known).
3. Histories are linked pairs (newest, older), so that the 20,000th act costs what the first did.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from fractions import Fraction
from typing import Literal, TypeVar, assert_never

import msgspec
from msgspec import field
from msgspec.structs import replace

from runner.core import event as ev
from runner.core.act import AnyAct
from runner.core.event import AnyEvent
from runner.core.quantity import Quantity
from runner.core.stamp import UNBOUNDED_NS, Stamp, elapsed
from runner.core.units import DIMENSIONS

Enclosure = tuple[Fraction, Fraction]
_T = TypeVar("_T")
Phase = Literal["new", "summary", "running", "held", "safe stop", "ended"]


@dataclass(frozen=True, slots=True)
class Visit:
    """A step that was left: the record line, its path, the outcome, and how it was passed."""

    line: int
    path: str
    outcome: str
    because: str


@dataclass(frozen=True, slots=True)
class Linked:
    """A history: the newest item and what came before it."""

    item: object
    before: Linked | None
    count: int = dataclass_field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "count", 1 if self.before is None else self.before.count + 1)


class TakenValue(msgspec.Struct, frozen=True, kw_only=True):
    """One taking of a reading: its line and path, the points as enclosures, and the outcome."""

    line: int
    path: str
    points: tuple[Quantity, ...]
    outcome: str


class Out(msgspec.Struct, frozen=True, kw_only=True):
    """A grant that is out: beats, how many were reported, when it began, what one beat moves, what to put back."""

    beats: int
    used: int
    since: Stamp
    seconds: Fraction
    each: Enclosure
    before: Mapping[str, Enclosure | None]
    touched: Mapping[str, str]


class State(msgspec.Struct, frozen=True, kw_only=True):
    """Where a run stands and what is known of the car."""

    phase: Phase = "new"
    line: int = -1
    stamp: Stamp | None = None
    by: str = ""
    procedure: str = ""
    revision: str = ""
    car: str = ""
    demonstration: bool = False
    rehearsal: bool = False
    salt: str = ""
    claims: Mapping[str, str] = field(default_factory=dict)
    instruments: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    asks: tuple[tuple[str, str, str], ...] = ()
    # the car: levels in coherent SI
    conditions: Mapping[str, str] = field(default_factory=dict)
    since: Mapping[str, tuple[int, str]] = field(default_factory=dict)
    set_at: Mapping[str, Stamp] = field(default_factory=dict)
    levels: Mapping[str, Enclosure | None] = field(default_factory=dict)
    first_looks: Mapping[str, Enclosure] = field(default_factory=dict)
    waits: Mapping[str, Stamp] = field(default_factory=dict)
    waited: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    parts: Mapping[str, int] = field(default_factory=dict)
    # the place
    path: str = ""
    entries: Mapping[str, int] = field(default_factory=dict)
    beats: Mapping[str, int] = field(default_factory=dict)
    orders: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    over: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    choices: Mapping[str, str] = field(default_factory=dict)
    readings: Mapping[str, tuple[TakenValue, ...]] = field(default_factory=dict)
    happened: Mapping[str, int] = field(default_factory=dict)
    turned: Mapping[str, int] = field(default_factory=dict)
    # by path: whether it was ever done in this turn or run, and how it came out last
    passed: Mapping[str, tuple[bool, str]] = field(default_factory=dict)
    back_to: str = ""
    restoring: str = ""
    again: tuple[str, ...] = ()
    # the step
    shown: Stamp | None = None
    confirmed: frozenset[str] = frozenset()
    in_effect: frozenset[tuple[str, str]] = frozenset()
    exposures: int = 0
    last_key: str = ""
    keys: Mapping[str, str] = field(default_factory=dict)
    pending: ev.ReadBack | None = None
    started: Stamp | None = None
    out: Out | None = None
    looked: bool = False
    looks_owed: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    # what the last break made unknown, as it was known before; not what a beat was changing
    before: Mapping[str, str] = field(default_factory=dict)
    # what stays in the open
    owed: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[ev.FindingMade, ...] = ()
    scars: tuple[tuple[int, str], ...] = ()
    offers: tuple[str, ...] = ()
    diverged: bool = False
    last: AnyEvent | None = None
    trail: Linked | None = None
    acts: Linked | None = None
    told: Linked | None = None
    ended: ev.Ended | None = None
    signed: tuple[ev.Signed, ...] = ()

    def value(self, instance: str) -> str:
        """T, F or U of a condition instance."""
        return self.conditions.get(instance, "U")


def history(linked: Linked | None) -> Iterator[object]:
    """The items of a history, newest first."""
    while linked is not None:
        yield linked.item
        linked = linked.before


def visits(state: State) -> tuple[Visit, ...]:
    """The steps that were left, oldest first."""
    return tuple(v for v in history(state.trail) if isinstance(v, Visit))[::-1]


def kind_of_step(path: str) -> str:
    """A path without the members of its turns, so that a step is the same at every corner."""
    return "/".join(p for p in path.split("/") if p not in _MEMBERS)


_MEMBERS = frozenset({"LF", "RF", "LR", "RR", "front", "rear", "left", "right"})


def enclosure(pair: list[str] | None) -> Enclosure | None:
    """An enclosure from the two texts of an event."""
    return None if pair is None else (Fraction(pair[0]), Fraction(pair[1]))


def _points(dimension: str, values: list[list[str]]) -> tuple[Quantity, ...]:
    return tuple(Quantity(Fraction(lo), Fraction(hi), DIMENSIONS[dimension]) for lo, hi in values)


def fold(state: State, line: int, stamp: Stamp, by: str, act: AnyAct, events: tuple[AnyEvent, ...]) -> State:
    """The state after one record line: its stamp, its act, and all events that the act caused."""
    state = opened(state, line, stamp, by)
    for event in events:
        state = _evolved(state, event)
    return replace(
        state,
        last=events[-1] if events else state.last,
        acts=Linked((line, stamp, by, act), state.acts),
        told=Linked((line, tuple(events)), state.told),
    )


def opened(state: State, line: int, stamp: Stamp, by: str) -> State:
    """The state as an act finds it: its moment, who acts, and the waits that ran on since the act before.

    A wait is the sum of the spans between acts, so that a clock that was set costs one span and not all. Who had
    not read a safety message reads it: another person confirms anew.
    """
    waited = state.waited
    if waited and state.stamp is not None:
        span = elapsed(state.stamp, stamp)
        waited = {
            name: (least + span.at_least_ns, min(most + span.at_most_ns, UNBOUNDED_NS))
            for name, (least, most) in waited.items()
        }
    if by and state.by and by != state.by:
        state = replace(state, confirmed=frozenset(), in_effect=frozenset())
    return replace(state, line=line, stamp=stamp, by=by or state.by, waited=waited)


def _changed(state: State, changes: Mapping[str, str]) -> State:
    if not changes:
        return state
    mark = (state.line, state.by)
    stamps = state.set_at
    if state.stamp is not None:
        stamps = {**stamps, **{c: state.stamp for c, v in changes.items() if v == "T"}}
    return replace(
        state,
        conditions={**state.conditions, **changes},
        since={**state.since, **dict.fromkeys(changes, mark)},
        set_at=stamps,
        unknown=tuple(c for c in state.unknown if changes.get(c, "U") == "U"),
    )


def _levels(state: State, levels: Mapping[str, list[str] | None]) -> State:
    return replace(state, levels={**state.levels, **{k: enclosure(v) for k, v in levels.items()}})


def _break(state: State, unknown: Mapping[str, str], levels: list[str]) -> State:
    """A break in the work: perishables and what a grant touched are unknown, warnings are read anew."""
    changing = state.out.touched if state.out is not None else ()
    known = {c: state.value(c) for c in unknown if c not in changing and state.value(c) != "U"}
    before = {c: v for c, v in state.before.items() if c not in changing} | known
    state = replace(_changed(state, unknown), before=before)
    lost = tuple(dict.fromkeys((*state.unknown, *sorted(c for c, v in unknown.items() if v == "U"))))
    owed = tuple(dict.fromkeys((*state.looks_owed, *levels)))
    state = _levels(state, dict.fromkeys(levels))
    used = state.beats
    if state.out is not None:
        # Nothing is credited: what was granted counts as used.
        used = {**used, state.path: used.get(state.path, 0) + state.out.beats}
    return replace(
        state,
        unknown=lost,
        looks_owed=owed,
        beats=used,
        out=None,
        confirmed=frozenset(),
        in_effect=frozenset(),
        pending=None,
        started=None,
        looked=state.looked,
    )


def evolve(state: State, event: AnyEvent) -> State:
    """The state after one event."""
    return replace(_evolved(state, event), last=event)


def _evolved(state: State, event: AnyEvent) -> State:
    match event:
        case ev.Begun():
            return _begun(state, event)
        case ev.Assumed():
            return replace(state, phase="running")
        case ev.Arrived(path=path):
            entries = state.entries
            if not state.restoring:  # a detour and the way back from it are no visit
                entries = {**entries, path: entries.get(path, 0) + 1}
            return replace(
                state,
                path=path,
                shown=state.stamp,
                pending=None,
                started=None,
                out=None,
                looked=False,
                confirmed=frozenset(),
                entries=entries,
                phase="safe stop" if path == SAFE_STOP else "running",
                again=(),
                offers=(),
                diverged=False,
            )
        case ev.Left(path=path, outcome=outcome, because=because):
            return replace(state, trail=Linked(Visit(state.line, path, outcome, because), state.trail))
        case ev.Passed(path=path, outcome=outcome, done=done):
            before = state.passed.get(path, (False, ""))[0]
            return replace(state, passed={**state.passed, path: (done or before, outcome)})
        case ev.OrderSet(block=block, order=order):
            return replace(
                state,
                orders={**state.orders, block: tuple(order)},
                over={**state.over, block: ()},
                # A block that is walked anew begins anew: its bounds, its counts, what happened in its turns.
                entries=_outside(state.entries, block),
                beats=_outside(state.beats, block),
                turned=_turned(state, block, order[:1]),
                passed=_outside(state.passed, block),
                # In another pass over the block every step is another visit: its messages are asked for again.
                in_effect=frozenset(e for e in state.in_effect if not _in_turn(e[0], block, order)),
            )
        case ev.TurnOver(block=block, member=member, forgotten=forgotten):
            over = (*state.over.get(block, ()), member)
            begins = [m for m in state.orders.get(block, ()) if m not in over][:1]
            return replace(
                state,
                over={**state.over, block: over},
                turned=_turned(state, block, begins),
                passed=_outside(state.passed, *(f"{block}/{m}" for m in begins)),
                choices={k: v for k, v in state.choices.items() if k not in forgotten},
            )
        case ev.Confirmed(path=path, hazards=hazards, how=how, key=key):
            kind = kind_of_step(path)
            return replace(
                state,
                confirmed=state.confirmed | set(hazards),
                shown=state.stamp,
                in_effect=state.in_effect | {(kind, h) for h in hazards} | {(path, h) for h in hazards},
                exposures=state.exposures + (how == "own"),
                last_key=key or state.last_key,
                keys={**state.keys, **dict.fromkeys(hazards, key)} if key else state.keys,
            )
        case ev.Answered(path=path, value=value, name=name):
            remembered = {**state.choices, name: value} if name else state.choices
            return replace(state, choices=remembered, looked=False)
        case ev.ReadBack():
            return replace(state, pending=event)
        case ev.Retyped():
            return replace(state, pending=None)
        case ev.Taken(path=path, name=name, dimension=dimension, values=values, outcome=outcome):
            taken = TakenValue(line=state.line, path=path, points=_points(dimension, values), outcome=outcome)
            all_taken = (*state.readings.get(name, ()), taken)
            return replace(state, pending=None, readings={**state.readings, name: all_taken})
        case ev.TimerStarted():
            return replace(state, started=state.stamp)
        case ev.Granted() | ev.Beaten() | ev.Returned() | ev.Looked() | ev.LevelIs():
            return _moved(state, event)
        case ev.Became(changes=changes):
            return _changed(state, changes)
        case ev.Happened(deeds=deeds):
            newest = {deed: _newest(state) + n for n, deed in enumerate(deeds, 1)}
            return replace(state, happened={**state.happened, **newest})
        case ev.WaitStarted(wait=wait):
            waits = state.waits if state.stamp is None else {**state.waits, wait: state.stamp}
            return replace(state, waits=waits, waited={**state.waited, wait: (0, 0)})
        case ev.PartUsed(part=part, left=count) | ev.InHand(part=part, have=count):
            return replace(state, parts={**state.parts, part: count}, shown=state.stamp)
        case ev.Stopped(unknown=unknown, levels=levels):
            return replace(_break(state, unknown, levels), phase="held")
        case ev.Resumed(unknown=unknown, levels=levels):
            back: Phase = "ended" if state.ended else "safe stop" if state.path == SAFE_STOP else "running"
            if not state.path:
                back = "summary"
            return replace(_break(state, unknown, levels), phase=back, shown=state.stamp)
        case ev.Expired(conditions=conditions, levels=levels):
            gone = replace(_changed(state, dict.fromkeys(conditions, "U")), shown=state.stamp)
            return replace(
                _levels(gone, dict.fromkeys(levels)),
                unknown=tuple(dict.fromkeys((*gone.unknown, *conditions))),
                before={c: v for c, v in gone.before.items() if c not in conditions},
                looks_owed=tuple(dict.fromkeys((*gone.looks_owed, *levels))),
            )
        case ev.Attested(condition=condition, value=value):
            changed = _changed(state, {condition: value})
            left = tuple(c for c in state.unknown if c != condition)
            return replace(changed, unknown=left, shown=state.stamp)
        case ev.Contradicted(condition=condition, value=value):
            scars = (*state.scars, (state.line, "contradicted"))
            return replace(_changed(state, {condition: value}), scars=scars, shown=state.stamp)
        case ev.Restoring(condition=condition, back_to=back_to):
            return replace(state, restoring=condition, back_to=back_to)
        case ev.Restored():
            return replace(state, restoring="", back_to="")
        case ev.Asked(paths=paths):
            return replace(
                state,
                again=tuple(paths),
                shown=state.stamp,
                confirmed=frozenset(),
                in_effect=frozenset(
                    e for e in state.in_effect if e[0] not in paths and e[0] not in map(kind_of_step, paths)
                ),
            )
        case ev.Jumped(void=void):
            return replace(
                state,
                choices={k: v for k, v in state.choices.items() if k not in void},
                offers=(),
                diverged=False,
                again=(),
                back_to="",
                restoring="",
            )
        case ev.Corrected(offers=offers, effect=effect):
            scars = (*state.scars, (state.line, "corrected"))
            return replace(state, offers=tuple(offers), diverged=effect == "diverged", scars=scars)
        case ev.Restated(name=name, nth=nth, values=values, outcome=outcome):
            return _restated(state, name, nth, values, outcome)
        case ev.Overridden(void=void):
            scars = (*state.scars, (state.line, "overridden"))
            kept = {k: v for k, v in state.choices.items() if k not in void}
            return replace(state, pending=None, choices=kept, scars=scars)
        case ev.CannotDo():
            return replace(state, pending=None, scars=(*state.scars, (state.line, "not done as written")))
        case ev.FindingMade():
            return replace(state, findings=(*state.findings, event))
        case ev.Owes(owed=owed, what=what):
            return replace(state, owed={**state.owed, owed: what})
        case ev.Settled(owed=owed):
            return replace(state, owed={k: v for k, v in state.owed.items() if k != owed})
        case ev.Supplied(name=name, value=value, source=source):
            rest = tuple(a for a in state.asks if a[0] != name)
            return replace(state, asks=(*rest, (name, value, source)), shown=state.stamp)
        case ev.PersonSet(initials=initials):
            return replace(state, by=initials, confirmed=frozenset(), in_effect=frozenset(), shown=state.stamp)
        case ev.Ended():
            return replace(state, phase="ended", ended=event)
        case ev.Signed():
            return replace(state, signed=(*state.signed, event))
        case ev.Named() | ev.Identified():
            return replace(state, pending=None)
        case ev.Refused() | ev.Mistaken() | ev.Ticked():
            return state
        case _:
            assert_never(event)


def _outside(numbers: Mapping[str, _T], *blocks: str) -> dict[str, _T]:
    return {path: n for path, n in numbers.items() if not any(path.startswith(f"{block}/") for block in blocks)}


def _turned(state: State, block: str, members: list[str]) -> dict[str, int]:
    """The turns with the one that begins now: what happened up to here belongs to an earlier one."""
    return {**state.turned, **{f"{block}/{member}": _newest(state) for member in members}}


def _newest(state: State) -> int:
    return max(state.happened.values(), default=0)


def _in_turn(path: str, block: str, order: list[str]) -> bool:
    return any(path.startswith(f"{block}/{member}/") for member in order)


SAFE_STOP = "safe stop"


def _begun(state: State, event: ev.Begun) -> State:
    waits = {name: Stamp(at=str(w["at"]), mono=int(w["mono"]), boot=str(w["boot"])) for name, w in event.waits.items()}
    return replace(
        state,
        phase="summary",
        procedure=event.procedure,
        revision=event.revision,
        car=event.car,
        demonstration=event.demonstration,
        rehearsal=event.rehearsal,
        salt=event.salt,
        claims=dict(event.claims),
        instruments=dict(event.instruments),
        shown=state.stamp,
        asks=tuple((name, a["value"], a["source"]) for name, a in event.asks.items()),
        conditions=dict(event.conditions),
        levels={k: enclosure(v) for k, v in event.levels.items()},
        waits=waits,
        waited={name: _span(started, state.stamp) for name, started in waits.items()},
        parts=dict(event.parts),
    )


def _span(started: Stamp, now: Stamp | None) -> tuple[int, int]:
    if now is None:
        return (0, UNBOUNDED_NS)
    span = elapsed(started, now)
    return (span.at_least_ns, span.at_most_ns)


def _moved(state: State, event: ev.Granted | ev.Beaten | ev.Returned | ev.Looked | ev.LevelIs) -> State:
    match event:
        case ev.Granted(beats=beats, levels=levels, touched=touched, seconds=seconds, each=each):
            out = Out(
                beats=beats,
                used=0,
                since=state.stamp or Stamp(at="", mono=0, boot=""),
                seconds=Fraction(seconds),
                each=enclosure(each) or (Fraction(0), Fraction(0)),
                before={k: state.levels.get(k) for k in levels},
                touched={c: state.value(c) for c in touched},
            )
            return replace(_levels(_changed(state, touched), dict(levels)), out=out)
        case ev.Beaten():
            out_now = state.out
            return state if out_now is None else replace(state, out=replace(out_now, used=out_now.used + 1))
        case ev.Returned(path=path, used=used, levels=moved, conditions=conditions, looks=looks):
            state = replace(
                _levels(_changed(state, conditions), moved),
                out=None,
                looked=used > 0,  # where nothing was pumped nothing new is to be seen in the hose
                beats={**state.beats, path: state.beats.get(path, 0) + used},
            )
            return replace(state, looks_owed=tuple(dict.fromkeys((*state.looks_owed, *looks))))
        case ev.Looked(level=level, enclosure=pair):
            seen = enclosure(pair)
            owed = tuple(name for name in state.looks_owed if name != level)
            state = replace(state, looks_owed=owed, shown=state.stamp)
            return state if seen is None else _seen(state, level, seen)
        case ev.LevelIs(level=level, enclosure=pair, by_look=by_look, look_owed=look_owed):
            now = enclosure(pair)
            owed = state.looks_owed
            if by_look:
                owed = tuple(name for name in owed if name != level)
            if look_owed:
                owed = tuple(dict.fromkeys((*owed, level)))
            state = replace(state, looks_owed=owed)
            return _seen(state, level, now) if by_look and now else replace(state, levels={**state.levels, level: now})


def _seen(state: State, level: str, now: Enclosure) -> State:
    first = state.first_looks if level in state.first_looks else {**state.first_looks, level: now}
    return replace(state, levels={**state.levels, level: now}, first_looks=first)


def _restated(state: State, name: str, nth: int, values: list[list[str]], outcome: str) -> State:
    taken = list(state.readings.get(name, ()))
    old = taken[nth]
    points = tuple(Quantity(Fraction(lo), Fraction(hi), old.points[0].dimension) for lo, hi in values)
    taken[nth] = replace(old, points=points, outcome=outcome)
    return replace(state, readings={**state.readings, name: tuple(taken)})
