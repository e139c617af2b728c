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
from functools import lru_cache
from itertools import chain

from runner.core.finding import Finding, listed
from runner.core.graph import Procedure
from runner.verify import (
    assignment,
    cautions,
    consequences,
    contract,
    double,
    duties,
    ends,
    groups,
    language,
    leaving,
    levels,
    loops,
    needs,
    openings,
    order,
    reach,
    restoring,
    rules,
    shape,
    stacks,
    starting,
    urgent,
    verdict,
    waits,
)
from runner.verify.admission import Levels, Now, Verdict, judged
from runner.verify.amounts import Raw
from runner.verify.claim import Broken, Case, Claim, Proof, broken, case_of
from runner.verify.expand import expand
from runner.verify.flow import Flow, spread, ways
from runner.verify.layout import layout
from runner.verify.levels import bound_findings
from runner.verify.paths import Path, proven
from runner.verify.trails import trail

__all__ = ["CHECKS", "Checked", "Verdict", "admissible", "bind_levels", "explain", "verify"]

CHECKS: tuple[Proof, ...] = (
    Proof(name="reach", manual=reach.__doc__ or "", findings=reach.findings),
    Proof(name="loop", manual=loops.__doc__ or "", findings=loops.findings),
    Proof(name="needs", manual=needs.__doc__ or "", claims=needs.claims),
    Proof(name="opening", manual=openings.__doc__ or "", claims=openings.claims),
    Proof(name="start", manual=starting.__doc__ or "", findings=starting.findings),
    Proof(name="duty", manual=duties.__doc__ or "", claims=duties.claims),
    Proof(name="restated", manual=double.__doc__ or "", claims=double.claims),
    Proof(name="effect", manual=consequences.__doc__ or "", claims=consequences.claims),
    Proof(name="caution", manual=cautions.__doc__ or "", claims=cautions.claims),
    Proof(name="group", manual=groups.__doc__ or "", findings=groups.findings),
    Proof(name="rule", manual=rules.__doc__ or "", claims=rules.claims),
    Proof(name="after", manual=order.__doc__ or "", claims=order.claims),
    Proof(name="stack", manual=stacks.__doc__ or "", claims=stacks.claims),
    Proof(name="unset", manual=assignment.__doc__ or "", claims=assignment.claims),
    Proof(name="verdict", manual=verdict.__doc__ or "", findings=verdict.findings),
    Proof(name="contract", manual=contract.__doc__ or "", findings=contract.findings, claims=contract.claims),
    Proof(name="restore", manual=restoring.__doc__ or "", findings=restoring.findings, claims=restoring.claims),
    Proof(name="level", manual=levels.__doc__ or "", findings=levels.findings),
    Proof(name="urgent", manual=urgent.__doc__ or "", findings=urgent.findings, claims=urgent.claims),
    Proof(name="wording", manual=language.__doc__ or "", findings=language.findings),
    Proof(name="wait", manual=waits.__doc__ or "", findings=waits.findings),
    Proof(name="end", manual=ends.__doc__ or "", claims=ends.claims),
    Proof(name="leave", manual=leaving.__doc__ or "", claims=leaving.claims),
)


