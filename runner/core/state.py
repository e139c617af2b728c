"""The state of a run: the fold of its events. Nothing else ever changes it.

Rules of this module
1. Values belong to the car: conditions T, F or U; levels an enclosure in coherent SI, or None (not known).
2. Histories are linked pairs (newest, older), so that the 20,000th act costs what the first did.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from fractions import Fraction
from typing import Literal

import msgspec
from msgspec import field

from runner.core import event as ev
from runner.core.event import AnyEvent
from runner.core.quantity import Quantity
from runner.core.stamp import Stamp

Enclosure = tuple[Fraction, Fraction]
Phase = Literal["new", "summary", "running", "held", "safe stop", "ended"]


@dataclass(frozen=True, slots=True)
class Visit:
    """A step that was left: the record line, its path, the outcome, and how it was passed."""

    line: int
    path: str
    outcome: str
    because: str


@dataclass(frozen=True, slots=True)
class Linked:
    """A history: the newest item and what came before it."""

    item: object
    before: Linked | None
    count: int = dataclass_field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "count", 1 if self.before is None else self.before.count + 1)


class TakenValue(msgspec.Struct, frozen=True, kw_only=True):
    """One taking of a reading: its line and path, the points as enclosures, and the outcome."""

    line: int
    path: str
    points: tuple[Quantity, ...]
    outcome: str


class Out(msgspec.Struct, frozen=True, kw_only=True):
    """A grant that is out: beats, how many were reported, when it began, what one beat moves, what to put back."""

    beats: int
    used: int
    since: Stamp
    seconds: Fraction
    each: Enclosure
    before: Mapping[str, Enclosure | None]
    touched: Mapping[str, str]


class State(msgspec.Struct, frozen=True, kw_only=True):
    """Where a run stands and what is known of the car."""

    phase: Phase = "new"
    line: int = -1
    stamp: Stamp | None = None
    by: str = ""
    procedure: str = ""
    revision: str = ""
    car: str = ""
    demonstration: bool = False
    rehearsal: bool = False
    salt: str = ""
    claims: Mapping[str, str] = field(default_factory=dict)
    instruments: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    asks: tuple[tuple[str, str, str], ...] = ()
    # the car: levels in coherent SI
    conditions: Mapping[str, str] = field(default_factory=dict)
    since: Mapping[str, tuple[int, str]] = field(default_factory=dict)
    set_at: Mapping[str, Stamp] = field(default_factory=dict)
    levels: Mapping[str, Enclosure | None] = field(default_factory=dict)
    first_looks: Mapping[str, Enclosure] = field(default_factory=dict)
    waits: Mapping[str, Stamp] = field(default_factory=dict)
    waited: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    parts: Mapping[str, int] = field(default_factory=dict)
    # the place
    path: str = ""
    entries: Mapping[str, int] = field(default_factory=dict)
    beats: Mapping[str, int] = field(default_factory=dict)
    orders: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    over: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    choices: Mapping[str, str] = field(default_factory=dict)
    readings: Mapping[str, tuple[TakenValue, ...]] = field(default_factory=dict)
    happened: Mapping[str, int] = field(default_factory=dict)
    turned: Mapping[str, int] = field(default_factory=dict)
    # by path: whether it was ever done in this turn or run, and how it came out last
    passed: Mapping[str, tuple[bool, str]] = field(default_factory=dict)
    back_to: str = ""
    restoring: str = ""
    again: tuple[str, ...] = ()
    # the step
    shown: Stamp | None = None
    confirmed: frozenset[str] = frozenset()
    in_effect: frozenset[tuple[str, str]] = frozenset()
    exposures: int = 0
    last_key: str = ""
    keys: Mapping[str, str] = field(default_factory=dict)
    pending: ev.ReadBack | None = None
    started: Stamp | None = None
    out: Out | None = None
    looked: bool = False
    looks_owed: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    # what the last break made unknown, as it was known before; not what a beat was changing
    before: Mapping[str, str] = field(default_factory=dict)
    # what stays in the open
    owed: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[ev.FindingMade, ...] = ()
    scars: tuple[tuple[int, str], ...] = ()
    offers: tuple[str, ...] = ()
    diverged: bool = False
    last: AnyEvent | None = None
    trail: Linked | None = None
    acts: Linked | None = None
    told: Linked | None = None
    ended: ev.Ended | None = None
    signed: tuple[ev.Signed, ...] = ()

    def value(self, instance: str) -> str:
        """T, F or U of a condition instance."""
        return self.conditions.get(instance, "U")


def history(linked: Linked | None) -> Iterator[object]:
    """The items of a history, newest first."""
    while linked is not None:
        yield linked.item
        linked = linked.before


def visits(state: State) -> tuple[Visit, ...]:
    """The steps that were left, oldest first."""
    return tuple(v for v in history(state.trail) if isinstance(v, Visit))[::-1]


def kind_of_step(path: str) -> str:
    """A path without the members of its turns, so that a step is the same at every corner."""
    return "/".join(p for p in path.split("/") if p not in _MEMBERS)


_MEMBERS = frozenset({"LF", "RF", "LR", "RR", "front", "rear", "left", "right"})


def enclosure(pair: list[str] | None) -> Enclosure | None:
    """An enclosure from the two texts of an event."""
    return None if pair is None else (Fraction(pair[0]), Fraction(pair[1]))


SAFE_STOP = "safe stop"
