"""What the names in a procedure are worth in a state: asks, computed values, readings, looks."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from runner.core.bind import Bound, bind
from runner.core.bind import quantity as bound_quantity
from runner.core.bind import value as bound_value
from runner.core.expr import Expr
from runner.core.graph import Level, Procedure, Reading, Step, walk
from runner.core.quantity import Quantity
from runner.core.state import Enclosure, State
from runner.core.units import Unclear

Asks = tuple[tuple[str, str, str], ...]


@lru_cache(maxsize=32)
def bound(procedure: Procedure, asks: Asks) -> Bound:
    """The car's values bound to a procedure; what does not fit counts as not known yet."""
    raw = {
        name: {"value": value, "source": source}
        for name, value, source in asks
        if name.partition("@")[0] in procedure.asks
    }
    result = bind(procedure, raw)
    return result if isinstance(result, Bound) else Bound(values={}, unknown=frozenset(procedure.asks))


def misfit(procedure: Procedure, asks: Asks, name: str, value: str, source: str) -> Unclear | None:
    """Why a value of the car cannot be what an ask wants, beside the other values; None where it can."""
    base = name.partition("@")[0]
    owner = next((p for p in (procedure, *procedure.fragments.values()) if base in p.asks), None)
    if owner is None:
        return Unclear(name, f"'{name}' is not asked by this procedure", "choose one from the list")
    raw = {n: {"value": v, "source": s} for n, v, s in asks if n.partition("@")[0] in owner.asks}
    result = bind(owner, raw | {name: {"value": value, "source": source}})
    return None if isinstance(result, Bound) else Unclear(value, result[0].text, result[0].help)


def is_known(procedure: Procedure, asks: Asks, name: str) -> bool:
    """Whether an ask has a value already."""
    return any(name in bound(p, asks).values for p in (procedure, *procedure.fragments.values()))


def readings(procedure: Procedure, state: State) -> dict[str, tuple[Quantity, ...]]:
    """Every reading by name, its totals, and each level at its first look and now."""
    known: dict[str, tuple[Quantity, ...]] = {}
    totals = dict(nothing_yet(procedure))
    for name, taken in state.readings.items():
        known[name] = taken[-1].points
        total = f"total of {name.partition('@')[0]}"
        totals[total] = totals.get(total, ()) + tuple(p for t in taken for p in t.points)
    for name, level in procedure.levels.items():
        now, first = state.levels.get(name), state.first_looks.get(name)
        if now is not None:
            known[f"{name}_now"] = (Quantity(now[0], now[1], level.unit.dimension),)
        if first is not None:
            known[f"{name}_start"] = (Quantity(first[0], first[1], level.unit.dimension),)
    return known | totals


@lru_cache(maxsize=32)
def nothing_yet(procedure: Procedure) -> tuple[tuple[str, tuple[Quantity, ...]], ...]:
    """The total of every reading before it was ever taken."""
    owners = (procedure, *procedure.fragments.values())
    gates = (n.gate for p in owners for n in walk(p.body) if isinstance(n, Step))
    nought = Fraction(0)
    return tuple(
        (f"total of {g.name}", (Quantity(nought, nought, g.dimension),)) for g in gates if isinstance(g, Reading)
    )


def worth(procedure: Procedure, state: State, expr: Expr, here: str | None) -> Quantity | Unclear:
    """What an expression is worth now; Unclear where something in it is not known yet."""
    if not of_asks(procedure, expr):
        return bound_quantity(procedure, bound(procedure, state.asks), expr, here, readings(procedure, state))
    known = _worked_out(procedure, state.asks)
    key = (id(expr), here)
    if key not in known:
        known[key] = (expr, bound_quantity(procedure, bound(procedure, state.asks), expr, here, {}))
    return known[key][1]


