"""What must have come before a step, call or block: nodes of its own body, and how they came out."""

from collections.abc import Iterator, Mapping

from runner.core.finding import quote
from runner.core.graph import After, End, Node, comings
from runner.edge.reader_desk import Desk, meant
from runner.edge.reader_tree import items, pairs, scalar, under
from runner.edge.text import Node as Tree
from runner.edge.text import Scalar


def after(entry: Tree) -> tuple[After, ...]:
    """What the node states; whether there are such nodes and outcomes is known when the body has been read."""
    return tuple(
        After(node=name.value, outcomes=tuple(one.value for one in outs), said=_said(name, outs), place=name.place)
        for name, outs in _written(entry)
    )


def _written(entry: Tree) -> Iterator[tuple[Scalar, tuple[Scalar, ...]]]:
    for item in items(under(entry, "after")):
        if (name := scalar(item)) is not None:
            yield name, ()
        for key, value in pairs(item):
            named = (value,) if isinstance(value, Scalar) else items(value)
            yield key, tuple(one for one in map(scalar, named) if one is not None)


def _said(name: Scalar, outs: tuple[Scalar, ...]) -> str:
    came = " or ".join(one.value for one in outs)
    return f"only after {name.value}" + (f" came out as {came}" if came else "")


def checked(desk: Desk, steps: Tree | None, nodes: Mapping[str, Node]) -> None:
    """Notes nodes that are not there, outcomes that they do not have, and where an order would mean nothing."""
    for name, entry in pairs(steps):
        node = nodes[name.value]
        if isinstance(node, End):
            continue
        for before, outs in _written(entry):
            if before.value == name.value:
                why = f"{quote(name.value)} cannot come after itself"
                desk.say(before.place, "after", why, "name what must have come before it, or take it out")
            elif isinstance(other := nodes.get(before.value), End):
                mend = "name a step, a call or a block"
                desk.say(before.place, "after", f"{quote(before.value)} is an end: nothing comes after it", mend)
            elif other is None:
                _unknown(desk, before, nodes)
            else:
                _came_out(desk, before, outs, other)


def _unknown(desk: Desk, before: Scalar, nodes: Mapping[str, Node]) -> None:
    if before.value in desk.steps:
        related = ((desk.steps[before.value], "it stands here"),)
        mend = "name a node of the same body: the block or the call itself, from outside"
        desk.say(before.place, "after", f"{quote(before.value)} is a step of another body", mend, related)
        return
    every = [name for name, node in nodes.items() if not isinstance(node, End)]
    desk.say(before.place, "after", f"there is no step {quote(before.value)}", meant(before.value, every))


def _came_out(desk: Desk, before: Scalar, outs: tuple[Scalar, ...], node: Node) -> None:
    every = comings(node)
    for out in (one for one in outs if one.value not in every):
        why = f"{quote(out.value)} is no outcome of {quote(before.value)}"
        mend = meant(out.value, every) if every else f"it has none: write {before.value} by itself"
        desk.say(out.place, "after", why, mend)
