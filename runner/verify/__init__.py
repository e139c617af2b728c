"""Whether a procedure may run: every proof over its flat graph, on every path, loop and order of corners.

Rules of this package
1. Each proof is a module of its own that knows no other; its docstring is its manual page. ``CHECKS`` lists them.
2. ``Checked`` is made here alone: whoever holds one holds a procedure that passed.
3. What is called proven stands on this: confirmations were true when they were given, conditions change only as
   declared, and the values of the car are right.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from runner.core.finding import Finding, listed
from runner.core.graph import Procedure
from runner.verify import (
    cautions,
    double,
    duties,
    ends,
    leaving,
    loops,
    needs,
    openings,
    reach,
    rules,
    stacks,
)
from runner.verify.claim import Broken, Case, Claim, Proof, broken, case_of
from runner.verify.expand import Expanded, Frame, Point, expand
from runner.verify.fields import Layout
from runner.verify.flow import Flow, spread, ways
from runner.verify.layout import layout
from runner.verify.paths import Path, proven

__all__ = ["CHECKS", "Checked", "Verdict", "admissible", "explain", "verify"]

CHECKS: tuple[Proof, ...] = (
    Proof(name="reach", manual=reach.__doc__ or "", findings=reach.findings),
    Proof(name="loop", manual=loops.__doc__ or "", findings=loops.findings),
    Proof(name="needs", manual=needs.__doc__ or "", claims=needs.claims),
    Proof(name="opening", manual=openings.__doc__ or "", claims=openings.claims),
    Proof(name="duty", manual=duties.__doc__ or "", claims=duties.claims),
    Proof(name="restated", manual=double.__doc__ or "", claims=double.claims),
    Proof(name="caution", manual=cautions.__doc__ or "", claims=cautions.claims),
    Proof(name="rule", manual=rules.__doc__ or "", claims=rules.claims),
    Proof(name="stack", manual=stacks.__doc__ or "", claims=stacks.claims),
    Proof(name="end", manual=ends.__doc__ or "", claims=ends.claims),
    Proof(name="leave", manual=leaving.__doc__ or "", claims=leaving.claims),
)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checked:
    """A procedure that passed, with its flat graph and what the proofs found worth a warning."""

    procedure: Procedure
    case: Case
    flow: Flow
    claims: Mapping[int, tuple[Claim, ...]]
    warnings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether a run may go on from a place in the state of the car, and if not, why."""

    ok: bool
    because: str


def verify(procedure: Procedure) -> Checked | tuple[Finding, ...]:
    """The procedure as one that may run, or everything that keeps it from running."""
    expanded = expand(procedure)
    if isinstance(expanded, Finding):
        return (expanded,)
    case = case_of(procedure, expanded, layout(procedure, expanded))
    made = ways(expanded, case.layout)
    flow = Flow(expanded, case.layout, made, spread(made, 0, case.layout.start))
    claims = _claims(case)
    found = [f for check in CHECKS if check.findings is not None for f in check.findings(case)]
    found += _broken(flow, claims)
    errors = listed(f for f in found if f.severity == "error")
    if errors:
        return listed(found)
    return Checked(procedure=procedure, case=case, flow=flow, claims=claims, warnings=listed(found))


def _claims(case: Case) -> dict[int, tuple[Claim, ...]]:
    return {
        id(station): tuple(c for check in CHECKS if check.claims is not None for c in check.claims(case, station))
        for station in case.expanded.stations
    }


def _broken(flow: Flow, claims: Mapping[int, tuple[Claim, ...]]) -> Iterator[Finding]:
    suspects = list(broken(flow, claims))
    paths = proven(flow, suspects, 0, flow.layout.start)
    best: dict[tuple[object, ...], tuple[Broken, Path]] = {}
    for at, path in paths.items():
        claim = suspects[at].claim
        key = (claim.check, claim.place, claim.key)
        if key not in best or len(path.points) < len(best[key][1].points):
            best[key] = (suspects[at], path)
    for suspect, path in best.values():
        claim = suspect.claim
        yield Finding(
            place=claim.place,
            check=claim.check,
            text=claim.text,
            help=claim.help,
            related=claim.related,
            trail=tuple(_trail(flow.expanded, path)),
        )


def _trail(expanded: Expanded, path: Path) -> Iterator[str]:
    for at, edge in zip(path.points, path.edges, strict=True):
        point = expanded.points[at]
        if point.station.step is not None and point.station.kind == "step":
            label = point.station.edges[edge].label if edge >= 0 else ""
            yield f"{point.path}" + (f" ({label})" if label else "")


def explain(check: str) -> str | None:
    """The manual page of a check; None if there is none of that name."""
    return next((c.manual for c in CHECKS if c.name == check), None)


def admissible(
    checked: Checked,
    path: str,
    conditions: Mapping[str, str],
    levels: Mapping[str, object],
    *,
    remaining: Mapping[str, tuple[str, ...]],
) -> Verdict:
    """Whether every path from a place holds, when the car is in this state.

    ``conditions`` map instances to T, F or U; ``remaining`` maps the path of each block around the place to the
    members whose turn is still to come. Monitors of rules, choices and parts are as on the ways that lead there.
    """
    flow = checked.flow
    first = next(
        (at for at in checked.case.expanded.at.get(path, ()) if _fits(flow.expanded.points[at], remaining)), None
    )
    if first is None:
        return Verdict(ok=False, because=f"there is no step '{path}' with these turns to come")
    start = _started(flow.layout, flow.states[first], conditions)
    onward = Flow(flow.expanded, flow.layout, flow.ways, spread(flow.ways, first, start))
    suspects = list(broken(onward, checked.claims))
    paths = proven(onward, suspects, first, start)
    if not paths:
        return Verdict(ok=True, because="")
    claim = suspects[min(paths, key=lambda at: len(paths[at].points))].claim
    return Verdict(ok=False, because=claim.text)


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


def _started(made: Layout, known: int, conditions: Mapping[str, str]) -> int:
    x = known or made.start
    for name, f in made.fields.items():
        if f.states == ("T", "F", "U"):
            x = x & ~f.mask | f.bits(conditions.get(name, "U"))
    return x
