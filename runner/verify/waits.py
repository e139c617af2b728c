"""What must not come too early says so twice, and nothing cuts a wait short.

A wait names the steps that must not come before it is over (`before`), and each of them states the need for it. So a
need that is dropped is seen, and so is a wait that nobody waits for. Where more than one step starts the wait it
names them too (`started_by`). A step at which the work may be left for a wait (`park`) is one of those. An override
at such a step leads elsewhere: to go on as if the wait were over is what `before` forbids.

Bad:
    waits: {soak: {what: penetrant in the thread, at_least: 15 min, before: [turn]}}
    steps:
      wet: {do: Wet the thread., place: wheel, starts: soak, next: turn}
      turn: {do: Turn the nut., place: wheel, next: end}
      end: {end: done, say: It is done.}

Good:
    waits: {soak: {what: penetrant in the thread, at_least: 15 min, before: [turn]}}
    steps:
      wet: {do: Wet the thread., place: wheel, starts: soak, next: turn}
      turn: {do: Turn the nut., place: wheel, needs: [{wait: soak}], next: end}
      end: {end: done, say: It is done.}

Source: common practice, no source
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Finding
from runner.core.graph import Step, Wait, WaitNeed, walk
from runner.verify.claim import Case


def findings(case: Case) -> Iterator[Finding]:
    """Where the list of a wait and the steps of its own file disagree."""
    whole = case.procedure
    steps = {n.id: n for n in walk(whole.body) if isinstance(n, Step)}
    for wait in whole.waits.values():
        if wait.place.file == whole.place.file:
            yield from _needed(wait, steps)
            yield from _started(wait, steps)
            yield from _cut_short(wait, steps)
            yield from _parked(wait, steps)


def _needed(wait: Wait, steps: dict[str, Step]) -> Iterator[Finding]:
    need = f"{{wait: {wait.name}}}"
    for step in steps.values():
        places = [n.place for n in step.needs if isinstance(n, WaitNeed) and n.wait == wait.name]
        if step.id in wait.before and not places:
            yield Finding(
                place=step.place,
                check="wait",
                text=f"'{step.id}' must not come before the wait '{wait.name}' is over, and does not ask for it",
                help=f"write 'needs: [{need}]' here, or take '{step.id}' out of 'before' at the wait",
                related=((wait.place, "the wait"),),
            )
        elif places and step.id not in wait.before:
            yield Finding(
                place=places[0],
                check="wait",
                text=f"'{step.id}' waits for '{wait.name}', which does not name it",
                help=f"write 'before: [{', '.join((*wait.before, step.id))}]' at the wait '{wait.name}'",
                related=((wait.place, "the wait"),),
            )
    if not wait.before:
        yield Finding(
            place=wait.place,
            check="wait",
            text=f"nothing says what must not come before the wait '{wait.name}' is over",
            help=f"write 'before: [step]' here and 'needs: [{need}]' at that step, or take the wait out",
        )


def _started(wait: Wait, steps: dict[str, Step]) -> Iterator[Finding]:
    starting = [s for s in steps.values() if s.starts == wait.name]
    for step in (s for s in steps.values() if s.id in wait.started_by and s not in starting):
        yield Finding(
            place=step.place,
            check="wait",
            text=f"'{step.id}' starts the wait '{wait.name}' by its list, and does not say so",
            help=f"write 'starts: {wait.name}' here, or take '{step.id}' out of 'started_by' at the wait",
            related=((wait.place, "the wait"),),
        )
    for step in starting if len(starting) > 1 or wait.started_by else ():
        if step.id not in wait.started_by:
            yield Finding(
                place=step.place,
                check="wait",
                text=f"'{step.id}' is one of {len(starting)} steps that start the wait '{wait.name}', not listed there",
                help=f"write 'started_by: [{', '.join(s.id for s in starting)}]' at the wait '{wait.name}'",
                related=((wait.place, "the wait"),),
            )


def _parked(wait: Wait, steps: dict[str, Step]) -> Iterator[Finding]:
    for step in (s for s in steps.values() if s.park == wait.name and s.id not in wait.before):
        yield Finding(
            place=step.place,
            check="wait",
            text=f"the work may be left at '{step.id}' while '{wait.name}' goes on, and it does not wait for it",
            help=f"write 'needs: [{{wait: {wait.name}}}]' here, and '{step.id}' in 'before' at the wait",
            related=((wait.place, "the wait"),),
        )


def _cut_short(wait: Wait, steps: dict[str, Step]) -> Iterator[Finding]:
    for step in (steps[name] for name in wait.before if name in steps):
        onward = {(a.target.kind, a.target.name) for a in step.branch.arms}
        if step.override is not None and (step.override.kind, step.override.name) in onward:
            yield Finding(
                place=step.override.place,
                check="wait",
                text=f"an override goes on from '{step.id}' as if the wait '{wait.name}' were over",
                help="lead it to a step that does without the wait, or take the override out",
                related=((wait.place, "the wait"),),
            )
