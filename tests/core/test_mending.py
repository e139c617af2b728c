# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""Going back without lying: attest, contradict, restore, confirm again, do again, correct."""

from __future__ import annotations

from fractions import Fraction

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.picture import look
from runner.core.picture_stage import ALL_SO
from tests.core.driver import Run, of, steps

ML = Fraction(1, 1_000_000)
WORK = """
asks:
  draw: {what: Draw of one stroke, quantity: volume, unit: mL, sources: [seen on the car], at_most: 40 mL}
levels:
  reservoir: {what: fluid, unit: mL, floor: 40 mL, brim: 250 mL, marks: {MIN: 100 mL, MAX: 200 mL}}
rules:
  - {only_after: {make: nipple_final@RR, after: {make: hose_on@RR}}, why: it was flushed, if_found_broken: Look for air.}
steps:
  goggles: {do: Put the goggles on., makes: [goggles_on], next: fill}
  fill: {do: Fill to MAX., sets: {reservoir: MAX, by: look, within: 0 mL}, next: hose}
  hose: {do: Push the hose on., makes: [hose_on@RR], next: kind}
  kind: {do: Look at the fluid., choose: {ask: Which?, options: [old, fresh], as: kind}, cautions: [squirt], next: {old: measure, fresh: bleed}}
  measure: {do: Measure the pad., reading: {as: pad, what: pad, quantity: length, unit: mm, bands: [{worn: {below: 3 mm}}, {good: {at_least: 3 mm}}], kind: shop's own, rule: simple}, next: {worn: worn, good: bleed, cannot tell: measure}}
  worn: {do: Note it., next: bleed}
  bleed:
    do: Pump.
    needs: [goggles_on]
    count:
      what: strokes
      beat: [{do: Press., makes: [pedal_down]}, {do: Rise., ends: [pedal_down]}]
      moves: {from: reservoir, each: [draw, draw], low_mark: MIN, if_short: fill}
      grant: 10
      at_most: {strokes: 40, then: stop}
      exit: {ask: How does it look?, clear: pour, dark: again}
  pour:
    do: Pour some in.
    reading: {as: poured, what: poured, mode: amount, quantity: volume, unit: mL, error: 5 mL}
    moves: [{to: reservoir, each: [poured, poured]}]
    next: torque
  torque: {do: Torque it., needs: [hose_on@RR], makes: [nipple_final@RR], next: finish}
  finish: {end: done}
  stop: {end: stopped}
"""


def at_step(path: str, *, pad: str = "5", draw: str = "5 mL") -> Run:
    run = Run(steps(WORK), {"draw": draw}).begin()
    while run.path != path:
        match run.path:
            case "kind":
                run.answer("old")
            case "measure":
                run.enter(pad)
            case "bleed":
                run.done()
                run.goes(ac.Report(used="8"))
                run.goes(ac.Look(level="reservoir", position="cannot see"))
                run.answer("clear")
            case "pour":
                run.enter("30")
            case _:
                run.done()
    return run


def line_of(run: Run, kind: type, nth: int = 0) -> int:
    return [n for n, (_, _, act, _) in enumerate(run.lines) if isinstance(act, kind)][nth]


def test_only_what_is_not_known_is_attested() -> None:
    run = at_step("hose")
    run.refused(ac.Attest(condition="goggles_on", holds=True))
    run.refused(ac.Attest(condition="brakes_good", holds=True))
    run.refused(ac.Attest(condition="hose_on", holds=True))
    run.goes(ac.Attest(condition="hose_on@LF", holds=False))
    assert run.state.value("hose_on@LF") == "F"


def test_the_car_may_be_said_to_be_otherwise_at_any_time_and_what_no_longer_holds_is_named() -> None:
    run = at_step("torque")
    run.refused(ac.Contradict(condition="hose_on@RR", holds=True))
    run.refused(ac.Contradict(condition="no_such@RR", holds=True))
    told = of(ev.Contradicted, run.goes(ac.Contradict(condition="hose_on@RR", holds=False, reason="it slid off")))
    assert isinstance(told, ev.Contradicted)
    assert (told.was, told.value, told.breaks) == ("T", "F", ["hose_on@RR"])
    assert run.owed().kind == "needs"
    run.refused(ac.Done())


def test_a_lost_condition_is_restored_by_the_step_that_makes_it_and_the_run_comes_back() -> None:
    run = at_step("bleed")
    run.goes(ac.Contradict(condition="goggles_on", holds=False))
    entries = dict(run.state.entries)
    run.refused(ac.Restore(condition="hose_on@RR"))
    run.goes(ac.Restore(condition="goggles_on"))
    assert run.path == "goggles"
    run.refused(ac.Restore(condition="goggles_on"))
    run.refused(ac.Override(reason="no", initials="MB"))
    told = run.done()
    assert [type(e) for e in told[-3:]] == [ev.Left, ev.Arrived, ev.Restored]
    assert (run.path, run.state.value("goggles_on")) == ("bleed", "T")
    assert run.state.entries == entries  # a detour is no visit
    assert run.state.back_to == ""


