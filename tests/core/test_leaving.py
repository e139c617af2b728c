# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""Stopping and coming back: hold, making safe, resume, overrides, what cannot be done, ends."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from runner.core import act as ac
from runner.core import event as ev
from runner.core.gates import OTHER
from tests.core.driver import Run, of, steps

WORK = """
assumes: [not cap_off]
steps:
  goggles: {do: Put the goggles on., makes: [goggles_on], next: clean}
  clean: {do: Clean the joint., makes: [cleaned], next: cap}
  cap: {do: Take the cap off., makes: [cap_off], next: wheel}
  wheel: {do: Take the wheel off., makes: [wheel_off@RR], next: open}
  open: {do: Open the nipple., needs: [goggles_on], makes: [nipple_open@RR], cautions: [squirt], next: look}
  look:
    do: Look at the fluid.
    choose: {ask: How does it look?, options: [clear, dark, cannot tell], as: fluid}
    makes: [hose_on@RR]
    override: stop
    cannot: shut
    next: {clear: shut, dark: look, cannot tell: look}
  shut: {do: Close the nipple., ends: [nipple_open@RR], next: wheel-on}
  wheel-on: {do: Put the wheel on., ends: [wheel_off@RR], next: cap-on}
  cap-on: {do: Put the cap on., ends: [cap_off], next: finish}
  finish: {end: done}
  stop: {end: stopped}
"""
OPEN = ("nipple_open@RR", "cap_off", "wheel_off@RR")


def at_step(path: str, text: str = WORK) -> Run:
    run = Run(steps(text)).begin()
    while run.path != path:
        if run.path == "look":
            run.answer("clear")
        else:
            run.done()
    return run


def test_nothing_is_done_before_the_summary_is_confirmed() -> None:
    run = Run(steps(WORK))
    run.refused(ac.Done())
    run.begin()
    assert run.state.value("cap_off") == "F"
    fresh = Run(steps(WORK))
    fresh.refused(ac.Assume())


def test_a_run_begins_once() -> None:
    run = at_step("cap")
    begin = run.lines[0][2]
    assert "begun already" in run.refused(begin).why


def test_hold_is_accepted_whatever_is_open_and_shows_the_order_of_making_safe() -> None:
    for path in ("goggles", "open", "look"):
        run = at_step(path)
        run.goes(ac.Hold())
        assert run.owed().kind == "held"
    assert run.owed().names == OPEN  # lowest rank first


def test_making_safe_closes_what_is_closed_and_leaves_what_may_stay() -> None:
    run = at_step("look")
    run.refused(ac.MadeSafe(condition="nipple_open@RR"))  # not before the hold
    run.goes(ac.Hold())
    run.refused(ac.MadeSafe(condition="nipple_open@LF"))
    run.refused(ac.MadeSafe(condition="wheel_off@RR"))
    run.goes(ac.MadeSafe(condition="nipple_open@RR"))
    assert run.state.value("nipple_open@RR") == "F"
    assert run.owed().names == OPEN[1:]
    run.refused(ac.Done())


def test_on_return_only_what_has_become_unknown_is_asked_and_the_step_begins_at_its_cautions() -> None:
    run = at_step("open")
    run.confirm_all()
    run.goes(ac.Hold())
    run.later(60).goes(ac.Resume(clean=True))
    assert (run.owed().kind, run.owed().names) == ("unknown", ("goggles_on",))
    run.refused(ac.Done())
    run.goes(ac.Attest(condition="goggles_on", holds=True))
    assert (run.path, run.owed().kind) == ("open", "own caution")
    assert run.state.value("cleaned") == "T"  # it keeps for 20 minutes


def test_after_a_crash_what_was_open_or_in_the_making_is_asked_too() -> None:
    run = at_step("open")
    run.goes(ac.Resume(clean=False, torn=True))
    assert set(run.state.unknown) == {"goggles_on", "cap_off", "wheel_off@RR", "nipple_open@RR"}


def test_a_crash_while_on_hold_asks_what_was_open() -> None:
    run = at_step("look")
    run.goes(ac.Hold())
    run.goes(ac.Resume(clean=False))
    assert set(OPEN) <= set(run.state.unknown)


def test_a_fact_that_keeps_for_a_time_is_asked_when_its_time_may_be_over() -> None:
    run = at_step("cap").later(20 * 60)
    run.goes(ac.Tick())
    assert run.state.value("cleaned") == "T"
    told = run.later(1).goes(ac.Tick())
    assert told == (ev.Expired(conditions=["cleaned"], levels=[]),)
    assert run.owed().names == ("cleaned",)


