"""Values and formulas as an author writes them: names, corners, units and dimensions are all checked here."""

from fractions import Fraction

from runner.core.expr import Expr, dimension_of, parse
from runner.core.finding import quote
from runner.core.formula import Op
from runner.core.graph import MEMBERS, Index, Level
from runner.core.quantity import DIMENSIONS, PLAIN, Dimension, Quantity, Unit
from runner.core.units import ONE, Unclear, parse_quantity, parse_unit, units_of
from runner.edge.reader_desk import Desk, Named, Scope, meant
from runner.edge.reader_tree import scalar
from runner.edge.text import Node, Scalar

NOTHING = Expr("0", (Op("literal", 0, value=Quantity.point(0, ONE)),), frozenset(), frozenset())
"""Stands in for a formula that cannot be read."""

_JOINS_POINTS = ("min", "max", "mean", "spread")
_TIME = DIMENSIONS["time"]


def formula(desk: Desk, node: Node | None, wanted: Dimension | None, scope: Scope, lack: str = "") -> Expr:
    """The formula; its names must be known in the scope, and it must measure what is wanted, if anything is.

    ``lack`` says how to mend it when it measures something else.
    """
    text = scalar(node)
    if text is None:
        return NOTHING
    expr = parse(text.value)
    if isinstance(expr, Unclear):
        desk.say(desk.inside(text, expr.column), "formula", expr.why, expr.help)
        return NOTHING
    if not _names_fit(desk, text, expr, scope):
        return expr
    _points_fit(desk, text, expr)
    got = dimension_of(expr, _dimensions(desk, expr))
    if isinstance(got, Unclear):
        desk.say(desk.inside(text, got.column), "unit", got.why, got.help)
    elif wanted is not None and got != wanted:
        why = f"{quote(text.value)} measures {got}, but {wanted} is expected"
        desk.say(text.place, "unit", why, lack or "check the names and units in it")
    return expr


def mark(desk: Desk, node: Node | None, level: Level | None, scope: Scope) -> Expr:
    """A mark of the level by its name, or a formula of what the level measures."""
    text = scalar(node)
    if text is not None and level is not None and text.value in level.marks:
        return level.marks[text.value]
    if text is not None and level is not None and text.value.isidentifier() and text.value not in desk.named:
        desk.known(text, {**desk.named, **level.marks}, f"a mark of {level.name} or a value")
        return NOTHING
    return formula(desk, node, level.unit.dimension if level else None, scope)


def amount(desk: Desk, node: Node | None, unit: Unit) -> Quantity | None:
    """A written value with its unit, of what that unit measures."""
    text = scalar(node)
    if text is None:
        return None
    typed = parse_quantity(text.value, unit.dimension)
    if isinstance(typed, Unclear):
        desk.say(desk.inside(text, typed.column), "unit", typed.why, typed.help)
        return None
    return typed.quantity


def seconds(desk: Desk, node: Node | None) -> Fraction | None:
    """A written time such as 20 min, in seconds; it must be more than none."""
    text = scalar(node)
    if text is None:
        return None
    typed = parse_quantity(text.value, _TIME)
    if isinstance(typed, Unclear):
        desk.say(desk.inside(text, typed.column), "unit", typed.why, typed.help)
        return None
    if typed.quantity.lo <= 0:
        desk.say(text.place, "value", "this time is not longer than none", "write a time such as 20 min")
    return typed.quantity.lo


def unit_of(desk: Desk, unit: Node | None, quantity: Node | None = None) -> Unit:
    """The unit that is written, for the quantity if one is written beside it."""
    text, kind = scalar(unit), scalar(quantity)
    wanted = DIMENSIONS.get(kind.value) if kind else None
    found = parse_unit(text.value, wanted) if text else None
    if text is not None and isinstance(found, Unclear):
        desk.say(text.place, "unit", found.why, found.help)
    if isinstance(found, Unit):
        return found
    return units_of(wanted)[0] if wanted and units_of(wanted) else ONE


def measures(desk: Desk, expr: Expr) -> Dimension:
    """What a formula measures; a plain number where that cannot be told."""
    got = dimension_of(expr, _dimensions(desk, expr))
    return PLAIN if isinstance(got, Unclear) else got


