# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""What is owed now: safety messages with their keys and times, checks, choices, needs, waits."""

from __future__ import annotations

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.stage import READ_NS_PER_WORD
from tests.core.driver import Run, of, steps

CAUTIONS = """
steps:
  one: {do: Open it., cautions: [paint, squirt, slip, crush], next: two}
  two: {do: Open the other., cautions: [squirt], next: finish}
  finish: {end: done}
"""
TURNS = """
steps:
  corners:
    each: {corner: [RR, LR, RF, LF]}
    steps:
      open: {do: Open it., cautions: [WHICH], next: shut}
      shut: {do: Close it., next: next corner}
    then: finish
  finish: {end: done}
"""


def confirm(run: Run, key: str | None = None) -> ac.Confirm:
    owed = run.owed()
    assert owed.caution is not None
    return ac.Confirm(hazard=owed.caution.name, key=owed.key if key is None else key)


def read(run: Run) -> Run:
    owed = run.owed()
    return run.later((owed.needed_ms - owed.shown_ms) / 1000)


def test_dangers_and_warnings_come_first_and_each_has_an_act_of_its_own() -> None:
    run = Run(steps(CAUTIONS)).begin()
    told = []
    while (owed := run.owed()).kind == "own caution":
        assert owed.caution is not None
        told.append(owed.caution.word)
        run.refused(ac.ConfirmRest())
        run.refused(ac.Done())
        read(run).goes(confirm(run))
    assert told == ["DANGER", "WARNING"]
    assert [c.name for c in owed.rest] == ["slip", "paint"]
    run.goes(ac.ConfirmRest())
    assert run.owed().kind == "do"


def test_the_wrong_key_confirms_nothing() -> None:
    run = read(Run(steps(CAUTIONS)).begin())
    right = run.owed().key
    for key in "0123456789":
        if key != right:
            assert "key" in run.refused(confirm(run, key)).why
    run.refused(ac.Confirm(hazard="squirt", key=right))  # another message than the one that stands
    run.goes(confirm(run))


def test_a_warning_cannot_be_confirmed_before_it_can_have_been_read() -> None:
    run = Run(steps(CAUTIONS)).begin()
    owed = run.owed()
    assert owed.caution is not None
    assert owed.needed_ms == owed.caution.words * READ_NS_PER_WORD // 1_000_000
    run.later((owed.needed_ms - 1) / 1000)
    assert "cannot have been read" in run.refused(confirm(run)).why
    run.later(0.001).goes(confirm(run))
    assert run.owed().shown_ms == 0  # the next one begins anew


def test_the_key_differs_from_one_warning_to_the_next_and_from_run_to_run_but_not_on_replay() -> None:
    keys = []
    for _ in range(2):
        run = Run(steps(CAUTIONS)).begin()
        first = run.owed().key
        read(run).goes(confirm(run))
        assert run.owed().key != first
        keys.append((first, run.owed().key))
    assert keys[0] == keys[1]
    assert all(k in "123456789" for pair in keys for k in pair)


def test_a_warning_never_has_the_key_of_its_last_time() -> None:
    run, keys = Run(steps(CAUTIONS)).begin(), dict[str, str]()
    for _ in range(40):
        for _ in range(2):
            owed = run.owed()
            assert owed.caution is not None
            assert owed.key != keys.get(owed.caution.name)
            keys[owed.caution.name] = owed.key
            read(run).goes(confirm(run))
        run.goes(ac.Hold())
        run.goes(ac.Resume(clean=True))


def test_a_caution_confirmed_too_fast_is_marked() -> None:
    run = Run(steps(CAUTIONS)).begin()
    for _ in range(2):
        read(run).goes(confirm(run))
    told = of(ev.Confirmed, run.goes(ac.ConfirmRest()))
    assert isinstance(told, ev.Confirmed)
    assert told.fast
    assert (told.how, told.hazards) == ("together", ["slip", "paint"])


def test_a_caution_read_in_its_time_is_not_marked() -> None:
    run = Run(steps(CAUTIONS)).begin()
    for _ in range(3):
        read(run)
        if run.owed().kind == "own caution":
            run.goes(confirm(run))
    told = of(ev.Confirmed, run.goes(ac.ConfirmRest()))
    assert isinstance(told, ev.Confirmed)
    assert not told.fast


def test_a_warning_at_another_kind_of_step_has_its_own_act_again() -> None:
    run = Run(steps(CAUTIONS)).begin()
    run.done()
    assert run.path == "two"
    assert run.owed().kind == "own caution"


def at_the_second_corner(which: str) -> Run:
    run = Run(steps(TURNS.replace("WHICH", which))).begin()
    run.done()
    run.done()
    assert run.path == "corners/LR/open"
    return run


def test_a_warning_is_in_effect_at_the_next_corner_with_one_short_act() -> None:
    run = at_the_second_corner("squirt")
    owed = run.owed()
    assert (owed.kind, [c.name for c in owed.rest], owed.needed_ms) == ("cautions", ["squirt"], 0)
    told = of(ev.Confirmed, run.goes(ac.ConfirmRest()))
    assert isinstance(told, ev.Confirmed)
    assert not told.fast


