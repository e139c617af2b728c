"""The values of a car bound to a procedure's asks, and what every name is worth from them.

Rules of this module
1. A value is taken only in a form, from a source and within the limits that the ask allows.
2. What is not known yet stays not known: it is never replaced by a usual value.
3. A name inside a turn means the member that is here; ``name@RR`` means that corner wherever it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

from runner.core import graph
from runner.core.expr import Expr, evaluate
from runner.core.finding import Finding, Place, clean, listed, nearest, quote
from runner.core.graph import MEMBERS, Ask, Procedure
from runner.core.quantity import Quantity, Unit
from runner.core.units import Unclear, parse_quantity, show

Known = Quantity | str | tuple[str, ...]
Readings = Mapping[str, tuple[Quantity, ...]]

NOT_KNOWN = "not known yet"
MEASURED = "measured on this car"
EXAMPLE = "example car"
LONGEST_TEXT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """What is known of a car: typed values by ``name`` or ``name@RR``, and the asks without one."""

    values: Mapping[str, Known]
    unknown: frozenset[str]


def bind(
    procedure: Procedure,
    raw: Mapping[str, Mapping[str, str]],
    places: Mapping[str, Place] | None = None,
) -> Bound | tuple[Finding, ...]:
    """The typed values of a car, or everything in which they do not fit the asks.

    ``raw`` maps ``name`` or ``name@RR`` to its "value" and "source"; an ask that is left out counts as not
    known yet. ``places`` says where each value was written; without it a finding stands at its ask.
    """
    values: dict[str, Known] = {}
    found: list[Finding] = []
    for key, entry in raw.items():
        where = (places or {}).get(key)
        ask = procedure.asks.get(key.partition("@")[0])
        if ask is None:
            found.append(_stranger(procedure, key, where))
            continue
        taken = _misplaced(ask, key) or _sourced(ask, entry) or take(ask, entry.get("value", ""))
        if isinstance(taken, Unclear):
            found.append(Finding(place=where or ask.place, check="value", text=f"{key}: {taken.why}", help=taken.help))
        elif taken is not None:
            values[key] = taken
    found += _relations(procedure, values, places or {})
    if found:
        return listed(found)
    every = frozenset(key for ask in procedure.asks.values() for key in keys_of(ask))
    return Bound(values=values, unknown=every - values.keys())


def keys_of(ask: Ask) -> tuple[str, ...]:
    """The keys under which an ask takes its values: its name, or one for each corner, axle or side."""
    return (ask.name,) if ask.per is None else tuple(f"{ask.name}@{m}" for m in MEMBERS[ask.per])


def take(ask: Ask, text: str) -> Known | Unclear | None:
    """The typed value of one answer to an ask; None if it says "not known yet" and the ask allows that."""
    words = " ".join(clean(text).split())
    if words in ("", NOT_KNOWN):
        if ask.unknown or not words:
            return None
        return Unclear(text, "a value is needed here", "look it up before the start: the ask allows no gap")
    match ask.kind:
        case "quantity":
            return _quantity(ask, words)
        case "choice":
            return words if words in ask.options else _none_of(words, ask.options)
        case "order":
            return (ask.orders or {}).get(words) or _none_of(words, tuple(ask.orders or ()))
        case "text":
            if len(words) > LONGEST_TEXT:
                return Unclear(text, "this text is too long", f"write at most {LONGEST_TEXT} characters")
            return words


def value(procedure: Procedure, bound: Bound, name: str, here: str | None, readings: Readings) -> Known | None:
    """What a name is worth: an ask, a computed value or a reading; None if it is not known yet.

    Several points of one reading give the interval that holds them all.
    """
    if name.partition("@")[0] in procedure.asks:
        return _asked(procedure, bound, name, here)
    points = _environment(procedure, bound, {name}, here, readings).get(name, ())
    points = (points,) if isinstance(points, Quantity) else points
    if not points:
        return None
    return Quantity(min(p.lo for p in points), max(p.hi for p in points), points[0].dimension)


def quantity(
    procedure: Procedure, bound: Bound, expr: Expr, here: str | None, readings: Readings
) -> Quantity | Unclear:
    """What an expression is worth; Unclear names what in it is not known yet."""
    names = expr.names | frozenset(f"total of {name}" for name in expr.totals)
    return evaluate(expr, _environment(procedure, bound, names, here, readings))


def environment(
    procedure: Procedure, bound: Bound, readings: Readings, here: str | None
) -> Mapping[str, Quantity | tuple[Quantity, ...]]:
    """Every known quantity by its name; the several points of a reading as a tuple."""
    names = {name for name, ask in procedure.asks.items() if ask.kind == "quantity"}
    names |= procedure.computes.keys() | readings.keys() | {key.partition("@")[0] for key in readings}
    return _environment(procedure, bound, names, here, readings)


def compute_order(needs: Mapping[str, frozenset[str]]) -> tuple[str, ...] | Unclear:
    """The computed values so that each comes after those that it uses; Unclear names a circle."""
    graph_of = {name: sorted(used & needs.keys()) for name, used in needs.items()}
    try:
        return tuple(TopologicalSorter(graph_of).static_order())
    except CycleError as error:
        circle = [str(name) for name in error.args[1]][::-1]
        return Unclear(circle[0], f"it is computed from itself: {' from '.join(circle)}", "break the circle")


def _environment(
    procedure: Procedure, bound: Bound, names: frozenset[str] | set[str], here: str | None, readings: Readings
) -> dict[str, Quantity | tuple[Quantity, ...]]:
    env: dict[str, Quantity | tuple[Quantity, ...]] = {}
    for name in _with_computed(procedure, names):
        if name.partition("@")[0] in procedure.asks:
            known = _asked(procedure, bound, name, here)
            if isinstance(known, Quantity):
                env[name] = known
        elif points := _taken(name, here, readings):
            env[name] = points[0] if len(points) == 1 else points
        elif name in procedure.computes:
            result = evaluate(procedure.computes[name].expr, env)
            if isinstance(result, Quantity):
                env[name] = result
    return env


def _with_computed(procedure: Procedure, names: frozenset[str] | set[str]) -> tuple[str, ...]:
    """The names and all that their computed values use, each after what it uses."""
    if names.isdisjoint(procedure.computes):
        return tuple(names)
    needs: dict[str, frozenset[str]] = {}
    todo = list(names)
    while todo:
        name = todo.pop()
        if name not in needs:
            computed = procedure.computes.get(name)
            needs[name] = frozenset() if computed is None else _used(computed.expr)
            todo += needs[name]
    order = compute_order(needs)
    return order if isinstance(order, tuple) else ()


def _used(expr: Expr) -> frozenset[str]:
    return expr.names | frozenset(f"total of {name}" for name in expr.totals)


def _asked(procedure: Procedure, bound: Bound, name: str, here: str | None) -> Known | None:
    base, _, at = name.partition("@")
    per = procedure.asks[base].per
    return bound.values.get(base if per is None else f"{base}@{graph.narrow(at or here, per)}")


def _taken(name: str, here: str | None, readings: Readings) -> tuple[Quantity, ...]:
    base, _, at = name.partition("@")
    here = at or here
    members = dict.fromkeys((here, graph.narrow(here, "axle"), graph.narrow(here, "side")))
    keys = (*(f"{base}@{member}" for member in members if member is not None), base)
    return next((readings[key] for key in keys if key in readings), ())


def _stranger(procedure: Procedure, key: str, where: Place | None) -> Finding:
    near = nearest(key.partition("@")[0], procedure.asks)
    known = ", ".join(sorted(procedure.asks)) or "none"
    return Finding(
        place=where or procedure.place,
        check="name",
        text=f"{quote(key)} is not asked by {procedure.name}",
        help=f"did you mean '{near}'?" if near else f"the asks are {known}",
    )


def _misplaced(ask: Ask, key: str) -> Unclear | None:
    if key in keys_of(ask):
        return None
    if ask.per is None:
        return Unclear(key, "there is one value for the whole car", f"write it as '{ask.name}'")
    every = ", ".join(MEMBERS[ask.per])
    return Unclear(key, f"there is one value for each {ask.per}", f"write one for each of {every}")


def _sourced(ask: Ask, entry: Mapping[str, str]) -> Unclear | None:
    source = clean(entry.get("source", "")).strip()
    allowed = (*ask.sources, *((MEASURED,) if ask.measured else ()))
    given = entry.get("value", "").strip()
    if source in allowed or source == EXAMPLE or given in ("", NOT_KNOWN):
        return None
    one_of = " or ".join(quote(each) for each in allowed)
    if not source:
        return Unclear(source, "its source is missing", f"say where it comes from: {one_of}")
    return Unclear(source, f"{quote(source)} is not an accepted source", f"the sources are {one_of}")


def _quantity(ask: Ask, text: str) -> Quantity | Unclear:
    if ask.dimension is None:
        return Unclear(text, "this ask has no dimension", "give it a 'quantity' and a 'unit'")
    typed = parse_quantity(text, ask.dimension, ask.unit)
    if isinstance(typed, Unclear):
        return typed
    got, unit = typed.quantity, typed.unit
    if ask.low is not None and got.lo < ask.low.lo:
        least = _shown(ask.low, ask.unit, unit)
        if ask.floor_source:
            why = f"{_shown(got, unit, unit)} is under the floor of {least} that {ask.floor_source} sets"
            return Unclear(text, why, f"take a limit of {least} or more")
        why = f"{_shown(got, unit, unit)} is less than {least}, the least that can be right"
        return Unclear(text, why, "check the value and its unit")
    if ask.high is not None and got.hi > ask.high.hi:
        most = _shown(ask.high, ask.unit, unit)
        why = f"{_shown(got, unit, unit)} is more than {most}, the most that can be right"
        return Unclear(text, why, "check the value and its unit")
    return got


def _shown(quantity: Quantity, unit: Unit | None, instead: Unit) -> str:
    return show(quantity, unit or instead)


def _none_of(words: str, options: tuple[str, ...]) -> Unclear:
    near = nearest(words, options)
    mend = f"did you mean '{near}'?" if near else f"the answers are {', '.join(map(quote, options))}"
    return Unclear(words, f"{quote(words)} is not one of the answers", mend)


def _relations(procedure: Procedure, values: Mapping[str, Known], places: Mapping[str, Place]) -> Iterator[Finding]:
    for ask in procedure.asks.values():
        other = procedure.asks.get(ask.below or "")
        if other is None:
            continue
        for key in keys_of(ask):
            member = key.partition("@")[2] or None
            at = graph.narrow(member, other.per)
            under = other.name if other.per is None else f"{other.name}@{at}"
            high, low = values.get(key), values.get(under)
            if isinstance(high, Quantity) and isinstance(low, Quantity) and high.lo <= low.hi:
                unit, instead = ask.unit or other.unit, other.unit
                if unit is None or instead is None:
                    continue
                yield Finding(
                    place=places.get(key, ask.place),
                    check="value",
                    text=f"{key}: {show(high, unit)} is not above {under}, which is {show(low, instead)}",
                    help="check both values",
                    related=((places.get(under, other.place), f"{under} is set here"),),
                )
