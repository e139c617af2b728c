"""A first look at a procedure that was changed at one place: what is found on one order of each block.

Rules of this module
1. With one order there are fewer paths, each of them a path of the whole: what is found here is truly broken.
   What is not found here may still be; then the whole decides.
2. Fragments are taken where they are called; what they promise by themselves does not change with their caller.
3. Of all places at which one claim may be broken, one that is broken is enough. Levels and leaving are looked at
   last, where nothing else was found: that a rule alone finds something is said among the proofs before them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from runner.core.finding import Finding
from runner.core.graph import MEMBERS, Body, Each, Node, Procedure
from runner.verify import CHECKS
from runner.verify.claim import Broken, broken, case_of
from runner.verify.expand import expand
from runner.verify.flow import Flow, spread, ways
from runner.verify.layout import layout
from runner.verify.mutation import NO_PROOF
from runner.verify.paths import proven

Key = tuple[object, ...]
_AFTER = ("level", "leave", "restore")
_EARLY = tuple(check for check in CHECKS if check.name not in _AFTER)
_LATE = tuple(check for check in CHECKS if check.name in _AFTER)


@dataclass(frozen=True, slots=True)
class Look:
    """What was found, and every claim that the first pass suspected."""

    findings: tuple[Finding, ...]
    suspected: frozenset[Key]


def one_order(procedure: Procedure) -> Procedure:
    """The procedure with one order for each block, in its fragments too."""
    orders = {
        name: next(iter(ask.orders.values()))
        for owner in (procedure, *procedure.fragments.values())
        for name, ask in owner.asks.items()
        if ask.orders
    }
    fragments = {name: replace(one, body=_body(one.body, orders)) for name, one in procedure.fragments.items()}
    return replace(procedure, body=_body(procedure.body, orders), fragments=fragments)


def _body(body: Body, orders: Mapping[str, tuple[str, ...]]) -> Body:
    return replace(body, nodes={name: _node(node, orders) for name, node in body.nodes.items()})


def _node(node: Node, orders: Mapping[str, tuple[str, ...]]) -> Node:
    if not isinstance(node, Each):
        return node
    order = orders.get(node.order, MEMBERS[node.index]) if isinstance(node.order, str) else node.order
    return replace(node, order=order, body=_body(node.body, orders))


def look(procedure: Procedure, known: frozenset[Key] = frozenset()) -> Look:
    """What is found; claims that were suspected before (``known``) are looked into only where nothing else is."""
    expanded = expand(procedure)
    if isinstance(expanded, Finding):
        return Look((expanded,), frozenset())
    case = case_of(procedure, expanded, layout(procedure, expanded))
    made = ways(expanded, case.layout)
    flow = Flow(expanded, case.layout, made, spread(made, 0, case.layout.start))
    case.once("reached", lambda: flow.states)
    found: list[Finding] = []
    suspected: set[Key] = set()
    for checks in (_EARLY, _LATE):
        if _wrong(found):
            break
        found += [f for check in checks if check.findings is not None for f in check.findings(case)]
        claims = {
            id(station): tuple(c for check in checks if check.claims is not None for c in check.claims(case, station))
            for station in expanded.stations
        }
        groups: dict[Key, list[Broken]] = {}
        for suspect in broken(flow, claims):
            groups.setdefault(_key(suspect), []).append(suspect)
        suspected |= set(groups)
        found += _truly(flow, groups, [key for key in groups if key not in known])
        if not _wrong(found):
            found += _truly(flow, groups, [key for key in groups if key in known])
    return Look(tuple(found), frozenset(suspected))


def _wrong(found: Iterable[Finding]) -> bool:
    return any(f.severity == "error" and f.check not in NO_PROOF for f in found)


def _key(suspect: Broken) -> Key:
    claim = suspect.claim
    return (claim.check, claim.place, claim.text)


def _truly(flow: Flow, groups: Mapping[Key, list[Broken]], keys: Iterable[Key]) -> list[Finding]:
    """The claims that are broken somewhere: first one place of each is tried, then the others."""
    made: list[Finding] = []
    first = [groups[key][0] for key in keys]
    for suspects in (first, None):
        left = {_key(s) for s in first} - {(f.check, f.place, f.text) for f in made}
        tried = suspects if suspects is not None else [s for key in left for s in groups[key][1:]]
        if not tried:
            continue
        broken_now = {_key(tried[at]): tried[at].claim for at in proven(flow, tried, 0, flow.layout.start)}
        for claim in broken_now.values():
            finding = Finding(place=claim.place, check=claim.check, text=claim.text, related=claim.related)
            made.append(finding)
    return made