def index_of(desk: Desk, expr: Expr) -> Index | None:
    """What the value of a formula goes by, from its names that carry no corner of their own."""
    found = {desk.named[name].index for name in expr.names if name in desk.named} - {None}
    if len(found) > 1:
        return "corner"
    return next(iter(found), None)


def _names_fit(desk: Desk, text: Scalar, expr: Expr, scope: Scope) -> bool:
    fits = True
    for op in expr.ops:
        if op.kind in ("name", "total"):
            fits &= _name_fits(desk, text, op.name, op.column, scope, total=op.kind == "total")
    return fits


def _name_fits(desk: Desk, text: Scalar, name: str, column: int, scope: Scope, *, total: bool) -> bool:
    base, _, member = name.partition("@")
    place = desk.inside(text, column)
    named = desk.named.get(base)
    if named is None:
        desk.say(place, "name", f"{quote(base)} is not a value of this procedure", meant(base, desk.named))
        return False
    if total:
        return _total_fits(desk, text, name, column)
    if named.dimension is None:
        desk.say(place, "name", f"{quote(base)} is {named.kind}, not a number", "decide by it in 'next' instead")
        return False
    if member:
        return _member_fits(desk, text, name, column, named)
    if not scope.settles(named.index):
        every = named.index and MEMBERS[named.index][-1]
        where = "there is no block here" if scope.index is None else f"here is one {scope.index}"
        why = f"{quote(base)} goes by {named.index}, and {where}"
        desk.say(place, "index", why, f"name the one that is meant, such as {base}@{every}")
        return False
    return True


def _total_fits(desk: Desk, text: Scalar, name: str, column: int) -> bool:
    place, named = desk.inside(text, column), desk.named.get(name)
    if named is not None and named.kind == "a reading":
        return True
    if named is None:
        why, mend = f"{quote(name)} has no total of its own", f"write 'total of {name.partition('@')[0]}'"
    else:
        why, mend = f"{quote(name)} is {named.kind}; only readings have a total", "name a reading"
    desk.say(place, "name", why, mend)
    return False


def _member_fits(desk: Desk, text: Scalar, name: str, column: int, named: Named) -> bool:
    base, _, member = name.partition("@")
    place = desk.inside(text, column)
    if named.index is None or named.kind == "a computed value":
        why = f"{quote(base)} is one value" if named.index is None else f"{quote(base)} is computed"
        desk.say(place, "index", f"{why} and takes no '@{member}'", "write it without, or name what it is made of")
        return False
    if member in MEMBERS[named.index]:
        return True
    every = ", ".join(MEMBERS[named.index])
    desk.say(place, "index", f"{quote(member)} is no {named.index}", f"{base} goes by {named.index}: {every}")
    return False


def _dimensions(desk: Desk, expr: Expr) -> dict[str, Dimension]:
    used = ((name, desk.named.get(name.partition("@")[0])) for name in expr.names | expr.totals)
    return {name: named.dimension for name, named in used if named is not None and named.dimension is not None}


def _points_fit(desk: Desk, text: Scalar, expr: Expr) -> None:
    """Notes where the several points of a reading stand without min, max, mean or spread around them."""
    stack: list[str] = []
    for op in expr.ops:
        if op.kind in ("literal", "name", "total"):
            named = desk.named.get(op.name.partition("@")[0])
            stack.append(op.name if op.kind == "name" and named and named.several else "")
            continue
        count = op.count if op.kind == "call" else 1 if op.kind in ("negate", "power") else 2
        args, stack[len(stack) - count :] = stack[len(stack) - count :], [""]
        if op.name not in _JOINS_POINTS and any(args):
            _several(desk, text, next(filter(None, args)), op.column)
    if any(stack):
        _several(desk, text, next(filter(None, stack)), 0)


def _several(desk: Desk, text: Scalar, name: str, column: int) -> None:
    why = f"{quote(name)} has several points"
    desk.say(desk.inside(text, column), "unit", why, f"take one value of them, such as min({name})")
