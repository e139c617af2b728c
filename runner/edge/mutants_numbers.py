"""Numbers, doubled and halved: there is no second witness for them but legal floors, bounds and example cars."""

from collections.abc import Iterator

from runner.edge.reader_tree import items
from runner.edge.site import Site, site
from runner.edge.text import Map, Node, Scalar
from runner.edge.tree_edit import Path, standing, text


def numbers(root: Map) -> Iterator[Site]:
    """Each number that was written down, doubled and halved."""
    for one in standing(root):
        yield from _numbers(one.node, one.path, f"'{one.name.value}'")
    for key in ("asks", "levels", "waits", "parts", "computes"):
        node = root.get(key)
        if node is not None:
            yield from _numbers(node, (key,), key)


def _numbers(node: Node, path: Path, where: str) -> Iterator[Site]:
    if isinstance(node, Scalar):
        yield from _bent(node, path, where)
    elif isinstance(node, Map):
        for key, value in node.entries:
            if key.value in _NUMERIC or (isinstance(value, Map) and key.value not in ("steps", "next")):
                yield from _numbers(value, (*path, key.value), where)
            elif key.value in _LISTED:
                for nth, item in enumerate(items(value)):
                    yield from _numbers(item, (*path, key.value, nth), where)


_LISTED = frozenset({"each", "moves", "needs", "bands"})
_NUMERIC = frozenset(
    {
        *("times", "strokes", "grant", "at_least", "at_most", "above", "below", "within", "error", "gravity"),
        *("seconds", "floor", "brim", "keeps", "points", "clicks", "number", "have"),
    }
)


def _bent(node: Scalar, path: Path, where: str) -> Iterator[Site]:
    head, gap, unit = node.value.partition(" ")
    try:
        value = float(head)
    except ValueError:
        return
    if value == 0 or head.lower() in ("nan", "inf"):
        return
    for how, bent in (("doubled", value * 2), ("halved", value / 2)):
        as_text = str(max(1, int(bent))) if head.isdigit() and not gap else f"{bent:g}"
        key = next((str(k) for k in reversed(path) if isinstance(k, str)), "")
        what = f"'{key}: {node.value}' {how} at {where}"
        mend = "a legal floor ('floor:'), a bound of the ask, or an example car that lies between"
        yield site("number", node, what, mend, ((path, text(as_text + gap + unit, node.place)),), "number")
