"""Dominators witness what one guard holds; all 24 orders of corners witness the one that is laid."""

from __future__ import annotations

from itertools import permutations
from random import Random

import networkx as nx
import pytest

from runner.core.graph import CORNERS
from runner.verify import verify
from tests.oracle.campaign import judged
from tests.oracle.generator import grown
from tests.oracle.plan import built
from tests.oracle.spoiling import need_another_corner
from tests.verify.build import choice, end, procedure, rule, step


@pytest.mark.parametrize("first", range(0, 400, 100))
def test_one_guard_holds_exactly_where_it_dominates(first: int) -> None:
    """Dominance on a flow graph (Lengauer and Tarjan 1979), computed by networkx."""
    held = 0
    for seed in range(first, first + 100):
        r = Random(seed)
        names = [f"s{n}" for n in range(r.randrange(4, 10))]
        edges = {n: (r.choice([*names, "done"]), r.choice([*names[at + 1 :], "done"])) for at, n in enumerate(names)}
        graph = nx.DiGraph([(n, to) for n, both in edges.items() for to in both])
        reached = {"s0"} | nx.descendants(graph, "s0")
        guard, guarded = r.sample(names, 2)
        dominated = guarded not in reached or guard in nx.ancestors(_tree(graph), guarded)
        steps = [
            step(n, {"yes": yes, "no": no}, gate=choice("yes", "no"), deeds=((n,) if n in (guard, guarded) else ()))
            for n, (yes, no) in edges.items()
        ]
        made = procedure(*steps, end(), rules=[rule("only_after", f"deed {guarded}", f"deed {guard}")])
        assert ("rule" not in judged(verify(made))) == dominated, f"seed {seed}: {edges}, {guard} before {guarded}"
        held += dominated
    assert 20 <= held <= 90


def _tree(graph: nx.DiGraph) -> nx.DiGraph:
    """The tree of immediate dominators."""
    return nx.DiGraph((above, n) for n, above in nx.immediate_dominators(graph, "s0").items() if above not in (None, n))


def test_all_orders_of_the_corners_say_together_what_the_one_says() -> None:
    different = compared = 0
    for seed in range(40):
        plan = grown(seed, order=True)
        blocks = [n for n in plan.body if "each" in n]
        if seed % 2:
            need_another_corner(plan, Random(seed))
        if not blocks:
            continue
        laid = judged(verify(built(plan)))
        told = []
        for order in permutations(CORNERS):
            blocks[0]["order"] = order
            told.append(judged(verify(built(plan))))
        assert frozenset().union(*told) == laid, f"seed {seed}"
        compared += 1
        different += len(set(told)) > 1
    assert compared >= 20
    assert different >= 3
