"""The texts of a procedure that were run, and the gates that differ from one to the next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass

from runner.core.expr import Expr
from runner.core.finding import Place
from runner.core.graph import Body, Each, Procedure, Step
from runner.core.names import place
from runner.edge.choosing import Started
from runner.edge.opening import rebuild


def changed_gates(runs: Sequence[Started]) -> Iterator[tuple[Started, str]]:
    """Each run, oldest first, whose procedure has other gates than the run before it, and which they are."""
    before: tuple[Started, Mapping[str, object]] | None = None
    for run in sorted(runs, key=lambda one: one.at):
        if before is not None and before[0].begin.texts == run.begin.texts:
            continue
        made = rebuild(run.begin)
        if not isinstance(made, Procedure):
            yield run, "its procedure cannot be read here"
            continue
        gates = dict(_gates(made))
        if before is not None:
            since = f"revision {run.begin.revision}, since {before[0].path.stem} with {before[0].begin.revision}"
            for name, how in _differences(before[1], gates):
                yield run, f"{since}: the gate of '{place(name)}' {how}"
        before = (run, gates)


def _differences(old: Mapping[str, object], new: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    for name in (*new, *(gone for gone in old if gone not in new)):
        if name not in old:
            yield name, "is new"
        elif name not in new:
            yield name, "is gone"
        elif old[name] != new[name]:
            yield name, "changed"


def _gates(procedure: Procedure) -> Iterator[tuple[str, object]]:
    yield from _of_body(procedure.body, "")
    for name, fragment in procedure.fragments.items():
        yield from _of_body(fragment.body, f"{name}/")


def _of_body(body: Body, above: str) -> Iterator[tuple[str, object]]:
    for node in body.nodes.values():
        if isinstance(node, Each):
            yield from _of_body(node.body, f"{above}{node.id}/")
        elif isinstance(node, Step) and node.gate is not None:
            yield above + node.id, _shape(node.gate)


def _shape(value: object) -> object:
    """A gate without the places where its parts are written, which move with every line above them."""
    if isinstance(value, Expr):
        return value.text
    if is_dataclass(value) and not isinstance(value, type):
        kept = [getattr(value, one.name) for one in fields(value)]
        return (type(value).__name__, *(_shape(part) for part in kept if not isinstance(part, Place)))
    return tuple(_shape(part) for part in value) if isinstance(value, tuple) else value
