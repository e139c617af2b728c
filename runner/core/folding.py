"""The fold: the state after an act and its events.

It is total over the closed union of events and never refuses: what may happen was decided before.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import TypeVar, assert_never

from msgspec.structs import replace

from runner.core import event as ev
from runner.core.act import AnyAct
from runner.core.changing import after_beats, after_break, with_conditions, with_levels
from runner.core.event import AnyEvent
from runner.core.quantity import Quantity
from runner.core.stamp import UNBOUNDED_NS, Stamp, elapsed
from runner.core.state import SAFE_STOP, Linked, Phase, State, TakenValue, Visit, enclosure, kind_of_step
from runner.core.units import DIMENSIONS

_T = TypeVar("_T")


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
            return after_beats(state, event)
        case ev.Became(changes=changes):
            return with_conditions(state, changes)
        case ev.Happened(deeds=deeds):
            newest = {deed: _newest(state) + n for n, deed in enumerate(deeds, 1)}
            return replace(state, happened={**state.happened, **newest})
        case ev.WaitStarted(wait=wait):
            waits = state.waits if state.stamp is None else {**state.waits, wait: state.stamp}
            return replace(state, waits=waits, waited={**state.waited, wait: (0, 0)})
        case ev.PartUsed(part=part, left=count) | ev.InHand(part=part, have=count):
            return replace(state, parts={**state.parts, part: count}, shown=state.stamp)
        case ev.Stopped(unknown=unknown, levels=levels):
            return replace(after_break(state, unknown, levels), phase="held")
        case ev.Resumed(unknown=unknown, levels=levels):
            back: Phase = "ended" if state.ended else "safe stop" if state.path == SAFE_STOP else "running"
            if not state.path:
                back = "summary"
            return replace(after_break(state, unknown, levels), phase=back, shown=state.stamp)
        case ev.Expired(conditions=conditions, levels=levels):
            gone = replace(with_conditions(state, dict.fromkeys(conditions, "U")), shown=state.stamp)
            return replace(
                with_levels(gone, dict.fromkeys(levels)),
                unknown=tuple(dict.fromkeys((*gone.unknown, *conditions))),
                before={c: v for c, v in gone.before.items() if c not in conditions},
                looks_owed=tuple(dict.fromkeys((*gone.looks_owed, *levels))),
            )
        case ev.Attested(condition=condition, value=value):
            changed = with_conditions(state, {condition: value})
            left = tuple(c for c in state.unknown if c != condition)
            return replace(changed, unknown=left, shown=state.stamp)
        case ev.Contradicted(condition=condition, value=value):
            scars = (*state.scars, (state.line, "contradicted"))
            return replace(with_conditions(state, {condition: value}), scars=scars, shown=state.stamp)
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


def _restated(state: State, name: str, nth: int, values: list[list[str]], outcome: str) -> State:
    taken = list(state.readings.get(name, ()))
    old = taken[nth]
    points = tuple(Quantity(Fraction(lo), Fraction(hi), old.points[0].dimension) for lo, hi in values)
    taken[nth] = replace(old, points=points, outcome=outcome)
    return replace(state, readings={**state.readings, name: tuple(taken)})
