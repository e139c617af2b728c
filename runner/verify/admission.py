"""Whether a run may go on from a place: the proofs, started there from the car as it is.

What the engine keeps goes in as it is: conditions, levels, choices, what happened. Waits, parts and what is not
handed in are taken as they may be on the ways that lead to the place. A promise (`must_follow`) is open when its
first part has happened and its second has not since; a rule within one block looks at the turn that goes on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from runner.verify.amounts import Raw
from runner.verify.claim import Case, Claim, broken
from runner.verify.expand import Frame, Point
from runner.verify.fields import Field, Layout, meant, member_of, paired
from runner.verify.flow import Flow, spread
from runner.verify.levels import bound_findings
from runner.verify.paths import proven

Levels = Mapping[str, tuple[Fraction, Fraction] | None]
Claims = Mapping[int, tuple[Claim, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether a run may go on from a place in the state of the car, and if not, why."""

    ok: bool
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """The car and the run as they are: values of the car are needed for levels only."""

    conditions: Mapping[str, str]
    levels: Levels
    remaining: Mapping[str, tuple[str, ...]]
    happened: Mapping[str, int] | None
    turned: Mapping[str, int]
    passed: Mapping[str, tuple[bool, str]]
    values: Raw | None
    choices: Mapping[str, str]


def judged(case: Case, flow: Flow, claims: Claims, path: str, now: Now) -> Verdict:
    """Whether every path from ``path`` holds."""
    copies = flow.expanded.at.get(path, ())
    first = next((at for at in copies if _fits(flow.expanded.points[at], now.remaining)), None)
    if first is None:
        return Verdict(ok=False, because=f"there is no step '{path}' with these turns to come")
    start = _ordered(case, flow.expanded.points[first], _started(case, flow.states[first], now), now)
    onward = Flow(flow.expanded, flow.layout, flow.ways, spread(flow.ways, first, start))
    suspects = list(broken(onward, claims))
    paths = proven(onward, suspects, first, start)
    if paths:
        return Verdict(ok=False, because=suspects[min(paths, key=lambda at: len(paths[at].points))].claim.text)
    if now.values is not None:
        found = bound_findings(case, now.values, first, now.levels)
        if found:
            return Verdict(ok=False, because=found[0].text)
    return Verdict(ok=True, because="")


def _fits(point: Point, remaining: Mapping[str, tuple[str, ...]]) -> bool:
    if point.station.kind not in ("gate", "step", "end"):
        return False
    frame: Frame | None = point.frame
    while frame is not None:
        block = frame.prefix.rstrip("/").rpartition("/")[0]
        if block in remaining and frame.left != frozenset(remaining[block]):
            return False
        frame = frame.up
    return True


def _started(case: Case, known: int, now: Now) -> int:
    made: Layout = case.layout
    x = known or made.start
    for name, f in made.fields.items():
        if f.states == ("T", "F", "U"):
            x = x & ~f.mask | f.bits(now.conditions.get(name, "U"))
    for name, value in _said(now):
        chosen = made.fields.get(name)
        if chosen is not None and value in chosen.states:
            x = x & ~chosen.mask | chosen.bits(value)
    for (at, member), f in made.monitors.items() if now.happened is not None else ():
        rule = case.procedure.rules[at]
        told = now.happened or {}
        whats = [w for t, w in told.items() if rule.what and meant(rule.what, t) and member_of(t) == member]
        others = [w for t, w in told.items() if rule.other and meant(rule.other, t) and paired(rule.other, t, member)]
        other = max(others, default=-1)
        if rule.kind == "only_after":
            second = other > max((now.turned.get(f"{b}/{m}", -1) for b, m in _turns(made, f)), default=-1)
        else:
            second = bool(whats) and max(whats) >= other
        x = x & ~f.mask | f.bits(f.states[1] if second else f.states[0])
    return x


def _ordered(case: Case, point: Point, x: int, now: Now) -> int:
    """What was passed in the turns that go on around the place, for what must come after it."""
    prefixes = {"": ""}
    frame: Frame | None = point.frame
    while frame is not None:
        prefixes[frame.block] = frame.prefix
        frame = frame.up
    for name, fields in case.layout.order.items() if now.happened is not None else ():
        block, slash, node = name.rpartition("/")
        prefix = prefixes.get(block + slash, block + slash)
        done, last = now.passed.get(prefix + node, (False, ""))
        for outcomes, f in fields.items():
            x = x & ~f.mask | f.bits("done" if (last in outcomes if outcomes else done) else "not yet")
    return x


def _turns(made: Layout, f: Field) -> Iterator[tuple[str, str]]:
    """The turns at which the history of a rule begins anew."""
    return (turn for turn, pairs in made.turns.items() if any(mask == f.mask for mask, _ in pairs))


def _said(now: Now) -> Iterator[tuple[str, str]]:
    """What the run remembers and what is known of the car, by the names of their fields."""
    yield from ((f"choice {name}", value) for name, value in now.choices.items())
    for name, entry in (now.values or {}).items():
        yield f"ask {name}", entry.get("value", "")
