"""All that a surface may know: words and places, never colours. ``look`` in ``runner.core.picture`` makes it.

A surface draws a ``View`` and a ``Panel`` (which menu is open, what is typed) and passes keys on to the
desk; it knows no procedure and no state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar, overload

from runner.core.act import AnyAct
from runner.core.hazard import Word

Status = Literal["DONE", "NOW", "NEXT", "N/A", "STOPPED"]
Entry = TypeVar("Entry", covariant=True)


@dataclass(frozen=True, slots=True, eq=False)
class Later(Sequence[Entry]):
    """A row whose entries are made when they are looked at: there are ``many``, and ``last`` makes the newest so many.

    ``last`` gives the same each time. What is hardly ever opened, or grows with the run, costs nothing until then.
    """

    many: Callable[[], int]
    last: Callable[[int], tuple[Entry, ...]]

    def __len__(self) -> int:
        return self.many()

    @overload
    def __getitem__(self, at: int) -> Entry: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[Entry, ...]: ...
    def __getitem__(self, at: int | slice) -> Entry | tuple[Entry, ...]:
        many = len(self)
        if isinstance(at, slice):
            first = min(at.indices(many)[0], many)
            return self.last(many - first)[slice(0, max(at.indices(many)[1] - first, 0), at.step)]
        if not -many <= at < many:
            raise IndexError(at)
        return self.last(many - at if at >= 0 else -at)[0]

    def __iter__(self) -> Iterator[Entry]:
        return iter(self.last(len(self)))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        return hash(tuple(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionView:
    """A safety message in the order of showing. ``key`` is the digit of its own ``act``, "" if none is owed now.

    ``state``: ``owed`` (its act is owed now), ``later``, ``confirmed``, ``in effect`` (read before, still true),
    ``together`` (confirmed with one act with the others).
    """

    word: Word
    avoid: str
    hazard: str
    consequence: str
    key: str
    state: Literal["owed", "later", "confirmed", "in effect", "together"]
    wait_s: float
    act: AnyAct | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A value to type; ``base`` is the act that it completes.

    ``ways`` are (instrument, unit) pairs that can be cycled through, the first is the usual one; the unit stands
    large beside the value. ``limit`` is "" where the target is hidden. ``points`` values are typed one after the
    other and read back as a set; then, with ``clicks``, how many clicks were heard.
    """

    what: str
    kind: Literal["value", "whole number", "time of day", "text"]
    ways: tuple[tuple[str, str], ...] = (("", ""),)
    limit: str = ""
    points: int = 1
    clicks: bool = False
    signed: bool = False
    base: AnyAct


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One thing that can be answered or chosen with a key of the keypad.

    It asks for ``act``, or opens the list ``sub``, or the ``field`` whose value completes its act, or turns
    something of the surface (``far``: the far view, ``leave``: close the surface). With none of these ``note``
    says why it is not possible now.
    """

    key: str
    text: str
    act: AnyAct | None = None
    note: str = ""
    sub: tuple[Option, ...] = ()
    field: Field | None = None
    turn: Literal["", "far", "leave"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """A level: its words, and how far it is between empty (0) and brim (1), at least and at most."""

    name: str
    text: str
    least: float | None
    most: float | None
    marks: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A step in the trail or ahead: its status in words, its result, and the safety messages that go with it."""

    status: Status
    path: str
    title: str
    note: str = ""
    hazards: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """A running wait or hold: words and seconds left (0 when over)."""

    text: str
    left_s: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CarPlan:
    """The car from above, front up: what is open or done at each corner, and where the work is now.

    ``steering`` is ``left`` or ``right`` of the vehicle, or "" if not known.
    """

    now: str
    marks: tuple[tuple[str, str], ...]
    steering: str


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The picture of a run at one moment.

    ``token`` changes when something else is owed; what was typed for the old one is then dropped. ``because``
    says what came of the last step and why the run is here. ``options`` answer the question with their key; an
    option with the key ``-`` takes the place of the menu. ``short`` and ``big`` are for the far view: two lines of at
    most 22 capitals, and the value, grant or key that matters.
    """

    token: str
    title: str
    revision: str
    car: str
    by: str
    demonstration: str
    section: str
    where: str
    step_n: int
    steps: int
    kind: str
    headline: str
    text: tuple[str, ...]
    short: tuple[str, ...]
    big: str
    take: tuple[str, ...]
    cautions: tuple[CautionView, ...]
    question: str
    options: tuple[Option, ...]
    field: Field | None
    enter: Option | None
    gauges: tuple[Gauge, ...]
    timers: tuple[Timer, ...]
    plan: CarPlan
    because: tuple[str, ...]
    alert: tuple[str, ...]
    alert_kind: Literal["", "refused", "fail", "too close to call", "torn", "not recorded", "note"]
    group: tuple[Line, ...]
    trail: Sequence[Line]
    ahead: tuple[Line, ...]
    menu: Sequence[Option]
    readings: tuple[str, ...]
    open_now: tuple[str, ...]
    owed: tuple[tuple[str, str], ...]
    speak: str
    head: str
    ended: bool