def test_what_ran_out_of_time_runs_out_even_if_the_act_is_refused() -> None:
    run = at_step("cap").later(20 * 60 + 1)
    told = run.do(ac.Done())
    assert [type(e) for e in told] == [ev.Expired, ev.Refused]
    assert run.path == "cap"


def test_a_break_longer_than_a_fact_keeps_asks_for_it_on_return() -> None:
    run = at_step("cap")
    run.goes(ac.Hold())
    run.later(3600).goes(ac.Resume(clean=True))
    assert set(run.state.unknown) == {"goggles_on", "cleaned"}


def test_what_does_not_keep_is_not_taken_over_from_another_run() -> None:
    run = Run(steps(WORK), car={"conditions": {"goggles_on": "T", "cleaned": "T", "on_stands@rear": "T"}}).begin()
    assert [run.state.value(c) for c in ("goggles_on", "cleaned", "on_stands@rear")] == ["U", "U", "T"]


def test_an_override_makes_nothing_and_forgets_what_was_remembered() -> None:
    run = at_step("look")
    run.answer("dark")
    assert run.state.choices == {"fluid": "dark"}
    run.goes(ac.Override(reason="no light", initials="MB"))
    assert run.path == "stop"
    assert run.state.value("hose_on@RR") == "U"
    assert run.state.choices == {}
    assert [w for _, w in run.state.scars] == ["overridden"]


def test_a_danger_or_a_warning_is_never_overridden() -> None:
    text = WORK.replace("cautions: [squirt], next: look", "cautions: [crush, squirt], override: stop, next: look")
    run = at_step("open", text)
    for _ in range(2):
        run.refused(ac.Override(reason="no time", initials="MB"))
        owed = run.owed()
        assert owed.caution is not None
        run.later(60).goes(ac.Confirm(hazard=owed.caution.name, key=owed.key))


def test_what_cannot_be_done_goes_by_the_authors_edge_or_to_the_safe_stop() -> None:
    for way, path in (("step", "shut"), ("stop", "safe stop"), ("defer", "safe stop")):
        run = at_step("look")
        run.refused(ac.Cannot(reason=" ", way=way))
        run.refused(ac.Cannot(reason="no light", way="anyhow"))
        told = run.goes(ac.Cannot(reason="no light", way=way))
        found = of(ev.FindingMade, told)
        assert isinstance(found, ev.FindingMade)
        assert "no light" in found.what
        assert run.path == path
        assert run.state.value("hose_on@RR") == "U"


def test_a_step_without_an_edge_for_it_leads_to_the_safe_stop() -> None:
    run = at_step("cap")
    run.goes(ac.Cannot(reason="it is stuck", way="step"))
    assert run.path == "safe stop"
    assert "cap_off" in run.owed().names  # nobody knows


def test_the_safe_stop_ends_when_what_must_be_closed_is_closed() -> None:
    run = at_step("look")
    run.goes(ac.Cannot(reason="no light", way="stop"))
    assert run.owed().names == OPEN
    run.refused(ac.Cannot(reason="no light", way="stop"))
    assert "nipple_open@RR" in run.refused(ac.Done()).why
    run.goes(ac.MadeSafe(condition="nipple_open@RR"))
    run.goes(ac.MadeSafe(condition="cap_off"))
    ended = of(ev.Ended, run.goes(ac.Done()))
    assert isinstance(ended, ev.Ended)
    assert (ended.kind, ended.open, ended.do_not_drive) == ("stopped", ["wheel_off@RR"], True)


def test_leaving_for_good_is_never_refused_and_marks_the_car() -> None:
    for path in ("goggles", "look"):
        run = at_step(path)
        ended = of(ev.Ended, run.goes(ac.Abandon(reason="the owner takes it")))
        assert isinstance(ended, ev.Ended)
        assert (ended.kind, ended.do_not_drive) == ("left open", True)
    assert set(ended.open) == set(OPEN)
    run.refused(ac.Abandon(reason="again"))
    run.refused(ac.Hold())
    run.refused(ac.Resume(clean=True))
    run.refused(ac.Done())


def test_the_end_is_done_only_if_everything_is_as_it_must_be() -> None:
    run = at_step("finish")
    run.goes(ac.Contradict(condition="cap_off", holds=True))
    assert "cap_off" in run.refused(ac.Done()).why
    run.goes(ac.Contradict(condition="cap_off", holds=False))
    ended = of(ev.Ended, run.goes(ac.Done()))
    assert ended == ev.Ended(kind="done", open=[], unmet=[], do_not_drive=False)


