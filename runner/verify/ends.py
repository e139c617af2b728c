"""At the end nothing is left open that must be closed.

At `done` every opening that the procedure touches is as it normally is, save those that `carries` names; not known
is not closed. At `stopped` what may be open is allowed to stay (`if_left: {may stay: ..}`).

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

from runner.core.graph import Condition, End
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The openings that are owed at an end."""
    if station.kind != "end" or not isinstance(station.node, End):
        return
    done = station.node.kind == "done"
    for name in sorted(case.touched):
        base = name.partition("@")[0]
        condition = case.procedure.conditions[base]
        if condition.kind != "opening" or (base in case.procedure.carries if done else _may_stay(condition)):
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
            help="close it on every path before this end" + (f", or write 'carries: [{base}]'" if done else ""),
        )


def _may_stay(condition: Condition) -> bool:
    return condition.if_left is not None and condition.if_left.kind == "may stay"
