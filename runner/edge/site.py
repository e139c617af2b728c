"""A fault at its place in the author's text, and how the tree is changed for it."""

from dataclasses import dataclass

from runner.edge.text import Node
from runner.edge.tree_edit import Edit
from runner.verify.mutation import Kind, Mutant


@dataclass(frozen=True, slots=True)
class Site:
    """A fault and its edits; ``shared`` where the tree is that of the vocabulary."""

    mutant: Mutant
    edits: tuple[Edit, ...]
    shared: bool = False


def site(operator: str, node: Node, what: str, mend: str, edits: tuple[Edit, ...], kind: Kind = "safeguard") -> Site:
    """A fault in the procedure's own text, at the place of a node."""
    return Site(Mutant(operator=operator, kind=kind, place=node.place, what=what, mend=mend), edits)
