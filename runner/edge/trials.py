"""The acts that could be given where a run stands, each with the words that a file of answers needs for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from runner.core import act as ac
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.gates import OWED
from runner.core.graph import Procedure, Reading, Step
from runner.core.leaving import OVERRIDABLE
from runner.core.stage import Stage
from runner.core.state import State
from runner.core.values import level_of, positions
from runner.edge.amounts import amounts
from runner.verify.coverage import Item

LATE = "08:00"
"""The time of day of a late entry: in a file of answers it tells one visit of a plain step from the next."""
SPOKEN = -1
"""A visit of a plain step that has its own answer in the file: every later visit needs one too."""
REASON = "rehearsed"
_MS = 1_000_000
_SILENT = ("do", "grant", "beats", "start hold", "books")
"""What is passed without an answer in the file."""

SpotT = TypeVar("SpotT")


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """One answer as it stands in a file: the table, the name in it, and its parts."""

    table: str
    name: str
    said: Mapping[str, str | tuple[str, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial(Generic[SpotT]):
    """Acts that are given one after the other; once tried, where they lead and what they cross."""

    acts: tuple[AnyAct, ...]
    given: tuple[Given, ...] = ()
    wait_ns: int = 0
    passed: int = 0
    """How a step that asks for nothing was passed: 1 without a word in the file, SPOKEN with one, 0 neither."""
    used: str = ""
    """Beats of the grant that were used, where it was not all of them: said with the answer to the look after it."""
    after: SpotT = None  # type: ignore[assignment]
    items: frozenset[Item] = frozenset()


def trials(
    procedure: Procedure, state: State, owed: Stage, plain: Mapping[str, int], used: str
) -> Iterator[Trial[SpotT]]:
    """What may be tried; the first is what is usual."""
    match owed.kind:
        case "fluid":
            yield from (_answer(state, value, 0, used) for value in owed.options)
            yield from _aside(state, owed, plain)
        case "look" if used:
            looks: Iterator[Trial[SpotT]] = _looks(procedure, state, owed)
            yield from (replace(one, used=used) for one in looks)
        case "summary":
            yield Trial(acts=(ac.Assume(),))
        case "held":
            yield Trial(acts=(ac.Resume(clean=True),))
        case "unknown":
            yield Trial(acts=(ac.Attest(condition=owed.names[0], holds=True),))
        case "look":
            yield from _looks(procedure, state, owed)
        case "ask":
            yield from _supplies(procedure, owed)
        case "own caution" if owed.caution is not None:
            confirm = ac.Confirm(hazard=owed.caution.name, key=owed.key)
            yield Trial(acts=(confirm,), wait_ns=max(0, owed.needed_ms - owed.shown_ms) * _MS)
        case "cautions":
            yield Trial(acts=(ac.ConfirmRest(),), wait_ns=max(0, owed.needed_ms - owed.shown_ms) * _MS)
        case "safe stop":
            yield _stopping(procedure, owed)
        case "end":
            yield Trial(acts=(ac.Done(),))
        case "needs":
            yield from _needs(owed)
        case "read back":
            yield Trial(acts=(ac.Accept(),))
        case _:
            yield from _gate(procedure, state, owed, plain)


def _looks(procedure: Procedure, state: State, owed: Stage) -> Iterator[Trial[SpotT]]:
    """The highest position, then the lowest."""
    if owed.found is None:
        return
    seen = positions(procedure, state, level_of(procedure, owed.found.procedure, owed.level))
    ranked = sorted((p for p in seen if p in owed.options), key=lambda p: seen[p], reverse=True)
    marks = [p for p in ranked if p != "nothing to be seen"] or ranked
    for position in dict.fromkeys((*marks[:1], *marks[-1:], "cannot see")):
        said = Given(table="looks", name=owed.level, said={"value": position})
        yield Trial(acts=(ac.Look(level=owed.level, position=position),), given=(said,))


def _supplies(procedure: Procedure, owed: Stage) -> Iterator[Trial[SpotT]]:
    name = owed.names[0]
    owners = (procedure, *procedure.fragments.values())
    ask = next((p.asks[name.partition("@")[0]] for p in owners if name.partition("@")[0] in p.asks), None)
    for car in (car for p in owners for car in p.example_cars):
        value = str(car.values.get(name, ""))
        if value and value != "not known yet" and ask is not None and ask.sources:
            said = Given(table="supply", name=name, said={"value": value, "source": ask.sources[0]})
            yield Trial(acts=(ac.Supply(name=name, typed=value, source=ask.sources[0]),), given=(said,))


def _stopping(procedure: Procedure, owed: Stage) -> Trial[SpotT]:
    for name in owed.names:
        left = procedure.conditions[name.partition("@")[0]].if_left
        if left is not None and left.kind == "close":
            return Trial(acts=(ac.MadeSafe(condition=name),))
    return Trial(acts=(ac.Done(),))


def _needs(owed: Stage) -> Iterator[Trial[SpotT]]:
    first = owed.unmet[0]
    if first.wait_left_s:
        yield Trial(acts=(ac.Tick(),), wait_ns=first.wait_left_s * 1_000_000_000)
    elif isinstance(first.need, graph.Holds) and first.is_now == "U":
        yield Trial(acts=(ac.Attest(condition=first.instance, holds=first.need.wanted),))
    elif isinstance(first.need, graph.Holds) and first.need.wanted:
        yield Trial(acts=(ac.Restore(condition=first.instance),))


def _gate(procedure: Procedure, state: State, owed: Stage, plain: Mapping[str, int]) -> Iterator[Trial[SpotT]]:
    step = owed.step
    if step is None:
        return
    yield from _usual(procedure, state, owed, step, spoken=plain.get(state.path) == SPOKEN)
    yield from _aside(state, owed, plain)


def _aside(state: State, owed: Stage, plain: Mapping[str, int]) -> Iterator[Trial[SpotT]]:
    """Override and what cannot be done, where the author has an edge for them."""
    step = owed.step
    if step is None:
        return
    # A file cannot tell a later visit of a step that is passed in silence from the first.
    if state.back_to or (owed.kind in _SILENT and plain.get(state.path, 0) > 0):
        return
    passed = SPOKEN if owed.kind in ("do", "books") else 0
    if step.override is not None and owed.kind in OVERRIDABLE:
        said = Given(table="steps", name=state.path, said={"override": REASON})
        yield Trial(acts=(ac.Override(reason=REASON, initials=state.by),), given=(said,), passed=passed)
    if step.cannot is not None and owed.kind not in ("beats", "hold"):
        said = Given(table="steps", name=state.path, said={"cannot": REASON})
        yield Trial(acts=(ac.Cannot(reason=REASON, way="step"),), given=(said,), passed=passed)


def _usual(procedure: Procedure, state: State, owed: Stage, step: Step, *, spoken: bool) -> Iterator[Trial[SpotT]]:
    wait = owed.left_s * 1_000_000_000
    match owed.kind:
        case "beats":
            yield Trial(acts=(ac.Done(),))
            yield Trial(acts=(ac.Report(used="1"),), used="1")
        case "do" if spoken:
            late = Given(table="steps", name=state.path, said={"late": LATE})
            yield Trial(acts=(ac.Done(late=LATE),), given=(late,), passed=SPOKEN)
        case "books" if spoken:
            return
        case "do" | "grant" | "start hold" | "books":
            yield Trial(acts=(ac.Done(),), passed=int(owed.kind != "grant"))
        case "check" if isinstance(step.gate, graph.Check):
            here = owed.found.here if owed.found is not None else None
            right = tuple((here or "") if r == graph.HERE else r for r in step.gate.right)
            answers = [*right[:1], *(o for o in owed.options if o not in right)][: 2 if step.gate.otherwise else 1]
            if step.gate.kind == "number" and step.gate.otherwise:
                answers.append(str(int(right[0]) + 1))
            yield from (_answer(state, value, wait) for value in answers)
        case "choose" | "hold":
            yield from (_answer(state, value, wait) for value in owed.options)
        case "identify" | "photo":
            said = Given(table="steps", name=state.path, said={"instead": OWED})
            yield Trial(acts=(ac.Instead(result=OWED),), given=(said,))
        case "read" if isinstance(step.gate, Reading):
            yield from _values(procedure, state, owed, step.gate)
        case _:
            return


def _answer(state: State, value: str, wait_ns: int, used: str = "") -> Trial[SpotT]:
    parts = {"used": used, "answer": value} if used else {"answer": value}
    said = Given(table="steps", name=state.path, said=parts)
    return Trial(acts=(ac.Answer(value=value),), given=(said,), wait_ns=wait_ns)


def _values(procedure: Procedure, state: State, owed: Stage, gate: Reading) -> Iterator[Trial[SpotT]]:
    """Each limit, one step to either side of it and well beyond; without a limit a ladder of values."""
    for amount in amounts(procedure, state, owed, gate):
        text = f"{float(amount):.6f}".rstrip("0").rstrip(".")
        typed = (text,) * gate.points
        parts: dict[str, str | tuple[str, ...]] = {"points": typed} if gate.points > 1 else {"value": text}
        parts["unit"] = gate.unit.symbol
        clicks = str(gate.clicks) if gate.clicks is not None else ""
        if clicks:
            parts["clicks"] = clicks
        enter = ac.Enter(typed=list(typed), unit=gate.unit.symbol, clicks=clicks)
        yield Trial(acts=(enter, ac.Accept()), given=(Given(table="steps", name=state.path, said=parts),))
    for result in gate.instead:
        said = Given(table="steps", name=state.path, said={"instead": result})
        yield Trial(acts=(ac.Instead(result=result),), given=(said,))
