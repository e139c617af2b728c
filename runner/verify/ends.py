"""At the end nothing is left open that must be closed.

At `done` every opening that the procedure touches, or finds open by what it assumes, is as it normally is; not known
is not closed. Save those that `carries` names, if they may stay open (`if_left: {may stay: ..}`). At `stopped` what may
be open is allowed to stay.

Bad:
    assumes: [not drain_open]
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: end}
      end: {end: done, say: It is done.}

Good:
    assumes: [not drain_open]
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: close}
      close: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
      end: {end: done, say: It is done.}

Source: the state at the end of a job, S1000D closing requirements and check-list practice
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.graph import Condition, End, Holds, instance
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The openings that are owed at an end."""
    if station.kind != "end" or not isinstance(station.node, End):
        return
    done = station.node.kind == "done"
    for name in sorted(case.touched | _found_open(case)):
        base = name.partition("@")[0]
        condition = case.procedure.conditions[base]
        carried = base in case.procedure.carries or not done
        if condition.kind != "opening" or (carried and _may_stay(condition)):
            continue
        field = case.field(name)
        normal, opened = ("T", "F") if condition.normally else ("F", "T")
        yield Claim(
            check="end",
            edge=ENTRY,
            bad=(field.but(normal) if done else field.bits(opened),),
            place=station.node.place,
            key=base,
            text=f"'{name}' may be left {'open' if done else 'open, and it may not stay so'}",
            help="close it on every path before this end"
            + (f", or write 'carries: [{base}]'" if done and _may_stay(condition) else ""),
        )


def _found_open(case: Case) -> frozenset[str]:
    """What is open at the start by what the procedure assumes."""
    needs = [n for n in case.procedure.assumes if isinstance(n, Holds)]
    normal = {n.ref.name: case.procedure.conditions[n.ref.name].normally for n in needs}
    found = (instance(case.procedure.conditions, n.ref, None) for n in needs if normal[n.ref.name] is not n.wanted)
    return frozenset(name for name in found if name in case.layout.fields)


def _may_stay(condition: Condition) -> bool:
    return condition.if_left is not None and condition.if_left.kind == "may stay"
