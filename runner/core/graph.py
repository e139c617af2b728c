"""What a procedure is once it has been read: frozen, placed on every node, no behaviour but look-ups.

Rules of this module
1. Nothing here knows a file, a clock or a screen; texts are clean (no control characters).
2. A *path* names a place in the unexpanded procedure: step ids joined by ``/``; a call contributes its
   own id, a block its id and the index of the turn: ``corners/RR/bleed`` or ``raise-front/chock``.
3. A condition *instance* is a string: ``cap_off`` or ``nipple_open@RR``. Its value is T, F or U.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from runner.core.expr import Expr
from runner.core.finding import Place
from runner.core.hazard import Caution
from runner.core.units import Dimension, Quantity, Unit

Index = Literal["corner", "axle", "side"]
Value = Literal["T", "F", "U"]

CORNERS = ("LF", "RF", "LR", "RR")
MEMBERS: Mapping[str, tuple[str, ...]] = {
    "corner": CORNERS,
    "axle": ("front", "rear"),
    "side": ("left", "right"),
}
AXLE_OF = {"LF": "front", "RF": "front", "LR": "rear", "RR": "rear"}
SIDE_OF = {"LF": "left", "LR": "left", "RF": "right", "RR": "right"}
CORNER_WORDS = {"LF": "left front", "RF": "right front", "LR": "left rear", "RR": "right rear"}
HERE = "here"
CANNOT_TELL = "cannot tell"


def narrow(here: str | None, index: Index | None) -> str | None:
    """The member of ``index`` that ``here`` lies on: RR narrowed to axle is rear; None if it has none."""
    if index is None or here is None:
        return None
    if here in MEMBERS[index]:
        return here
    if index == "axle":
        return AXLE_OF.get(here)
    return SIDE_OF.get(here) if index == "side" else None


def spoken(member: str | None) -> str:
    """A corner, axle or side in the words of the shop: ``RR`` is ``right rear``."""
    return CORNER_WORDS.get(member or "", member or "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ref:
    """A condition as a step names it: ``at`` is None (unindexed), ``here`` or a member such as ``RR``."""

    name: str
    at: str | None
    place: Place


# ── needs ────────────────────────────────────────────────────────────────────────────────────────


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


# ── vocabulary ───────────────────────────────────────────────────────────────────────────────────


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


# ── targets and branches ─────────────────────────────────────────────────────────────────────────


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


# ── levels ───────────────────────────────────────────────────────────────────────────────────────


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


# ── gates ────────────────────────────────────────────────────────────────────────────────────────


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


# ── nodes ────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """What must have come before a node: another node of the same body, done in the same turn or run.

    With ``outcomes`` the latest way in which it came out must be one of them; ``said`` keeps the author's words.
    """

    node: str
    outcomes: tuple[str, ...]
    said: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Commit:
    """The last moment before what cannot be undone: parts in hand, time it takes, the way out."""

    parts: tuple[str, ...]
    takes: str
    way_out: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One action with its cautions, its gate, its effects and where to go next.

    Effects count when the step is left by an edge of the graph; an override makes them U instead.
    ``cautions`` are already joined from the vocabulary and in order of their word.
    """

    id: str
    do: str
    short: str
    where: str
    take: tuple[str, ...] = ()
    why: str = ""
    note: str = ""
    expect: str = ""
    cautions: tuple[Caution, ...] = ()
    needs: tuple[Need, ...] = ()
    makes: tuple[Ref, ...] = ()
    ends: tuple[Ref, ...] = ()
    deeds: tuple[str, ...] = ()
    gate: Gate | None = None
    moves: tuple[Move, ...] = ()
    sets: tuple[SetByLook, ...] = ()
    starts: str | None = None
    branch: Branch
    bound: Times | None = None
    override: Target | None = None
    cannot: Target | None = None
    group: str | None = None
    commit: Commit | None = None
    park: str | None = None
    slides: tuple[tuple[Literal["on", "off", "cut"], str], ...] = ()
    after: tuple[After, ...] = ()
    place: Place


