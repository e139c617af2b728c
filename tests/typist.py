"""From an act that is wanted to the keys of a keypad that ask for it, found in the lists that a surface opens."""

from __future__ import annotations

from collections.abc import Iterator

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.desk import press
from runner.core.face import face
from runner.core.gates import OWED
from runner.core.panel import Panel, opened, pages
from runner.core.stamp import Stamp
from runner.core.view import Field, View
from tests.keypad import GRANTED

Keys = tuple[str, ...]
KEYPAD = frozenset("0123456789.+-*/") | {"enter"}
_DEEPEST = 4
_AT = Stamp(at="2026-01-01T00:00:00.000Z", mono=0, boot="typist")
_BY_KIND = (ac.Cannot, ac.Override)
"""Acts whose reason is chosen from a list: any reason will do."""


def lines_for(act: AnyAct, view: View) -> tuple[Keys, ...]:
    """The keys of an act, line by line: a value ends with Enter, every other key is a line of its own."""
    granted = GRANTED.search(view.question)
    if granted is not None and isinstance(act, ac.Done):
        act = ac.Report(used=granted[1])  # a surface asks how many were done
    found = _found(act, Panel(), view, _DEEPEST)
    if found is None and isinstance(act, ac.Enter):
        found = _found(ac.Instead(result=OWED), Panel(), view, _DEEPEST)  # no keypad types this text
    assert found is not None, f"no keys ask for {act} at '{view.headline}'"
    return found


def _found(act: AnyAct, panel: Panel, view: View, deep: int) -> tuple[Keys, ...] | None:
    if panel.mode == "step":
        if view.enter is not None and _same(view.enter.act, act):
            return (("enter",),)
        own = next((c.key for c in view.cautions if c.state == "owed" and _same(c.act, act)), None)
        if own is not None:
            return ((own,),)
    _, options, field = opened(panel, view)
    if field is not None and (typed := _typed(field, act)) is not None:
        return typed
    if deep == 0:
        return None
    for turned in range(pages(len(options))):
        leafed = panel
        for _ in range(turned):
            leafed, _ = press(leafed, view, "+", _AT)
        before: tuple[Keys, ...] = (("+",),) * turned
        shown = face(leafed, view).options
        for option in shown:
            if option.act is not None and _same(option.act, act):
                return (*before, (option.key,))
        for option in shown:
            if option.sub or option.field is not None:
                inner, _ = press(leafed, view, option.key, _AT)
                more = _found(act, inner, view, deep - 1)
                if more is not None:
                    return (*before, (option.key,), *more)
    if panel.mode == "step":
        menu, strokes = panel, 0
        while menu.mode == "step" and strokes < 2:  # where a minus sign can be typed, the menu is the second stroke
            menu, strokes = press(menu, view, "-", _AT)[0], strokes + 1
        more = _found(act, menu, view, deep - 1) if menu.mode == "menu" else None
        return None if more is None else (("-",) * strokes, *more)
    return None


def _same(offered: AnyAct | None, wanted: AnyAct) -> bool:
    if isinstance(wanted, _BY_KIND):
        return type(offered) is type(wanted) and getattr(offered, "way", "") == getattr(wanted, "way", "")
    return offered == wanted


def _typed(field: Field, act: AnyAct) -> tuple[Keys, ...] | None:
    """The keys that fill a field so that its act says what is wanted; None if it is another field."""
    base = field.base
    if type(base) is not type(act):
        return None
    match base, act:
        case ac.Enter(), ac.Enter():
            return _values(field, act.typed, act.unit, act.instrument, act.clicks)
        case ac.Supply(), ac.Supply() if (base.name, base.source) == (act.name, act.source):
            return _values(field, [act.typed])
        case ac.Answer(), ac.Answer():
            return _values(field, [act.value])
        case ac.Report(), ac.Report():
            return _values(field, [act.used])
    return None


def _values(
    field: Field, typed: list[str], unit: str = "", instrument: str = "", clicks: str = ""
) -> tuple[Keys, ...] | None:
    value, _, after = typed[0].partition(" ")
    if after and not after[0].isdigit():
        typed, unit = [value], unit or after
    tools = {tool for tool, _ in field.ways}
    instrument = instrument if instrument in tools else ""  # what a wrench is set to is asked without the tool
    fits = [w for w, (tool, in_unit) in enumerate(field.ways) if instrument in ("", tool) and unit in ("", in_unit)]
    if not fits:
        return None
    keys = [tuple(_keys(text)) for text in typed] + ([tuple(_keys(clicks))] if clicks else [])
    if not all(set(one) <= KEYPAD for one in keys):
        return None
    return (*((("+",),) * fits[0]), *((*one, "enter") for one in keys))


def _keys(text: str) -> Iterator[str]:
    """The keys of a value: a mixed number has its space from the plus key, a time of day its colon from the point."""
    yield from text.replace(" ", "+").replace(":", ".").replace(",", ".")
