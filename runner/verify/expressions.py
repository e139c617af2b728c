"""The formulas that a step uses, and the readings that they stand on."""

from __future__ import annotations

import re
from collections.abc import Iterator

from runner.core.expr import Expr
from runner.core.graph import Books, Count, LevelNeed, Procedure, Reading, Step, moves_of


def formulas(step: Step) -> Iterator[Expr]:
    """Every formula of a step, its gate and its moves."""
    match step.gate:
        case Reading(bands=bands, error=error):
            yield from (e for b in bands for e in (b.low, b.high) if e is not None)
            yield from () if error is None else (error,)
        case Count(gravity=gravity, planned=planned):
            yield from (e for e in (gravity, planned) if e is not None)
        case Books(imbalance=imbalance, within=within):
            yield imbalance
            yield within
        case _:
            pass
    for move in moves_of(step):
        yield from (e for e in (move.least, move.most, move.low_mark) if e is not None)
    for look in step.sets:
        yield look.mark
        yield look.within
    yield from (n.at_least for n in step.needs if isinstance(n, LevelNeed))


_SLOT = re.compile(r"\{([^{}]*)\}")


def shown_by(owner: Procedure, step: Step) -> tuple[str, ...]:
    """Every name whose value stands in what the step tells a person to do, and what it is computed from."""
    phases = step.gate.beat if isinstance(step.gate, Count) else ()
    texts = (step.do, step.expect, *step.take, *(phase.do for phase in phases))
    shown = [name.strip() for text in texts for name in _SLOT.findall(text)]
    inner = [n for name in shown if name in owner.computes for n in behind(owner, owner.computes[name].expr)]
    return tuple(dict.fromkeys((*shown, *inner)))


def names_of(owner: Procedure, step: Step) -> tuple[str, ...]:
    """Every name that the step's formulas stand on, through computed values; no totals."""
    return tuple(dict.fromkeys(name for expr in formulas(step) for name in behind(owner, expr)))


def behind(owner: Procedure, expr: Expr) -> tuple[str, ...]:
    """Every name that a formula stands on, through computed values; no totals."""
    todo = sorted(expr.names)
    found: dict[str, None] = {}
    while todo:
        name = todo.pop()
        if name not in found:
            found[name] = None
            computed = owner.computes.get(name)
            todo += sorted(computed.expr.names) if computed is not None else []
    return tuple(found)
