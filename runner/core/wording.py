"""Signal and story: how facts, values and events read, in the words of the shop.

Nothing here decides anything; a text never shows a brace, and names never show their underscores.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from runner.core import graph
from runner.core.finding import clean
from runner.core.graph import Found, Procedure, Reading, Step, spoken
from runner.core.quantity import DIMENSIONS, Quantity, Unit
from runner.core.state import State
from runner.core.units import show, units_of
from runner.core.values import named

_THOUSANDTHS = 3
_SLOT = re.compile(r"\{([^{}]*)\}")
_THE_ONE_HERE = re.compile(r"\bthe \{here\} (\w*[^\Ws])\b")
"""A place and the one thing that is there: several things would need another verb."""
_DENIES = re.compile(r"\b(?:not|no|nothing|nobody)\b")
_EVERYWHERE = {"corner": "at each corner", "axle": "at the front and the rear", "side": "on each side"}


def fill(text: str, procedure: Procedure, state: State, here: str | None) -> str:
    """The text with its slots filled: ``{here}`` and names of asks, computed values and readings.

    ``procedure`` is the one that wrote the text. What is not known yet is said to be so.
    """
    if "{" not in text and "}" not in text:
        return text
    filled = _SLOT.sub(lambda slot: _worth(slot[1].strip(), procedure, state, here), text)
    return filled.replace("{", "").replace("}", "")


def _worth(name: str, procedure: Procedure, state: State, here: str | None) -> str:
    if name == graph.HERE:
        return spoken(here)
    base = name.partition("@")[0]
    value = state.choices.get(name)
    known = value if value is not None else named(procedure, state, name, here)
    if known is None:
        return f"({what_of(procedure, base)}: not known yet)"
    if isinstance(known, Quantity):
        unit = unit_of(procedure, base) or next(iter(units_of(known.dimension)), None)
        if unit is None:
            return clean(base)
        return clean(rounded(known, unit) if base in procedure.computes else show(known, unit))
    return clean(known) if isinstance(known, str) else spoken_order(known)


def rounded(value: Quantity, unit: Unit) -> str:
    """A value without digits that nobody can measure.

    What comes out even in thousandths stays; else a length has thousandths, as a micrometer reads, and anything else
    three digits that count and no more than tenths from ten on.
    """
    ends = value.within(unit)
    even = next((n for n in range(_THOUSANDTHS + 1) if all((end * 10**n).denominator == 1 for end in ends)), None)
    size = max(map(abs, ends))
    most = _THOUSANDTHS if unit.dimension == DIMENSIONS["length"] or size < 1 else 1 if size >= 10 else 2
    return show(value, unit, most if even is None else even)


def what_of(procedure: Procedure, name: str) -> str:
    """What an ask, a computed value, a reading or a level is, in the author's words."""
    found = procedure.asks.get(name) or procedure.computes.get(name) or procedure.levels.get(name)
    found_reading = _readings(procedure).get(name)
    what = found.what if found is not None else found_reading.what if found_reading is not None else name
    return plain(what)


def unit_of(procedure: Procedure, name: str) -> Unit | None:
    """The author's unit of an ask, a computed value or a reading."""
    declared = procedure.asks.get(name) or procedure.computes.get(name)
    if declared is not None:
        return declared.unit
    reading = _readings(procedure).get(name)
    return reading.unit if reading is not None else None


@lru_cache(maxsize=64)
def _readings(procedure: Procedure) -> dict[str, Reading]:
    steps = (node for node in graph.walk(procedure.body) if isinstance(node, Step))
    return {step.gate.name: step.gate for step in steps if isinstance(step.gate, Reading)}


def plain(name: str) -> str:
    """A name as words: ``nipple_open@RR`` is ``nipple open, right rear``."""
    base, at, member = name.partition("@")
    words = clean(base).replace("_", " ").replace("{", "").replace("}", "")
    return f"{words}, {spoken(member)}" if at else words


def says(procedure: Procedure, instance: str, *, holds: bool) -> str:
    """What the car is like when a condition holds, or when it does not."""
    name, _, member = instance.partition("@")
    return _said(procedure, name, (member,) if member else (), holds=holds)


def says_there(procedure: Procedure, instance: str, *, holds: bool) -> str:
    """The same under a heading that names the place: the words alone."""
    condition = procedure.conditions[instance.partition("@")[0]]
    words = condition.says if holds else condition.says_not
    return _alone(words) if words else f"{'' if holds else 'not: '}{plain(condition.name)}"