@lru_cache(maxsize=32)
def _worked_out(procedure: Procedure, asks: Asks) -> dict[tuple[int, str | None], tuple[Expr, Quantity | Unclear]]:
    """What stands on values of the car alone, once worked out; an expression is kept, so that its id stays its own."""
    return {}


def of_asks(procedure: Procedure, expr: Expr) -> bool:
    """Whether an expression stands on values of the car alone, so that it is worth the same at every step."""
    known = _told_apart(procedure)
    if id(expr) not in known:
        known[id(expr)] = (expr, _stands_on_asks(procedure, expr))
    return known[id(expr)][1]


@lru_cache(maxsize=32)
def _told_apart(procedure: Procedure) -> dict[int, tuple[Expr, bool]]:
    return {}


def _stands_on_asks(procedure: Procedure, expr: Expr) -> bool:
    todo, seen = [expr], set[str]()
    while todo:
        one = todo.pop()
        if one.totals:
            return False
        for name in one.names - seen:
            seen.add(name)
            if name in procedure.computes:
                todo.append(procedure.computes[name].expr)
            elif name.partition("@")[0] not in procedure.asks:
                return False
    return True


def named(procedure: Procedure, state: State, name: str, here: str | None) -> Quantity | str | tuple[str, ...] | None:
    """What a name is worth: a quantity, a choice, an order of corners, or None (not known yet)."""
    if name.partition("@")[0] in procedure.asks:
        return bound_value(procedure, bound(procedure, state.asks), name, here, {})
    return bound_value(procedure, bound(procedure, state.asks), name, here, readings(procedure, state))


def subject_value(procedure: Procedure, state: State, name: str, here: str | None) -> str | None:
    """The value that a branch or an ``unless`` looks at: a remembered choice, else an ask."""
    chosen = state.choices.get(name)
    if chosen is not None:
        return chosen
    value = named(procedure, state, name, here) if name in procedure.asks else None
    return value if isinstance(value, str) else None


def level_of(procedure: Procedure, owner: Procedure, name: str) -> Level:
    """The declaration of a level: the fragment's own, else the procedure's."""
    return owner.levels.get(name) or procedure.levels[name]


def owner_of(procedure: Procedure, owner: Procedure, name: str) -> Procedure:
    """Whose level it is, and whose values of the car its marks are in."""
    return owner if name in owner.levels else procedure


def positions(procedure: Procedure, state: State, level: Level) -> dict[str, Enclosure]:
    """What the eye can tell of a level, as enclosures in coherent SI: MAX, 3/4, 1/2, 1/4, MIN and beyond.

    A glance is good to an eighth of the way between the marks, and to half of that below the MIN mark itself: there
    the mark is seen to be covered or free. Without marks there is nothing to see.
    """
    low, high = level.marks.get("MIN"), level.marks.get("MAX")
    if low is None or high is None:
        return {}
    found = [worth(procedure, state, e, None) for e in (low, high, level.floor, level.brim)]
    bounds = [q for q in found if isinstance(q, Quantity)]
    if len(bounds) < 4:
        return {}
    return dict(_gauge(bounds[0], bounds[1], bounds[2], bounds[3]))


@lru_cache(maxsize=64)
def _gauge(at_min: Quantity, at_max: Quantity, floor: Quantity, brim: Quantity) -> dict[str, Enclosure]:
    span = at_max.lo - at_min.lo
    eighth = span / 8
    seen = {
        name: (max(floor.lo, at_min.lo + span * n / 4 - eighth), min(brim.hi, at_min.hi + span * n / 4 + eighth))
        for n, name in ((4, "MAX"), (3, "3/4"), (2, "1/2"), (1, "1/4"), (0, "MIN"))
    }
    seen["MIN"] = (max(floor.lo, at_min.lo - span / 16), seen["MIN"][1])
    return {
        "above MAX": (at_max.lo, brim.hi),
        **seen,
        "below MIN": (floor.lo, at_min.hi),
        "nothing to be seen": (floor.lo - floor.lo, floor.lo),
    }
