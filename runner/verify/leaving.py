"""From every step at which something is open there is a way to leave it safe.

An opening that may be open somewhere says what to do with it on leaving: `if_left`, to close it or why it may stay.
Two openings that can be open together have different `leave_rank`, lowest first, so that the order of making safe
is one order. What closing asks for (a duty on it) holds there, once the lower ranks are closed. Where the work may be
left for the length of a wait (`park`), nothing is open that has to be closed on leaving.

Bad:
    assumes: [not drain_open, not tap_open]
    steps:
      drain: {do: Open the drain., place: wheel, makes: [drain_open], next: tap}
      tap: {do: Open the tap., place: wheel, makes: [tap_open], next: shut-tap}
      shut-tap: {do: Close the tap., place: wheel, ends: [tap_open], next: shut-drain}
      shut-drain: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
      end: {end: done, say: It is done.}

Good:
    assumes: [not drain_open, not tap_open]
    steps:
      drain: {do: Open the drain., place: wheel, makes: [drain_open], next: shut-drain}
      shut-drain: {do: Close the drain., place: wheel, ends: [drain_open], next: tap}
      tap: {do: Open the tap., place: wheel, makes: [tap_open], next: shut-tap}
      shut-tap: {do: Close the tap., place: wheel, ends: [tap_open], next: end}
      end: {end: done, say: It is done.}

Source: NUREG-0700 rev. 2, 8.2.1-1: the worker can stop anywhere
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from runner.core.graph import Condition, Holds, instance
from runner.verify.claim import INSIDE, Case, Claim
from runner.verify.station import Station


def claims(case: Case, station: Station) -> tuple[Claim, ...]:
    """What may be open at a station, and whether it can be made safe there: the same wherever work is left."""
    if station.step is None and station.kind != "safe stop":
        return ()
    anywhere = case.once("leave", lambda: tuple(_anywhere(case)))
    parked = station.kind == "step" and station.step is not None and station.step.park is not None
    return (*anywhere, *_parked(case, station)) if parked else anywhere


def _parked(case: Case, station: Station) -> Iterator[Claim]:
    for name in sorted(case.touched):
        condition = case.procedure.conditions[name.partition("@")[0]]
        if condition.kind == "opening" and condition.if_left is not None and condition.if_left.kind == "close":
            yield Claim(
                check="leave",
                edge=INSIDE,
                bad=(case.field(name).but("T" if condition.normally else "F"),),
                place=station.place,
                key=f"park {condition.name}",
                text=f"the work may be left here for a wait, and '{name}' may have to be closed first",
                help="close it before, or take 'park' out",
                related=((condition.place, "what is to be done with it on leaving"),),
            )


def _anywhere(case: Case) -> Iterator[Claim]:
    opens = [(n, case.procedure.conditions[n.partition("@")[0]]) for n in sorted(case.touched)]
    opens = [(n, c) for n, c in opens if c.kind == "opening"]
    for name, condition in opens:
        if condition.if_left is None:
            yield Claim(
                check="leave",
                edge=INSIDE,
                bad=(_open(case, name, condition),),
                place=condition.place,
                key=condition.name,
                text=f"'{condition.name}' may be open when the work is left, and has no 'if_left'",
                help="write 'if_left: {close: ..}', or 'if_left: {may stay: ..}' with the reason",
            )
        elif condition.if_left.kind == "close":
            yield from _closing(case, name, condition)
    for (one, first), (other, second) in combinations(opens, 2):
        if first.rank == second.rank and first.name < second.name:
            yield Claim(
                check="leave",
                edge=INSIDE,
                bad=(_open(case, one, first), _open(case, other, second)),
                place=second.place,
                key=f"{first.name} {second.name}",
                text=f"'{first.name}' and '{second.name}' can be open together and share leave_rank {first.rank}",
                help="give them different ranks: the lower one is made safe first",
            )


def _open(case: Case, name: str, condition: Condition) -> int:
    return case.field(name).bits("F" if condition.normally else "T")


def _closing(case: Case, name: str, condition: Condition) -> Iterator[Claim]:
    conditions = case.procedure.conditions
    member = name.partition("@")[2] or None
    for duty in case.duties.get(("make" if condition.normally else "end", condition.name), ()):
        for need in duty.needs:
            if not isinstance(need, Holds):
                continue
            needed = instance(conditions, need.ref, member)
            other = conditions[need.ref.name]
            sooner = other.kind == "opening" and other.rank < condition.rank and need.wanted == bool(other.normally)
            if sooner or needed not in case.layout.fields:
                continue
            field = case.field(needed)
            yield Claim(
                check="leave",
                edge=INSIDE,
                bad=(_open(case, name, condition), field.but("T" if need.wanted else "F")),
                place=condition.place,
                key=f"{condition.name} {need.said}",
                text=f"closing '{condition.name}' on leaving asks for '{need.said}', which may not hold then",
                help="let it hold wherever this is open, or close it later by a higher 'leave_rank'",
                related=((duty.place, "the duty"),),
            )
