"""Readings: what is measured, with what, and the stretches of the number line that are its outcomes."""

from typing import Literal, cast

from runner.core.expr import Expr
from runner.core.finding import Place, quote
from runner.core.graph import CANNOT_TELL, LimitBand, Reading
from runner.core.quantity import Dimension
from runner.edge.reader_desk import Desk, Scope
from runner.edge.reader_formula import formula, unit_of
from runner.edge.reader_tree import items, pairs, scalar, under, whole, words
from runner.edge.text import Node, Scalar

_LOW = {"above": False, "at_least": True}
_HIGH = {"below": False, "at_most": True}
_PASS, _FAIL = "pass", "fail"
_End = tuple[Expr | None, bool]
_NO_END: _End = (None, False)


def reading(desk: Desk, node: Node, scope: Scope) -> Reading:
    """The reading; its limit or bands become half-lines and stretches."""
    quantity = scalar(under(node, "quantity"))
    unit = unit_of(desk, under(node, "unit"), quantity)
    mode = words(under(node, "mode")) or "measured"
    limit, bands = under(node, "limit"), under(node, "bands")
    _mode_fits(desk, node, mode)
    if limit is not None and bands is not None:
        desk.say(bands.place, "value", "a reading has a limit or bands, not both", "take one of them out")
    instead = desk.all_said(under(node, "instead"), None)
    if CANNOT_TELL in instead:
        why = f"{quote(CANNOT_TELL)} is an outcome of every limit"
        desk.say(node.place, "outcome", why, "take it out of 'instead'")
    return Reading(
        name=words(under(node, "as")),
        what=desk.said(under(node, "what"), scope),
        dimension=unit.dimension,
        unit=unit,
        mode=cast('Literal["measured", "setting", "amount"]', mode),
        instruments=desk.all_said(under(node, "instruments"), None),
        error=formula(desk, error, unit.dimension, scope) if (error := under(node, "error")) else None,
        points=whole(under(node, "points"), 1),
        bands=_limit(desk, limit, unit.dimension, scope) if limit else _bands(desk, bands, unit.dimension, scope),
        rule="simple" if words(under(limit or node, "rule")) == "simple" else "guarded",
        limit_kind=words(under(limit or node, "kind")),
        instead=instead,
        clicks=whole(clicks, 1) if (clicks := under(node, "clicks")) else None,
        place=node.place,
    )


def _mode_fits(desk: Desk, node: Node, mode: str) -> None:
    keys = {key.value: key for key, _ in pairs(node)}
    if mode == "amount" and "error" not in keys:
        why = "an amount has no key 'error'"
        desk.say(node.place, "missing-key", why, "write how far it can be off, such as 'error: 5 mL'")
    for key, only in (("error", "amount"), ("clicks", "setting")):
        if key in keys and mode != only:
            why = f"{quote(key)} belongs to the mode {only}"
            desk.say(keys[key].place, "value", why, f"write 'mode: {only}', or take it out")
    if mode == "setting" and "limit" not in keys:
        why = "a setting has no key 'limit'"
        desk.say(node.place, "missing-key", why, "write 'limit: {is: ..., kind: ...}'")


def _limit(desk: Desk, node: Node, dimension: Dimension, scope: Scope) -> tuple[LimitBand, ...]:
    """Outcome pass between the limits, fail beyond them."""
    inclusive = words(under(node, "inclusive")) != "false"
    exact = under(node, "is")
    ends: list[_End] = []
    for key in ("at_least", "at_most"):
        end = under(node, key)
        if exact is not None and end is not None:
            why = "a limit is one value or a stretch, not both"
            desk.say(end.place, "value", why, "take 'is', or 'at_least' and 'at_most'")
        ends.append((formula(desk, end, dimension, scope), inclusive) if end is not None else _NO_END)
    if exact is not None:
        value = formula(desk, exact, dimension, scope)
        if not inclusive:
            desk.say(node.place, "value", "a limit of one value passes by itself", "take 'inclusive' out")
        ends = [(value, True), (value, True)]
    low, high = ends
    bands = [_band(_PASS, low, high, node.place)]
    if low[0] is not None:
        bands.append(_band(_FAIL, _NO_END, (low[0], not low[1]), node.place))
    if high[0] is not None:
        bands.append(_band(_FAIL, (high[0], not high[1]), _NO_END, node.place))
    return tuple(bands)


def _band(outcome: str, low: _End, high: _End, place: Place) -> LimitBand:
    return LimitBand(
        outcome=outcome, low=low[0], low_inclusive=low[1], high=high[0], high_inclusive=high[1], place=place
    )


def _bands(desk: Desk, node: Node | None, dimension: Dimension, scope: Scope) -> tuple[LimitBand, ...]:
    made: list[LimitBand] = []
    for entry in items(node):
        for name, stretch in pairs(entry):
            if name.value in (CANNOT_TELL, "override", "taken"):
                desk.say(name.place, "outcome", f"{quote(name.value)} cannot name a band", "take another word")
            made.append(_stretch(desk, name, stretch, dimension, scope))
    if made:
        _cover_the_line(desk, made)
    return tuple(made)


def _cover_the_line(desk: Desk, made: list[LimitBand]) -> None:
    """Each value must fall in one band alone: the bands follow one another, edge to edge by the same words."""
    left = list(made)
    here = next((band for band in left if band.low is None), None)
    if here is None:
        why = f"no band takes what lies below {quote(made[0].outcome)} and the others"
        desk.say(made[0].place, "bands", why, "let one band begin without 'above' or 'at_least'")
        return
    left.remove(here)
    while here.high is not None:
        after = next((band for band in left if _meets(here, band)), None)
        if after is None:
            edge = f"{'above' if here.high_inclusive else 'at_least'}: {here.high.text}"
            why = f"no band goes on exactly where {quote(here.outcome)} ends"
            desk.say(here.place, "bands", why, f"let another band begin with {quote(edge)}")
            return
        left.remove(after)
        here = after
    for band in left:
        why = f"{quote(band.outcome)} takes values that other bands take as well"
        desk.say(band.place, "bands", why, "let each band begin where the one below it ends")


def _meets(below: LimitBand, above: LimitBand) -> bool:
    same = below.high is not None and above.low is not None and below.high.ops == above.low.ops
    return same and below.high_inclusive is not above.low_inclusive


def _stretch(desk: Desk, name: Scalar, node: Node, dimension: Dimension, scope: Scope) -> LimitBand:
    ends: list[_End] = []
    for kinds in (_LOW, _HIGH):
        given = [(key, value) for key, value in pairs(node) if key.value in kinds]
        if len(given) > 1:
            both = " and ".join(quote(key.value) for key, _ in given)
            desk.say(given[1][0].place, "value", f"{both} are the same end twice", "keep one of them")
        made = [(formula(desk, value, dimension, scope), kinds[key.value]) for key, value in given]
        ends.append(made[0] if made else _NO_END)
    return _band(name.value, ends[0], ends[1], name.place)
