"""One procedure on the bench: its trees are read once, and each changed tree becomes a procedure again."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from runner.core.finding import Finding
from runner.core.graph import Procedure, Vocabulary
from runner.edge.mutants import sites
from runner.edge.mutants_numbers import numbers
from runner.edge.reader import read
from runner.edge.reader_desk import Desk
from runner.edge.reader_procedure import procedure as procedure_of
from runner.edge.reader_vocabulary import vocabulary as vocabulary_of
from runner.edge.schema import schema
from runner.edge.shape import check_shape
from runner.edge.site import Site
from runner.edge.text import Map, Node, Scalar, load
from runner.edge.tree_edit import Edit, edited

_WIDE = frozenset({"steps", "conditions", "hazards", "asks", "example_cars"})
"""Mappings with one entry a name, each of a form of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Workbench:
    """A procedure as it was read, the tree of its own file and that of its vocabulary."""

    procedure: Procedure
    root: Map
    shared: Map

    def sites(self) -> Iterator[Site]:
        """Every fault that can be put in: safeguards and facts first, then numbers."""
        yield from sites(self.procedure, self.root, self.shared)
        yield from numbers(self.root)

    def made(self, site: Site) -> Procedure | tuple[Finding, ...]:
        """The procedure with that fault, or why it cannot be read."""
        sound = self.procedure
        if site.shared:
            root = edited(self.shared, site.edits)
            wrong = check_shape(_around(root, site.edits), schema("vocabulary"))
            desk = Desk(file=sound.vocabulary.file, text="", found=[*wrong])
            shared = vocabulary_of(desk, root)
            return tuple(desk.found) or self._read(self.root, shared)
        root = edited(self.root, site.edits)
        wrong = check_shape(_around(root, site.edits), schema("procedure"))
        return wrong or self._read(root, sound.vocabulary)

    def _read(self, root: Map, shared: Vocabulary) -> Procedure | tuple[Finding, ...]:
        sound = self.procedure
        desk = Desk(file=sound.file, text="", fragments=dict(sound.fragments))
        desk.places, desk.deeds, desk.hazards = shared.places, shared.deeds, shared.hazards
        desk.conditions = dict(shared.conditions)
        made = procedure_of(desk, root, shared, sound.texts)
        return tuple(desk.found) or made


def _around(root: Map, edits: tuple[Edit, ...]) -> Map:
    """The tree with what was changed and what lies around it: the form of all else is as it was."""
    return _near(root, [tuple(map(str, path)) for path, _ in edits])


def _near(tree: Map, paths: list[tuple[str, ...]]) -> Map:
    entries: list[tuple[Scalar, Node]] = []
    for key, value in tree.entries:
        below = [path[1:] for path in paths if path[:1] == (key.value,)]
        if isinstance(value, Map) and () not in below:
            if key.value in _WIDE:
                inside = {path[0] for path in below}
                kept = tuple(e for nth, e in enumerate(value.entries) if e[0].value in inside or not nth)
                value = Map(kept, value.place)
            value = _near(value, below)
        entries.append((key, value))
    return Map(tuple(entries), tree.place)


def bench(files: Mapping[str, bytes], main: str) -> Workbench | tuple[Finding, ...]:
    """The workbench of the procedure of one file, or what stands against reading it."""
    procedure = read(files, main)
    if not isinstance(procedure, Procedure):
        return procedure
    trees = [load(files[name], name) for name in (main, procedure.vocabulary.file)]
    wrong = tuple(f for tree in trees if isinstance(tree, tuple) for f in tree)
    roots = [tree for tree in trees if isinstance(tree, Map)]
    if wrong or len(roots) != len(trees):
        return wrong
    return Workbench(procedure=procedure, root=roots[0], shared=roots[1])
