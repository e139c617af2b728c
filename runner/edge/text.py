"""From the bytes of a YAML file to a tree that keeps every word as typed, with its place.

Of YAML 1.2 only what a procedure needs is read: one document of mappings, lists and texts. Nothing is
resolved (1.10 stays "1.10", yes stays "yes"), and aliases, merge keys, tags and directives are refused, so a
file means what it shows. The tree is built from the parser's events, which bounds depth and size before
anything grows. The parser is the pure one: one file gets one verdict on every machine.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from runner.core.finding import Finding, Place, clean, listed, quote
from runner.edge.encoding import decode

DEEPEST = 60
"""Levels of lists and mappings inside each other that are read."""
MOST_NODES = 100_000
"""Texts, lists and mappings that are read from one file."""


@dataclass(frozen=True, slots=True)
class Scalar:
    """A text as typed, cleaned; `plain` without quotes, plain and empty when nothing was written.

    `cut_off` is what a '#' took from a plain text although no space follows the '#'.
    """

    value: str
    place: Place
    plain: bool
    cut_off: str = ""


@dataclass(frozen=True, slots=True)
class Seq:
    """A list."""

    items: "tuple[Node, ...]"
    place: Place


@dataclass(frozen=True, slots=True)
class Map:
    """A mapping in the order of the file; no key stands twice."""

    entries: "tuple[tuple[Scalar, Node], ...]"
    place: Place

    def get(self, key: str) -> "Node | None":
        """The value of the key, or None."""
        for each, value in self.entries:
            if each.value == key:
                return value
        return None

    def key_place(self, key: str) -> Place:
        """Where the key stands; where the mapping starts when it is not there."""
        return next((each.place for each, _ in self.entries if each.value == key), self.place)


Node = Scalar | Seq | Map


def load(data: bytes, name: str) -> Node | tuple[Finding, ...]:
    """The tree of a YAML file, or everything that stands against reading it, in order of place.

    Reads at most LARGEST bytes, DEEPEST levels and MOST_NODES nodes. Never raises.
    """
    from runner.edge.composing import compose  # the parser is not needed where the tree is known

    text = decode(data, clean(name))
    return text if isinstance(text, tuple) else compose(text, clean(name))


def remarks(root: Node) -> tuple[Finding, ...]:
    """Advice on texts that may not be what was meant: a '#' that cut the end of one off."""
    return listed(
        Finding(
            place=scalar.place,
            check="comment",
            text=f"{quote(scalar.cut_off)} was read as a comment, not as part of the text",
            help="put the text in quotes if it belongs to it, or write '# ' with a space",
            severity="advice",
        )
        for scalar in scalars(root)
        if scalar.cut_off
    )


def scalars(root: Node) -> Iterator[Scalar]:
    """Every text of the tree, keys included, in order of the file."""
    match root:
        case Scalar():
            yield root
        case Seq(items):
            for item in items:
                yield from scalars(item)
        case Map(entries):
            for key, value in entries:
                yield key
                yield from scalars(value)
