"""What a place, a deed or a change always asks for holds at the moment it comes.

The vocabulary says once what comes with each (`duties`). Here it is proven at the very moment: a deed in the beat of
a count is judged after the phases before it. A duty with `unless` is lifted on paths with that value only.
A brake pedal that rises while a nipple is open, with no one-way valve, sucks air: that is such a duty.

Bad:
    assumes: [none nipple_open]
    steps:
      all:
        each: {corner: [RR, LR, RF, LF]}
        steps:
          bleed:
            do: Pump the granted strokes.
            place: wheel
            cautions: [squirt]
            count:
              what: strokes
              beat:
                - {do: Open the nipple., makes: [nipple_open]}
                - {do: Let the pedal rise., deeds: [pedal_rise]}
                - {do: Close the nipple., ends: [nipple_open]}
              grant: 6
              at_most: {strokes: 60, then: exit fault}
              exit: {ask: How is the fluid?, clear: next corner, dark: again}
        then: end
        exits: {fault: safe stop}
      end: {end: done, say: It is done.}

Good:
    assumes: [none nipple_open]
    steps:
      all:
        each: {corner: [RR, LR, RF, LF]}
        steps:
          bleed:
            do: Pump the granted strokes.
            place: wheel
            cautions: [squirt]
            count:
              what: strokes
              beat:
                - {do: Open the nipple., makes: [nipple_open]}
                - {do: Close the nipple., ends: [nipple_open]}
                - {do: Let the pedal rise., deeds: [pedal_rise], needs: [none nipple_open]}
              grant: 6
              at_most: {strokes: 60, then: exit fault}
              exit: {ask: How is the fluid?, clear: next corner, dark: again}
        then: end
        exits: {fault: safe stop}
      end: {end: done, say: It is done.}
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.verify.claim import Case, Claim
from runner.verify.due import Due, due, duty_needs, seen_before, unlifted
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The duties that apply, save those that the station asks for itself on entry."""
    own = {(a.instance, a.wanted) for a in station.asked}
    for each in due(case, station):
        for name, need in duty_needs(case, each, station.here):
            field = case.layout.fields.get(name)
            if field is None or ((name, need.wanted) in own and _untouched(station, each, name)):
                continue
            masks = ((field.mask, field.but("T" if need.wanted else "F")), *unlifted(case, each.duty))
            bad = seen_before(case, station, each, masks)
            if bad is not None:
                yield Claim(
                    check="duty",
                    edge=each.edge,
                    bad=bad,
                    place=station.place,
                    key=f"{each.occasion} {need.said}",
                    text=f"{each.occasion} asks for '{need.said}', which may not hold at that moment",
                    help=_help(each, need.said),
                    related=((each.duty.place, "the duty"),),
                )


def _untouched(station: Station, each: Due, name: str) -> bool:
    if each.edge < 0:
        return True
    return all(op.name != name for op in station.edges[each.edge].ops[: each.at])


def _help(each: Due, said: str) -> str:
    lifted = each.duty.unless
    other = f", or branch on '{lifted.subject}' so that it is '{lifted.value}' here" if lifted else ""
    return f"let '{said}' come true before it on every path{other}"