RULES = """
rules:
  - {only_after: {make: nipple_open@RR, after: {deed: tries_nipple}}, why: it must have been tried}
  - {must_follow: {make: bolts_loose, then: {make: nipple_final}}, why: what was loosened is torqued}
  - {at_end: [all hose_on], why: it is wanted}
  - {never_together: [cap_off, pedal_down], why: it would spill}
carries: [wheel_off]
steps:
  first: {do: Do one., choose: {ask: Which?, options: [open, try, loose, torque, cap, pedal, wheel, hoses, end]}, next: {open: open, try: try, loose: loose, torque: torque, cap: cap, pedal: pedal, wheel: wheel, hoses: hoses, end: finish}}
  open: {do: Open it., makes: [nipple_open@RR], next: first}
  try: {do: Try it., deeds: [tries_nipple], next: first}
  loose: {do: Loosen it., makes: [bolts_loose@LF], next: first}
  torque: {do: Torque it., makes: [nipple_final@LF], next: first}
  cap: {do: Take it off., makes: [cap_off], next: first}
  pedal: {do: Press it., makes: [pedal_down], next: first}
  wheel: {do: Take it off., makes: [wheel_off@RR], next: first}
  hoses: {do: Push them on., makes: [hose_on@LF, hose_on@RF, hose_on@LR, hose_on@RR], next: first}
  finish: {end: done}
"""


def chosen(*ways: str) -> Run:
    run = Run(steps(RULES), car={"conditions": {"cap_off": "F", "pedal_down": "F"}}).begin()
    for way in ways:
        run.answer(way)
        if way != "end":
            run.done()
    return run


def test_what_may_only_come_after_something_is_refused_before_it() -> None:
    run = chosen()
    run.answer("open")
    assert run.refused(ac.Done()).help == "it must have been tried"
    assert chosen("try", "open").state.value("nipple_open@RR") == "T"


def test_what_may_never_be_together_is_refused() -> None:
    run = chosen("cap")
    run.answer("pedal")
    assert "rule" in run.refused(ac.Done()).why


def test_what_is_not_known_forbids_nothing_while_the_work_runs() -> None:
    run = chosen()
    run.state.conditions.pop("cap_off")  # type: ignore[attr-defined]
    run.answer("pedal")
    run.goes(ac.Done())  # that it may be so is for the proof, before any work


TOGETHER = """
rules:
  - {never_together: [bolts_loose, wheel_off, cap_off], why: it would fall}
carries: [wheel_off]
steps:
  first: {do: Do one., choose: {ask: Which?, options: [loose, other, same, cap, end]}, next: {loose: loose, other: other, same: same, cap: cap, end: finish}}
  loose: {do: Loosen them., makes: [bolts_loose@RR, bolts_loose@LR], next: first}
  other: {do: Take it off., makes: [wheel_off@LF], next: first}
  same: {do: Take it off., makes: [wheel_off@RR], next: first}
  cap: {do: Take it off., makes: [cap_off], next: first}
  finish: {end: done}
"""


@pytest.mark.parametrize(("way", "goes"), [("other", True), ("same", False), ("cap", False), ("loose", True)])
def test_conditions_that_may_not_be_together_clash_on_one_corner_two_by_two(way: str, goes: bool) -> None:
    run = Run(steps(TOGETHER)).begin()
    for each in ("loose", way):
        run.answer(each)
        if each == "loose" or goes:
            run.done()
    if not goes:
        assert "a rule forbids it now" in run.refused(ac.Done()).why


