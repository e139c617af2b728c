"""Nothing urgent is left waiting, and nobody waits longer than the work allows.

Between opening and closing what is marked `urgent` no warning or danger asks for an act of its own: it is read before.
In one pass over a block the waiting that is forced by reading warnings is 90 s at most; a warning waits at its first
meeting only, a danger at every turn. How often the place changes in a turn is told as advice.

Bad:
    assumes: [none nipple_open]
    steps:
      open: {do: Open the nipple., place: wheel, cautions: [squirt], makes: [nipple_open@RR], next: wait}
      wait: {do: Watch the fluid., place: wheel, cautions: [squirt], next: close}
      close: {do: Close the nipple., place: wheel, ends: [nipple_open@RR], next: end}
      end: {end: done, say: It is done.}

Good:
    assumes: [none nipple_open]
    steps:
      open: {do: Open the nipple., place: wheel, cautions: [squirt], makes: [nipple_open@RR], next: wait}
      wait: {do: Watch the fluid., place: wheel, next: close}
      close: {do: Close the nipple., place: wheel, ends: [nipple_open@RR], next: end}
      end: {end: done, say: It is done.}

Source: Brysbaert 2019 for the speed of reading
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from runner.core.finding import Finding
from runner.core.graph import MEMBERS, Each, Step, walk
from runner.core.hazard import Caution
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.station import Station

MOST_FORCED = 90
SECONDS_A_WORD = 0.2
"""300 words a minute: nobody reads faster (Brysbaert 2019)."""


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """Warnings that stand where something urgent may be open."""
    if station.step is None or station.kind != "step":
        return
    own = [c.name for c in station.step.cautions if c.own_act]
    for name in sorted(case.touched) if own else ():
        condition = case.procedure.conditions[name.partition("@")[0]]
        if condition.urgent and condition.kind == "opening":
            yield Claim(
                check="urgent",
                edge=ENTRY,
                bad=(case.field(name).bits("F" if condition.normally else "T"),),
                place=station.step.place,
                key=f"{condition.name} {own[0]}",
                text=f"'{own[0]}' has to be read here while '{condition.name}' may be open, and that cannot wait",
                help="state it at the step that opens it, or at one before",
            )


def findings(case: Case) -> Iterator[Finding]:
    """Blocks in which reading forces too long a wait, and the walking in each."""
    for node in walk(case.procedure.body):
        if not isinstance(node, Each):
            continue
        turns = len(node.order) if not isinstance(node.order, str) else len(MEMBERS[node.index])
        steps = [n for n in walk(node.body) if isinstance(n, Step)]
        forced = sum(_seconds(c, turns) for s in steps for c in s.cautions if c.own_act)
        if forced > MOST_FORCED:
            yield Finding(
                place=node.place,
                check="urgent",
                text=f"reading warnings forces {forced:.0f} s of waiting in this block, more than {MOST_FORCED} s",
                help="state a warning once before the block, or say it in fewer words",
            )
        places = [s.where for s in steps if s.where]
        changes = [b for a, b in pairwise(places) if a != b]
        if changes:
            yield Finding(
                place=node.place,
                check="walking",
                severity="advice",
                text=f"the place changes {len(changes)} times in a turn: {' > '.join([places[0], *changes])}",
                help="do together what is done in one place, where the job allows it",
            )


def _seconds(caution: Caution, turns: int) -> float:
    return caution.words * SECONDS_A_WORD * (turns if caution.word == "DANGER" else 1)