def says_all(procedure: Procedure, facts: Iterable[tuple[str, bool]]) -> tuple[str, ...]:
    """What the car is like, one text for each condition: its corners or axles are named together."""
    together: dict[tuple[str, bool], list[str]] = {}
    for instance, holds in facts:
        name, at, member = instance.partition("@")
        members = together.setdefault((name, holds), [])
        members += [member] if at else []
    return tuple(_said(procedure, name, tuple(m), holds=holds) for (name, holds), m in together.items())


def _said(procedure: Procedure, name: str, members: tuple[str, ...], *, holds: bool) -> str:
    condition = procedure.conditions.get(name)
    words = "" if condition is None else condition.says if holds else condition.says_not
    if condition is None or not words:
        where = _and([spoken(m) for m in members])
        return f"{'' if holds else 'not: '}{plain(name)}" + (f", {where}" if where else "")
    return _at(words, condition.index, members)


def _at(words: str, index: str | None, members: tuple[str, ...]) -> str:
    """A text with its place in it. What its author wrote for one place stays true of each of several.

    Two places in one slot would want another verb and another noun, so several stand before the words: ``at the left
    front and the right rear, the wheel is off``. A negation is never under ``every``: that could be read as some.
    """
    if len(members) < 2:
        return _unbraced(words, spoken(members[0]) if members else "")
    if _SLOT.search(words) is None:
        return words
    everywhere = index is not None and set(members) == set(graph.MEMBERS[index])
    none = words.startswith("no ")
    if everywhere and not _DENIES.search(words, 3 if none else 0):
        every = "any" if none else "every" if index == "corner" else "each"
        words = _THE_ONE_HERE.sub(lambda found: f"{every} {found[1]}", words)
        if _SLOT.search(words) is None:
            return words
    before = _EVERYWHERE[index] if index in _EVERYWHERE and everywhere else _together(members, index)
    alone = _alone(words)
    first = before[0].upper() if alone[:1].isupper() else before[0]
    return f"{first}{before[1:]}, {alone[:1].lower()}{alone[1:]}"


def _alone(words: str) -> str:
    """The words without their place, which is named beside them."""
    return _unbraced(_SLOT.sub("", words.replace("at {here}", "there")), "").replace("  ", " ")


def _together(members: tuple[str, ...], index: str | None) -> str:
    return f"{'on' if index == 'side' else 'at'} {_and([f'the {spoken(m)}' for m in members])}"


def _unbraced(words: str, here: str) -> str:
    return _SLOT.sub(lambda _: here, words).replace("{", "").replace("}", "")


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


def close_words(procedure: Procedure, instance: str) -> str:
    """What to do with an opening before the car is left, or under what it may stay."""
    return leave_words(procedure, (instance,))[0]


def leave_words(procedure: Procedure, instances: Iterable[str]) -> tuple[str, ...]:
    """The same for several, one text for each condition."""
    together: dict[str, list[str]] = {}
    for instance in instances:
        name, at, member = instance.partition("@")
        members = together.setdefault(name, [])
        members += [member] if at else []
    return tuple(_leave(procedure, name, tuple(members)) for name, members in together.items())


def _leave(procedure: Procedure, name: str, members: tuple[str, ...]) -> str:
    condition = procedure.conditions[name]
    left = condition.if_left
    if left is None:
        return f"Make it so: {_said(procedure, name, members, holds=condition.normally is True)}."
    return sentence(_at(left.text, condition.index, members))


def title(found: Found, state: State) -> str:
    """The instruction of a step with its slots filled, or the name of what is no step."""
    node = found.node
    if isinstance(node, Step):
        return fill(node.do, found.procedure, state, found.here)
    if isinstance(node, graph.End):
        return node.say or f"end: {node.kind}"
    words = plain(node.id.replace("-", " "))
    return f"{words}, in an order that is not known yet" if isinstance(node, graph.Each) else words


def spoken_order(members: tuple[str, ...]) -> str:
    """Corners or axles one after the other, in words."""
    return ", ".join(spoken(m) for m in members)


def sentence(words: str) -> str:
    """Words as a sentence: a capital at the start, a full stop at the end."""
    text = words.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?:" else ".")


def minutes(seconds: int) -> str:
    """A span in the units that one would say it in."""
    if seconds < 120:
        return f"{seconds} s"
    if seconds < 7200:
        return f"{-(-seconds // 60)} min"
    if seconds < 172_800:
        return f"{seconds // 3600} h {-(-seconds % 3600 // 60)} min"
    return f"{seconds // 86_400} d {seconds % 86_400 // 3600} h"
