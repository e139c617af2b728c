"""The drawing of a procedure: every node and every way of the author's graph is in it, once."""

from __future__ import annotations

from collections import Counter

import pytest

from runner.core.graph import Call, Each, End, Step, walk
from runner.verify.coverage import beside
from runner.verify.drawing import Drawing, drawing
from tests.library import NAMES, procedure


@pytest.mark.parametrize("name", NAMES)
def test_every_node_is_one_box_and_every_box_has_a_name_of_its_own(name: str) -> None:
    meant = procedure(name)
    drawn = drawing(meant)
    assert Counter(box.name for box in drawn.boxes).most_common(1)[0][1] == 1
    kinds = Counter(box.kind for box in drawn.boxes)
    nodes = Counter(type(node) for node in walk(meant.body))
    assert (kinds["step"], kinds["call"], kinds["end"]) == (nodes[Step], nodes[Call], nodes[End])
    assert kinds["head"] == kinds["foot"] == len(drawn.frames) == nodes[Each]


@pytest.mark.parametrize("name", NAMES)
def test_every_way_of_a_step_or_call_leads_to_the_box_that_the_author_named(name: str) -> None:
    meant = procedure(name)
    drawn = drawing(meant)
    led = {(line.source, _meant(line.target)) for line in drawn.lines}
    scopes = [("", meant.body), *((f"{n.id}/", n.body) for n in walk(meant.body) if isinstance(n, Each))]
    expected: set[tuple[str, str]] = {("", meant.body.first)}
    for prefix, body in scopes:
        block = next((n for n in walk(meant.body) if isinstance(n, Each) and n.body is body), None)
        for node in body.nodes.values():
            targets = []
            if isinstance(node, Step):
                targets = [a.target for a in node.branch.arms] + [t for _, t in beside(node)]
            elif isinstance(node, Call):
                targets = [*node.exits.values(), *([node.skip] if node.skip is not None else [])]
            for target in targets:
                if target.kind == "exit" and block is not None:
                    target, scope = block.exits[target.name], ""
                else:
                    scope = prefix
                source = prefix + node.id
                to = {"again": source, "next turn": prefix}.get(target.kind, scope + target.name)
                expected.add((source, "safe stop" if target.kind in ("safe stop", "exit") else to))
    assert expected <= led


def _meant(target: str) -> str:
    """What a mark stands for."""
    return "safe stop" if target.endswith("!") else target.rpartition(">")[2]


@pytest.mark.parametrize("name", NAMES)
def test_between_two_boxes_there_is_one_line_and_none_hangs_in_the_air(name: str) -> None:
    drawn = drawing(procedure(name))
    pairs = Counter((line.source, line.target) for line in drawn.lines)
    assert max(pairs.values()) == 1
    assert {end for pair in pairs for end in pair} <= {box.name for box in drawn.boxes}
    assert all(len(line.labels) == len(set(line.labels)) for line in drawn.lines)


@pytest.mark.parametrize("name", NAMES)
def test_each_outcome_of_a_gate_stands_on_a_line(name: str) -> None:
    meant = procedure(name)
    drawn = drawing(meant)
    labels = {(line.source.rpartition("/")[2], label) for line in drawn.lines for label in line.labels}
    for node in walk(meant.body):
        if isinstance(node, Step) and node.branch.subject == "gate":
            assert {(node.id, arm.value) for arm in node.branch.arms if arm.value is not None} <= labels
        if isinstance(node, Call):
            assert {(node.id, way) for way in node.exits} <= labels


def test_cautions_are_shown_by_their_signal_word_and_the_gravest_one_is_the_word_of_the_box() -> None:
    meant = procedure("brake-fluid-exchange")
    for box in drawing(meant).boxes:
        words = [row.word for row in box.rows if row.kind == "caution"]
        assert None not in words
        assert box.word == (words[0] if words else None)
    assert {"WARNING", "NOTICE"} <= {box.word for box in drawing(meant).boxes}


def test_more_lines_to_one_end_than_can_be_followed_are_marks_with_its_name() -> None:
    drawn: Drawing = drawing(procedure("brake-fluid-exchange"))
    into = Counter(line.target for line in drawn.lines)
    assert all(into[box.name] <= 2 for box in drawn.boxes if box.kind == "end")
    marks = [box for box in drawn.boxes if box.kind == "mark"]
    assert marks
    assert all(box.rows[0].text == f"to {_meant(box.name)}" for box in marks)
