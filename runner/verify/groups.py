"""What is shown together can be done together.

The steps of a `group` are shown at once, each confirmed on return. So they lie in one place and follow each other; a
message that asks for an act of its own is stated at the first of them, before any is shown; and nothing between them
decides the way or makes a person wait.

Bad:
    steps:
      goggles: {do: Put on the goggles., place: wheel, group: lamp, makes: [goggles_on], next: turn}
      turn: {do: Turn the screw., place: wheel, group: lamp, cautions: [scald], next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      goggles: {do: Put on the goggles., place: wheel, group: lamp, cautions: [scald], makes: [goggles_on], next: turn}
      turn: {do: Turn the screw., place: wheel, group: lamp, cautions: [scald], next: end}
      end: {end: done, say: It is done.}

Source: S1000D and DOE-STD-1029: a warning stands before the step that it belongs to
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from runner.core.finding import Finding, quote
from runner.core.graph import Each, Step, WaitNeed, walk
from runner.verify.claim import Case


def findings(case: Case) -> Iterator[Finding]:
    """Groups that cannot be done in one go, told at the step that hinders it."""
    bodies = [case.procedure.body, *(n.body for n in walk(case.procedure.body) if isinstance(n, Each))]
    for body in bodies:
        steps = [n for n in body.nodes.values() if isinstance(n, Step)]
        for group in dict.fromkeys(n.group for n in steps if n.group):
            yield from _hindered([n for n in steps if n.group == group])


def _hindered(steps: list[Step]) -> Iterator[Finding]:
    first = steps[0]
    read = {c.name for c in first.cautions}
    for before, step in pairwise(steps):
        unread = [c.name for c in step.cautions if c.own_act and c.name not in read]
        if unread:
            text = f"{quote(step.id)} is shown with {quote(first.id)}, before {quote(unread[0])} has been read"
            mend = f"write 'cautions: [{unread[0]}]' at {quote(first.id)} too, or let the group begin here"
            yield _finding(step, text, mend)
        if step.where != first.where:
            text = f"{quote(step.id)} is shown with {quote(first.id)}, and lies in another place"
            yield _finding(step, text, "take it out of the group")
        if any(isinstance(n, WaitNeed) for n in step.needs):
            text = f"{quote(step.id)} is shown with {quote(first.id)}, and has to wait"
            yield _finding(step, text, "let the group begin here")
        onward = {(a.target.kind, a.target.name) for a in before.branch.arms}
        if onward != {("step", step.id)}:
            text = f"{quote(step.id)} is shown with {quote(before.id)}, which does not always lead to it"
            yield _finding(step, text, f"let the group end at {quote(before.id)}, or begin here")


def _finding(step: Step, text: str, mend: str) -> Finding:
    return Finding(place=step.place, check="group", text=text, help=mend)
