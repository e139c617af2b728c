"""Nothing urgent is left waiting, and nobody waits longer than the work allows.

Between opening and closing what is marked `urgent` no warning or danger asks for an act of its own: it is read before;
and no step there waits for more than 10 min.
In one pass over a block the waiting that is forced by reading warnings is 90 s at most, on any one way through it; a
warning waits at its first meeting only, a danger at every turn. How often the place changes in a turn is told as
advice.

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

from collections.abc import Iterator, Mapping
from itertools import pairwise

from runner.core.finding import Finding
from runner.core.graph import MEMBERS, Each, Step, WaitNeed, walk
from runner.core.hazard import Caution
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.expand import Frame
from runner.verify.station import Station

MOST_FORCED = 90
MOST_HELD = 600
"""Longer, in seconds, nobody stands at what is open (common practice, no source)."""
_BEFORE_THE_WAIT = "close it before the wait, and open it again after it"
_BEFORE_IT_OPENS = "state it at the step that opens it, or at one before"
SECONDS_A_WORD = 0.2
"""300 words a minute: nobody reads faster (Brysbaert 2019)."""


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """Warnings that stand where something urgent may be open."""
    if station.step is None or station.kind != "step":
        return
    own = [c.name for c in station.step.cautions if c.own_act]
    declared = {**case.procedure.waits, **station.owner.waits}
    waits = [n.wait for n in station.others if isinstance(n, WaitNeed) and declared[n.wait].at_least > MOST_HELD]
    for name in sorted(case.touched) if own or waits else ():
        condition = case.procedure.conditions[name.partition("@")[0]]
        if not condition.urgent or condition.kind != "opening":
            continue
        here = f"while '{condition.name}' may be open, and that cannot wait"
        hindered = [
            (f"wait {wait}", f"the wait '{wait}' is waited for here {here}", _BEFORE_THE_WAIT) for wait in waits
        ]
        if own:
            hindered.append((own[0], f"'{own[0]}' has to be read here {here}", _BEFORE_IT_OPENS))
        for what, text, mend in hindered:
            yield Claim(
                check="urgent",
                edge=ENTRY,
                bad=(case.field(name).bits("F" if condition.normally else "T"),),
                place=station.step.place,
                key=f"{condition.name} {what}",
                text=text,
                help=mend,
            )


def findings(case: Case) -> Iterator[Finding]:
    """Blocks in which reading forces too long a wait, and the walking in each."""
    for node in walk(case.procedure.body):
        if not isinstance(node, Each):
            continue
        turns = len(node.order) if not isinstance(node.order, str) else len(MEMBERS[node.index])
        forced = _longest(case, node, turns)
        if forced > MOST_FORCED:
            yield Finding(
                place=node.place,
                check="urgent",
                text=f"reading warnings forces {forced:.0f} s of waiting in this block, more than {MOST_FORCED} s",
                help="state a warning once before the block, or say it in fewer words",
            )
        places = [s.where for s in walk(node.body) if isinstance(s, Step) and s.where]
        changes = [b for a, b in pairwise(places) if a != b]
        if changes:
            yield Finding(
                place=node.place,
                check="walking",
                severity="advice",
                text=f"the place changes {len(changes)} times in a turn: {' > '.join([places[0], *changes])}",
                help="do together what is done in one place, where the job allows it",
            )


def _longest(case: Case, block: Each, turns: int) -> float:
    """The seconds of forced reading on the way through one turn that forces most, for all turns.

    What stands in one loop is read on one way; what stands on two branches that exclude each other is not. Messages
    of fragments that are called do not count.
    """
    own = [at for at, p in enumerate(case.expanded.points) if _in_first_turn(p.frame, block)]
    inside = {
        at: tuple(t for t in case.expanded.points[at].targets if _in_first_turn(case.expanded.points[t].frame, block))
        for at in own
    }
    most: dict[int, float] = {}
    for group in _groups(inside):
        ahead = max((most[t] for at in group for t in inside[at] if t not in group), default=0.0)
        stations = (case.expanded.points[at] for at in group)
        steps = {id(p.station.step): p.station.step for p in stations if p.frame.node is block and p.station.step}
        ahead += sum(_seconds(c, turns) for s in steps.values() for c in s.cautions if c.own_act)
        most.update(dict.fromkeys(group, ahead))
    return max(most.values(), default=0.0)


def _in_first_turn(frame: Frame | None, block: Each) -> bool:
    """Whether a scope lies in a turn of the block before which none is over, of the member that is first."""
    while frame is not None and frame.node is not block:
        frame = frame.up
    return frame is not None and not frame.over and frame.here == _first(block)


def _first(block: Each) -> str:
    return MEMBERS[block.index][0] if isinstance(block.order, str) else block.order[0]


def _groups(inside: Mapping[int, tuple[int, ...]]) -> list[frozenset[int]]:
    """The points in loops with each other, each group after those to which its ways lead (Tarjan 1972)."""
    number: dict[int, int] = {}
    low: dict[int, int] = {}
    stack: list[int] = []
    made: list[frozenset[int]] = []
    done: set[int] = set()
    for root in inside:
        if root in number:
            continue
        todo: list[tuple[int, int]] = [(root, 0)]
        while todo:
            at, nth = todo.pop()
            if nth == 0:
                number[at] = low[at] = len(number)
                stack.append(at)
            else:
                low[at] = min(low[at], low[inside[at][nth - 1]])
            fresh = next((n for n in range(nth, len(inside[at])) if inside[at][n] not in number), None)
            low[at] = min((low[at], *(number[t] for t in inside[at] if t in number and t not in done)))
            if fresh is not None:
                todo += [(at, fresh + 1), (inside[at][fresh], 0)]
                continue
            if low[at] == number[at]:
                group = frozenset(stack[stack.index(at) :])
                del stack[stack.index(at) :]
                done |= group
                made.append(group)
    return made


def _seconds(caution: Caution, turns: int) -> float:
    return caution.words * SECONDS_A_WORD * (turns if caution.word == "DANGER" else 1)
