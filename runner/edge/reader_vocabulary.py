"""The vocabulary: places, deeds, hazards, conditions and the duties that come with them."""

from collections.abc import Mapping
from typing import Literal, cast

from runner.core.finding import quote
from runner.core.graph import Condition, Duty, IfLeft, Unless, Vocabulary
from runner.core.hazard import Caution, Harm, Outcome
from runner.edge.reader_conditions import needs, refs
from runner.edge.reader_desk import Desk, Scope
from runner.edge.reader_formula import seconds
from runner.edge.reader_tree import flag, index, items, pairs, scalar, under, whole, words
from runner.edge.text import Node, Scalar

FITTED = "fitted_"
"""What the condition of a part that slides on a shaft begins with."""

NO_WAY_BACK = "cannot_be_undone"
"""The deed of a step after which there is no way back; every vocabulary has it."""

_Event = Literal["place", "deed", "make", "end", "while"]
_STRETCH = "this stretch"
_OPENING_NEEDS = ("normally", "if_left", "leave_rank")
_OPENING_ONLY = (*_OPENING_NEEDS, "no_longer_than", "urgent")
_ANYWHERE = Scope(index="corner")
_EFFECTS = ("makes", "ends", "looks", "fills", "draws", "at_least")
_A_LEVEL = "a level of the vocabulary"


def vocabulary(desk: Desk, root: Node) -> Vocabulary:
    """The vocabulary of the tree; its names are laid on the desk, what is wrong with it too."""
    desk.places = {name.value: desk.said(text, None) for name, text in pairs(under(root, "places"))}
    deeds = {name.value: desk.said(text, None) for name, text in pairs(under(root, "deeds"))}
    desk.deeds = {NO_WAY_BACK: "this cannot be undone"} | deeds
    levels = {name.value: desk.said(text, None) for name, text in pairs(under(root, "levels"))}
    desk.hazards = {name.value: _hazard(desk, name, entry) for name, entry in pairs(under(root, "hazards"))}
    desk.conditions = {name.value: _condition(desk, name, entry) for name, entry in pairs(under(root, "conditions"))}
    duties = tuple(_duty(desk, entry, levels) for entry in items(under(root, "duties")))
    return Vocabulary(
        file=desk.file,
        conditions=dict(desk.conditions),
        places=desk.places,
        deeds=desk.deeds,
        hazards=desk.hazards,
        duties=duties,
        levels=levels,
    )


def _hazard(desk: Desk, name: Scalar, entry: Node) -> Caution:
    return Caution(
        name=name.value,
        hazard=desk.said(under(entry, "hazard"), None),
        consequence=desk.said(under(entry, "consequence"), None),
        avoid=desk.said(under(entry, "avoid"), None),
        harm=cast("Harm", words(under(entry, "harm"))),
        outcome=cast("Outcome", words(under(entry, "outcome"))),
        place=name.place,
    )


def _condition(desk: Desk, name: Scalar, entry: Node) -> Condition:
    scope = Scope(index=index(under(entry, "of")))
    kind = words(under(entry, "kind"))
    normally, keeps = under(entry, "normally"), under(entry, "keeps")
    _kind_fits(desk, name, entry, kind)
    if name.value.startswith(FITTED):
        why = f"names that start with {quote(FITTED)} belong to stacks"
        desk.say(name.place, "twice", why, "take another name")
    return Condition(
        name=name.value,
        index=scope.index,
        kind="opening" if kind == "opening" else "fact",
        says=desk.said(under(entry, "says"), scope),
        says_not=desk.said(under(entry, "says_not"), scope),
        normally=flag(normally) if normally else None,
        if_left=_if_left(desk, under(entry, "if_left"), scope),
        rank=whole(under(entry, "leave_rank"), 0),
        urgent=flag(under(entry, "urgent")),
        keeps="this stretch" if words(keeps) == _STRETCH else seconds(desk, keeps),
        no_longer_than=seconds(desk, under(entry, "no_longer_than")),
        restore=words(under(entry, "restore")) or None,
        place=name.place,
    )


def _kind_fits(desk: Desk, name: Scalar, entry: Node, kind: str) -> None:
    keys = {key.value: key for key, _ in pairs(entry)}
    if kind == "opening":
        for lacking in (each for each in _OPENING_NEEDS if each not in keys):
            text = f"the opening {quote(name.value)} has no key '{lacking}'"
            desk.say(name.place, "missing-key", text, f"write '{lacking}: ' and its value, or make it a fact")
        if "keeps" in keys:
            text = "an opening does not go out of date by itself"
            desk.say(keys["keeps"].place, "value", text, "write 'no_longer_than' for an alarm, or make it a fact")
    elif kind == "fact":
        for odd in (each for each in _OPENING_ONLY if each in keys):
            text = f"{quote(odd)} belongs to an opening, and {quote(name.value)} is a fact"
            desk.say(keys[odd].place, "value", text, "take it out, or make it an opening")


def _if_left(desk: Desk, entry: Node | None, scope: Scope) -> IfLeft | None:
    for key, text in pairs(entry):
        if key.value in ("close", "may stay"):
            return IfLeft(kind="close" if key.value == "close" else "may stay", text=desk.said(text, scope))
    return None


def _duty(desk: Desk, entry: Node, levels: Mapping[str, str]) -> Duty:
    on: _Event = "deed"
    name, place = "", entry.place
    kinds: Mapping[str, tuple[Mapping[str, object], str]] = {
        "place": (desk.places, "a place"),
        "deed": (desk.deeds, "a deed"),
        **dict.fromkeys(("make", "end", "while"), (desk.conditions, "a condition")),
    }
    for key, value in pairs(under(entry, "on")):
        text = scalar(value)
        if text is not None and key.value in kinds and desk.known(text, *kinds[key.value]):
            on, name, place = cast("_Event", key.value), text.value, text.place
    if on == "while" and (needed := under(entry, "needs")):
        why = "a duty that lasts while a condition is true brings cautions only"
        desk.say(needed.place, "value", why, "write the needs with 'make' or 'end'")
    for word in _EFFECTS if on in ("place", "while") else ():
        if (effect := under(entry, word)) is not None:
            why = "what follows physically follows a deed or a change, not a place or a lasting condition"
            desk.say(effect.place, "value", why, "write it with 'deed', 'make' or 'end'")
    unless = [Unless(subject=key.value, value=words(value)) for key, value in pairs(under(entry, "unless"))]
    return Duty(
        on=on,
        name=name,
        needs=needs(desk, under(entry, "needs"), _ANYWHERE),
        hazards=desk.each_known(under(entry, "cautions"), desk.hazards, "a hazard"),
        unless=unless[0] if unless else None,
        makes=refs(desk, under(entry, "makes"), _ANYWHERE),
        ends=refs(desk, under(entry, "ends"), _ANYWHERE),
        looks=desk.each_known(under(entry, "looks"), levels, _A_LEVEL),
        fills=desk.each_known(under(entry, "fills"), levels, _A_LEVEL),
        draws=desk.each_known(under(entry, "draws"), levels, _A_LEVEL),
        at_least=desk.each_known(under(entry, "at_least"), levels, _A_LEVEL),
        place=place,
    )
