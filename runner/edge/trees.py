"""Trees of files that were read and found in form: in memory while the program runs, and between its starts.

Reading YAML takes most of the time of a check, and the vocabulary and the fragments are the same from one to the next.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from runner.core.finding import Place, clean
from runner.edge.kept import bytes_kept, keep_bytes, name_of
from runner.edge.text import Map, Node, Scalar, Seq

MOST_TREES = 200


@dataclass(slots=True)
class Trees:
    """What is known of files by their name, kind and bytes; without a folder only in memory."""

    folder: Path | None = None
    known: dict[str, Map] = field(default_factory=dict)

    def found(self, kind: str, name: str, data: bytes) -> Map | None:
        """The tree of a file of that kind, if it was read before and nothing stood against it."""
        key = _key(kind, name, data)
        if key not in self.known and self.folder is not None:
            kept = bytes_kept(self.folder / f"{key}.tree")
            root = _tree(kept, clean(name)) if kept is not None else None
            if root is not None:
                self.known[key] = root
        return self.known.get(key)

    def keep(self, kind: str, name: str, data: bytes, root: Map) -> None:
        """Remember the tree of a file against which nothing stands."""
        key = _key(kind, name, data)
        self.known[key] = root
        if self.folder is not None:
            packed = json.dumps(_packed(root), ensure_ascii=False, separators=(",", ":"))
            keep_bytes(self.folder / f"{key}.tree", packed.encode("utf-8", "surrogatepass"), MOST_TREES)


def _key(kind: str, name: str, data: bytes) -> str:
    return name_of((b"tree", kind.encode(), name.encode(), data))


def _packed(node: Node) -> list[Any]:
    at = node.place
    match node:
        case Scalar():
            return [at.line, at.column, node.value, node.plain, node.cut_off]
        case Seq():
            return [at.line, at.column, [_packed(one) for one in node.items]]
        case Map():
            return [
                at.line,
                at.column,
                [_packed(key) for key, _ in node.entries],
                [_packed(v) for _, v in node.entries],
            ]


def _tree(data: bytes, name: str) -> Map | None:
    """The tree that was packed; None where the file is torn."""
    try:
        root = _unpacked(json.loads(data.decode("utf-8", "surrogatepass")), name)
    except (ValueError, TypeError, IndexError):
        return None
    return root if isinstance(root, Map) else None


def _unpacked(told: list[Any], name: str) -> Node:
    place = Place(name, told[0], told[1])
    if len(told) == 5:
        return Scalar(told[2], place, told[3], told[4])
    if len(told) == 3:
        return Seq(tuple([_unpacked(one, name) for one in told[2]]), place)
    keys = [Scalar(one[2], Place(name, one[0], one[1]), one[3], one[4]) for one in told[2]]
    return Map(tuple(zip(keys, [_unpacked(one, name) for one in told[3]], strict=True)), place)
