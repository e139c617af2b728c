# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""The way of a run through blocks, calls, bounds, parts and ends; what another run claims."""

from __future__ import annotations

from itertools import permutations

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.graph import CORNERS
from tests.core.driver import Run, of, steps

BLOCK = """
asks:
  order:
    what: Order of the corners
    orders: ORDERS
    sources: [car's service literature]
    unknown: true
steps:
  first: {do: Begin., next: corners}
  corners:
    each: {corner: order}
    steps:
      hose: {do: "Push the hose on the {here} nipple.", makes: [hose_on], next: look}
      look: {do: Look., choose: {ask: How?, options: [clear, dark, leak], as: fluid}, next: {clear: off, dark: wait, leak: exit leak}}
      wait: {do: Wait., at_most: {times: 2, then: exit leak}, next: look}
      off: {do: Take it off., needs: [hose_on], ends: [hose_on], next: next corner}
    then: finish
    exits: {leak: stop}
  finish: {end: done}
  stop: {end: stopped}
"""
EVERY = {f"o{n}": list(order) for n, order in enumerate(permutations(CORNERS))}


def block(order: str) -> Run:
    orders = "{" + ", ".join(f"{n}: [{', '.join(o)}]" for n, o in EVERY.items()) + "}"
    return Run(steps(BLOCK.replace("ORDERS", orders)), {"order": order}).begin()


@pytest.mark.parametrize("name", EVERY)
def test_a_block_is_walked_in_the_order_of_the_car_whatever_it_is(name: str) -> None:
    run = block(name)
    run.done()
    walked = []
    while run.path != "finish":
        corner = run.path.split("/")[1]
        if run.path.endswith("hose"):
            walked.append(corner)
            run.done()
            assert run.state.value(f"hose_on@{corner}") == "T"
        elif run.path.endswith("look"):
            assert "fluid" not in run.state.choices  # what was seen at another corner is gone
            run.answer("clear")
        else:
            run.done()
    assert walked == EVERY[name]
    assert isinstance(of(ev.Ended, run.done()), ev.Ended)


def test_an_order_that_is_not_known_yet_is_asked_for_at_the_block() -> None:
    run = block("not known yet")
    run.done()
    assert (run.path, run.owed().kind, run.owed().names) == ("corners", "ask", ("order",))
    run.refused(ac.Done())
    run.goes(ac.Supply(name="order", typed="o3", source="car's service literature"))
    assert run.path == f"corners/{EVERY['o3'][0]}/hose"


def test_an_exit_leaves_the_block_and_what_was_chosen_in_it_is_forgotten() -> None:
    run = block("o0")
    run.done()
    run.done()
    told = run.answer("leak")
    assert run.path == "stop"
    over = of(ev.TurnOver, told)
    assert isinstance(over, ev.TurnOver)
    assert over.forgotten == ["fluid"]
    assert run.state.choices == {}


def test_a_bounded_step_is_entered_so_often_and_then_its_edge_is_taken() -> None:
    run = block("o0")
    run.done()
    run.done()
    for _ in range(2):
        run.answer("dark")
        run.done()
    told = run.answer("dark")
    assert [e.outcome for e in told if isinstance(e, ev.Left)] == ["dark", "bound"]
    assert run.path == "stop"


def test_the_bound_of_one_turn_is_not_that_of_the_next() -> None:
    run = block("o0")
    run.done()
    run.done()
    run.answer("dark")
    run.done()
    run.answer("clear")
    run.done()
    run.done()
    run.answer("dark")
    assert run.path.endswith("wait")


CALLS = """
steps:
  lift: {ensure: on_stands@rear, call: lift, at: rear, exits: {supported: work, not level: safe stop}, next: work}
  work: {do: Do the work., needs: [on_stands@rear], next: lower}
  lower: {give_back: on_stands@rear, call: drop, at: rear, exits: {lowered: finish}, next: finish}
  finish: {end: done}
"""


def test_a_fragment_is_taken_in_place_and_its_exits_lead_on() -> None:
    run = Run(steps(CALLS)).begin()
    assert run.path == "lift/ground"
    run.answer("level")
    run.done()
    assert (run.path, run.state.value("on_stands@rear")) == ("work", "T")
    run.done()
    assert run.path == "lower/lower"
    run.done()
    assert (run.path, run.state.value("on_stands@rear")) == ("finish", "F")


def test_the_other_exit_of_a_fragment_leads_to_the_safe_stop() -> None:
    run = Run(steps(CALLS)).begin()
    run.answer("not level")
    assert run.path == "safe stop"
    assert run.owed().kind == "safe stop"


def test_what_is_so_already_is_not_made_again() -> None:
    run = Run(steps(CALLS), car={"conditions": {"on_stands@rear": "T"}}).begin()
    assert run.path == "work"


def test_what_a_paused_run_still_needs_is_not_given_back() -> None:
    car = {"conditions": {"on_stands@rear": "T"}, "claims": {"on_stands@rear": "wheel-job"}}
    run = Run(steps(CALLS), car=car).begin()
    told = run.done()
    assert run.path == "finish"
    assert any(isinstance(e, ev.Left) and "wheel-job" in e.because for e in told)


