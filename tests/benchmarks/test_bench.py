"""What is measured is what it is called: the synthetic procedures are sound, their faults are found, answers agree."""

from __future__ import annotations

from dataclasses import replace

import pytest

from runner.core.graph import Body, Procedure, Step
from runner.verify import Checked, verify
from runner.verify.expand import Expanded, expand
from tests.benchmarks import synthetic
from tests.benchmarks.dominance import networkx, own


@pytest.mark.parametrize("steps", [80, 330, 660])
def test_a_synthetic_procedure_of_any_size_is_proven(steps: int) -> None:
    procedure = synthetic.procedure(steps)
    assert abs(len(procedure.body.nodes) - steps) <= steps / 30 + 5
    assert len(procedure.conditions) == 64
    assert len(procedure.levels) == 4
    assert _proven(procedure)


def _proven(procedure: Procedure) -> bool:
    return isinstance(verify(procedure), Checked)


def _without_making(procedure: Procedure, name: str) -> Procedure:
    step = procedure.body.nodes[name]
    assert isinstance(step, Step)
    nodes = {**procedure.body.nodes, name: replace(step, makes=())}
    return replace(procedure, body=Body(nodes=nodes, first=procedure.body.first))


@pytest.mark.parametrize("name", ["base-0", "e-22"])
def test_a_fault_far_inside_a_synthetic_procedure_is_found(name: str) -> None:
    proven = _proven(_without_making(synthetic.procedure(330), name))
    assert not proven


@pytest.mark.parametrize(("gate", "holds"), [("e-0", True), ("c-0", False), ("base-0", True), ("g-0", False)])
def test_the_measured_question_has_the_same_answer_from_a_graph_library(gate: str, holds: bool) -> None:
    expanded = expand(synthetic.procedure(200))
    assert isinstance(expanded, Expanded)
    guarded = [ats[0] for path, ats in expanded.at.items() if path.startswith("h-")]
    to = [list(p.targets) for p in expanded.points]
    assert own(to, expanded.at[gate][0], guarded) is holds
    assert networkx(to, expanded.at[gate][0], guarded) is holds