def moves_of(step: Step) -> tuple[Move, ...]:
    """Every move of a step: its own, and that of its count."""
    counted = step.gate.move if isinstance(step.gate, Count) else None
    return step.moves if counted is None else (*step.moves, counted)


def levels_of(step: Step) -> tuple[str, ...]:
    """The levels that a step moves or looks at; they are not known while it goes on, nor where it was left undone."""
    return tuple(n for m in moves_of(step) for n in (m.source, m.target) if n) + tuple(s.level for s in step.sets)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """A fragment taken in place. ``ensure``: skipped when the condition is T; ``give_back``: skipped
    while a paused run of the same car still claims the condition.
    """

    id: str
    fragment: str
    at: str | None
    exits: Mapping[str, Target]
    ensure: Ref | None = None
    give_back: Ref | None = None
    skip: Target | None = None
    after: tuple[After, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Each:
    """A block with one turn for each member of ``index``; ``order`` is an ask or a listed order."""

    id: str
    index: Index
    order: str | tuple[str, ...]
    body: Body
    then: Target
    exits: Mapping[str, Target]
    after: tuple[After, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """``done`` owes all rules; ``stopped`` only what must be closed; in a fragment a named exit."""

    id: str
    kind: str
    say: str
    place: Place


Node = Step | Call | Each | End

OVERRIDDEN, SKIPPED = "override", "skipped"
"""How a step is passed without its gate, and a call whose condition was true already."""
LEFT = ""
"""What came out where a step was left undone: nothing that could be named."""


def comings(node: Node) -> tuple[str, ...]:
    """The names of all ways in which a node may come out, as ``after`` may name them."""
    match node:
        case Step():
            return (*outcomes(node.gate), *((OVERRIDDEN,) if node.override is not None else ()))
        case Call():
            return (*node.exits, *((SKIPPED,) if node.skip is not None else ()))
        case Each():
            return tuple(node.exits)
        case End():
            return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The nodes of one scope by id, and the first of them."""

    nodes: Mapping[str, Node]
    first: str


# ── the procedure ────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A value that belongs to this car. ``kind``: quantity, choice, order (of corners) or text.

    ``sources`` are the accepted ones; ``measured`` admits "measured on this car", ``unknown`` "not known
    yet"; ``above`` is a floor under which no value is taken (``floor_source`` names who set it).
    """

    name: str
    what: str
    kind: Literal["quantity", "choice", "order", "text"]
    dimension: Dimension | None = None
    unit: Unit | None = None
    options: tuple[str, ...] = ()
    orders: Mapping[str, tuple[str, ...]] | None = None
    per: Index | None = None
    sources: tuple[str, ...] = ()
    measured: bool = False
    unknown: bool = False
    low: Quantity | None = None
    high: Quantity | None = None
    below: str | None = None
    floor_source: str = ""
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Compute:
    """A value computed from asks and readings; ``per`` a corner if any of its inputs is."""

    name: str
    what: str
    expr: Expr
    unit: Unit | None
    per: Index | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """A least time on the car (soak, cool down, cure), in seconds; ``keeps`` the time it stays good.

    ``before`` are the steps that must not come before it is over, ``started_by`` those that start it.
    """

    name: str
    what: str
    at_least: Fraction
    keeps: Fraction | None
    before: tuple[str, ...] = ()
    started_by: tuple[str, ...] = ()
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part or consumable: how many are in hand, whether it may be used once only, its stack."""

    name: str
    what: str
    have: int
    single_use: bool
    trace: bool
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Parts that slide on one shaft, inner to outer."""

    name: str
    parts: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Occasion:
    """What a rule watches: a step entered, a deed done, a condition made or ended; ``at`` as in a Ref."""

    on: Literal["step", "deed", "make", "end"]
    name: str
    at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A property of the whole procedure.

    ``only_after``: ``what`` never before ``other``; ``must_follow``: after ``what`` comes ``other`` before
    the end; ``at_most_one`` and ``never_together``: of ``refs``; ``at_end``: each of ``refs`` is
    ``wanted``.
    """

    kind: Literal["only_after", "must_follow", "at_most_one", "never_together", "at_end"]
    what: Occasion | None
    other: Occasion | None
    refs: tuple[Ref, ...]
    wanted: bool
    why: str
    if_found_broken: str
    said: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Contract:
    """The checked interface of a fragment: what it needs, and for each exit what it makes and ends."""

    needs: tuple[Need, ...]
    exits: Mapping[str, tuple[tuple[Ref, ...], tuple[Ref, ...]]]
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleCar:
    """Values bound at the desk so that numeric errors show before the car does."""

    name: str
    values: Mapping[str, object]
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Procedure:
    """One YAML file, read. ``fragments`` are keyed by name; ``texts`` hold every file it was read from."""

    name: str
    title: str
    revision: str
    file: str
    purpose: str
    not_for: tuple[str, ...]
    is_fragment: bool
    here: Index | None
    contract: Contract | None
    tools: tuple[str, ...]
    consumables: tuple[str, ...]
    safety: tuple[str, ...]
    asks: Mapping[str, Ask]
    computes: Mapping[str, Compute]
    levels: Mapping[str, Level]
    parts: Mapping[str, Part]
    stacks: Mapping[str, Stack]
    waits: Mapping[str, Wait]
    rules: tuple[Rule, ...]
    assumes: tuple[Need, ...]
    carries: tuple[str, ...]
    example_cars: tuple[ExampleCar, ...]
    conditions: Mapping[str, Condition]
    vocabulary: Vocabulary
    body: Body
    fragments: Mapping[str, Procedure]
    texts: Mapping[str, str]
    place: Place


@dataclass(frozen=True, slots=True)
class Found:
    """A path resolved: the node, the body it stands in, its procedure, the index that is here, and the path."""

    node: Node
    body: Body
    procedure: Procedure
    here: str | None
    path: str


def find(procedure: Procedure, path: str) -> Found:
    """The node at a path. Raises KeyError for a path that the procedure does not have."""
    body, owner, here = procedure.body, procedure, None
    parts = path.split("/")
    at = 0
    while True:
        node = body.nodes[parts[at]]
        if at == len(parts) - 1:
            return Found(node, body, owner, here, path)
        if isinstance(node, Call):
            owner = procedure.fragments[node.fragment]
            here = here if node.at in (None, HERE) else node.at
            if owner.here is not None:
                here = narrow(here, owner.here)
            body, at = owner.body, at + 1
        elif isinstance(node, Each):
            body, here, at = node.body, parts[at + 1], at + 2
        else:
            raise KeyError(path)


def parent(procedure: Procedure, path: str) -> str | None:
    """The path of the call or block that a path stands in; None at the top."""
    parts = path.split("/")
    body, at, above = procedure.body, 0, None
    while at < len(parts) - 1:
        node = body.nodes[parts[at]]
        above = "/".join(parts[: at + 1])
        if isinstance(node, Call):
            body, at = procedure.fragments[node.fragment].body, at + 1
        elif isinstance(node, Each):
            body, at = node.body, at + 2
        else:
            raise KeyError(path)
    return above


def prefix(procedure: Procedure, path: str) -> str:
    """What stands before the last id of a path, with its slash: ``corners/RR/`` for ``corners/RR/bleed``."""
    return path.rpartition("/")[0] + "/" if "/" in path else ""


def walk(body: Body) -> Iterator[Node]:
    """Every node of a body and of the blocks in it, in the author's order."""
    for node in body.nodes.values():
        yield node
        if isinstance(node, Each):
            yield from walk(node.body)


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
