"""Every need of a step holds on every path that enters it.

A step is entered only while all its needs hold; a path on which one does not would leave a person standing there.
A need may be met by the start (`assumes`), by a step before, or by the contract of a fragment; a need for a wait
is met once the wait was started. What happens on an override or on "cannot be done" is a path like any other.

Bad:
    steps:
      ask: {do: Look at the pipe., place: wheel, choose: {ask: Is it wet?, options: [wet, dry]}, next: {wet: goggles, dry: look}}
      goggles: {do: Put on the goggles., place: wheel, makes: [goggles_on], next: look}
      look: {do: Look up., place: wheel, cautions: [drip], needs: [goggles_on], deeds: [looks_up], next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      ask: {do: Look at the pipe., place: wheel, choose: {ask: Is it wet?, options: [wet, dry]}, next: {wet: goggles, dry: end}}
      goggles: {do: Put on the goggles., place: wheel, makes: [goggles_on], next: look}
      look: {do: Look up., place: wheel, cautions: [drip], needs: [goggles_on], deeds: [looks_up], next: end}
      end: {end: done, say: It is done.}
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.core.graph import WaitNeed
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The needs that are asked on entry."""
    for a in station.asked:
        field = case.field(a.instance)
        yield Claim(
            check="needs",
            edge=ENTRY,
            bad=(field.but("T" if a.wanted else "F"),),
            place=a.need.place,
            text=f"'{a.need.said}' may not hold here",
            help=f"let every path that leads here {_mend(wanted=a.wanted)} '{a.need.ref.name}', or lead it elsewhere",
            key=f"{a.need.ref.name} {a.wanted}",
        )
    for need in station.others:
        if isinstance(need, WaitNeed):
            yield Claim(
                check="needs",
                edge=ENTRY,
                bad=(case.field(f"wait {need.wait}").bits("idle"),),
                place=need.place,
                text=f"the wait '{need.wait}' may not have been started",
                key=need.wait,
                help=f"let every path that leads here pass a step with 'starts: {need.wait}'",
            )


def _mend(*, wanted: bool) -> str:
    return "make" if wanted else "end"
