"""A procedure as a whole: what it asks of the car, its rules and parts, and where a path in it leads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from runner.core.expr import Expr
from runner.core.finding import Place
from runner.core.graph.condition import Condition, Need, Ref, Vocabulary
from runner.core.graph.gate import Level
from runner.core.graph.member import HERE, Index, narrow
from runner.core.graph.node import Body, Call, Each, Node
from runner.core.units import Dimension, Quantity, Unit


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
    """One YAML file, read. ``fragments`` are keyed by name; ``texts`` hold every file it was read from.

    ``takes`` is the time to set aside for the whole, as written; empty where none is.
    """

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
    takes: str = ""
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