def test_a_restore_that_cannot_be_done_leads_to_the_safe_stop_and_nowhere_else() -> None:
    run = at_step("bleed")
    run.goes(ac.Contradict(condition="goggles_on", holds=False))
    run.goes(ac.Restore(condition="goggles_on"))
    run.goes(ac.Cannot(reason="they are lost", way="step"))
    assert (run.path, run.state.back_to) == ("safe stop", "")


def test_confirming_again_asks_from_an_earlier_step_to_now_and_counts_nothing() -> None:
    run = at_step("measure")
    run.refused(ac.ConfirmAgain(path="torque"))
    before = run.state
    run.goes(ac.ConfirmAgain(path="hose"))
    assert run.state.again == ("hose", "kind")
    run.goes(ac.Answer(value="still so"))
    assert run.owed().kind == "own caution"  # the warning of that step is read again
    run.confirm_all()
    run.refused(ac.Answer(value="perhaps"))
    run.goes(ac.Answer(value="still so"))
    assert (run.path, run.owed().kind) == ("measure", "read")
    for name in ("conditions", "levels", "entries", "choices", "beats", "trail"):
        assert getattr(run.state, name) == getattr(before, name)


def test_what_is_not_so_any_more_becomes_a_finding() -> None:
    run = at_step("measure")
    run.goes(ac.ConfirmAgain(path="hose"))
    told = run.goes(ac.Answer(value="not so any more"))
    assert isinstance(of(ev.FindingMade, told), ev.FindingMade)
    assert run.state.again == ()


def test_doing_again_is_a_checked_jump_that_voids_later_choices_and_keeps_what_was_used() -> None:
    run = at_step("pour")
    assert run.state.choices == {"kind": "old"}
    run.refused(ac.DoAgain(path="torque", admissible=True))
    assert "as the car is now" in run.refused(ac.DoAgain(path="kind", admissible=False, because="the hose is off")).why
    used, level = run.state.beats, run.state.levels
    run.goes(ac.DoAgain(path="kind", admissible=True))
    assert (run.path, run.state.choices) == ("kind", {})
    assert (run.state.beats, run.state.levels) == (used, level)


def test_nothing_is_done_or_confirmed_again_and_nothing_corrected_while_a_grant_is_out() -> None:
    run = at_step("bleed")
    run.done()
    run.refused(ac.DoAgain(path="hose", admissible=True))
    run.refused(ac.ConfirmAgain(path="hose"))
    run.refused(ac.Restore(condition="goggles_on"))
    run.refused(ac.Correct(line=line_of(run, ac.Enter), typed=["6"], reason="misread"))


def test_a_correction_on_the_same_path_is_one_event_and_what_follows_from_it() -> None:
    run = at_step("torque")
    line = line_of(run, ac.Enter, 1)
    assert run.state.levels["reservoir"] == (185 * ML, 195 * ML)
    told = run.goes(ac.Correct(line=line, typed=["20"], reason="misread"))
    corrected = of(ev.Corrected, told)
    assert isinstance(corrected, ev.Corrected)
    assert (corrected.effect, corrected.was, corrected.now) == ("same path", "30", "20")
    assert run.state.levels["reservoir"] == (175 * ML, 185 * ML)
    assert run.state.readings["poured"][-1].points[0].lo == 15 * ML
    assert (run.path, [w for _, w in run.state.scars]) == ("torque", ["corrected"])
    assert not any(isinstance(e, ev.FindingMade) for e in told)


def test_corrections_add_up_and_the_latest_of_a_line_counts() -> None:
    run = at_step("torque")
    line = line_of(run, ac.Enter, 1)
    run.goes(ac.Correct(line=line, typed=["20"], reason="misread"))
    run.goes(ac.Correct(line=line_of(run, ac.Report), typed=["7"], reason="miscounted"))
    assert run.state.levels["reservoir"] == (180 * ML, 190 * ML)
    run.goes(ac.Correct(line=line, typed=["25"], reason="misread"))
    assert run.state.levels["reservoir"] == (185 * ML, 195 * ML)


@pytest.mark.parametrize(("typed", "reason"), [(["thick"], "misread"), (["20"], " "), ([], "misread")])
def test_a_correction_needs_a_value_that_fits_and_a_reason(typed: list[str], reason: str) -> None:
    run = at_step("torque")
    run.refused(ac.Correct(line=line_of(run, ac.Enter), typed=typed, reason=reason))


def test_a_line_that_holds_no_value_is_not_corrected() -> None:
    run = at_step("torque")
    for line in (1, 999, -1):
        run.refused(ac.Correct(line=line, typed=["20"], reason="misread"))


def test_where_the_run_would_have_gone_another_way_steps_are_offered_and_nothing_is_rerouted() -> None:
    run = at_step("torque")
    told = of(ev.Corrected, run.goes(ac.Correct(line=line_of(run, ac.Enter), typed=["2"], reason="misread")))
    assert isinstance(told, ev.Corrected)
    assert told.effect == "diverged"
    assert run.path == "torque"  # never a silent way
    assert (run.owed().kind, run.owed().options) == ("diverged", ("measure", "kind", "hose", "fill", "goggles"))
    run.refused(ac.Done())
    run.refused(ac.DoAgain(path="pour", admissible=True))  # later than what was corrected
    run.goes(ac.DoAgain(path="measure", admissible=True))
    assert (run.path, run.owed().kind) == ("measure", "read")


