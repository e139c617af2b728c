"""Conditions, what is needed of them, and the duties of the vocabulary."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from runner.core.expr import Expr
from runner.core.finding import Place
from runner.core.graph.member import HERE, MEMBERS, Index, narrow
from runner.core.hazard import Caution

Value = Literal["T", "F", "U"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ref:
    """A condition as a step names it: ``at`` is None (unindexed), ``here`` or a member such as ``RR``."""

    name: str
    at: str | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Holds:
    """The condition is T (``wanted``) or F; ``said`` keeps the author's words (``none nipple_open``)."""

    ref: Ref
    wanted: bool
    said: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelNeed:
    """The lower bound of a level is at least a mark or an expression."""

    level: str
    at_least: Expr
    said: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitNeed:
    """A wait of the car has been started and its least time is over."""

    wait: str
    said: str
    place: Place


Need = Holds | LevelNeed | WaitNeed


@dataclass(frozen=True, slots=True, kw_only=True)
class IfLeft:
    """What to do with an open condition before leaving: close it, or say why it may stay."""

    kind: Literal["close", "may stay"]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """A fact about the car or the bench. ``keeps`` is ``this stretch`` or seconds; rank orders leaving."""

    name: str
    index: Index | None
    kind: Literal["opening", "fact"]
    says: str
    says_not: str
    normally: bool | None = None
    if_left: IfLeft | None = None
    rank: int = 0
    urgent: bool = False
    keeps: Literal["this stretch"] | Fraction | None = None
    no_longer_than: Fraction | None = None
    restore: str | None = None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Unless:
    """A duty is lifted when an ask or a remembered choice has this value."""

    subject: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """What always comes with a place, a deed, or the making or ending of a condition.

    ``on`` is one of ``place``, ``deed``, ``make``, ``end``, ``while`` (a caution while a condition is T).
    ``makes`` and ``ends`` follow physically; ``looks`` names the levels that are looked at then, ``fills`` and
    ``draws`` those into and from which it moves, ``at_least`` those that must be high enough.
    """

    on: Literal["place", "deed", "make", "end", "while"]
    name: str
    needs: tuple[Need, ...]
    hazards: tuple[str, ...]
    unless: Unless | None
    makes: tuple[Ref, ...] = ()
    ends: tuple[Ref, ...] = ()
    looks: tuple[str, ...] = ()
    fills: tuple[str, ...] = ()
    draws: tuple[str, ...] = ()
    at_least: tuple[str, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """Names and duties that all procedures share; ``hazards`` hold the words of each safety message."""

    file: str
    conditions: Mapping[str, Condition]
    places: Mapping[str, str]
    deeds: Mapping[str, str]
    hazards: Mapping[str, Caution]
    duties: tuple[Duty, ...]
    levels: Mapping[str, str] = field(default_factory=dict)

    def duties_on(self, on: str, name: str) -> tuple[Duty, ...]:
        """The duties that a place, deed or change of a condition brings."""
        return tuple(d for d in self.duties if d.on == on and d.name == name)


def instance(conditions: Mapping[str, Condition], ref: Ref, here: str | None) -> str:
    """The condition instance that a reference means where ``here`` is the index of the turn or call."""
    index = conditions[ref.name].index
    if index is None:
        return ref.name
    member = narrow(here, index) if ref.at in (None, HERE) else ref.at
    return f"{ref.name}@{member}"


def instances(conditions: Mapping[str, Condition]) -> tuple[str, ...]:
    """Every condition instance there is."""
    return tuple(
        name if c.index is None else f"{name}@{member}"
        for name, c in conditions.items()
        for member in (MEMBERS[c.index] if c.index else ("",))
    )
