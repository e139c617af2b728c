# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""What a step, call or block states to come before it: kept by the run, whoever does what in between."""

from __future__ import annotations

from random import Random

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.event import AnyEvent
from runner.core.graph import Each, Step, find
from runner.core.picture import look
from tests.core.actor import Actor
from tests.core.bench import EXTRAS
from tests.core.driver import Run, of, steps

LOOSE = """
steps:
  goggles: {do: Put the goggles on., makes: [goggles_on], next: ask}
  ask: {do: Look at the sheet., choose: {ask: What is next?, options: [tread, corners, lift, list, goggles]}, next: {tread: tread, corners: all, lift: lift, list: list, goggles: goggles}, at_most: {times: 40, then: finish}}
  tread: {do: Measure the tread., reading: {as: tread, what: tread, quantity: length, unit: mm, bands: [{worn: {below: 3 mm}}, {good: {at_least: 3 mm}}], kind: shop's own, rule: simple}, override: ask, cannot: ask, next: {worn: list, good: ask, cannot tell: ask}}
  list: {do: Write it on the list., needs: [goggles_on], after: [{tread: [worn, override]}], next: note}
  note: {do: Sign the list., needs: [goggles_on], after: [list, tread], next: ask}
  all:
    each: {corner: [RR, LR, RF, LF]}
    after: [{tread: good}]
    steps:
      which: {do: Look at the corner., choose: {ask: Which way?, options: [try, open, leave]}, next: {try: try, open: open, leave: exit left}}
      try: {do: Try it., check: {ask: Did it move?, pick: ["yes", "no"], right: ["yes"], otherwise: true}, next: {met: open, not so: which}, at_most: {times: 9, then: next corner}}
      open: {do: Open it., needs: [goggles_on], after: [{try: met}], next: next corner}
    then: closed
    exits: {left: ask}
  closed: {do: Look at all of them., after: [all], next: ask}
  lift: {call: lift, at: rear, after: [tread], exits: {supported: lifted, not level: ask}}
  lifted: {do: Push the car., after: [{lift: supported}], next: ask}
  finish: {end: done}
"""


UNDONE = ("cannot", "override", "short", "full")


def came(before: list[AnyEvent], path: str) -> list[str]:
    """How a step was left since its turn began, oldest first, by looking over all that happened; detours left out."""
    found: list[str] = []
    detour = False
    for event in before:
        match event:
            case ev.Restoring():
                detour = True
            case ev.Restored() | ev.Jumped():
                detour = False
            case ev.Left(path=left, outcome=outcome) if left == path and not detour and outcome != "bound":
                found.append(outcome)
            case ev.OrderSet(block=block) if path.startswith(f"{block}/"):
                found = []
            case _:
                pass
    return found


def met(before: list[AnyEvent], prefix: str, node: Step | Each) -> bool:
    """Whether what the node states to come before it did, in the plain meaning of the words."""
    every = [(one, came(before, prefix + one.node)) for one in node.after]
    return all(
        found[-1:] and found[-1] in one.outcomes if one.outcomes else any(f not in UNDONE for f in found)
        for one, found in every
    )


def begun(run: Run, before: list[AnyEvent], events: tuple[AnyEvent, ...]) -> None:
    """Nothing of the line begins what must come later."""
    detour = bool(run.state.back_to)
    for event in events:
        path = ""
        match event:
            case ev.Restoring():
                detour = True
            case ev.Left(path=path, outcome=outcome) if outcome not in (*UNDONE, "bound") and not detour:
                pass
            case ev.OrderSet(block=path):
                pass
            case _:
                pass
        node = find(run.procedure, path).node if path else None
        if isinstance(node, Step | Each) and node.id not in ("closed", "lifted"):
            assert met(before, path.removesuffix(node.id), node), (path, event)
        before.append(event)


@pytest.mark.parametrize("seed", range(40))
def test_nobody_begins_what_must_come_later_whatever_they_try(seed: int) -> None:
    run = Run(steps(LOOSE)).begin()
    pick = Random(seed)
    actor = Actor(run.procedure, pick, {}, care=pick.choice((0.7, 0.9, 0.98)))
    history = [event for *_, events in run.lines for event in events]
    for _ in range(300):
        run.ms += actor.pause_ms(run.owed())
        act = actor.act(run.state, run.owed())
        if isinstance(act, ac.Correct | ac.Abandon | ac.Hold) or (isinstance(act, ac.Cannot) and act.way != "step"):
            continue
        if isinstance(act, ac.Answer) and pick.random() < 0.7:
            act = ac.Answer(value=pick.choice(run.owed().options or ("yes",)))
        before = run.state
        begun(Run(run.procedure, state=before), history, run.do(act))
        if run.state.phase != "running":
            break