def test_an_act_that_would_change_what_a_paused_run_claims_is_refused() -> None:
    text = "steps:\n  first: {do: Lower it., ends: [on_stands@rear], next: finish}\n  finish: {end: done}\n"
    car = {"conditions": {"on_stands@rear": "T"}, "claims": {"on_stands@rear": "wheel-job"}}
    run = Run(steps(text), car=car).begin()
    assert "wheel-job" in run.refused(ac.Done()).why
    assert run.state.value("on_stands@rear") == "T"


def test_what_leaves_a_claimed_condition_as_it_is_is_not_refused() -> None:
    text = "steps:\n  first: {do: Push at it., makes: [on_stands@rear], next: finish}\n  finish: {end: done}\n"
    car = {"conditions": {"on_stands@rear": "T"}, "claims": {"on_stands@rear": "wheel-job"}}
    run = Run(steps(text), car=car).begin()
    run.goes(ac.Done())


SHAFT = """
parts: {clamp: {what: clamp, have: 1, single_use: true, trace: false}, boot: {what: boot, have: 1, single_use: false, trace: false}}
stack: {shaft: [clamp, boot]}
assumes: [not fitted_clamp, not fitted_boot]
steps:
  clamp: {do: Slide the clamp on., slides_on: clamp, next: boot}
  boot: {do: Slide the boot on., slides_on: boot, next: which}
  which: {do: Look., choose: {ask: Good?, options: [good, torn]}, next: {good: finish, torn: boot-off}}
  boot-off: {do: Slide the boot off., slides_off: boot, next: cut}
  cut: {do: Cut the clamp off., cut_off: clamp, next: clamp}
  finish: {end: done}
"""


def test_parts_slide_in_their_order_and_one_that_is_used_up_must_be_in_hand_anew() -> None:
    run = Run(steps(SHAFT)).begin()
    told = run.done()
    assert of(ev.PartUsed, told) == ev.PartUsed(part="clamp", left=0)
    assert run.state.value("fitted_clamp") == "T"
    run.done()
    run.answer("torn")
    run.done()
    run.done()
    assert (run.path, run.state.value("fitted_clamp")) == ("clamp", "F")
    owed = run.owed()
    assert (owed.kind, owed.unmet[0].instance, owed.unmet[0].is_now) == ("needs", "clamp", "none in hand")
    run.refused(ac.Done())
    run.refused(ac.PartsCame(part="spring", have=1))
    run.refused(ac.PartsCame(part="clamp", have=-1))
    run.goes(ac.PartsCame(part="clamp", have=1))
    run.done()
    assert run.path == "boot"


USED = """
parts: {pads: {what: pair of pads, have: 1, single_use: true, trace: false}}
steps:
  pads: {do: Push the new pads in., uses: [pads], next: which}
  which: {do: Look., choose: {ask: Good?, options: [good, wrong]}, next: {good: finish, wrong: pads}}
  finish: {end: done}
"""


def test_a_part_of_no_stack_is_used_up_by_its_step_and_must_be_in_hand_anew() -> None:
    run = Run(steps(USED)).begin()
    assert of(ev.PartUsed, run.done()) == ev.PartUsed(part="pads", left=0)
    run.answer("wrong")
    owed = run.owed()
    assert (owed.kind, owed.unmet[0].instance, owed.unmet[0].is_now) == ("needs", "pads", "none in hand")
    run.refused(ac.Done())
    run.goes(ac.PartsCame(part="pads", have=1))
    run.done()
    assert run.path == "which"


LEVEL = """
levels:
  reservoir: {what: fluid, unit: mL, floor: 40 mL, brim: 250 mL, marks: {MIN: 100 mL, MAX: 200 mL}}
steps:
  draw: {do: Work., needs: [{level: reservoir, at_least: MIN}], next: finish}
  finish: {end: done}
"""


def test_a_level_that_is_not_known_is_looked_at_where_a_step_needs_it() -> None:
    run = Run(steps(LEVEL)).begin()
    assert (run.owed().kind, run.owed().level) == ("look", "reservoir")
    run.refused(ac.Done())
    run.goes(ac.Look(level="reservoir", position="cannot see"))
    assert run.owed().kind == "look"
    run.goes(ac.Look(level="reservoir", position="MIN"))
    assert run.owed().unmet[0].is_now == "low"
    run.goes(ac.Look(level="reservoir", position="1/2"))
    run.goes(ac.Done())
    run.refused(ac.Look(level="reservoir", position="MAX"))


def test_a_late_entry_says_at_what_time_it_was_done() -> None:
    run = block("o0")
    run.refused(ac.Done(late="25:10"))
    left = of(ev.Left, run.goes(ac.Done(late="9:05")))
    assert isinstance(left, ev.Left)
    assert left.late == "9:05"