def test_a_danger_is_never_joined() -> None:
    run = at_the_second_corner("crush")
    owed = run.owed()
    assert owed.kind == "own caution"
    assert owed.needed_ms > 0


def test_after_a_break_a_warning_has_its_own_act_again() -> None:
    run = at_the_second_corner("squirt")
    run.goes(ac.Hold())
    run.goes(ac.Resume(clean=True))
    assert run.owed().kind == "own caution"


def test_another_person_reads_every_warning_again() -> None:
    for act, by in ((ac.Person(initials="JT"), "JT"), (ac.Tick(), "JT")):
        run = at_the_second_corner("squirt")
        run.goes(ac.ConfirmRest())
        assert run.owed().kind == "do"
        run.do(act, by=by)
        run.by = by
        assert run.owed().kind == "own caution"


GATES = """
steps:
  corner:
    do: Set the spanner on the nipple.
    check: {ask: Which corner is the spanner on?, corner: RR}
    next: splines
  splines: {do: Count the splines., check: {ask: How many?, number: 23}, next: grade}
  grade: {do: Read the cap., check: {ask: Which grade?, pick: [DOT 3, DOT 4, cannot read], right: [DOT 4], otherwise: true}, next: {met: look, not so: stop}}
  look: {do: Look at the fluid., choose: {ask: How does it look?, options: [clear, dark, cannot tell], as: fluid}, next: {clear: press, dark: stop, cannot tell: look}}
  press: {do: Hold the pedal down., hold: {at_least: 10 s, ask: Did it sink?, options: [held, sank]}, next: {held: name, sank: stop}}
  name: {do: Read the batch., identify: {as: batch, what: the batch, pattern: "[A-Z]{2}[0-9]{3}"}, next: picture}
  picture: {do: Take a picture., photo: {as: joint, what: the joint}, next: {ask: fluid, clear: finish, dark: stop, cannot tell: stop}}
  finish: {end: done}
  stop: {end: stopped}
"""


def at_step(path: str, text: str = GATES) -> Run:
    run = Run(steps(text)).begin()
    answers = {"corner": "RR", "splines": "23", "grade": "DOT 4", "look": "clear"}
    while run.path != path:
        if run.path == "press":
            run.done()
            run.later(10).answer("held")
        elif run.path == "name":
            run.enter("AB123")
        else:
            run.answer(answers[run.path])
    return run


@pytest.mark.parametrize(("path", "wrong"), [("corner", "LF"), ("splines", "22")])
def test_a_wrong_answer_to_a_check_is_kept_and_passes_nothing(path: str, wrong: str) -> None:
    run = at_step(path)
    told = run.goes(ac.Answer(value=wrong))
    assert told == (ev.Mistaken(path=path, ask=told[0].ask, value=wrong),)  # type: ignore[union-attr]
    assert run.path == path


def test_an_answer_that_is_none_of_the_answers_is_refused() -> None:
    run = at_step("corner")
    run.refused(ac.Answer(value="the boot"))
    at_step("splines").refused(ac.Answer(value="about 20"))
    run = at_step("look")
    run.refused(ac.Answer(value="purple"))
    run.refused(ac.Done())
    assert run.path == "look"


def test_a_check_with_a_way_for_not_so_takes_it() -> None:
    run = at_step("grade")
    run.answer("cannot read")
    assert run.path == "stop"


def test_a_choice_is_remembered_and_leads_by_its_own_edge() -> None:
    run = at_step("look")
    run.answer("cannot tell")
    assert run.path == "look"
    run.answer("clear")
    assert (run.path, run.state.choices) == ("press", {"fluid": "clear"})


def test_a_hold_is_not_over_before_its_time_and_begins_anew_when_let_go() -> None:
    run = at_step("press")
    run.refused(ac.Answer(value="held"))
    run.done()
    assert run.later(9).owed().left_s == 1
    run.refused(ac.Answer(value="held"))
    run.goes(ac.Done())  # let go
    assert run.later(9.5).owed().left_s == 1
    run.later(0.5).answer("held")
    assert run.path == "name"


def test_a_marking_that_does_not_fit_its_pattern_is_refused_and_one_that_fits_is_read_back() -> None:
    run = at_step("name")
    run.refused(ac.Enter(typed=["A1"]))
    run.goes(ac.Enter(typed=["AB123"]))
    assert run.owed().kind == "read back"
    run.refused(ac.Done())
    run.goes(ac.Retype())
    assert run.owed().kind == "identify"
    run.enter("AB124")
    assert run.path == "picture"


def test_a_picture_is_kept_by_its_digest() -> None:
    run = at_step("picture")
    run.refused(ac.Enter(typed=["joint.jpg"]))
    told = of(ev.Identified, run.enter("a" * 64))
    assert isinstance(told, ev.Identified)
    assert (told.digest, told.text) == ("a" * 64, "")
    assert run.path == "finish"  # by the choice that was remembered


