"""What the steps bring to the whole procedure, found before any step is read: names of steps and values."""

from collections.abc import Iterator, Mapping
from typing import cast

from runner.core.finding import quote
from runner.core.graph import Body as StepBody
from runner.core.graph import Each, Index, Procedure, Reading, Step
from runner.core.quantity import DIMENSIONS
from runner.core.units import Unclear, parse_unit
from runner.edge.reader_desk import Desk, Named
from runner.edge.reader_tree import items, pairs, scalar, under, whole, words
from runner.edge.reader_values import name_it
from runner.edge.text import Node, Scalar

# A path names a turn by its member, so no step may be called like one.
_MEMBERS = frozenset({"front", "rear", "left", "right"})
_WAYS = frozenset({"again", "here"})
_QUESTION = ("ask", "as")
_KEPT: Mapping[str, str] = {"identify": "a marking", "photo": "a picture"}


def scan(desk: Desk, steps: Node | None, index: Index | None) -> None:
    """Lays the names of steps, readings and choices on the desk; each means one thing in the whole file."""
    for name, node in pairs(steps):
        _step_name(desk, name)
        if under(node, "each") is not None:
            member = next((key.value for key, _ in pairs(under(node, "each"))), "")
            scan(desk, under(node, "steps"), cast("Index", member) if member in ("axle", "side") else "corner")
        elif (fragment := desk.fragments.get(words(under(node, "call")))) is not None:
            for reading, named in readings_of(fragment).items():
                _reading(desk, Scalar(reading, named.place, plain=True), _at(named, index))
        else:
            _values(desk, node, index)


def called(steps: Node | None) -> Iterator[Scalar]:
    """The names of the fragments that steps call, where they are called."""
    for _, node in pairs(steps):
        if (name := scalar(under(node, "call"))) is not None:
            yield name
        yield from called(under(node, "steps"))


def readings_of(fragment: Procedure) -> dict[str, Named]:
    """The readings that a fragment takes, which its callers may use."""
    return dict(_taken(fragment.body, fragment.here, fragment.fragments))


def _taken(body: StepBody, index: Index | None, fragments: Mapping[str, Procedure]) -> Iterator[tuple[str, Named]]:
    for node in body.nodes.values():
        if isinstance(node, Each):
            yield from _taken(node.body, node.index, fragments)
        elif isinstance(node, Step):
            if isinstance(gate := node.gate, Reading):
                yield gate.name, Named("a reading", gate.dimension, index, gate.place, gate.points > 1)
        elif (inner := fragments.get(getattr(node, "fragment", ""))) is not None:
            yield from ((name, _at(named, index)) for name, named in readings_of(inner).items())


def _at(named: Named, index: Index | None) -> Named:
    """A reading of a fragment that knows no 'here' is kept for what is here where it was called."""
    return Named(named.kind, named.dimension, named.index or index, named.place, named.several)


def _step_name(desk: Desk, name: Scalar) -> None:
    if name.value in _MEMBERS | _WAYS:
        desk.say(name.place, "twice", f"{quote(name.value)} cannot name a step", "take another name")
    first = desk.steps.setdefault(name.value, name.place)
    if first != name.place:
        related = ((first, "it stands here first"),)
        desk.say(name.place, "twice", f"the step name {quote(name.value)} stands twice", "rename one", related)


def _values(desk: Desk, node: Node, index: Index | None) -> None:
    if (name := scalar(under(node, "reading", "as"))) is not None:
        reading = under(node, "reading")
        unit = parse_unit(words(under(reading, "unit")), DIMENSIONS.get(words(under(reading, "quantity"))))
        dimension = DIMENSIONS["count"] if isinstance(unit, Unclear) else unit.dimension
        several = whole(under(reading, "points"), 1) > 1
        _reading(desk, name, Named("a reading", dimension, index, name.place, several))
    if (name := scalar(under(node, "choose", "as"))) is not None:
        _choice(desk, name, tuple(words(one) for one in items(under(node, "choose", "options"))))
    if (name := scalar(under(node, "count", "exit", "as"))) is not None:
        answers = (key.value for key, _ in pairs(under(node, "count", "exit")))
        _choice(desk, name, tuple(answer for answer in answers if answer not in _QUESTION))
    for gate, kind in _KEPT.items():
        if (name := scalar(under(node, gate, "as"))) is not None:
            name_it(desk, name, Named(kind, None, index, name.place))


def _reading(desk: Desk, name: Scalar, named: Named) -> None:
    first = desk.named.get(name.value)
    if first is None or first.kind != named.kind:
        name_it(desk, name, named)
    elif (first.dimension, first.index, first.several) != (named.dimension, named.index, named.several):
        why = f"{quote(name.value)} is read in another way elsewhere: quantity, points or block differ"
        desk.say(name.place, "twice", why, "take another name", ((first.place, "it is read here"),))


def _choice(desk: Desk, name: Scalar, options: tuple[str, ...]) -> None:
    first = desk.choices.get(name.value)
    if first is None or name.value in desk.asks:
        name_it(desk, name, Named("a choice", None, None, name.place))
        desk.choices.setdefault(name.value, options)
    elif set(first) != set(options):
        why = f"{quote(name.value)} is chosen from other answers elsewhere"
        desk.say(name.place, "twice", why, "give both the same answers, or take another name")
