"""What does not keep over a break can be brought back where it is needed.

A condition with `keeps` may be gone when the work goes on. Then its `restore` step is done and the run comes back:
so that step exists, changes nothing else, and its own needs hold wherever the condition is needed. An opening that is
closed on leaving is opened again in the same way: where several steps of one file open it, `restore` says which. At
the end there is no step to come back to, so no rule `at_end` asks for what does not keep; nor does the closing of an
opening that is closed on leaving.

Bad:
    assumes: [not cap_off]
    steps:
      gloves: {do: Put on the gloves., place: wheel, makes: [gloves_on, hand_free], next: cap}
      cap: {do: Unscrew the cap., place: bonnet, needs: [gloves_on], makes: [cap_off], next: back}
      back: {do: Screw the cap on., place: bonnet, ends: [cap_off], next: end}
      end: {end: done, say: It is done.}

Good:
    assumes: [not cap_off]
    steps:
      gloves: {do: Put on the gloves., place: wheel, makes: [gloves_on], next: cap}
      cap: {do: Unscrew the cap., place: bonnet, needs: [gloves_on], makes: [cap_off], next: back}
      back: {do: Screw the cap on., place: bonnet, ends: [cap_off], next: end}
      end: {end: done, say: It is done.}
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Finding
from runner.core.graph import Condition, Holds, Procedure, Step, instance, walk
from runner.core.mending import restores
from runner.verify.claim import INSIDE, Case, Claim
from runner.verify.station import Station


def findings(case: Case) -> Iterator[Finding]:
    """Needed conditions that do not keep and that no step restores, or one that does more."""
    needed = {a.instance.partition("@")[0] for s in case.expanded.stations for a in s.asked if a.wanted}
    for name in sorted(needed):
        condition = case.procedure.conditions[name]
        if condition.keeps is None:
            continue
        step = restorer(case.procedure, condition)
        if step is None:
            yield Finding(
                place=condition.place,
                check="restore",
                text=f"'{name}' does not keep over a break, and no step brings it back",
                help="write 'restore: step' with a step whose only effect is to make it",
            )
        elif any(r.name != name for r in (*step.makes, *step.ends)) or step.moves or step.sets:
            yield Finding(
                place=step.place,
                check="restore",
                text=f"'{step.id}' brings '{name}' back after a break, but changes more than that",
                help="give the other change a step of its own",
            )
    for rule in case.procedure.rules:
        for ref in rule.refs if rule.kind == "at_end" and rule.wanted else ():
            if case.procedure.conditions[ref.name].keeps is not None:
                yield Finding(
                    place=rule.place,
                    check="restore",
                    text=f"'{ref.name}' does not keep over a break, and at the end nothing brings it back",
                    help="ask for it at the last step that needs it, not at the end",
                )
    yield from _opened_again(case, needed)
    yield from _on_leaving(case)


def _opened_again(case: Case, needed: set[str]) -> Iterator[Finding]:
    """Openings that leaving closes, a step needs, and several steps of one file would open again."""
    whole = case.procedure
    closed = {n for n in needed if (left := whole.conditions[n].if_left) is not None and left.kind == "close"}
    for owner in (whole, *whole.fragments.values()) if closed else ():
        steps = [n for n in walk(owner.body) if isinstance(n, Step) and restores(whole, n)]
        for name in sorted(closed):
            makers = [s for s in steps if s.makes[0].name == name]
            if len(makers) > 1:
                ids = ", ".join(f"'{s.id}'" for s in makers)
                yield Finding(
                    place=makers[0].place,
                    check="restore",
                    text=f"'{name}' is closed on leaving, and nothing says which of {ids} opens it again",
                    help=f"write 'restore: {makers[0].id}' at '{name}' in the vocabulary",
                    related=((whole.conditions[name].place, "the opening"),),
                )


def _on_leaving(case: Case) -> Iterator[Finding]:
    """What closing an opening asks for and a break takes away: on leaving there is no step that brings it back."""
    conditions = case.procedure.conditions
    for name in sorted({one.partition("@")[0] for one in case.touched}):
        opening = conditions[name]
        if opening.if_left is None or opening.if_left.kind != "close":
            continue
        for duty in case.duties.get(("make" if opening.normally else "end", name), ()):
            for need in duty.needs:
                if isinstance(need, Holds) and need.wanted and conditions[need.ref.name].keeps is not None:
                    yield Finding(
                        place=duty.place,
                        check="restore",
                        text=f"closing '{name}' on leaving asks for '{need.said}', which does not keep over a break",
                        help="ask for it where the work is done, not for closing; or let it keep",
                        related=((opening.place, "the opening"),),
                    )


def restorer(procedure: Procedure, condition: Condition) -> Step | None:
    """The step that makes a condition true again: the one that it names, or the only one that makes it."""
    steps = [n for p in (procedure, *procedure.fragments.values()) for n in walk(p.body) if isinstance(n, Step)]
    if condition.restore is not None:
        steps = [s for s in steps if s.id == condition.restore]
    else:
        steps = [s for s in steps if any(r.name == condition.name for r in s.makes)]
    return steps[0] if len({s.id for s in steps}) == 1 else None


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The needs of the restoring steps at a station that needs what does not keep."""
    conditions = case.procedure.conditions
    for a in station.asked:
        condition = conditions[a.instance.partition("@")[0]]
        step = restorer(case.procedure, condition) if condition.keeps is not None and a.wanted else None
        for need in step.needs if step is not None else ():
            if not isinstance(need, Holds) or conditions[need.ref.name].keeps is not None:
                continue
            field = case.layout.fields.get(instance(conditions, need.ref, a.instance.partition("@")[2] or station.here))
            if field is not None:
                yield Claim(
                    check="restore",
                    edge=INSIDE,
                    bad=(field.but("T" if need.wanted else "F"),),
                    place=a.need.place,
                    key=f"{condition.name} {need.said}",
                    text=f"after a break '{condition.name}' cannot be brought back here: that needs '{need.said}'",
                    help="let it hold wherever this is needed, or name a 'restore' that needs less",
                    related=((need.place, "the need"),),
                )
