"""Steps, blocks, calls and ends: the nodes of a body, each with its needs, gate, effects and edges."""

import textwrap
from typing import cast

from runner.core.finding import quote
from runner.core.graph import MEMBERS, Body, Commit, Each, End, Index, Node, Step, Times
from runner.core.hazard import ORDER
from runner.edge.reader_after import after, checked
from runner.edge.reader_call import call
from runner.edge.reader_conditions import needs, refs
from runner.edge.reader_count import looks, moved
from runner.edge.reader_desk import Desk, Scope
from runner.edge.reader_formula import seconds
from runner.edge.reader_gates import gate
from runner.edge.reader_stack import slides, used
from runner.edge.reader_target import branch, target
from runner.edge.reader_tree import flag, items, pairs, scalar, under, whole, words
from runner.edge.reader_values import listed_order
from runner.edge.reader_vocabulary import NO_WAY_BACK
from runner.edge.text import Node as Tree
from runner.edge.text import Scalar, Seq

_FAR_LINES, _FAR_WIDTH = 2, 22


def body(desk: Desk, steps: Tree | None, scope: Scope, start: Tree | None = None) -> Body:
    """The nodes of one body; edges lead to steps of the same body only."""
    inner = Scope(
        index=scope.index,
        block=scope.block,
        exits=scope.exits,
        steps=frozenset(name.value for name, _ in pairs(steps)),
    )
    nodes = {name.value: _node(desk, name, entry, inner) for name, entry in pairs(steps)}
    checked(desk, steps, nodes)
    first, named = next(iter(nodes), ""), scalar(start)
    if named is not None and desk.known(named, nodes, "a step of this procedure"):
        first = named.value
    return Body(nodes=nodes, first=first)


def _node(desk: Desk, name: Scalar, entry: Tree, scope: Scope) -> Node:
    if under(entry, "call") is not None:
        return call(desk, name, entry, scope)
    if under(entry, "each") is not None:
        return _each(desk, name, entry, scope)
    if under(entry, "end") is not None:
        return _end(desk, name, entry, scope)
    return _step(desk, name, entry, scope)


def _step(desk: Desk, name: Scalar, entry: Tree, scope: Scope) -> Step:
    found, do = gate(desk, entry, scope), desk.said(under(entry, "do"), scope)
    slid, generated = slides(desk, entry)
    own = needs(desk, under(entry, "needs"), scope)
    said = {need.said for need in own}
    deeds = desk.each_known(under(entry, "deeds"), desk.deeds, "a deed")
    hazards = [desk.hazards[one] for one in desk.each_known(under(entry, "cautions"), desk.hazards, "a hazard")]
    place, group = scalar(under(entry, "place")), words(under(entry, "group"))
    if place is not None:
        desk.known(place, desk.places, "a place")
    return Step(
        id=name.value,
        do=do,
        short=_short(desk, entry, scope) or do,
        where=words(place),
        take=desk.all_said(under(entry, "take"), scope),
        why=desk.said(under(entry, "why"), scope),
        note=desk.said(under(entry, "note"), scope),
        expect=desk.said(under(entry, "expect"), scope),
        cautions=tuple(sorted(hazards, key=lambda caution: ORDER.index(caution.word))),
        needs=(*own, *(need for need in generated if need.said not in said)),
        makes=refs(desk, under(entry, "makes"), scope),
        ends=refs(desk, under(entry, "ends"), scope),
        deeds=(*deeds, *((NO_WAY_BACK,) if flag(under(entry, NO_WAY_BACK)) else ())),
        gate=found,
        moves=tuple(moved(desk, one, scope) for one in items(under(entry, "moves"))),
        sets=looks(desk, under(entry, "sets"), scope),
        starts=_wait(desk, under(entry, "starts")),
        branch=branch(desk, entry, found, scope),
        bound=_bound(desk, under(entry, "at_most"), scope),
        override=target(desk, override, scope) if (override := under(entry, "override")) else None,
        cannot=target(desk, cannot, scope) if (cannot := under(entry, "cannot")) else None,
        group=group or None,
        commit=_commit(desk, under(entry, "commit"), scope),
        park=_wait(desk, under(entry, "park")),
        slides=slid,
        uses=used(desk, under(entry, "uses")),
        after=after(entry),
        place=name.place,
    )


def _short(desk: Desk, entry: Tree, scope: Scope) -> str:
    node = under(entry, "short")
    text = desk.said(node, scope)
    if node is not None and len(textwrap.wrap(text, _FAR_WIDTH)) > _FAR_LINES:
        mend = f"use at most {_FAR_LINES} lines of {_FAR_WIDTH} characters"
        desk.say(node.place, "value", f"{quote(text)} is too long for the far view", mend)
    return text


def _wait(desk: Desk, node: Tree | None) -> str | None:
    text = scalar(node)
    if text is None:
        return None
    desk.known(text, desk.waits, "a wait")
    return text.value


def _bound(desk: Desk, node: Tree | None, scope: Scope) -> Times | None:
    if node is None:
        return None
    return Times(times=whole(under(node, "times"), 1), then=target(desk, under(node, "then"), scope))


def _commit(desk: Desk, node: Tree | None, scope: Scope) -> Commit | None:
    if node is None:
        return None
    seconds(desk, under(node, "takes"))
    return Commit(
        parts=desk.all_said(under(node, "parts"), scope),
        takes=words(under(node, "takes")),
        way_out=desk.said(under(node, "way_out"), scope),
    )


def _each(desk: Desk, name: Scalar, entry: Tree, scope: Scope) -> Each:
    if scope.block is not None:
        desk.say(name.place, "block", "a block cannot stand inside a block", "put it after the outer one")
    given = [(key.value, order) for key, order in pairs(under(entry, "each")) if key.value in MEMBERS]
    index, order = given[0] if given else ("corner", entry)
    member = cast("Index", index)
    exits = {key.value: target(desk, one, scope) for key, one in pairs(under(entry, "exits"))}
    inner = Scope(index=member, block=member, exits=frozenset(exits))
    return Each(
        id=name.value,
        index=member,
        order=_order(desk, order, member),
        body=body(desk, under(entry, "steps"), inner),
        then=target(desk, under(entry, "then"), scope),
        exits=exits,
        after=after(entry),
        place=name.place,
    )


def _order(desk: Desk, node: Tree, index: Index) -> str | tuple[str, ...]:
    if isinstance(node, Seq):
        return listed_order(desk, node, index)
    text = scalar(node)
    orders = [name for name, ask in desk.asks.items() if ask.kind == "order"]
    if text is not None:
        desk.known(text, orders, "an ask with orders")
    return words(node)


def _end(desk: Desk, name: Scalar, entry: Tree, scope: Scope) -> End:
    kind = scalar(under(entry, "end"))
    if scope.block is not None:
        mend = "leave the block by 'exit NAME' and end there"
        desk.say(name.place, "block", "nothing can end inside a block", mend)
    elif kind is not None:
        desk.known(kind, desk.ends, "a way to end here")
    return End(id=name.value, kind=words(kind), say=desk.said(under(entry, "say"), scope), place=name.place)
