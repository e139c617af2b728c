"""Calls of fragments: what they are called for, and that every way out of them leads somewhere."""

from collections.abc import Mapping

from runner.core.finding import quote
from runner.core.graph import HERE, MEMBERS, Call, Each, Index, Procedure, Ref, narrow, walk
from runner.edge.reader_after import after
from runner.edge.reader_conditions import ref
from runner.edge.reader_desk import Desk, Scope, meant
from runner.edge.reader_target import target
from runner.edge.reader_tree import pairs, scalar, under, words
from runner.edge.text import Node, Scalar


def call(desk: Desk, name: Scalar, entry: Node, scope: Scope) -> Call:
    """The call; a fragment that could not be read has been noted already."""
    fragment = desk.fragments.get(words(under(entry, "call")))
    at = scalar(under(entry, "at"))
    exits = {key.value: target(desk, one, scope) for key, one in pairs(under(entry, "exits"))}
    if fragment is not None:
        _exits_fit(desk, under(entry, "exits"), fragment)
        _here_fits(desk, name, at, fragment.here, scope)
        if scope.block is not None and _has_block(fragment):
            why = f"{quote(fragment.name)} has a block of its own"
            desk.say(name.place, "block", why, "a block cannot stand inside a block: call it outside")
    ensure, give_back = (_shared(desk, under(entry, key), at, scope) for key in ("ensure", "give_back"))
    if ensure is not None and give_back is not None:
        desk.say(name.place, "value", "a call ensures or gives back, not both", "make two steps of it")
    skip = under(entry, "next")
    if skip is not None and ensure is None and give_back is None:
        desk.say(skip.place, "value", "a call leads on by its 'exits'", "take 'next' out, or write 'ensure'")
    return Call(
        id=name.value,
        fragment=words(under(entry, "call")),
        at=at.value if at else None,
        exits=exits,
        ensure=ensure,
        give_back=give_back,
        skip=target(desk, skip, scope) if skip is not None else None,
        after=after(entry),
        place=name.place,
    )


def _exits_fit(desk: Desk, node: Node | None, fragment: Procedure) -> None:
    every = fragment.contract.exits if fragment.contract else {}
    given: Mapping[str, Scalar] = {key.value: key for key, _ in pairs(node)}
    for key in (key for name, key in given.items() if name not in every):
        why = f"{quote(key.value)} is no way out of {fragment.name}"
        desk.say(key.place, "outcome", why, meant(key.value, every))
    for lacking in (one for one in every if one not in given):
        if node is not None:
            why = f"the way out {quote(lacking)} of {fragment.name} leads nowhere"
            desk.say(node.place, "outcome", why, f"write '{lacking}: ' and a step")


def _here_fits(desk: Desk, name: Scalar, at: Scalar | None, index: Index | None, scope: Scope) -> None:
    if at is not None and at.value != HERE:
        members = [member for one in MEMBERS.values() for member in one]
        if desk.known(at, members, "a corner, axle or side") and index and narrow(at.value, index) is None:
            why = f"the fragment is called for one {index}, and {at.value} is none"
            desk.say(at.place, "index", why, f"write one of {', '.join(MEMBERS[index])}")
    elif index is not None and not scope.settles(index):
        why = f"the fragment is called for one {index}, and none is here"
        desk.say(name.place, "index", why, f"write 'at: ' and one of {', '.join(MEMBERS[index])}")
    if at is not None and index is None:
        desk.say(at.place, "index", "the fragment is called for the whole car", "take 'at' out")


def _shared(desk: Desk, node: Node | None, at: Scalar | None, scope: Scope) -> Ref | None:
    found = ref(desk, node, scope) if node is not None else None
    if found is None or at is None or found.at in (None, HERE):
        return found
    index = desk.conditions[found.name].index
    if index and found.at in MEMBERS[index] and narrow(at.value, index) not in (None, found.at):
        why = f"the call is for {at.value}, but {quote(words(node))} is looked at"
        desk.say(found.place, "index", why, "name the same place in both")
    return found


def _has_block(fragment: Procedure) -> bool:
    bodies = (fragment.body, *(inner.body for inner in fragment.fragments.values()))
    return any(isinstance(node, Each) for body in bodies for node in walk(body))
