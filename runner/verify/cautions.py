"""A safety message stands before what it warns of.

A duty on a place, a deed or a change names its hazards; the step that brings it states them in `cautions`, so that
they are read before it. While a condition with a `while` duty may be true, each step states the message or comes
after one that did in the same turn of its block.

Bad:
    steps:
      goggles: {do: Put on the goggles., place: wheel, makes: [goggles_on], next: look}
      look: {do: Look up., place: wheel, needs: [goggles_on], deeds: [looks_up], next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      goggles: {do: Put on the goggles., place: wheel, makes: [goggles_on], next: look}
      look: {do: Look up., place: wheel, cautions: [drip], needs: [goggles_on], deeds: [looks_up], next: end}
      end: {end: done, say: It is done.}

Source: S1000D and DOE-STD-1029: a warning stands before the step that it belongs to
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.graph import Duty
from runner.verify.claim import ENTRY, INSIDE, Case, Claim
from runner.verify.due import due, unlifted
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """Messages that are missing at a station."""
    if station.step is None:
        return
    stated = {c.name for c in station.step.cautions}
    for each in due(case, station):
        for hazard in each.duty.hazards:
            if hazard not in stated:
                yield Claim(
                    check="caution",
                    edge=ENTRY,
                    bad=tuple(b for _, b in unlifted(case, each.duty)) or case.always,
                    place=station.step.place,
                    key=f"{each.occasion} {hazard}",
                    text=f"{each.occasion} asks for the safety message '{hazard}', which is not stated here",
                    help=f"write 'cautions: [{hazard}]' here",
                    related=((each.duty.place, "the duty"),),
                )
    if station.kind in ("step", "phase"):
        for duty, hazard, bad in case.once("while", lambda: _whiles(case)):
            if hazard not in stated:
                yield Claim(
                    check="caution",
                    edge=INSIDE,
                    bad=bad,
                    place=station.step.place,
                    key=f"while {hazard}",
                    text=f"'{duty.name}' may be true here without the safety message '{hazard}'",
                    help=f"write 'cautions: [{hazard}]' here, or at a step before it in the same turn",
                    related=((duty.place, "the duty"),),
                )


def _whiles(case: Case) -> tuple[tuple[Duty, str, tuple[int, ...]], ...]:
    """Each message that lasts while a condition is true: the duty, its name, and what would break it."""
    duties = [d for d in case.procedure.vocabulary.duties if d.on == "while"]
    return tuple(
        (duty, hazard, (case.field(name).bits("T"), case.field(f"told {hazard}").bits("not in effect"), *lifted))
        for duty in duties
        for lifted in [tuple(b for _, b in unlifted(case, duty))]
        for hazard in duty.hazards
        for name in sorted(case.touched)
        if name.partition("@")[0] == duty.name
    )
