"""Every small automaton of a procedure in one big integer: one bit a state, side by side.

Rules of this module
1. What a proof follows is a *field* with a few states: a condition (T F U), a remembered choice, a value of the
   car that is branched on, a rule's monitor, a wait, a message in effect, a part in hand.
2. A state of the graph is the set of states that each field may have, as bits. What takes place on an edge gives
   each field a fixed state or leaves it, so that the whole is ``x & keep | put``; parts are counted down apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import msgspec
from msgspec.structs import replace

from runner.core.graph import AXLE_OF, HERE, SIDE_OF, Occasion
from runner.verify.station import Op, Station

UNSET = ""
Waiting = dict[str, dict[tuple[str, ...], "Field"]]
"""What other nodes come after: the node in its place, and the outcomes that it must have had (none: any)."""
_NOTED = {"start": "wait", "choose": "choice", "read": "reading", "tell": "told", "enter": "entered"}


@dataclass(frozen=True, slots=True)
class Field:
    """One automaton: where its bits begin, and its states in their order."""

    name: str
    shift: int
    states: tuple[str, ...]

    mask: int = field(init=False)
    """All bits of the field."""
    _bit: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "mask", ((1 << len(self.states)) - 1) << self.shift)
        object.__setattr__(self, "_bit", {s: 1 << self.shift + n for n, s in enumerate(self.states)})

    def bits(self, *states: str) -> int:
        """The bits of these states."""
        found = 0
        for state in states:
            found |= self._bit.get(state, 0)
        return found

    def but(self, *states: str) -> int:
        """The bits of all other states."""
        return self.mask & ~self.bits(*states)


class Change(msgspec.Struct, frozen=True):
    """What takes place, on the bits; ``down`` are the fields that are counted down by one."""

    keep: int
    put: int
    down: tuple[int, ...] = ()

    def after(self, x: int) -> int:
        """The state after it."""
        x = x & self.keep | self.put
        for mask in self.down:
            x = x & ~mask | (x & mask) >> 1 & mask | x & mask & -mask
        return x

    def then(self, other: Change) -> Change:
        """The one change that is this and then the other."""
        if other is NOTHING or self is NOTHING:
            return self if other is NOTHING else other
        return Change(self.keep & other.keep, self.put & other.keep | other.put, self.down + other.down)

    def before(self, mask: int, bad: int) -> int:
        """The bits of the field ``mask`` before it that may lead into ``bad``."""
        if self.put & bad:
            return mask
        return bad if self.keep & mask == mask else 0


NOTHING = Change(-1, 0)


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """The fields of a procedure, and what each occasion does to them."""

    fields: Mapping[str, Field]
    monitors: Mapping[tuple[int, str], Field]
    watchers: Mapping[str, tuple[tuple[int, int], ...]]
    turns: Mapping[tuple[str, str], tuple[tuple[int, int], ...]]
    over: Mapping[str, tuple[tuple[int, int], ...]]
    start: int
    order: Waiting = field(default_factory=dict)
    _changes: dict[int, tuple[Change, tuple[Change, ...]]] = field(default_factory=dict)

    def change(self, op: Op) -> Change:
        """What one occasion does."""
        sets = list(self.watchers.get(op.told, ()))
        down: tuple[int, ...] = ()
        match op.verb:
            case "make" | "end" | "lose" | "waver":
                f = self.fields[op.name]
                bit = f.bits({"make": "T", "end": "F"}.get(op.verb, "U"))
                if op.verb == "waver":
                    return Change(-1, bit)
                sets.append((f.mask, bit))
            case "step" | "deed":
                pass
            case "turn":
                sets += self.turns.get((op.name, op.values[0]), ())
            case "over":
                sets += self.over.get(op.name, ())
            case "come":
                return _assign(list(self._came(op)), (), sure=True)
            case "use":
                down = self._counted(f"in hand {op.name}")
            case "enter" if f"entries left {op.name}" in self.fields:
                down = self._counted(f"entries left {op.name}")
            case "enter":
                sets += self._noted(replace(op, values=()))
            case _:
                sets += self._noted(op)
        return _assign(sets, down, sure=op.sure)

    def _counted(self, name: str) -> tuple[int, ...]:
        return (self.fields[name].mask,) if name in self.fields else ()

    def _noted(self, op: Op) -> Iterator[tuple[int, int]]:
        f = self.fields.get(f"{_NOTED[op.verb]} {op.name}")
        if f is not None:
            yield f.mask, f.bits(*(op.values or f.states[1:2]))

    def _came(self, op: Op) -> Iterator[tuple[int, int]]:
        """What comes after a node: with outcomes the latest one counts, without that it was done once."""
        for outcomes, f in self.order.get(op.name, {}).items():
            if outcomes:
                yield f.mask, f.bits("done" if op.values[0] in outcomes else "not yet")
            elif op.sure:
                yield f.mask, f.bits("done")

    def run(self, ops: tuple[Op, ...]) -> Change:
        """What several occasions do, one after the other."""
        change = NOTHING
        for op in ops:
            change = change.then(self.change(op))
        return change

    def changes(self, station: Station) -> tuple[Change, tuple[Change, ...]]:
        """What being entered does (its needs hold from then on), and what each edge does after that."""
        key = id(station)
        if key not in self._changes:
            asked = [(self.fields[a.instance], "T" if a.wanted else "F") for a in station.asked]
            needs = [(f.mask, f.bits(value)) for f, value in asked]
            entered = _assign(needs, (), sure=True).then(self.run(station.entry))
            self._changes[key] = (entered, tuple(self._edge(station, at) for at in range(len(station.edges))))
        return self._changes[key]

    def _edge(self, station: Station, at: int) -> Change:
        edge = station.edges[at]
        narrowed = NOTHING
        f = self.fields.get(edge.when.field) if edge.when is not None else None
        if f is not None and edge.when is not None:
            narrowed = Change(~f.but(*edge.when.values), 0)
        return narrowed.then(self.run(edge.ops))

    def open_to(self, station: Station, at: int) -> int:
        """The bits of which one must be set for the edge to be taken; 0 if it is always open."""
        when = station.edges[at].when
        f = self.fields.get(when.field) if when is not None else None
        return f.bits(*when.values) if f is not None and when is not None else 0


def _assign(sets: list[tuple[int, int]], down: tuple[int, ...], *, sure: bool) -> Change:
    if not sets and not down:
        return NOTHING
    keep, put = -1, 0
    for mask, bit in sets:
        if sure:
            keep &= ~mask
            put = put & ~mask | bit
        else:
            put |= bit
    return Change(keep, put, down)


def member_of(told: str) -> str:
    """The index in the words of an occasion; empty if it has none."""
    return told.partition("@")[2]


def meant(occasion: Occasion, told: str) -> bool:
    """Whether a rule's occasion means this one."""
    plain = f"{occasion.on} {occasion.name}"
    if occasion.at not in (None, "here"):
        return told == f"{plain}@{occasion.at}"
    return told.partition("@")[0] == plain


def alike(one: str, other: str) -> bool:
    """Whether two occasions lie on the same member, or one of them on none."""
    if not one or not other or one == other:
        return True
    return any(of.get(one) == other or of.get(other) == one for of in (AXLE_OF, SIDE_OF))


def paired(occasion: Occasion, told: str, member: str) -> bool:
    """Whether what took place counts for a member: it lies on the same, or the occasion names one of its own."""
    return occasion.at not in (None, HERE) or alike(member_of(told), member)
