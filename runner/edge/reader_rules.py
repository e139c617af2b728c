"""The rules of a procedure: what must be true of the whole of it."""

from collections.abc import Iterable
from typing import Literal, cast

from runner.core.finding import quote
from runner.core.graph import HERE, Holds, Occasion, Ref, Rule, Step, walk
from runner.core.graph import Node as GraphNode
from runner.edge.reader_conditions import needs, ref, refs
from runner.edge.reader_desk import CAR, Desk, Scope
from runner.edge.reader_tree import pairs, scalar, under, words
from runner.edge.text import Node

_Watch = Literal["step", "deed", "make", "end"]
_WATCHES = ("step", "deed", "make", "end")
_PAIRS = (("only_after", "after", "only after"), ("must_follow", "then", "must be followed by"))
# In a rule a condition without a corner is meant at whichever corner it is, the same in the whole rule.
_ANYWHERE = Scope(index="corner")


def rules(desk: Desk, node: Node) -> tuple[Rule, ...]:
    """The rules of one entry: 'at_end' gives one for each of its needs."""
    for key, between, words_between in _PAIRS:
        if (entry := under(node, key)) is not None:
            return _pair(desk, node, entry, (key, between, words_between))
    if (entry := under(node, "at_most_one")) is not None:
        return _at_most_one(desk, node, entry)
    if (entry := under(node, "never_together")) is not None:
        found = refs(desk, entry, _ANYWHERE)
        said = f"never together: {', '.join(one.name for one in found)}"
        return (_rule(desk, node, "never_together", found, said=said),)
    return _at_end(desk, node)


def _pair(desk: Desk, node: Node, entry: Node, words_of: tuple[str, str, str]) -> tuple[Rule, ...]:
    kind, between, said = words_of
    what, other = _occasion(desk, entry), _occasion(desk, under(entry, between))
    if what is None or other is None:
        return ()
    text = f"{_spoken(what)} {said} {_spoken(other)}"
    return (_rule(desk, node, kind, (), what=what, other=other, said=text),)


def _occasion(desk: Desk, entry: Node | None) -> Occasion | None:
    for key, value in pairs(entry):
        text = scalar(value)
        if text is None or key.value not in _WATCHES:
            continue
        on = cast("_Watch", key.value)
        if on in ("make", "end"):
            found = ref(desk, text, _ANYWHERE)
            return Occasion(on=on, name=found.name, at=found.at) if found else None
        names = desk.steps if on == "step" else desk.deeds
        if desk.known(text, names, "a step" if on == "step" else "a deed"):
            return Occasion(on=on, name=text.value, at=None)
    return None


def seen(desk: Desk, nodes: Iterable[GraphNode], found: Iterable[Rule]) -> None:
    """Notes rules that watch a call, a block or an end, under which nothing takes place, or a name used twice."""
    plain = {node.id for node in nodes if isinstance(node, Step)}
    inner = {f.name: f for one in desk.fragments.values() for f in (one, *one.fragments.values())}
    within = {node.id: name for name, f in inner.items() for node in walk(f.body) if isinstance(node, Step)}
    for rule in found:
        for one in (rule.what, rule.other):
            if one is not None and one.on == "step" and one.name not in plain:
                why = f"{quote(one.name)} is no plain step, so no rule sees it"
                desk.say(rule.place, "name", why, "state 'after' at the call or block, or name a step or a deed in it")
            elif one is not None and one.on == "step" and one.name in within:
                why = f"{quote(one.name)} is a step of {quote(within[one.name])} too, and a rule would see both"
                desk.say(rule.place, "name", why, "give one of the two another name, or watch a deed")


def _spoken(occasion: Occasion) -> str:
    at = f"@{occasion.at}" if occasion.at not in (None, HERE) else ""
    return f"{occasion.on} {occasion.name}{at}"


def _at_most_one(desk: Desk, node: Node, entry: Node) -> tuple[Rule, ...]:
    found = ref(desk, entry, _ANYWHERE)
    if found is None:
        return ()
    if found.at != HERE:
        why = f"{quote(words(entry))} is one for the whole car" if found.at is None else "one corner alone is named"
        desk.say(entry.place, "index", why, "name a condition that goes by corner, axle or side, without '@'")
    return (_rule(desk, node, "at_most_one", (found,), said=f"at most one {found.name}"),)


def _at_end(desk: Desk, node: Node) -> tuple[Rule, ...]:
    grouped: dict[tuple[str, bool], list[Ref]] = {}
    for need in needs(desk, under(node, "at_end"), CAR):
        if isinstance(need, Holds):
            grouped.setdefault((need.said, need.wanted), []).append(need.ref)
        else:
            desk.say(need.place, "value", "a rule speaks of conditions only", "name conditions")
    return tuple(
        _rule(desk, node, "at_end", tuple(found), wanted=wanted, said=f"at the end: {said}")
        for (said, wanted), found in grouped.items()
    )


def _rule(
    desk: Desk,
    node: Node,
    kind: str,
    found: tuple[Ref, ...],
    *,
    said: str,
    wanted: bool = True,
    what: Occasion | None = None,
    other: Occasion | None = None,
) -> Rule:
    return Rule(
        kind=cast('Literal["only_after", "must_follow", "at_most_one", "never_together", "at_end"]', kind),
        what=what,
        other=other,
        refs=found,
        wanted=wanted,
        why=desk.said(under(node, "why"), None),
        if_found_broken=desk.said(under(node, "if_found_broken"), None),
        said=said,
        place=node.place,
    )
