"""The order that `after` asks for: how the nodes came out that others wait for, and what a node still waits for.

Rules of this module
1. Only what some node of the same body waits for is noted; a procedure without `after` records nothing of it.
2. The latest way in which a node came out counts; that it was done once stays true for the turn or the run.
3. A detour that brings a condition back is outside of the order: it notes nothing and waits for nothing.
"""

from __future__ import annotations

from functools import lru_cache

from runner.core import event as ev
from runner.core import graph
from runner.core.draft import Draft, at
from runner.core.graph import After, Found, Procedure
from runner.core.state import State


def note(draft: Draft, path: str, outcome: str, *, done: bool = True) -> None:
    """How the node came out, if another one waits for it."""
    found = at(draft.procedure, path)
    if found.node.id in _awaited(found.procedure) and not draft.state.back_to:
        draft.emit(ev.Passed(path=path, outcome=outcome, done=done))


def unmet(state: State, found: Found) -> tuple[After, ...]:
    """What must have come before the node, and has not."""
    asked = getattr(found.node, "after", ())
    if not asked or state.back_to:
        return ()
    before = found.path.removesuffix(found.node.id)
    return tuple(one for one in asked if not _met(one, *state.passed.get(before + one.node, (False, ""))))


def _met(one: After, done: bool, last: str) -> bool:
    return last in one.outcomes if one.outcomes else done


@lru_cache(maxsize=64)
def _awaited(procedure: Procedure) -> frozenset[str]:
    """The nodes of a procedure's own bodies that another one must come after."""
    return frozenset(one.node for node in graph.walk(procedure.body) for one in getattr(node, "after", ()))
