"""Which values of the car a step uses: an unknown one holds only the steps that use it."""

from __future__ import annotations

from collections.abc import Iterator

from runner.core import graph
from runner.core.expr import Expr
from runner.core.graph import Found, LevelNeed, Procedure, Step
from runner.core.state import State
from runner.core.values import named


def asks_of(procedure: Procedure, found: Found, state: State) -> tuple[str, ...]:
    """The asks (``name`` or ``name@RR``) that the step uses and that are not known yet."""
    node = found.node
    if not isinstance(node, Step):
        return ()
    missing: dict[str, None] = {}
    for name in _names(procedure, node):
        for ask in _through(found.procedure, name, frozenset()):
            declared = found.procedure.asks[ask]
            if ask not in state.choices and named(found.procedure, state, ask, found.here) is None:
                member = graph.narrow(found.here, declared.per)
                missing[ask if declared.per is None or member is None else f"{ask}@{member}"] = None
    return tuple(missing)


def _through(owner: Procedure, name: str, seen: frozenset[str]) -> Iterator[str]:
    """The asks that a name stands on, through computed values."""
    if name in owner.asks:
        yield name
    elif name in owner.computes and name not in seen:
        for inner in sorted(owner.computes[name].expr.names):
            yield from _through(owner, inner, seen | {name})


def _names(procedure: Procedure, step: Step) -> Iterator[str]:
    for expr in _expressions(procedure, step):
        yield from sorted(expr.names)
    if step.branch.subject != "gate":
        yield step.branch.subject


def _expressions(procedure: Procedure, step: Step) -> Iterator[Expr]:
    moves = list(step.moves)
    match step.gate:
        case graph.Reading(bands=bands, error=error):
            yield from (e for b in bands for e in (b.low, b.high) if e is not None)
            if error is not None:
                yield error
        case graph.Count(move=move, gravity=gravity, planned=planned):
            moves += [move] if move is not None else []
            yield from (e for e in (gravity, planned) if e is not None)
        case graph.Books(imbalance=imbalance, within=within):
            yield imbalance
            yield within
        case _:
            pass
    for move in moves:
        yield from (e for e in (move.least, move.most, move.low_mark) if e is not None)
        for level in (move.source, move.target):
            if level is not None and level in procedure.levels:
                yield procedure.levels[level].floor
                yield procedure.levels[level].brim
    for look in step.sets:
        yield look.mark
        yield look.within
    for need in step.needs:
        if isinstance(need, LevelNeed):
            yield need.at_least