def at_ask(*pads: str, run: Run | None = None) -> Run:
    run = run or Run(steps(LOOSE)).begin()
    if run.path == "goggles":
        run.done()
    for pad in pads:
        run.answer("tread")
        run.enter(pad)
        if run.path == "list":
            run.done()
            run.done()
    return run


def test_a_step_is_not_begun_before_what_it_comes_after_and_the_person_is_told() -> None:
    run = at_ask()
    run.answer("list")
    assert [u.said for u in run.owed().unmet] == ["only after tread came out as worn or override"]
    assert "step needs" in run.refused(ac.Done()).why
    shown = look(run.procedure, run.state, run.now(), EXTRAS)
    assert "only after tread came out as worn or override" in repr(shown)


def test_the_latest_outcome_counts_and_an_earlier_one_is_taken_away() -> None:
    run = at_ask("2")
    run.answer("list")
    run.done()  # worn last
    run.done()
    at_ask("5", run=run)
    run.answer("list")
    run.refused(ac.Done())


def test_an_override_is_an_outcome_like_another_one_but_makes_nothing_done() -> None:
    run = at_ask()
    run.answer("tread")
    run.goes(ac.Override(reason="no gauge", initials="MB"))
    run.answer("list")
    run.done()
    assert run.path == "note"
    assert [u.said for u in run.owed().unmet] == ["only after tread"]


def test_a_block_and_a_call_are_not_entered_before_what_they_come_after() -> None:
    run = at_ask()
    assert "only after tread came out as good" in run.refused(ac.Answer(value="corners")).why
    assert "only after tread" in run.refused(ac.Answer(value="lift")).why
    at_ask("5", run=run)
    run.answer("corners")
    assert run.path == "all/RR/which"


def test_a_turn_begins_anew() -> None:
    run = at_ask("5")
    run.answer("corners")
    run.answer("try")
    run.answer("yes")
    assert run.owed().kind == "do"
    run.done()
    run.answer("open")
    assert run.path == "all/LR/open"
    assert run.owed().kind == "needs"


def test_a_block_that_is_walked_again_begins_anew() -> None:
    run = at_ask("5")
    run.answer("corners")
    run.answer("try")
    run.answer("yes")
    run.done()
    run.answer("leave")
    run.answer("corners")
    run.answer("open")
    assert (run.path, run.owed().kind) == ("all/RR/open", "needs")


def test_a_block_was_done_when_all_its_turns_are_over_and_a_call_by_the_way_it_came_out() -> None:
    run = at_ask("5")
    run.answer("corners")
    run.answer("leave")
    assert run.state.passed["all"] == (False, "left")
    run.answer("corners")
    for _ in range(4):
        run.answer("try")
        run.answer("yes")
        run.done()
    assert (run.path, run.owed().kind) == ("closed", "do")
    run.done()
    run.answer("lift")
    run.answer("level")
    while run.path.startswith("lift/"):
        run.done()
    assert (run.path, run.owed().kind) == ("lifted", "do")


def test_a_correction_takes_away_what_came_out_otherwise_in_truth() -> None:
    run = at_ask("5")
    assert run.state.passed["tread"] == (True, "good")
    line = next(n for n, (_, _, act, _) in enumerate(run.lines) if isinstance(act, ac.Enter))
    told = of(ev.Corrected, run.goes(ac.Correct(line=line, typed=["2"], reason="misread")))
    assert isinstance(told, ev.Corrected)
    assert told.effect == "diverged"
    assert run.state.passed["tread"] == (True, "worn")


def test_a_jump_past_what_must_come_before_leads_to_a_step_that_cannot_begin() -> None:
    run = at_ask("2")
    at_ask("5", run=run)
    run.goes(ac.DoAgain(path="list", admissible=True))
    assert run.owed().kind == "needs"
    run.refused(ac.Done())