def test_a_step_that_comes_too_early_for_a_rule_is_not_begun() -> None:
    text = """
rules: [{only_after: {step: open, after: {deed: tries_nipple}}, why: it must have been tried}]
steps:
  first: {do: Look., choose: {ask: Which?, options: [open, try]}, next: {open: open, try: try}}
  open: {do: Open it., cautions: [squirt], next: finish}
  try: {do: Try it., deeds: [tries_nipple], next: open}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.answer("open")
    assert (run.owed().kind, run.owed().unmet[0].is_now) == ("needs", "too early")
    assert "only after" in run.refused(ac.Done()).why
    run = Run(steps(text)).begin()
    run.answer("try")
    run.done()
    run.done()
    assert run.path == "finish"


def test_what_must_follow_is_owed_at_the_end_each_time_anew() -> None:
    run = chosen("hoses", "loose", "end")
    assert "bolts_loose" in run.refused(ac.Done()).why
    run = chosen("hoses", "loose", "torque", "loose", "end")
    run.refused(ac.Done())
    run = chosen("hoses", "loose", "torque", "end")
    assert isinstance(of(ev.Ended, run.goes(ac.Done())), ev.Ended)


def test_what_must_be_so_at_the_end_is_owed() -> None:
    assert "hose_on@LF" in chosen("end").refused(ac.Done()).why


def test_an_opening_that_the_procedure_carries_may_survive_done() -> None:
    ended = of(ev.Ended, chosen("hoses", "wheel", "end").goes(ac.Done()))
    assert isinstance(ended, ev.Ended)
    assert (ended.kind, ended.open) == ("done", ["wheel_off@RR"])


def test_promises_that_are_unmet_at_any_other_end_become_findings() -> None:
    run = chosen("loose", "cap")
    run.goes(ac.Cannot(reason="no time", way="stop"))
    run.goes(ac.MadeSafe(condition="cap_off"))
    told = run.goes(ac.Done())
    whats = [e.what for e in told if isinstance(e, ev.FindingMade)]
    assert any("bolts_loose" in w for w in whats)
    assert any("hose_on@RR" in w for w in whats)


@pytest.mark.parametrize("act", [ac.Hold(), ac.Abandon(reason="the work is given up")])
def test_hold_and_leaving_are_accepted_before_the_summary_is_confirmed(act: ac.Act) -> None:
    run = Run(steps(WORK))
    run.begin()
    fresh = Run(steps(WORK))
    fresh.do(run.lines[0][2])
    fresh.goes(act)  # type: ignore[arg-type]


def test_what_an_answer_had_begun_is_undone_where_a_rule_refuses_it() -> None:
    text = """
rules: [{only_after: {make: nipple_open@RR, after: {deed: tries_nipple}}, why: it must have been tried}]
steps:
  first: {do: Look., choose: {ask: Which?, options: [open, shut], as: kind}, next: {open: {go: finish, makes: [nipple_open@RR]}, shut: finish}}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.refused(ac.Answer(value="open"))
    assert run.state.choices == {}
    run.answer("shut")
    assert run.path == "finish"


@pytest.mark.parametrize(
    "act",
    [
        ac.Cannot(reason=OTHER, way="stop"),
        ac.Override(reason=OTHER, initials="MB"),
        ac.Contradict(condition="cap_off", holds=True, reason=OTHER),
        ac.Correct(line=2, typed=["22"], reason=OTHER),
        ac.Note(what=OTHER, where="RR", severity="fail"),
        ac.Abandon(reason=OTHER),
    ],
    ids=lambda a: type(a).__name__,
)
def test_a_reason_that_was_put_off_is_owed_until_it_is_given(act: ac.AnyAct) -> None:
    text = """
steps:
  read: {do: Read it., reading: {as: depth, what: Depth, quantity: length, unit: mm}, next: look}
  look: {do: Look., choose: {ask: Is it so?, options: [it is, it is not]}, override: finish, next: {it is: finish, it is not: safe stop}}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.enter("21")
    line = run.state.line + 2
    run.goes(act)
    assert list(run.state.owed) == [f"reason of line {line}"]
    run.goes(ac.Settle(owed=f"reason of line {line}", text="the bay was needed"))
    assert not run.state.owed


def test_findings_of_the_run_name_the_corner_and_leave_no_slot() -> None:
    text = """
asks: {order: {what: Order, orders: {one: [RR, LR, RF, LF]}, sources: [handbook]}}
steps:
  all:
    each: {corner: order}
    steps:
      hose: {do: "Push the hose on the {here} nipple.", makes: [hose_on], next: off}
      off: {do: "Take the hose off the {here} nipple.", ends: [hose_on], next: next corner}
    then: finish
  finish: {end: done}
"""
    run = Run(steps(text), {"order": "one"}).begin()
    run.done()
    run.goes(ac.ConfirmAgain(path="all/RR/hose"))
    run.goes(ac.Answer(value="not so any more"))
    run.goes(ac.Cannot(reason="it is stuck", way="stop"))
    assert [(f.what, f.where) for f in run.state.findings] == [
        ("not so any more: Push the hose on the right rear nipple.", "RR"),
        ("not done as written: Take the hose off the right rear nipple. (it is stuck)", "RR"),
    ]


def test_an_end_that_cannot_be_reached_as_written_leads_to_the_safe_stop() -> None:
    run = chosen("loose", "end")
    run.refused(ac.Done())
    run.goes(ac.Cannot(reason="the bolts are not torqued", way="step"))
    assert run.path == "safe stop"


def test_a_run_that_diverged_goes_on_by_no_edge_of_its_step() -> None:
    text = """
steps:
  look: {do: Look., cannot: finish, next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.state = replace(run.state, diverged=True)
    run.goes(ac.Cannot(reason="it is stuck", way="step"))
    assert run.path == "safe stop"
