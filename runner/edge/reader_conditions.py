"""Conditions as an author names them: ``hose_on``, ``nipple_open@RR``, ``not engine_running``, ``all wheel_off``."""

import re

from runner.core.finding import quote
from runner.core.graph import HERE, MEMBERS, Holds, LevelNeed, Need, Ref, WaitNeed, narrow
from runner.edge.reader_desk import Desk, Scope
from runner.edge.reader_formula import mark
from runner.edge.reader_tree import items, scalar, under, words
from runner.edge.text import Map, Node, Scalar

_NEED = re.compile(r"(?:(?P<how>not|all|none) +)?(?P<name>\w+)(?:@(?P<at>\w+))?")


def ref(desk: Desk, node: Node | None, scope: Scope) -> Ref | None:
    """One condition without 'not', 'all' or 'none'; None if it cannot be read."""
    text = scalar(node)
    found = _NEED.fullmatch(text.value) if text else None
    if text is None:
        return None
    if found is None or found["how"]:
        mend = "write its name, and '@' with the corner where one is needed"
        desk.say(text.place, "value", f"{quote(text.value)} is not one condition", mend)
        return None
    return _ref(desk, text, found, scope)


def refs(desk: Desk, node: Node | None, scope: Scope) -> tuple[Ref, ...]:
    """The conditions of a list; 'all NAME' is one for each corner, axle or side."""
    made: list[Ref] = []
    for text in filter(None, map(scalar, items(node))):
        found = _NEED.fullmatch(text.value)
        if found is None or found["how"] in ("not", "none"):
            mend = "write its name in 'makes' when it becomes true, in 'ends' when it becomes false"
            desk.say(text.place, "value", f"{quote(text.value)} is not a condition", mend)
        elif found["how"] == "all":
            made += _every(desk, text, found)
        elif one := _ref(desk, text, found, scope):
            made.append(one)
    return tuple(made)


def needs(desk: Desk, node: Node | None, scope: Scope) -> tuple[Need, ...]:
    """The needs of a list; 'all' and 'none' become one need for each corner, axle or side."""
    return tuple(need for one in items(node) for need in _needs(desk, one, scope))


def _needs(desk: Desk, node: Node, scope: Scope) -> tuple[Need, ...]:
    if isinstance(node, Map):
        need = _of_car(desk, node, scope)
        return () if need is None else (need,)
    text = scalar(node)
    if text is None:
        return ()
    found = _NEED.fullmatch(text.value)
    if found is None:
        mend = "write hose_on, 'not engine_running', 'all wheel_off' or 'none nipple_open', each alone"
        desk.say(text.place, "value", f"{quote(text.value)} is not a need", mend)
        return ()
    wanted = found["how"] not in ("not", "none")
    if found["how"] in ("all", "none"):
        every = _every(desk, text, found)
    else:
        every = tuple(filter(None, [_ref(desk, text, found, scope)]))
    return tuple(Holds(ref=each, wanted=wanted, said=text.value, place=text.place) for each in every)


def _of_car(desk: Desk, node: Map, scope: Scope) -> Need | None:
    """A level that is high enough, or a wait that is over."""
    level, wait = scalar(node.get("level")), scalar(node.get("wait"))
    if level is not None:
        if not desk.known(level, desk.levels, "a level"):
            return None
        least = mark(desk, node.get("at_least"), desk.levels[level.value], scope)
        said = f"{level.value} at least {words(under(node, 'at_least'))}"
        return LevelNeed(level=level.value, at_least=least, said=said, place=level.place)
    if wait is not None and desk.known(wait, desk.waits, "a wait"):
        return WaitNeed(wait=wait.value, said=f"{wait.value} is over", place=wait.place)
    return None


def _ref(desk: Desk, text: Scalar, found: re.Match[str], scope: Scope) -> Ref | None:
    name, at = found["name"], found["at"]
    if not desk.known(text, desk.conditions, "a condition", found.start("name"), name):
        return None
    index = desk.conditions[name].index
    made = Ref(name=name, at=at, place=text.place)
    if index is None:
        if at:
            place = desk.inside(text, found.start("at") - 1)
            desk.say(place, "index", f"{name} is one for the whole car", f"write it without '@{at}'")
        return made
    if at in MEMBERS[index]:
        return made
    if at:
        near = narrow(at, index)
        mend = f"write {name}@{near}" if near else f"it goes by {index}: {', '.join(MEMBERS[index])}"
        desk.say(desk.inside(text, found.start("at")), "index", f"{quote(at)} is no {index}", mend)
        return made
    if not scope.settles(index):
        where = "there is no block here" if scope.index is None else f"here is one {scope.index}"
        mend = f"write {name}@{MEMBERS[index][-1]}, 'all {name}' or 'none {name}'"
        desk.say(desk.inside(text, found.start("name")), "index", f"{name} goes by {index}, and {where}", mend)
    return Ref(name=name, at=HERE, place=text.place)


def _every(desk: Desk, text: Scalar, found: re.Match[str]) -> tuple[Ref, ...]:
    name, at, how = found["name"], found["at"], found["how"]
    if not desk.known(text, desk.conditions, "a condition", found.start("name"), name):
        return ()
    index = desk.conditions[name].index
    if index is None:
        mend = f"write '{name}'" if how == "all" else f"write 'not {name}'"
        desk.say(text.place, "index", f"{name} is one for the whole car, so '{how}' says nothing", mend)
        return ()
    if at:
        place = desk.inside(text, found.start("at") - 1)
        desk.say(place, "index", f"'{how}' means every {index}", f"leave '@{at}' out, or leave '{how}' out")
    return tuple(Ref(name=name, at=member, place=text.place) for member in MEMBERS[index])
