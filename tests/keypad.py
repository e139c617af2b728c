"""A player of a run who has a keypad and nothing else: from what a surface shows to the next keys.

What to answer comes from a file of answers, by the step whose number is shown and by the corner whose name is shown;
which key says so is read off the surface. Whoever shows the surface makes a ``Seen`` of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from runner.core.face import face
from runner.core.graph import CORNERS, HERE, Body, Call, Check, Each, Procedure, Step, spoken
from runner.core.panel import Panel
from runner.core.picture_stage import ALL_SO
from runner.core.view import View
from runner.edge.answers import Answers, Said

DIGITS = frozenset("0123456789")
GRANTED = re.compile(r"(\d+) [a-z ]+, then look\..* How many were done in all\?")
CORNER_NAMES = {spoken(corner): corner for corner in CORNERS}


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a surface shows: nothing that the eye could not read there.

    ``warning`` is the digit printed in a warning that is owed, which ``waits`` until it can have been read;
    ``answers`` are (key, text) of what can be answered, ``prompt`` is what is to be typed, in which ``unit`` and with
    which ``instrument``; ``enter`` says whether Enter does something. ``what`` tells one showing from the next.
    """

    what: str
    number: int
    corner: str
    headline: str
    question: str
    warning: str
    waits: bool
    answers: tuple[tuple[str, str], ...]
    prompt: str
    unit: str
    instrument: str
    enter: bool
    over: bool


def seen(view: View, panel: Panel) -> Seen:
    """What any surface shows of a view and its panel."""
    shown = face(panel, view)
    corner = next((c for name, c in CORNER_NAMES.items() if name in view.section), "")
    return Seen(
        what=view.token,
        number=view.step_n,
        corner=corner,
        headline=view.headline,
        question=view.question,
        warning=next((c.key for c in view.cautions if c.state == "owed"), ""),
        waits=any(c.state == "owed" and c.wait_s > 0 for c in view.cautions),
        answers=tuple((o.key, o.text) for o in shown.options),
        prompt=shown.prompt,
        unit=shown.unit,
        instrument=shown.instrument,
        enter=view.enter is not None,
        over=view.ended,
    )


class Player:
    """Plays one run; ask it for ``keys`` again and again until the run is over.

    ``truths`` are what is so on the car, in the words of the procedure, for when that is asked.
    """

    def __init__(self, procedure: Procedure, answers: Answers, truths: frozenset[str] = frozenset()) -> None:
        self.procedure = procedure
        self.answers = answers
        self.truths = truths
        self.presses = 0
        self._used: dict[str, int] = {}
        self._asked = ""
        self._said: Said | None = None

    def keys(self, now: Seen) -> tuple[str, ...]:
        """The keys of one answer; () where there is nothing but to wait."""
        keys = self._keys(now)
        self.presses += len(keys)
        return keys

    def _keys(self, now: Seen) -> tuple[str, ...]:
        if now.over or now.waits:
            return ()
        if now.warning:
            return (now.warning,)
        if now.prompt:
            return self._typed(now)
        if "HOLD. " in now.question:
            return ("0",)
        if now.enter:
            return ("enter",)
        return self._answered(now) if now.answers else ()

    def _typed(self, now: Seen) -> tuple[str, ...]:
        if granted := GRANTED.search(now.question):
            return (*granted[1], "enter")
        said = self._answer(now)
        if said is None:
            return (*str(self._check(now).right[0]), "enter")
        value, _, unit = said.text("value").partition(" ")
        if not set(value) <= DIGITS | set("./-"):
            return ("-", "1", "1")  # no keypad types this: the text is owed
        unit, tool = unit or said.text("unit"), said.text("instrument")
        if (tool and now.instrument and tool != now.instrument) or (unit and now.unit and unit != now.unit):
            return ("+",)
        clicks = (*said.text("clicks"), "enter") if said.text("clicks") else ()
        return (*value, "enter", *clicks)

    def _answered(self, now: Seen) -> tuple[str, ...]:
        level = next((n for n, v in self.procedure.levels.items() if f"level: {v.what}." in now.headline), "")
        if level:
            return self._pressed(now, self._next(now, self.answers.looks, level))
        if now.answers[-1][1] == ALL_SO:
            held = ((key, text.removeprefix("not so: ")) for key, text in now.answers[:-1])
            wrong = (key for key, text in held if self.truths and text not in self.truths)
            return (next(wrong, now.answers[-1][0]),)
        if "What is so?" in now.question:
            return (next((key for key, text in now.answers if text in self.truths), now.answers[0][0]),)
        said = self._answer(now)
        if said is not None:
            return self._pressed(now, said)
        gate = _steps(self.procedure)[self._kind(now)].gate
        if not isinstance(gate, Check):
            return (now.answers[0][0],)  # beside the usual way: what an author writes first
        right = gate.right[0]
        return (_key_of(now, spoken(now.corner) if right == HERE else right),)

    def _answer(self, now: Seen) -> Said | None:
        kind = self._kind(now)
        return self._next(now, self.answers.steps, self._path(now), kind, kind.rpartition("/")[2])

    def _next(self, now: Seen, table: Mapping[str, tuple[Said, ...]], *names: str) -> Said | None:
        """The answer for this showing; a list is used up one showing after the other, its last item stays."""
        if self._asked != now.what:
            self._asked, self._said = now.what, None
            for name in names:
                if (said := table.get(name)) is not None:
                    at = self._used.get(name, 0)
                    self._used[name] = at + 1
                    self._said = said[min(at, len(said) - 1)]
                    break
        return self._said

    def _kind(self, now: Seen) -> str:
        return tuple(_steps(self.procedure))[now.number - 1]

    def _path(self, now: Seen) -> str:
        """The path of the step at the corner that is shown."""
        kind = self._kind(now)
        for at in range(1, kind.count("/") + 1) if now.corner else ():
            parts = kind.split("/")
            path = "/".join((*parts[:at], now.corner, *parts[at:]))
            if path in self.answers.steps:
                return path
        return kind

    def _check(self, now: Seen) -> Check:
        """The check that stands here: what is right is known to whoever wrote the procedure."""
        gate = _steps(self.procedure)[self._kind(now)].gate
        assert isinstance(gate, Check), f"nothing says what is right here: {now}"
        return gate

    def _pressed(self, now: Seen, said: Said | None) -> tuple[str, ...]:
        return (_key_of(now, said.text("answer", "value") if said is not None else "cannot see"),)


@lru_cache(maxsize=4)
def _steps(procedure: Procedure) -> dict[str, Step]:
    """Every step by its path without corners."""

    def under(body: Body, before: str) -> Iterator[tuple[str, Step]]:
        for name, node in body.nodes.items():
            if isinstance(node, Call):
                yield from under(procedure.fragments[node.fragment].body, f"{before}{name}/")
            elif isinstance(node, Each):
                yield from under(node.body, f"{before}{name}/")
            elif isinstance(node, Step):
                yield before + name, node

    return dict(under(procedure.body, ""))


def _key_of(now: Seen, text: str) -> str:
    found = [key for key, shown in now.answers if shown == text]
    assert found, f"'{text}' is not among the answers: {now}"
    return found[0]
