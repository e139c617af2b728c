"""What did not pass does not go on as if it had.

Of a gate with a verdict the arms `fail`, `not so`, `does not close` and `cannot tell` differ from the arm that passes:
they lead elsewhere, or make or end something else. "Cannot tell" is an honest answer only where it is worth one.

Bad:
    asks: {least: {what: Least thickness, quantity: length, unit: mm, sources: [handbook]}}
    example_cars: {small: {least: 8 mm}, large: {least: 20 mm}}
    steps:
      disc: {do: Measure the disc., place: wheel, reading: {as: disc, what: the disc, quantity: length, unit: mm, instruments: [micrometer], limit: {at_least: least, kind: car's literature, rule: guarded}}, next: {pass: end, fail: worn, cannot tell: end}}
      worn: {end: stopped, say: The disc is worn.}
      end: {end: done, say: It is done.}

Good:
    asks: {least: {what: Least thickness, quantity: length, unit: mm, sources: [handbook]}}
    example_cars: {small: {least: 8 mm}, large: {least: 20 mm}}
    steps:
      disc: {do: Measure the disc., place: wheel, reading: {as: disc, what: the disc, quantity: length, unit: mm, instruments: [micrometer], limit: {at_least: least, kind: car's literature, rule: guarded}}, next: {pass: end, fail: worn, cannot tell: worn}}
      worn: {end: stopped, say: The disc is worn.}
      end: {end: done, say: It is done.}

Source: ILAC-G8:09/2019, 4.2: with a guard band there are results that are neither a pass nor a fail
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Finding
from runner.core.graph import Arm, Books, Check, Reading, Ref, Step, walk
from runner.verify.claim import Case

PASSES = frozenset({"pass", "met", "closes"})
OTHERS = frozenset({"fail", "not so", "does not close", "cannot tell"})


def findings(case: Case) -> Iterator[Finding]:
    """The arms that go the way of a pass without being one, each once."""
    for step in walk(case.procedure.body):
        if not isinstance(step, Step) or not isinstance(step.gate, Reading | Check | Books):
            continue
        passing = next((a for a in step.branch.arms if a.value in PASSES), None)
        for arm in step.branch.arms if passing is not None else ():
            if passing is not None and arm.value in OTHERS and _does(arm) == _does(passing):
                yield Finding(
                    place=arm.place,
                    check="verdict",
                    text=f"'{arm.value}' goes on at '{step.id}' as if it were '{passing.value}'",
                    help="lead it elsewhere, or let the arm that passes make what a later step needs",
                )


def _does(arm: Arm) -> tuple[object, ...]:
    return (arm.target.kind, arm.target.name), frozenset(map(_said, arm.makes)), frozenset(map(_said, arm.ends))


def _said(ref: Ref) -> tuple[str, str | None]:
    return ref.name, ref.at
