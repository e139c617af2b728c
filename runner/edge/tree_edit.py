"""A YAML tree that is changed at one place: where things stand, where edges lead, and a new tree with one part else.

Every other part keeps its place in the file, so that a finding on the changed tree points into the author's text.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from runner.core.finding import Place
from runner.edge.reader_tree import pairs, under, words
from runner.edge.text import Map, Node, Scalar, Seq

Path = tuple[str | int, ...]
Edit = tuple[Path, Node | None]
"""What stands at a path from now on; None takes it away, and a list or mapping that has become empty with it."""

SAFE_STOP = "safe stop"
AGAIN = "again"
_QUESTION = ("ask", "as")


@dataclass(frozen=True, slots=True)
class Standing:
    """A node of a body: its name, its mapping, the path of both, what is here, and the body's own path."""

    name: Scalar
    node: Map
    path: Path
    body: Path
    index: str | None
    first: bool


@dataclass(frozen=True, slots=True)
class Way:
    """An edge as it is written: the path of the words that name its target, and these words."""

    path: Path
    to: Scalar


def text(value: str, like: Place) -> Scalar:
    """A plain text at the place of what it stands for."""
    return Scalar(value, like, plain=True)


def at(root: Node, path: Path) -> Node | None:
    """What stands at a path."""
    node: Node | None = root
    for key in path:
        if isinstance(key, int):
            node = node.items[key] if isinstance(node, Seq) and key < len(node.items) else None
        else:
            node = under(node, key)
    return node


def edited(root: Map, edits: tuple[Edit, ...]) -> Map:
    """The tree with all edits done, one after the other."""
    for path, value in edits:
        made = _put(root, path, value)
        root = made if isinstance(made, Map) else Map((), root.place)
    return root


def _put(node: Node, path: Path, value: Node | None) -> Node | None:
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(node, Seq) and isinstance(key, int):
        inner = _put(node.items[key], rest, value)
        kept = (inner,) if inner is not None else ()
        items = (*node.items[:key], *kept, *node.items[key + 1 :])
        return Seq(items, node.place) if items else None
    if isinstance(node, Map) and isinstance(key, str):
        return _put_key(node, key, rest, value)
    return node


def _put_key(node: Map, key: str, rest: Path, value: Node | None) -> Node | None:
    if node.get(key) is None:
        return node if rest or value is None else Map((*node.entries, (text(key, node.place), value)), node.place)
    made = tuple((k, _put(v, rest, value) if k.value == key else v) for k, v in node.entries)
    entries = tuple((k, v) for k, v in made if v is not None)
    return Map(entries, node.place) if entries else None


def to_front(body: Map, name: str) -> Map:
    """The body with that node first."""
    first = tuple(e for e in body.entries if e[0].value == name)
    return Map((*first, *(e for e in body.entries if e[0].value != name)), body.place)


def standing(root: Map) -> Iterator[Standing]:
    """Every node of every body, in the author's order."""
    yield from _bodies(root, ("steps",), words(root.get("here")) or None, words(root.get("start")))


def _bodies(root: Map, body: Path, index: str | None, start: str) -> Iterator[Standing]:
    for nth, (name, node) in enumerate(pairs(at(root, body))):
        if not isinstance(node, Map):
            continue
        first = name.value == start if start else nth == 0
        yield Standing(name, node, (*body, name.value), body, index, first)
        each = under(node, "each")
        if each is not None:
            member = next((key.value for key, _ in pairs(each)), None)
            yield from _bodies(root, (*body, name.value, "steps"), member, "")


def ways(one: Standing) -> Iterator[Way]:
    """Every edge that a node writes down, the main one first."""
    for path in _paths(one.node):
        found = at(one.node, path)
        if isinstance(found, Map):
            path, found = (*path, "go"), found.get("go")
        if isinstance(found, Scalar) and found.value and found.value != AGAIN:
            yield Way((*one.path, *path), found)


def _paths(node: Map) -> Iterator[Path]:
    yield from ((*branch, key) for branch, keys in branches(node) for key in keys)
    if isinstance(node.get("next"), Scalar):
        yield ("next",)
    yield ("then",)
    yield ("at_most", "then")
    yield ("override",)
    yield ("cannot",)
    moves = node.get("moves")
    for nth in range(len(moves.items) if isinstance(moves, Seq) else 0):
        yield ("moves", nth, "if_short")
        yield ("moves", nth, "if_full")
    yield ("count", "moves", "if_short")
    yield ("count", "moves", "if_full")
    yield ("count", "at_most", "then")


def branches(node: Map) -> Iterator[tuple[Path, tuple[str, ...]]]:
    """The mappings from outcomes to targets that a node holds, each with its outcomes."""
    for path in (("next",), ("count", "exit"), ("exits",)):
        found = at(node, path)
        if isinstance(found, Map) and (path != ("exits",) or node.get("each") is None):
            yield path, tuple(k.value for k, _ in found.entries if k.value not in _QUESTION)
    if node.get("each") is not None:
        yield ("exits",), tuple(k.value for k, _ in pairs(node.get("exits")))


def main_way(one: Standing) -> Way | None:
    """The edge on which the work goes on: the first that leads neither back to the node nor to the safe stop."""
    every = tuple(ways(one))
    if one.node.get("each") is not None:
        return next((w for w in every if w.path[-1] == "then"), None)
    onward = (w for w in every if w.to.value not in (one.name.value, SAFE_STOP))
    return next(onward, None)