def test_a_finding_says_what_and_how_bad_and_is_taken_in_every_phase() -> None:
    run = block("o0")
    run.refused(ac.Note(what=" ", where="", severity="fail"))
    run.refused(ac.Note(what="rust", where="", severity="awful"))
    run.goes(ac.Note(what="rust on a pipe", where="RR", severity="advisory"))
    run.goes(ac.Hold())
    run.goes(ac.Note(what="a leak", where="RR", severity="unsafe"))
    run.goes(ac.Abandon(reason="the owner takes it"))
    run.goes(ac.Note(what="a lamp", where="", severity="fail"))
    assert [f.what for f in run.state.findings if f.origin == "person"] == ["rust on a pipe", "a leak", "a lamp"]


def test_nobody_signs_before_the_end() -> None:
    block("o0").refused(ac.Sign(initials="MB", meaning="performed"))


def test_steps_that_lead_in_circles_without_standing_anywhere_end_in_the_safe_stop() -> None:
    text = (
        "steps:\n  a: {do: Do a., at_most: {times: 1, then: b}, next: b}\n"
        "  b: {do: Do b., at_most: {times: 1, then: a}, next: a}\n  finish: {end: done}\n"
    )
    run = Run(steps(text)).begin()
    run.done()
    run.done()
    assert run.path == "safe stop"


ROUNDS = """
asks: {order: {what: Order, orders: {one: [RR, LR, RF, LF], other: [LF, RF, LR, RR]}, sources: [handbook]}}
RULES
steps:
  all:
    each: {corner: order}
    steps:
      which: {do: Look at it., choose: {ask: What is it?, options: [try, open]}, next: {try: try, open: open}}
      try: {do: Try it., deeds: [tries_nipple], at_most: {times: 1, then: exit out}, next: open}
      open: {do: Open it., makes: [hose_on], next: next corner}
    then: more
    exits: {out: more}
  more: {do: Look again., choose: {ask: Once more?, options: [again, end]}, at_most: {times: 3, then: finish}, next: {again: all, end: finish}}
  finish: {end: done}
"""


def a_round(run: Run, first: str) -> None:
    """All four corners: the first in its own way, the others tried."""
    for way in (first, "try", "try", "try"):
        run.answer(way)
        if way == "try":
            run.done()
        run.done()


def test_a_block_that_is_walked_again_begins_its_bounds_anew() -> None:
    run = Run(steps(ROUNDS.replace("RULES\n", "")), {"order": "one"}).begin()
    a_round(run, "try")
    run.answer("again")
    assert run.path == "all/RR/which"
    run.answer("try")
    assert run.path == "all/RR/try"  # not at its bound
    run.done()
    run.done()
    run.answer("try")
    run.done()
    assert run.path == "all/LR/open"


def test_a_rule_within_a_block_begins_anew_when_the_block_is_walked_again() -> None:
    rule = "rules: [{only_after: {make: hose_on, after: {deed: tries_nipple}}, why: it must have been tried}]"
    run = Run(steps(ROUNDS.replace("RULES", rule)), {"order": "one"}).begin()
    a_round(run, "try")
    run.answer("again")
    run.answer("open")
    assert "rule" in run.refused(ac.Done()).why
    assert run.state.happened["deed tries_nipple@RR"]


def test_a_rule_that_names_two_corners_counts_what_happened_at_the_other() -> None:
    text = """
rules: [{only_after: {make: hose_on@LF, after: {make: hose_on@RR}}, why: the far corner comes first}]
steps:
  which: {do: Look at the hoses., choose: {ask: Which first?, options: [far, near]}, next: {far: far, near: near}}
  far: {do: Push the far hose on., makes: [hose_on@RR], next: near}
  near: {do: Push the near hose on., makes: [hose_on@LF], next: finish}
  finish: {end: done}
"""
    early = Run(steps(text)).begin()
    early.answer("near")
    assert "rule" in early.refused(ac.Done()).why
    run = Run(steps(text)).begin()
    run.answer("far")
    run.done()
    run.done()
    assert run.path == "finish"


def test_a_step_that_leads_back_to_itself_counts_against_the_bound_of_a_step() -> None:
    text = """
steps:
  free: {do: Turn it., choose: {ask: Did it turn?, options: [yes it did, no]}, at_most: {times: 2, then: stuck}, next: {yes it did: finish, no: free}}
  stuck: {do: Leave it., next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.answer("no")
    assert (run.path, run.state.entries["free"]) == ("free", 2)
    told = run.answer("no")
    assert run.path == "stuck"
    assert any(isinstance(e, ev.Left) and e.outcome == "bound" for e in told)


def test_what_is_so_already_leaves_its_trace_in_the_record() -> None:
    run = Run(steps(CALLS), car={"conditions": {"on_stands@rear": "T"}}).begin()
    skipped = [e for _, _, _, events in run.lines for e in events if isinstance(e, ev.Left)]
    assert [(e.path, e.outcome, e.because) for e in skipped] == [("lift", "skipped", "already so")]