BY_ITSELF = ("rule", "contract", "verdict", "wait", "reach", "wording", "group")
"""The proofs that look at one file: what they find in a fragment stands against its callers too."""
MOST_PATHS = 20
"""So many findings of a file show their path."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checked:
    """A procedure that passed, with its flat graph and what the proofs found worth a warning."""

    procedure: Procedure
    case: Case
    flow: Flow
    claims: Mapping[int, tuple[Claim, ...]]
    warnings: tuple[Finding, ...]


def verify(procedure: Procedure) -> Checked | tuple[Finding, ...]:
    """The procedure as one that may run, or everything that keeps it from running."""
    verdict: Checked | tuple[Finding, ...] = ()
    for member in shape.members(procedure):
        verdict = _verified(procedure, member)
        if not isinstance(verdict, Checked):
            break
    return verdict


def _verified(procedure: Procedure, here: str | None) -> Checked | tuple[Finding, ...]:
    expanded = expand(procedure, here)
    if isinstance(expanded, Finding):
        return (expanded,)
    case = case_of(procedure, expanded, layout(procedure, expanded))
    made = ways(expanded, case.layout)
    flow = Flow(expanded, case.layout, made, spread(made, 0, case.layout.start))
    case.once("reached", lambda: flow.states)
    claims = _claims(case)
    found = [f for check in CHECKS if check.findings is not None for f in check.findings(case)]
    found += _broken(flow, claims)
    told = {(f.place, f.check, f.text) for f in found}
    own = (f for fragment in procedure.fragments.values() for f in _own(fragment))
    found += [f for f in own if (f.place, f.check, f.text) not in told]
    errors = listed(f for f in found if f.severity == "error")
    if errors:
        return listed(found)
    return Checked(procedure=procedure, case=case, flow=flow, claims=claims, warnings=listed(found))


@lru_cache(maxsize=64)
def _own(fragment: Procedure) -> tuple[Finding, ...]:
    """What is wrong with a fragment by itself, whoever calls it; its steps are proven where it is called."""
    verdict = verify(fragment)
    return () if isinstance(verdict, Checked) else tuple(f for f in verdict if f.check in BY_ITSELF)


def _claims(case: Case) -> dict[int, tuple[Claim, ...]]:
    made = [check.claims for check in CHECKS if check.claims is not None]
    return {id(s): tuple(chain.from_iterable([claims(case, s) for claims in made])) for s in case.expanded.stations}


def _broken(flow: Flow, claims: Mapping[int, tuple[Claim, ...]]) -> Iterator[Finding]:
    suspects = list(broken(flow, claims))
    paths = proven(flow, suspects, 0, flow.layout.start)
    best: dict[tuple[object, ...], tuple[Broken, Path]] = {}
    for at, path in paths.items():
        claim = suspects[at].claim
        key = (claim.check, claim.place, claim.key)
        if key not in best or len(path.points) < len(best[key][1].points):
            best[key] = (suspects[at], path)
    shown: dict[str, int] = {}
    for suspect, path in sorted(best.values(), key=lambda each: each[0].claim.place):
        claim = suspect.claim
        shown[claim.place.file] = shown.get(claim.place.file, 0) + 1
        way = shown[claim.place.file] <= MOST_PATHS
        mixed = f" (not distinguished: {', '.join(path.blurred)})" if path.blurred else ""
        yield Finding(
            place=claim.place,
            check=claim.check,
            text=claim.text + mixed,
            help=claim.help,
            related=claim.related,
            trail=trail(flow.expanded, path.points, path.edges) if way else (),
        )


def bind_levels(checked: Checked, values: Raw) -> tuple[Finding, ...]:
    """What stands against a run with the values of one car: its levels; () if nothing does.

    ``values`` map ``name`` or ``name@RR`` to its value and source, as they are bound for a run.
    """
    return listed(bound_findings(checked.case, values))


def explain(check: str) -> str | None:
    """The manual page of a check; None if there is none of that name."""
    others = {"size": shape.__doc__, "walking": urgent.__doc__}
    return next((c.manual for c in CHECKS if c.name == check), others.get(check))


def admissible(
    checked: Checked,
    path: str,
    conditions: Mapping[str, str],
    levels: Levels,
    *,
    remaining: Mapping[str, tuple[str, ...]],
    happened: Mapping[str, int] | None = None,
    turned: Mapping[str, int] | None = None,
    passed: Mapping[str, tuple[bool, str]] | None = None,
    values: Raw | None = None,
    choices: Mapping[str, str] | None = None,
) -> Verdict:
    """Whether every path from a place holds, when the car is in this state.

    ``conditions`` map instances to T, F or U; ``remaining`` maps the path of each block around the place to the
    members whose turn is still to come. With ``happened`` (as the engine tells it) rules start from what was done, with
    ``choices`` branches from what was chosen; without them, as on the ways that lead there. With ``values`` of the car
    (as for ``bind_levels``) branches on them are known and the levels are proven too.
    """
    now = Now(
        conditions=conditions,
        levels=levels,
        remaining=remaining,
        happened=happened,
        turned=turned or {},
        passed=passed or {},
        values=values,
        choices=choices or {},
    )
    return judged(checked.case, checked.flow, checked.claims, path, now)
