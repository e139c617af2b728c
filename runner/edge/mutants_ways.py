"""Faults of the way: a step bridged, two steps swapped, an edge led one step on, two arms exchanged."""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from runner.core.finding import quote
from runner.edge.reader_tree import pairs
from runner.edge.text import Map, Node, Scalar
from runner.edge.tree_edit import Edit, Path, Standing, at, branches, main_way, text, to_front, ways
from runner.edge.witness import Witness

Fault = tuple[str, Scalar, str, str, tuple[Edit, ...]]
"""Operator, where, what was done, what would find it, and the edits."""

_By = Mapping[tuple[Path, str], Standing]


def moved_ways(every: tuple[Standing, ...], root: Map) -> Iterator[Fault]:
    """Every fault of this kind, in the author's order."""
    by = {(one.body, one.name.value): one for one in every}
    witness = Witness(every)
    for one in every:
        yield from _bridged(one, every, root, witness)
        yield from _swapped(one, by, every, root, witness)
        yield from _led_on(one, by, witness)
        yield from _arms(one, witness)


def _aimed(every: tuple[Standing, ...], body: Path, old: str, new: Scalar) -> tuple[Edit, ...]:
    """Every edge of the body that led to the one leads to the other."""
    mine = (one for one in every if one.body == body)
    return tuple((way.path, text(new.value, way.to.place)) for one in mine for way in ways(one) if way.to.value == old)


def _entered(one: Standing, name: str, root: Map) -> tuple[Edit, ...]:
    """The body begins with that step instead."""
    body = at(root, one.body)
    if not isinstance(body, Map) or body.get(name) is None:
        return ()
    if one.body == ("steps",):
        return ((("start",), text(name, one.name.place)),)
    return ((one.body, to_front(body, name)),)


def _bridged(one: Standing, every: tuple[Standing, ...], root: Map, witness: Witness) -> Iterator[Fault]:
    way = main_way(one)
    if way is None:
        return
    name, onward = one.name.value, way.to
    front = _entered(one, onward.value, root) if one.first else ()
    if one.first and not front:
        return
    others = tuple(e for e in every if e is not one)
    edits = (*front, *_aimed(others, one.body, name, onward), (one.path, None))
    mend = witness.of_node(one.body, name, onward.value)
    yield "drop step", one.name, f"the step {quote(name)} dropped, bridged to {quote(onward.value)}", mend, edits


def _swapped(one: Standing, by: _By, every: tuple[Standing, ...], root: Map, witness: Witness) -> Iterator[Fault]:
    way = main_way(one)
    other = by.get((one.body, way.to.value)) if way is not None else None
    beyond = main_way(other) if other is not None else None
    if way is None or other is None or beyond is None or beyond.to.value == one.name.value:
        return
    first, second = one.name.value, other.name.value
    edits: list[Edit] = [*_entered(one, second, root)] if one.first else []
    for each in (e for e in every if e.body == one.body):
        for edge in ways(each):
            if edge.path == way.path:
                edits.append((edge.path, text(beyond.to.value, edge.to.place)))
            elif edge.path == beyond.path:
                edits.append((edge.path, text(first, edge.to.place)))
            elif edge.to.value == first and each is not one and each is not other:
                edits.append((edge.path, text(second, edge.to.place)))
    what = f"{quote(first)} and {quote(second)} swapped"
    yield "swap steps", one.name, what, witness.of_order(one.body, first, second), tuple(edits)


def _led_on(one: Standing, by: _By, witness: Witness) -> Iterator[Fault]:
    for way in ways(one):
        passed = by.get((one.body, way.to.value))
        onward = main_way(passed) if passed is not None else None
        if passed is None or onward is None or passed is one:
            continue
        name, then = passed.name.value, onward.to.value
        what = f"an edge of {quote(one.name.value)} led past {quote(name)} to {quote(then)}"
        mend = witness.of_node(one.body, name, then)
        yield "retarget edge", way.to, what, mend, ((way.path, text(then, way.to.place)),)


def _arms(one: Standing, witness: Witness) -> Iterator[Fault]:
    for path, keys in branches(one.node):
        for first, second in pairwise(keys):
            a, b = at(one.node, (*path, first)), at(one.node, (*path, second))
            if a is None or b is None or _target(a) == _target(b):
                continue
            edits: tuple[Edit, ...] = (((*one.path, *path, first), b), ((*one.path, *path, second), a))
            what = f"the ways of {quote(first)} and {quote(second)} swapped at {quote(one.name.value)}"
            mend = witness.of_outcomes(one.body, one.name.value, (first, second))
            where = next(k for k, _ in pairs(at(one.node, path)) if k.value == first)
            yield "swap arms", where, what, mend, edits


def _target(node: Node) -> str:
    """The words of an arm; what it makes counts as well."""
    if isinstance(node, Scalar):
        return node.value
    return repr(node) if isinstance(node, Map) else ""
