"""Names of a record in the words of its procedure: expected words stand in the small procedure and its vocabulary."""

from __future__ import annotations

import re

import pytest

from runner.core import act as ac
from runner.core.audit import story, summary
from runner.core.handover import Vehicle, handover
from runner.core.names import Names
from runner.core.state import State
from tests.edge.small import USUAL, lines, procedure, typed
from tests.library import procedure as shipped

NAMES = Names(procedure())
RAW = re.compile(r"\w_\w|\w@(LF|RF|LR|RR|front|rear|left|right)\b")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("pads_out", "the pads are out"),
        ("deed pads_pulled", "the pads are pulled"),
        ("end goggles_on", "no longer so: goggles are on"),
        ("dust", "Brake dust gets into the lungs"),
        ("pad_limit", "Least thickness of the pad"),
        ("pad", "pad thickness"),
        ("wear@front", "Wear of the disc, front"),
        ("of_no_procedure@RR", "of no procedure, right rear"),
    ],
)
def test_a_name_reads_as_what_it_stands_for(name: str, words: str) -> None:
    assert NAMES.of(name) == words


def test_a_text_loses_the_names_that_stand_in_it_and_nothing_else() -> None:
    text = "still open: pads_out, deed pads_pulled; see file_name, ab@example and dust"
    assert (
        NAMES.in_text(text) == "still open: the pads are out, the pads are pulled; see file_name, ab@example and dust"
    )


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"pads_out": "T", "goggles_on": "F"}, "the pads are out; goggles are off"),
        ({"pads_out": "U"}, "not known whether the pads are out"),
        ({"no_such": "T"}, "no such: so"),
        ({}, "nothing changed"),
    ],
)
def test_what_became_of_the_car_is_told_as_it_is(values: dict[str, str], words: str) -> None:
    assert NAMES.facts(values) == words


def test_what_is_not_known_is_not_said_to_be_open() -> None:
    state = State(procedure="pad-look", conditions={"pads_out": "U"})
    assert Names(procedure(), state).open(("pads_out",)) == ("not known whether the pads are out",)
    assert Names(procedure(), State(procedure="pad-look", conditions={"pads_out": "T"})).open(("pads_out",)) == (
        "the pads are out",
    )


def test_a_step_is_told_by_its_instruction_and_other_paths_by_their_parts() -> None:
    assert NAMES.place("measure") == "'Measure the thinner pad.'"
    assert NAMES.place("corners/RR/bleed") == "corners, right rear, bleed"


def test_what_was_left_undone_is_told_as_it_is_on_sheet_and_in_the_audit() -> None:
    told = lines((*USUAL[:5], ac.Abandon(reason="called away")))[1]
    [_, undone] = summary(told, procedure()).findings
    assert undone.endswith("finding (fail): left undone; still so: the pads are out")
    ends = [line for line in story(told, procedure()) if "left undone" in line or "the run ended" in line]
    assert len(ends) == 1
    assert ends[0].count("the pads are out") == 1
    sheet = handover(told, procedure(), Vehicle())
    assert "The pads are out." in sheet.before_driving
    assert not any("the pads are out" in text for text in sheet.found)


@pytest.mark.parametrize(
    "more", [(), (ac.Hold(), ac.Resume(clean=False, by="AB")), (ac.Done(), typed("2"), ac.Accept())]
)
def test_no_name_of_a_file_reaches_whoever_reads_the_story(more: tuple[ac.AnyAct, ...]) -> None:
    told = lines((*USUAL[:5], *more, ac.Abandon(reason="called away")))[1]
    assert [line for line in story(told, procedure()) if RAW.search(line)] == []


def test_what_a_run_ended_without_is_told_once_and_for_all_places_together() -> None:
    made = shipped("brake-fluid-exchange")
    corners = ("LF", "RF", "LR", "RR")
    rules = [rule for rule in made.rules if rule.kind == "must_follow" and rule.what and rule.other]
    names = [f"{rule.said} ({rule.what.on} {rule.what.name}@{at})" for rule in rules for at in corners]
    told = Names(made).all_amiss([*names, *(f"wheel_off@{at}" for at in corners)])
    assert "still so: every wheel is off" in told
    assert len(told) == len(set(told)) <= len(rules) + 1
    assert not any(RAW.search(text) or re.search(r"(\w+, ){2}", text) for text in told)
    assert any(text.startswith("to be done yet: ") for text in told)

