"""The gates of a step: what must be answered, read, counted or waited for, and how it may come out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from runner.core.expr import Expr
from runner.core.finding import Place
from runner.core.graph.condition import Need, Ref
from runner.core.units import Dimension, Unit

CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """Where an edge leads: a step of the same body, the next turn, a named exit, or the safe stop."""

    kind: Literal["step", "next turn", "exit", "again", "safe stop"]
    name: str = ""
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """One edge of a branch; ``value`` None takes every outcome. What it makes holds on this edge only."""

    value: str | None
    target: Target
    makes: tuple[Ref, ...] = ()
    ends: tuple[Ref, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """First match over one subject: the step's own gate (``gate``), an ask or a remembered choice."""

    subject: str
    arms: tuple[Arm, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """The step is entered at most ``times`` times in a turn of its block; then the edge is taken."""

    times: int
    then: Target


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A tracked quantity between ``floor`` and ``brim``; ``marks`` are what can be seen from outside."""

    name: str
    what: str
    unit: Unit
    floor: Expr
    brim: Expr
    marks: Mapping[str, Expr]
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A transfer of [least, most] from one level to another; None is the fresh container or the floor.

    ``low_mark`` is the threshold that the source must not pass below.
    ``least`` and ``most`` may name the step's own reading (an amount that was measured).
    """

    source: str | None
    target: str | None
    least: Expr
    most: Expr
    low_mark: Expr | None
    if_short: Target | None
    if_full: Target | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class SetByLook:
    """A look replaces the enclosure of a level: the mark, give or take ``within``."""

    level: str
    mark: Expr
    said: str
    within: Expr
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A fact asked from the car. ``right`` are the answers that pass; ``here`` asks for the corner.

    With ``otherwise`` a wrong answer is the outcome ``not so``; without it the answer is refused.
    ``kind``: ``corner`` (answered by its keypad position), ``number`` (typed, no target shown), ``pick``.
    """

    ask: str
    kind: Literal["corner", "number", "pick"]
    options: tuple[str, ...]
    right: tuple[str, ...]
    otherwise: bool
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One of the options, each an outcome; remembered under ``name`` if it has one."""

    ask: str
    options: tuple[str, ...]
    name: str | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitBand:
    """A half-open or closed stretch of the number line that is an outcome; None is without end."""

    outcome: str
    low: Expr | None
    low_inclusive: bool
    high: Expr | None
    high_inclusive: bool
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A measured value. ``mode``: ``measured`` (instrument with error), ``setting`` (what a wrench is set
    to, typed with the target hidden), ``amount`` (a poured or drawn volume, ``error`` is its half-width).

    Outcomes: the bands' and, unless it is a setting, ``cannot tell``; ``taken`` where there is no limit; every
    named result in ``instead`` (``by feel, no wrench fits``).
    """

    name: str
    what: str
    dimension: Dimension
    unit: Unit
    mode: Literal["measured", "setting", "amount"]
    instruments: tuple[str, ...]
    error: Expr | None
    points: int
    bands: tuple[LimitBand, ...]
    rule: Literal["guarded", "simple"]
    limit_kind: str
    instead: tuple[str, ...]
    clicks: int | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """One phase of a beat: what is done, and the conditions and deeds that it brings."""

    do: str
    makes: tuple[Ref, ...]
    ends: tuple[Ref, ...]
    deeds: tuple[str, ...]
    needs: tuple[Need, ...]
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """Beats granted in advance. Exits in the order short, bound, choice.

    ``planned`` is the budget of beats, ``at_most`` the bound, ``grant`` the most beats of one grant,
    ``gravity`` a flow through the open nipple over ``seconds`` a beat, ``exits`` the choice after a look.
    """

    what: str
    beat: tuple[Phase, ...]
    move: Move | None
    gravity: Expr | None
    seconds: Fraction
    planned: Expr | None
    grant: int
    at_most: int
    bound: Target
    ask: str
    exits: tuple[str, ...]
    again: frozenset[str]
    name: str | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A position or a load held for at least ``at_least`` seconds; the outcome is the answer after it."""

    at_least: Fraction
    ask: str
    options: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Identify:
    """A marking read as text: ``pattern`` is a regular expression, or ``vin`` for the check digit."""

    name: str
    what: str
    pattern: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A picture, kept beside the record under its SHA-256."""

    name: str
    what: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """Put in less come out less what stayed, each with its error; closes, does not close, cannot tell.

    ``imbalance`` is an expression over totals, looks and readings; ``within`` the tolerance.
    Names that end in ``_start`` and ``_now`` after a level's name stand for its looks.
    """

    what: str
    imbalance: Expr
    within: Expr
    place: Place


Gate = Check | Choice | Reading | Count | Timed | Identify | Photo | Books


def outcomes(gate: Gate | None) -> tuple[str, ...]:
    """The closed list of outcomes of a gate; () where a step has none."""
    match gate:
        case None:
            return ()
        case Check():
            return ("met", "not so") if gate.otherwise else ("met",)
        case Choice() | Timed():
            return gate.options
        case Reading():
            taken = tuple(dict.fromkeys(b.outcome for b in gate.bands))
            if taken and gate.mode != "setting":  # a setting is what it is: nothing is left open
                taken += (CANNOT_TELL,)
            return (taken or ("taken",)) + gate.instead
        case Count():
            return gate.exits
        case Identify() | Photo():
            return ("taken",)
        case Books():
            return ("closes", "does not close", CANNOT_TELL)