def test_a_run_that_diverged_may_always_stop_safely() -> None:
    run = at_step("torque")
    run.goes(ac.Correct(line=line_of(run, ac.Enter), typed=["2"], reason="misread"))
    run.goes(ac.Cannot(reason="no time", way="stop"))
    assert run.path == "safe stop"


def test_a_wrong_value_of_the_car_that_broke_a_safeguard_is_said_and_the_level_is_looked_at() -> None:
    run = at_step("pour")
    told = run.goes(ac.Correct(line=0, name="draw", typed=["12", "mL"], reason="misread"))
    corrected = of(ev.Corrected, told)
    assert isinstance(corrected, ev.Corrected)
    assert (corrected.effect, corrected.broken) == ("broken", ["Look for air."])
    assert isinstance(of(ev.FindingMade, told), ev.FindingMade)
    assert run.state.levels["reservoir"] is None
    assert run.owed().kind == "look"
    assert ("draw", "12 mL", "example car") in run.state.asks


def test_a_corrected_value_of_the_car_counts_from_then_on() -> None:
    run = at_step("hose")
    run.goes(ac.Correct(line=0, name="draw", typed=["20 mL"], reason="misread"))
    run.refused(ac.Correct(line=0, name="bore", typed=["20 mL"], reason="misread"))
    run.refused(ac.Correct(line=0, name="draw", typed=["80 mL"], reason="misread"))  # more than can be right
    while run.path != "bleed":
        if run.path == "kind":
            run.answer("fresh")
        else:
            run.done()
    granted = of(ev.Granted, run.done())
    assert isinstance(granted, ev.Granted)
    assert granted.beats == 5


TOGETHER = """
steps:
  first: {do: Put the goggles on., makes: [goggles_on], next: cap}
  cap: {do: Take the cap off., makes: [cap_off, wheel_off@LF], next: pedal}
  pedal: {do: Press the pedal., makes: [pedal_down], next: open}
  open: {do: Open it., makes: [nipple_open@LF], next: last}
  last: {do: Close the cap., ends: [cap_off], next: finish}
  finish: {end: done}
"""


def broken_off(*, done: int) -> Run:
    run = Run(steps(TOGETHER)).begin()
    for _ in range(done):
        run.done()
    run.goes(ac.Resume(clean=False))
    return run


def test_what_a_crash_made_unknown_is_attested_together_or_not_at_all() -> None:
    run = broken_off(done=3)
    asked = run.state.unknown
    assert {"cap_off", "goggles_on", "pedal_down", "nipple_open@LF", "wheel_off@LF"} == set(asked)
    both = {"cap_off": True, "pedal_down": False}
    run.refused(ac.AttestAll(conditions={}))
    run.refused(ac.AttestAll(conditions={**both, "brakes_good": True}))
    assert run.state.unknown == asked
    run.goes(ac.AttestAll(conditions=both))
    assert set(run.state.unknown) == set(asked) - set(both)
    assert (run.state.value("cap_off"), run.state.value("pedal_down")) == ("T", "F")
    run.refused(ac.AttestAll(conditions=both))


def test_one_page_holds_what_was_known_at_one_place_and_nothing_urgent_or_in_the_making() -> None:
    run = broken_off(done=4)
    asked = look(run.procedure, run.state, run.now())
    assert run.owed().names[0] == "cap_off"  # the step was about to change it
    assert [type(o.act) for o in asked.options] == [ac.Attest, ac.Attest]
    run.goes(ac.Attest(condition="cap_off", holds=True))
    page = look(run.procedure, run.state, run.now())
    assert [o.text for o in page.options] == ["not so: goggles are on", "not so: the pedal is down", ALL_SO]
    assert page.options[-1].act == ac.AttestAll(conditions={"goggles_on": True, "pedal_down": True})
    run.goes(page.options[1].act)
    assert run.state.value("pedal_down") == "F"
    while run.state.unknown:
        (name, *_), view = run.state.unknown, look(run.procedure, run.state, run.now())
        assert [o.act for o in view.options] == [ac.Attest(condition=name, holds=h) for h in (True, False)]
        run.goes(view.options[0].act)
    assert run.state.value("nipple_open@LF") == "T"


def test_what_was_contradicted_between_two_breaks_is_believed_as_it_was_said_last() -> None:
    run = broken_off(done=3)
    run.goes(ac.AttestAll(conditions=dict.fromkeys(run.state.unknown, True)))
    run.goes(ac.Contradict(condition="pedal_down", holds=False))
    run.goes(ac.Resume(clean=False))
    assert run.state.before["goggles_on"] == "T"
    assert run.state.before["pedal_down"] == "F" or "pedal_down" not in run.state.unknown
