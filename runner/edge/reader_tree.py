"""Look-ups in a tree that may be misshapen: what is not as expected counts as left out.

The schema has said so already, and the rest of the file is still worth reading.
"""

from collections.abc import Mapping

from runner.core.graph import Index
from runner.edge.text import Map, Node, Scalar, Seq

_INDICES: Mapping[str, Index] = {"corner": "corner", "axle": "axle", "side": "side"}


def scalar(node: Node | None) -> Scalar | None:
    """The text with its place; None for anything else and for an empty text."""
    return node if isinstance(node, Scalar) and node.value else None


def words(node: Node | None) -> str:
    """The text, or an empty one."""
    return node.value if isinstance(node, Scalar) else ""


def pairs(node: Node | None) -> tuple[tuple[Scalar, Node], ...]:
    """The keys and values of a mapping, in order of the file."""
    return node.entries if isinstance(node, Map) else ()


def items(node: Node | None) -> tuple[Node, ...]:
    """The entries of a list."""
    return node.items if isinstance(node, Seq) else ()


def under(node: Node | None, *keys: str) -> Node | None:
    """What stands under the keys, one inside the other; None if it is not there."""
    for key in keys:
        node = node.get(key) if isinstance(node, Map) else None
    return node


def flag(node: Node | None) -> bool:
    """Whether 'true' was written."""
    return words(node) == "true"


def index(node: Node | None) -> Index | None:
    """The index that was written: corner, axle or side; None for anything else."""
    return _INDICES.get(words(node))


def whole(node: Node | None, otherwise: int) -> int:
    """The whole number that was written, or the other one."""
    text = words(node)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else otherwise
