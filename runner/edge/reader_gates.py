"""The gates of steps: checks, choices, holds, markings, pictures and books."""

import re
from collections.abc import Callable, Mapping
from fractions import Fraction

from runner.core.finding import quote
from runner.core.graph import (
    CORNERS,
    HERE,
    Books,
    Check,
    Choice,
    Gate,
    Identify,
    Photo,
    Timed,
)
from runner.core.quantity import DIMENSIONS
from runner.edge.reader_count import count
from runner.edge.reader_desk import Desk, Scope
from runner.edge.reader_formula import formula, seconds
from runner.edge.reader_reading import reading
from runner.edge.reader_tree import flag, pairs, scalar, under, words
from runner.edge.text import Node

_NUMBER = re.compile(r"-?\d+(\.\d+)?", re.ASCII)
# No groups and no alternatives: a short text must never take long to compare.
_PATTERN = re.compile(
    r"(?:(?:\\[dws.+*?/-]|\[\^?[^\[\]\\&~|]+\]|[\w ./:-])(?:\{\d{1,3}(?:,\d{0,3})?\}|[?+*])?)+", re.ASCII
)


def gate(desk: Desk, step: Node, scope: Scope) -> Gate | None:
    """The gate of the step, if it has one; a second one is noted."""
    found = [(key, value) for key, value in pairs(step) if key.value in _READERS]
    for key, _ in found[1:]:
        why = f"{quote(key.value)} is a second gate, beside {quote(found[0][0].value)}"
        desk.say(key.place, "gate", why, "make a step of its own for it", ((found[0][0].place, "the first gate"),))
    return _READERS[found[0][0].value](desk, found[0][1], scope) if found else None


def _check(desk: Desk, node: Node, scope: Scope) -> Check:
    corner, number = scalar(under(node, "corner")), scalar(under(node, "number"))
    options: tuple[str, ...] = ()
    right: tuple[str, ...]
    if corner is not None:
        options, right = CORNERS, (corner.value,)
        if corner.value == HERE and scope.index != "corner":
            desk.say(corner.place, "index", "no corner is here", "ask in a block of corners, or name the corner")
        elif corner.value != HERE and scope.block == "corner":
            why = f"every turn of the block would ask for {quote(corner.value)}"
            desk.say(corner.place, "index", why, "write 'corner: here', or ask outside the block")
    elif number is not None:
        right = (number.value,)
        if not _NUMBER.fullmatch(number.value):
            desk.say(number.place, "value", f"{quote(number.value)} is not a number", "write digits, such as 4")
    else:
        options = desk.all_said(under(node, "pick"), None)
        right = desk.each_known(under(node, "right"), options, "one of the answers to pick")
        if options and set(options) == set(right):
            desk.say(node.place, "value", "every answer is right, so this asks nothing", "add a wrong one")
    return Check(
        ask=desk.said(under(node, "ask"), scope),
        kind="corner" if corner else "number" if number else "pick",
        options=options,
        right=right,
        otherwise=flag(under(node, "otherwise")),
        place=node.place,
    )


def _choice(desk: Desk, node: Node, scope: Scope) -> Choice:
    return Choice(
        ask=desk.said(under(node, "ask"), scope),
        options=desk.all_said(under(node, "options"), None),
        name=words(under(node, "as")) or None,
        place=node.place,
    )


def _timed(desk: Desk, node: Node, scope: Scope) -> Timed:
    return Timed(
        at_least=seconds(desk, under(node, "at_least")) or Fraction(1),
        ask=desk.said(under(node, "ask"), scope),
        options=desk.all_said(under(node, "options"), None),
        place=node.place,
    )


def _identify(desk: Desk, node: Node, scope: Scope) -> Identify:
    pattern = scalar(under(node, "pattern"))
    if pattern is not None and pattern.value != "vin" and not _is_pattern(pattern.value):
        mend = "write letters, digits and classes with how often, such as [A-Z0-9-]{3,20}, or vin"
        desk.say(pattern.place, "value", f"{quote(pattern.value)} is no pattern for a marking", mend)
    return Identify(
        name=words(under(node, "as")),
        what=desk.said(under(node, "what"), scope),
        pattern=words(pattern),
        place=node.place,
    )


def _is_pattern(text: str) -> bool:
    if not _PATTERN.fullmatch(text) or "--" in text:
        return False
    try:
        re.compile(text)
    except (re.error, OverflowError):
        return False
    return True


def _photo(desk: Desk, node: Node, scope: Scope) -> Photo:
    return Photo(name=words(under(node, "as")), what=desk.said(under(node, "what"), scope), place=node.place)


def _books(desk: Desk, node: Node, scope: Scope) -> Books:
    volume = DIMENSIONS["volume"]
    return Books(
        what=desk.said(under(node, "what"), scope),
        imbalance=formula(desk, under(node, "imbalance"), volume, scope),
        within=formula(desk, under(node, "within"), volume, scope),
        place=node.place,
    )


_READERS: Mapping[str, Callable[[Desk, Node, Scope], Gate]] = {
    "check": _check,
    "choose": _choice,
    "reading": reading,
    "count": count,
    "hold": _timed,
    "identify": _identify,
    "photo": _photo,
    "books": _books,
}
