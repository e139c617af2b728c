"""Which values of the car a step uses: an unknown one holds only the steps that use it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from runner.core import graph
from runner.core.draft import at
from runner.core.expr import Expr
from runner.core.graph import LevelNeed, Procedure, Step
from runner.core.state import State
from runner.core.values import Asks, named, owner_of


def asks_of(procedure: Procedure, path: str, state: State) -> tuple[str, ...]:
    """The asks (``name`` or ``name@RR``) that the step at ``path`` uses and that are not known yet."""
    missing = _missing(procedure, path, state.asks)
    return tuple(name for name in missing if name not in state.choices) if missing else ()


@lru_cache(maxsize=4096)
def _missing(procedure: Procedure, path: str, asks: Asks) -> tuple[str, ...]:
    found = at(procedure, path)
    node, state = found.node, State(asks=asks)
    if not isinstance(node, Step):
        return ()
    missing: dict[str, None] = {}
    for owner, name in _names(procedure, found.procedure, node):
        for ask in _through(owner, name, frozenset()):
            if named(owner, state, ask, found.here) is None:
                base = ask.partition("@")[0]
                member = graph.narrow(found.here, owner.asks[base].per)
                missing[ask if base != ask or member is None else f"{ask}@{member}"] = None
    return tuple(missing)


def _through(owner: Procedure, name: str, seen: frozenset[str]) -> Iterator[str]:
    """The asks that a name stands on, through computed values."""
    if name.partition("@")[0] in owner.asks:
        yield name
    elif name in owner.computes and name not in seen:
        for inner in sorted(owner.computes[name].expr.names):
            yield from _through(owner, inner, seen | {name})


def _names(procedure: Procedure, owner: Procedure, step: Step) -> Iterator[tuple[Procedure, str]]:
    for whose, expr in _expressions(procedure, owner, step):
        yield from ((whose, name) for name in sorted(expr.names))
    if step.branch.subject != "gate":
        yield owner, step.branch.subject


def _expressions(procedure: Procedure, owner: Procedure, step: Step) -> Iterator[tuple[Procedure, Expr]]:
    moves, needs, own = list(step.moves), list(step.needs), list[Expr | None]()
    match step.gate:
        case graph.Reading(bands=bands, error=error):
            own += [e for b in bands for e in (b.low, b.high)]
            own.append(error)
        case graph.Count(move=move, gravity=gravity, planned=planned, beat=beat):
            moves += [move] if move is not None else []
            needs += [need for phase in beat for need in phase.needs]
            own += [gravity, planned]
        case graph.Books(imbalance=imbalance, within=within):
            own += [imbalance, within]
        case _:
            pass
    own += [e for move in moves for e in (move.least, move.most, move.low_mark)]
    own += [e for look in step.sets for e in (look.mark, look.within)]
    own += [need.at_least for need in needs if isinstance(need, LevelNeed)]
    yield from ((owner, e) for e in own if e is not None)
    for name in dict.fromkeys(n for move in moves for n in (move.source, move.target) if n is not None):
        whose = owner_of(procedure, owner, name)
        yield whose, whose.levels[name].floor
        yield whose, whose.levels[name].brim