def test_a_text_may_be_owed_but_then_nobody_signs_before_it_is_given() -> None:
    run = at_step("name")
    run.goes(ac.Instead(result="owed until sign-off"))
    run.enter("b" * 64)
    run.done()
    assert run.state.phase == "ended"
    assert "owed" in run.refused(ac.Sign(initials="MB", meaning="performed")).why
    run.refused(ac.Settle(owed="batch", text="  "))
    run.goes(ac.Settle(owed="batch", text="AB123"))
    run.refused(ac.Sign(initials="MB", meaning="seen"))
    run.goes(ac.Sign(initials="MB", meaning="performed"))
    assert [s.meaning for s in run.state.signed] == ["performed"]


NEEDS = """
waits: {soak: {what: penetrant soaks, at_least: 1 h, keeps: 2 h}}
steps:
  goggles: {do: Put the goggles on., makes: [goggles_on], next: spray}
  spray: {do: Spray the joint., starts: soak, next: loosen}
  loosen: {do: Loosen it., needs: [goggles_on, {wait: soak}], cautions: [squirt], override: stop, next: finish}
  finish: {end: done}
  stop: {end: stopped}
"""


def soaking(text: str = NEEDS) -> Run:
    run = Run(steps(text)).begin()
    run.done()
    run.done()
    return run


def test_a_step_whose_needs_are_not_met_cannot_be_done() -> None:
    run = soaking().later(3600)
    run.goes(ac.Contradict(condition="goggles_on", holds=False))
    owed = run.owed()
    assert (owed.kind, owed.unmet[0].instance, owed.unmet[0].is_now) == ("needs", "goggles_on", "F")
    run.refused(ac.Done())
    run.refused(ac.Override(reason="no time", initials="MB"))


def test_a_wait_holds_its_step_until_its_least_time_is_over() -> None:
    run = soaking().later(3599)
    owed = run.owed()
    assert (owed.kind, owed.unmet[0].is_now, owed.unmet[0].wait_left_s) == ("needs", "running", 1)
    run.refused(ac.Done())
    run.later(1)
    assert run.owed().kind == "own caution"


def test_what_stands_behind_a_wait_is_read_from_when_the_wait_was_over() -> None:
    run = soaking().later(3600)
    assert run.owed().shown_ms == 0
    run.refused(confirm(run))
    read(run).goes(confirm(run))


def test_a_wait_adds_up_over_starts_of_the_machine_and_a_clock_that_was_set_costs_one_span() -> None:
    run = soaking(NEEDS.replace(", keeps: 2 h", ""))
    run.later(1800).goes(ac.Tick())
    run.boot, run.wall_ms = "b2", -10_000_000  # off, and the clock was set back
    run.goes(ac.Resume(clean=False))
    left = run.owed()
    assert left.kind == "unknown"
    run.goes(ac.Attest(condition="goggles_on", holds=True))
    assert run.owed().unmet[0].wait_left_s == 1800
    run.later(1800)
    assert run.owed().kind == "own caution"


def test_a_wait_that_was_over_too_long_ago_does_not_count_any_more() -> None:
    run = soaking().later(3 * 3600)
    assert run.owed().kind == "own caution"
    run.later(1)
    assert run.owed().unmet[0].is_now == "too long ago"


def test_where_a_clock_was_set_back_nobody_knows_that_it_is_not_too_long_ago() -> None:
    run = soaking()
    run.later(3600).goes(ac.Tick())
    run.boot, run.wall_ms = "b2", -10_000_000
    run.goes(ac.Resume(clean=False))
    run.goes(ac.Attest(condition="goggles_on", holds=True))
    assert run.owed().unmet[0].is_now == "too long ago"


def test_a_wait_of_the_car_survives_from_run_to_run() -> None:
    run = Run(steps(NEEDS.replace("next: spray", "next: loosen")))
    started = {"at": "2025-06-15T14:06:40.000Z", "mono": 0, "boot": "b1"}
    run.car = {"waits": {"soak": started}}
    run.later(3600).begin()
    run.done()
    assert run.owed().kind == "own caution"


def test_a_wait_that_was_never_started_is_not_over() -> None:
    run = Run(steps(NEEDS.replace("next: spray", "next: loosen"))).begin()
    run.done()
    assert run.owed().unmet[0].is_now == "not started"


def test_a_running_wait_may_be_overridden_where_the_author_allows_it() -> None:
    run = soaking()
    told = of(ev.Overridden, run.goes(ac.Override(reason="no time", initials="MB")))
    assert isinstance(told, ev.Overridden)
    assert told.gate == "wait"
    assert run.path == "stop"


def test_a_check_is_passed_by_its_answer_and_by_nothing_else() -> None:
    text = """
steps:
  look: {do: Look at it., check: {ask: How is it?, pick: [sound, cracked], right: [sound]}, next: finish}
  finish: {end: done, say: It is done.}
"""
    run = Run(steps(text)).begin()
    run.refused(ac.Done())
    assert run.path == "look"
    run.answer("sound")
    assert run.path == "finish"
