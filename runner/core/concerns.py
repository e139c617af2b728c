"""Which conditions a piece of work has to do with, of all that the shared vocabulary knows."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from runner.core.graph import Count, Holds, Need, Procedure, Ref, Step, walk


@lru_cache(maxsize=16)
def concerned(procedure: Procedure) -> frozenset[str]:
    """The names of the conditions that the procedure and the fragments it calls assume, need, make, end or rule."""
    found: set[str] = set(_held(procedure.assumes))
    for owner in (procedure, *procedure.fragments.values()):
        found |= {ref.name for rule in owner.rules for ref in rule.refs}
        for node in walk(owner.body):
            if isinstance(node, Step):
                found |= {ref.name for ref in _changed(node)}
                found |= set(_held(node.needs))
                if isinstance(node.gate, Count):
                    found |= {name for phase in node.gate.beat for name in _held(phase.needs)}
    return frozenset(found)


def _held(needs: tuple[Need, ...]) -> Iterator[str]:
    return (need.ref.name for need in needs if isinstance(need, Holds))


def _changed(step: Step) -> Iterator[Ref]:
    yield from (*step.makes, *step.ends)
    for arm in step.branch.arms:
        yield from (*arm.makes, *arm.ends)
    if isinstance(step.gate, Count):
        for phase in step.gate.beat:
            yield from (*phase.makes, *phase.ends)
