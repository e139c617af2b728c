"""What the parts of the reader share while one file is read: what is known so far, and what is wrong.

A part never stops at a mistake: it leaves a finding here and goes on with a stand-in, since a file with
findings never becomes a procedure.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from runner.core.finding import LINE_END, Finding, Place, nearest, quote
from runner.core.graph import HERE, Ask, Condition, Index, Level, Part, Procedure, Stack, Wait
from runner.core.hazard import Caution
from runner.core.quantity import Dimension
from runner.edge.reader_tree import items, scalar, words
from runner.edge.text import Node, Scalar

NARROWS: Mapping[Index, frozenset[Index]] = {
    "corner": frozenset({"corner", "axle", "side"}),
    "axle": frozenset({"axle"}),
    "side": frozenset({"side"}),
}
"""From what is here, the indices that it settles: a corner lies on one axle and on one side."""

_SLOT = re.compile(r"\{([^{}]*)\}")
_BRACE = re.compile(r"[{}]")


@dataclass(frozen=True, slots=True)
class Named:
    """A name that stands for a value: what it is, what it measures, what it goes by, whether it has points."""

    kind: str
    dimension: Dimension | None
    index: Index | None
    place: Place
    several: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Where something stands: what is here, and the steps and exits that an edge may lead to."""

    index: Index | None = None
    block: Index | None = None
    steps: frozenset[str] = frozenset()
    exits: frozenset[str] = frozenset()

    def settles(self, index: Index | None) -> bool:
        """Whether a name of that index needs no member here."""
        return index is None or (self.index is not None and index in NARROWS[self.index])


CAR = Scope()
"""The car as a whole, outside of every block."""


@dataclass(slots=True)
class Desk:
    """One file being read."""

    file: str
    text: str
    found: list[Finding] = field(default_factory=list)
    places: Mapping[str, str] = field(default_factory=dict)
    deeds: Mapping[str, str] = field(default_factory=dict)
    hazards: Mapping[str, Caution] = field(default_factory=dict)
    conditions: dict[str, Condition] = field(default_factory=dict)
    named: dict[str, Named] = field(default_factory=dict)
    choices: dict[str, tuple[str, ...]] = field(default_factory=dict)
    asks: dict[str, Ask] = field(default_factory=dict)
    levels: dict[str, Level] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    stacks: dict[str, Stack] = field(default_factory=dict)
    waits: dict[str, Wait] = field(default_factory=dict)
    fragments: dict[str, Procedure] = field(default_factory=dict)
    steps: dict[str, Place] = field(default_factory=dict)
    ends: tuple[str, ...] = ("done", "stopped")
    lines: tuple[str, ...] = ()

    @property
    def start(self) -> Place:
        """The first character of the file."""
        return Place(self.file, 1, 1)

    def say(self, place: Place, check: str, text: str, mend: str, related: tuple[tuple[Place, str], ...] = ()) -> None:
        """Notes something to mend."""
        self.found.append(Finding(place=place, check=check, text=text, help=mend, related=related))

    def inside(self, node: Scalar, column: int) -> Place:
        """The place of a character of the text; where the text starts if it was folded or escaped."""
        self.lines = self.lines or tuple(LINE_END.split(self.text.removeprefix("\ufeff")))
        place = node.place
        start = place.column - 1 + (not node.plain)
        line = self.lines[place.line - 1] if place.line <= len(self.lines) else ""
        if not line.startswith(node.value[: column + 1], start):
            return place
        return Place(place.file, place.line, start + column + 1)

    def known(self, node: Scalar, names: Collection[str], what: str, column: int = 0, name: str = "") -> bool:
        """Whether the text, or the name at a column of it, is one of the names; notes it if not."""
        name = name or node.value
        if name in names:
            return True
        self.say(self.inside(node, column), "name", f"{quote(name)} is not {what}", meant(name, names))
        return False

    def each_known(self, node: Node | None, names: Collection[str], what: str) -> tuple[str, ...]:
        """The texts of a list that are among the names; the others are noted."""
        texts = [one for one in map(scalar, items(node)) if one is not None]
        return tuple(one.value for one in texts if self.known(one, names, what))

    def said(self, node: Node | None, scope: Scope | None) -> str:
        """The text; its slots must be ``{here}`` or values that are known there. Without scope it has none."""
        if isinstance(node, Scalar) and _BRACE.search(node.value):
            self._slots(node, scope)
        return words(node)

    def all_said(self, node: Node | None, scope: Scope | None) -> tuple[str, ...]:
        """The texts of a list, each as in ``said``."""
        return tuple(self.said(one, scope) for one in items(node))

    def _shown_values(self) -> set[str]:
        """What a slot may show: a value, but not a choice, a marking or a picture of this run."""
        return {name for name, one in self.named.items() if one.dimension is not None} | self.asks.keys()

    def _slots(self, node: Scalar, scope: Scope | None) -> None:
        rest = _SLOT.sub(lambda slot: " " * len(slot[0]), node.value)
        if stray := _BRACE.search(rest):
            place = self.inside(node, stray.start())
            self.say(place, "slot", f"a single {quote(stray[0])} stands here", "write a slot as {here} or {name}")
        for slot in _SLOT.finditer(node.value):
            place, name = self.inside(node, slot.start()), slot[1]
            if scope is None:
                self.say(place, "slot", f"no slot is filled in here: {quote(slot[0])}", "write the words out")
            elif name == HERE:
                if scope.index is None:
                    mend = "it stands for what a block, fragment or condition goes by"
                    self.say(place, "slot", "{here} means nothing here", mend)
            elif name not in (values := self._shown_values()):
                mend = meant(name, {*values, HERE})
                self.say(place, "slot", f"{quote(slot[0])} is not a value of this procedure", mend)
            elif not scope.settles(self.named[name].index):
                text = f"{quote(slot[0])} goes by {self.named[name].index}, and none is here"
                self.say(place, "slot", text, "use it in a block")


def meant(name: str, names: Iterable[str]) -> str:
    """How to mend an unknown name: the nearest one, or all there are."""
    every = sorted(set(names))
    if near := nearest(name, every):
        return f"did you mean '{near}'?"
    if not every:
        return "none is declared here"
    return f"known here: {', '.join(every[:12])}" + (f" and {len(every) - 12} more" if len(every) > 12 else "")
