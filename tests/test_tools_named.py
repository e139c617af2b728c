"""What is picked up on the way, in a procedure or in what it calls, stands in the list that is read before the work.

Under a car with oil on the floor nobody fetches a tool that no list named. Words are compared, not whole entries: a
list may say ``six-point sockets`` where a step takes ``six-point socket``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from runner.core.graph import Procedure, Step, walk
from tests.library import procedure
from tests.test_library_runs import NAMES

FREE = frozenset(
    re.findall(r"\w+", "a all and clean each for four in is it its new of on one or that the this to two where with")
)


def words(text: str) -> set[str]:
    """The words of an entry that tell one thing from another, each in its singular."""
    return {word.removesuffix("s") for word in re.findall(r"[a-z][a-z-]*", text.lower()) if word not in FREE}


def steps(made: Procedure) -> Iterator[Step]:
    """Every step of the procedure and of whatever it calls, at any depth."""
    yield from (node for node in walk(made.body) if isinstance(node, Step))
    for called in made.fragments.values():
        yield from steps(called)


def unnamed(name: str) -> set[str]:
    """What the steps take that neither the list before the work nor a commit point names."""
    made = procedure(name)
    named = words(" ".join((*made.tools, *made.consumables, *made.safety)))
    for step in steps(made):
        named |= words(" ".join(step.commit.parts)) if step.commit is not None else set()
    return {str(one) for step in steps(made) for one in step.take if not words(str(one)) <= named}


@pytest.mark.parametrize("name", NAMES)
def test_what_a_step_takes_is_named_before_the_work(name: str) -> None:
    assert unnamed(name) == set()
