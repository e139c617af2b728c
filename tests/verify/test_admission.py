"""Where a run may go on, from the car as it is."""

from __future__ import annotations

from dataclasses import replace

from runner.core.graph import Procedure
from runner.verify import Checked, admissible, verify
from tests.verify.build import after, choice, duty, each, end, fact, opening, procedure, rule, step

GOGGLES = duty("deed", "look_up", "goggles_on")


def checked(made: Procedure) -> Checked:
    verdict = verify(made)
    assert isinstance(verdict, Checked), verdict
    return verdict


def goggles() -> Checked:
    return checked(
        procedure(
            step("goggles", "look", makes=("goggles_on",)),
            step("look", "done", asks=("goggles_on",), deeds=("look_up",)),
            end(),
            conditions=[fact("goggles_on")],
            duties=[GOGGLES],
        )
    )


def test_a_step_is_admitted_when_the_car_is_as_its_paths_need_it() -> None:
    assert admissible(goggles(), "look", {"goggles_on": "T"}, {}, remaining={}).ok
    verdict = admissible(goggles(), "look", {"goggles_on": "U"}, {}, remaining={})
    assert (verdict.ok, verdict.because) == (False, "'goggles_on' may not hold here")


def test_the_place_where_the_missing_condition_is_made_is_always_admitted() -> None:
    assert admissible(goggles(), "goggles", {"goggles_on": "F"}, {}, remaining={}).ok


def corners() -> Checked:
    return checked(
        procedure(
            each(
                "all",
                "done",
                step("open", "close", makes=("nipple_open",)),
                step("close", "next corner", ends=("nipple_open",)),
            ),
            end(),
            conditions=[opening("nipple_open", index="corner")],
            assumes=("none nipple_open",),
            rules=[rule("at_most_one", "nipple_open")],
        )
    )


def test_inside_a_block_the_turns_to_come_count_and_those_that_are_over_do_not() -> None:
    closed = {f"nipple_open@{m}": "F" for m in ("LF", "RF", "LR", "RR")}
    made = corners()
    assert admissible(made, "all/RR/open", closed, {}, remaining={"all": ("LF",)}).ok
    assert not admissible(made, "all/RR/open", {**closed, "nipple_open@LF": "T"}, {}, remaining={"all": ("LF",)}).ok
    assert admissible(made, "all/RR/close", {**closed, "nipple_open@RR": "T"}, {}, remaining={"all": ("LF",)}).ok


def test_a_place_that_does_not_exist_is_not_admitted() -> None:
    assert not admissible(corners(), "all/RR/open", {}, {}, remaining={"all": ("RR",)}).ok
    assert not admissible(corners(), "nowhere", {}, {}, remaining={}).ok


def test_a_rule_starts_from_what_has_happened() -> None:
    made = checked(
        procedure(
            step("shake", "pour", deeds=("shake",)),
            step("pour", "done", deeds=("pour",)),
            end(),
            rules=[rule("only_after", "deed pour", "deed shake")],
        )
    )
    assert admissible(made, "pour", {}, {}, remaining={}, happened={"deed shake": 1}).ok
    assert not admissible(made, "pour", {}, {}, remaining={}, happened={}).ok


def test_what_was_followed_before_it_happened_again_is_still_owed() -> None:
    made = checked(
        procedure(
            step("loosen", "torque", deeds=("loosen",)),
            step("torque", "look", deeds=("torque",)),
            step("look", "done"),
            end(),
            rules=[rule("must_follow", "deed loosen", "deed torque")],
        )
    )
    assert admissible(made, "look", {}, {}, remaining={}, happened={"deed loosen": 1, "deed torque": 2}).ok
    assert not admissible(made, "look", {}, {}, remaining={}, happened={"deed loosen": 3, "deed torque": 2}).ok


def test_a_rule_within_a_block_starts_from_the_turn_that_goes_on() -> None:
    shake, pour = step("shake", "pour", deeds=("shake",)), step("pour", "next corner", deeds=("pour",))
    only = [rule("only_after", "deed pour", "deed shake")]
    made = checked(procedure(each("all", "done", shake, pour, order=("RR", "LF")), end(), rules=only))
    shaken = {"deed shake@RR": 1, "deed pour@RR": 2}
    to_come = {"all": ("LF",)}
    assert admissible(made, "all/RR/pour", {}, {}, remaining=to_come, happened=shaken, turned={"all/RR": 0}).ok
    assert not admissible(made, "all/RR/pour", {}, {}, remaining=to_come, happened=shaken, turned={"all/RR": 2}).ok


def test_what_must_come_before_starts_from_how_it_came_out_in_the_turn_that_goes_on() -> None:
    look = step("look", {"good": "next corner", "worn": "renew"}, gate=choice("good", "worn"))
    renew = replace(step("renew", "next corner"), after=(after("look", "worn"),))
    made = checked(procedure(each("all", "done", look, renew, order=("RR", "LF")), end()))

    def may(passed: dict[str, tuple[bool, str]]) -> bool:
        to_come = {"all": ("LF",)}
        return admissible(made, "all/RR/renew", {}, {}, remaining=to_come, happened={}, passed=passed).ok

    assert may({"all/RR/look": (True, "worn")})
    assert not may({"all/RR/look": (True, "good")})
    assert not may({"all/LF/look": (True, "worn")})
    assert admissible(made, "all/RR/look", {}, {}, remaining={"all": ("LF",)}, happened={}).ok
