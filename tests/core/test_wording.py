"""How facts about the car read when several of its places are meant at once."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations

import pytest

from runner.core import graph as g
from runner.core.graph import CORNERS, MEMBERS, IfLeft, Procedure
from runner.core.wording import leave_words, says, says_all
from tests.core.bench import begun, condition
from tests.library import procedure

_PLACE = r"(?:front|rear|left|right)"
_SEVERAL = re.compile(rf"\b{_PLACE}(?:, [a-z ]+)* and (?:left |right )?{_PLACE} [a-z]+")
"""Two places before one noun: 'the front and rear end', 'the left front and right front wheel'."""


def fitted(*conditions: g.Condition) -> Procedure:
    return replace(begun().procedure, conditions={c.name: c for c in conditions})


WHEEL = condition(
    "wheel_off", "the {here} wheel is off", "the {here} wheel is not off", index="corner", kind="opening",
    normally=False, if_left=IfLeft(kind="may stay", text="The {here} wheel may stay off while its end is on stands."),
)  # fmt: skip
JACK = condition("on_jack", "the {here} end hangs on it", "the {here} end does not hang on it", index="axle")
HOSE = condition("hose_on", "the hose is on the {here} nipple", "no hose is on the {here} nipple", index="corner")
CHALK = condition("chalk", "the wheel at {here} has its chalk", "the wheel at {here} has no chalk", index="corner")
CHOCKS = condition("chocked", "chocks stand at both {here} wheels", "no chocks stand there", index="axle")
LENS = condition("lens", "the {here} lens is clear", "the {here} lens is not clear", index="side")


def said(one: g.Condition, members: tuple[str, ...], *, holds: bool) -> str:
    (text,) = says_all(fitted(one), [(f"{one.name}@{m}", holds) for m in members])
    return text


@pytest.mark.parametrize(
    ("one", "members", "holds", "text"),
    [
        (WHEEL, CORNERS, True, "every wheel is off"),
        (WHEEL, ("LF",), True, "the left front wheel is off"),
        (WHEEL, ("LF", "RR"), True, "at the left front and the right rear, the wheel is off"),
        (WHEEL, CORNERS, False, "at each corner, the wheel is not off"),
        (WHEEL, CORNERS[:3], False, "at the left front, the right front and the left rear, the wheel is not off"),
        (JACK, ("front", "rear"), False, "at the front and the rear, the end does not hang on it"),
        (JACK, ("front", "rear"), True, "each end hangs on it"),
        (HOSE, CORNERS, False, "no hose is on any nipple"),
        (HOSE, ("LF", "RF"), False, "at the left front and the right front, no hose is on the nipple"),
        (CHALK, ("LF", "RF"), True, "at the left front and the right front, the wheel there has its chalk"),
        (CHOCKS, ("front", "rear"), True, "at the front and the rear, chocks stand at both wheels"),
        (LENS, ("left", "right"), False, "on each side, the lens is not clear"),
    ],
)
def test_a_fact_about_several_places_is_said_as_its_author_wrote_it_for_one(
    one: g.Condition, members: tuple[str, ...], holds: bool, text: str
) -> None:
    assert said(one, members, holds=holds) == text


def test_what_may_stay_at_several_places_is_a_sentence_with_one_verb() -> None:
    whole = fitted(WHEEL)
    assert leave_words(whole, ("wheel_off@LF", "wheel_off@RF")) == (
        "At the left front and the right front, the wheel may stay off while its end is on stands.",
    )
    assert leave_words(whole, ("wheel_off@LF",)) == ("The left front wheel may stay off while its end is on stands.",)


def test_no_fact_of_the_shipped_library_puts_two_places_before_one_noun() -> None:
    whole = procedure("brake-fluid-exchange")
    for one in whole.conditions.values():
        members = MEMBERS[one.index] if one.index else ()
        for size in range(2, len(members) + 1):
            for some in combinations(members, size):
                names = [f"{one.name}@{m}" for m in some]
                texts = [*says_all(whole, [(n, h) for n in names for h in (True, False)])]
                texts += leave_words(whole, names) if one.if_left is not None else ()
                for text in texts:
                    assert not _SEVERAL.search(text.partition(", ")[2] or text), text
                    assert "  " not in text
                    assert "{" not in text


def test_a_denial_is_never_said_under_every() -> None:
    whole = procedure("brake-fluid-exchange")
    for one in whole.conditions.values():
        if one.index is not None:
            names = [(f"{one.name}@{m}", h) for m in MEMBERS[one.index] for h in (True, False)]
            for text in says_all(whole, names):
                assert not re.search(r"\b(?:every|each) (?!corner|side).*\bnot\b", text) or ", each " in text, text


def test_a_fact_of_one_place_stands_as_its_author_wrote_it() -> None:
    assert says(fitted(WHEEL), "wheel_off@RR", holds=False) == "the right rear wheel is not off"
