"""Counts and transfers: beats that are granted in advance, and what they move from level to level."""

from fractions import Fraction

from runner.core.expr import Expr
from runner.core.graph import Count, Level, Move, Phase, SetByLook
from runner.core.quantity import DIMENSIONS, PLAIN, Dimension
from runner.edge.reader_conditions import needs, refs
from runner.edge.reader_desk import Desk, Scope
from runner.edge.reader_formula import NOTHING, formula, mark, seconds
from runner.edge.reader_target import target
from runner.edge.reader_tree import items, pairs, scalar, under, whole, words
from runner.edge.text import Node

AGAIN = "again"
_GRANT = 10
_TIME = DIMENSIONS["time"]
_QUESTION = ("ask", "as")
_LOOK = ("by", "within")


def count(desk: Desk, node: Node, scope: Scope) -> Count:
    """The count; its answers become outcomes, those that lead to 'again' stay at the step."""
    move, gravity = under(node, "moves"), under(node, "gravity")
    made = moved(desk, move, scope) if move is not None else None
    bound, exits = under(node, "at_most"), under(node, "exit")
    answers = [(key, value) for key, value in pairs(exits) if key.value not in _QUESTION]
    again = frozenset(key.value for key, value in answers if words(value) == AGAIN)
    if answers and len(again) == len(answers) and exits is not None:
        desk.say(exits.place, "outcome", "no answer leads out of the count", "let one lead to a step")
    return Count(
        what=desk.said(under(node, "what"), scope),
        beat=tuple(_phase(desk, one, scope) for one in items(under(node, "beat"))),
        move=made,
        gravity=formula(desk, gravity, _flow(desk, made), scope) if gravity is not None else None,
        seconds=seconds(desk, under(node, "seconds")) or Fraction(0),
        planned=formula(desk, planned, PLAIN, scope) if (planned := under(node, "planned")) else None,
        grant=whole(under(node, "grant"), _GRANT),
        at_most=whole(under(bound, "strokes"), 1),
        bound=target(desk, under(bound, "then"), scope),
        ask=desk.said(under(exits, "ask"), scope),
        exits=tuple(key.value for key, _ in answers),
        again=again,
        name=words(under(exits, "as")) or None,
        place=node.place,
    )


def _phase(desk: Desk, node: Node, scope: Scope) -> Phase:
    return Phase(
        do=desk.said(under(node, "do"), scope),
        makes=refs(desk, under(node, "makes"), scope),
        ends=refs(desk, under(node, "ends"), scope),
        deeds=desk.each_known(under(node, "deeds"), desk.deeds, "a deed"),
        needs=needs(desk, under(node, "needs"), scope),
        place=node.place,
    )


def _flow(desk: Desk, move: Move | None) -> Dimension | None:
    """What is moved in a time."""
    level = desk.levels.get((move.source or move.target or "") if move else "")
    return level.unit.dimension.times(_TIME, -1) if level and not level.unit.dimension.absolute else None


def moved(desk: Desk, node: Node, scope: Scope) -> Move:
    """A transfer; both levels must measure the same."""
    source, into = (_level(desk, under(node, key)) for key in ("from", "to"))
    if source and into and source.unit.dimension != into.unit.dimension:
        why = f"{source.name} measures {source.unit.dimension}, {into.name} {into.unit.dimension}"
        desk.say(node.place, "unit", why, "move between levels of one kind")
    low_mark = under(node, "low_mark")
    if low_mark is not None and under(node, "from") is None:
        desk.say(low_mark.place, "value", "a fresh container has no low mark", "write 'from', or take it out")
    level = source or into
    dimension = level.unit.dimension if level else None
    ends: list[Expr] = [formula(desk, end, dimension, scope) for end in items(under(node, "each"))]
    edges = {key: edge for key in ("if_short", "if_full") if (edge := under(node, key)) is not None}
    return Move(
        source=source.name if source else None,
        target=into.name if into else None,
        least=ends[0] if ends else NOTHING,
        most=ends[-1] if ends else NOTHING,
        low_mark=mark(desk, low_mark, source, scope) if low_mark is not None and source else None,
        if_short=target(desk, edges["if_short"], scope) if "if_short" in edges else None,
        if_full=target(desk, edges["if_full"], scope) if "if_full" in edges else None,
        place=node.place,
    )


def _level(desk: Desk, node: Node | None) -> Level | None:
    text = scalar(node)
    known = text is not None and desk.known(text, desk.levels, "a level")
    return desk.levels[text.value] if known and text is not None else None


def looks(desk: Desk, node: Node | None, scope: Scope) -> tuple[SetByLook, ...]:
    """The look at a level: the mark that was seen, give or take how far a look is off."""
    made: list[SetByLook] = []
    for name, seen in pairs(node):
        if name.value in _LOOK or not desk.known(name, desk.levels, "a level"):
            continue
        level = desk.levels[name.value]
        within = formula(desk, under(node, "within"), level.unit.dimension, scope)
        seen_at = mark(desk, seen, level, scope)
        made.append(SetByLook(level=level.name, mark=seen_at, said=words(seen), within=within, place=name.place))
    return tuple(made)
