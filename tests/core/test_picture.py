"""What the picture of a run shows and offers, at every kind of stage, on walks that a person might take."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

import msgspec
import pytest
from msgspec import structs

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.desk import complete, press
from runner.core.face import face
from runner.core.panel import PAGE, Panel, page_of, pages
from runner.core.picture import Extras, look
from runner.core.quantity import DIMENSIONS
from runner.core.sheet_text import status_sheet
from runner.core.state import State
from runner.core.units import Typed, parse_quantity
from runner.core.view import Field, Option, View
from runner.core.wording import fill, rounded
from runner.plain import page
from tests.core.bench import AT, BEGIN, Bench, begun, expr, harmless, refused, unit
from tests.core.driver import Run, steps

VALUES = {
    "in all": "6",
    "least": "22",
    "disc": "23.4",
    "torque of": "12",
    "wrench": "12",
    "number": "23",
    "hh:mm": "07:40",
}


def typed(field: Field) -> AnyAct:
    """The act of a field with a value that a person could mean."""
    if field.kind == "text":
        text = "ab" * 32 if "picture" in field.what else "AB-1234"
    else:
        text = next((v for k, v in VALUES.items() if k in field.what), "3")
    points = (text,) * field.points + (("1",) if field.clicks else ())
    return complete(field, points, 0)


def reachable(options: tuple[Option, ...]) -> Iterator[AnyAct]:
    """Every act behind these options."""
    for option in options:
        if option.act is not None:
            yield option.act
        if option.field is not None:
            yield typed(option.field)
        yield from reachable(option.sub)


def at_hand(view: View) -> list[AnyAct]:
    """The acts that the step itself offers."""
    acts = list(reachable(view.options))
    acts += [view.enter.act] if view.enter is not None and view.enter.act is not None else []
    acts += [typed(view.field)] if view.field is not None else []
    acts += [ac.Confirm(hazard="spray", key=c.key) for c in view.cautions if c.state == "owed"]
    return acts


def admitted(act: AnyAct) -> AnyAct:
    return msgspec.structs.replace(act, admissible=True) if isinstance(act, ac.DoAgain) else act


def walk(seed: int, acts: int) -> Iterator[tuple[Bench, View, random.Random]]:
    """A run on which somebody chooses among what is offered, mostly going on, sometimes by the menu."""
    rng = random.Random(seed)
    bench = begun()
    for _ in range(acts):
        view = bench.view()
        yield bench, view, rng
        offered = at_hand(view)
        off = [a for a in reachable(view.menu) if not isinstance(a, ac.Abandon)]
        wilder = not offered or rng.random() < 0.15
        pool = off if wilder and off else offered
        if rng.random() < 0.04:
            pool = [ac.Hold()]
        if not pool:
            return
        bench.do(admitted(rng.choice(pool)), wait=rng.choice((2.0, 9.0, 40.0)))


@pytest.mark.parametrize("seed", range(12))
def test_what_a_view_offers_is_never_refused_but_for_reading_time(seed: int) -> None:
    for bench, view, rng in walk(seed, 60):
        offered = at_hand(view)
        menu = list(reachable(view.menu))
        for act in (*offered, *rng.sample(menu, min(len(menu), 40))):
            why = refused(bench.try_out(admitted(act)))
            if isinstance(act, ac.Correct) or (why and "cannot have been read" in why):
                continue
            assert why is None, (seed, view.kind, act, why)


@pytest.mark.parametrize("seed", range(12, 18))
def test_looking_changes_nothing_and_every_list_fits_the_keypad(seed: int) -> None:
    for bench, view, _ in walk(seed, 60):
        assert bench.view() == view
        for options in lists((*view.menu, *view.options)):
            for at in range(pages(len(options))):
                keys = [option.key for _, option in page_of(options, at)]
                assert len(keys) <= PAGE + 1
                assert len(set(keys)) == len(keys)
                assert all(len(key) == 1 and key in "0123456789-" for key in keys), keys


def lists(options: tuple[Option, ...]) -> Iterator[tuple[Option, ...]]:
    if options:
        yield options
    for option in options:
        yield from lists(option.sub)


@pytest.mark.parametrize("seed", range(18, 24))
def test_every_stage_has_a_way_on_by_the_keypad_and_reads_as_plain_text(seed: int) -> None:
    for _, view, _ in walk(seed, 60):
        by_keys = [o for o in at_hand(view) if not (view.field is not None and view.field.kind == "text")]
        assert by_keys or list(reachable(tuple(o for o in view.menu if o.field is None))) or view.ended, view.kind
        lines = [*page(view, face(Panel(), view), None), *status_sheet(view, "now").split("\n")]
        assert all(harmless(line) for line in lines)
        assert not any("{" in line or "}" in line for line in lines)
        assert all(len(line) <= 80 for line in status_sheet(view, "now").split("\n"))


def test_the_walks_meet_every_kind_of_stage() -> None:
    kinds = {view.kind for seed in range(24) for _, view, _ in walk(seed, 60)} | {stage for stage, _ in through()}
    wanted = {
        "summary", "held", "safe stop", "unknown", "look", "ask", "needs", "own caution", "cautions", "do", "check",
        "choose", "read", "read back", "grant", "beats", "fluid", "start hold", "hold", "identify", "photo", "books",
        "again", "end", "ended",
    }  # fmt: skip
    assert wanted <= kinds, wanted - kinds


def usual(view: View) -> AnyAct:
    """What somebody does for whom all goes well."""
    for caution in view.cautions:
        if caution.state == "owed":
            return ac.Confirm(hazard="spray", key=caution.key)
    if view.kind == "check" and view.options and view.options[0].key == "7":
        return ac.Answer(value=view.plan.now)
    good = [o.act for o in view.options if o.act is not None and o.text in ("DOT 4", "MAX", "clear", "dry", "still so")]
    if good:
        return good[0]
    if view.field is not None:
        return typed(view.field)
    if view.enter is not None and view.enter.act is not None:
        return view.enter.act
    options = list(reachable(view.options))
    return options[0]


def through() -> Iterator[tuple[str, View]]:
    bench = begun()
    for _ in range(160):
        view = bench.view()
        yield view.kind, view
        if view.ended:
            return
        if view.kind == "hold" and not view.options:
            bench.seconds += 20  # hands on the pedal
            continue
        bench.do(usual(view))


def brought_to(kind: str, step: str = "", begin: ac.Begin = BEGIN) -> Bench:
    """A run on which all went well until it stands at a kind of stage (of a step)."""
    bench = begun(begin)
    for key, state, seconds in _course(msgspec.json.encode(begin)):
        if key == kind and state.path.endswith(step):
            bench.state, bench.seconds = state, seconds
            return bench
    raise AssertionError(f"the run never came to {kind} at {step}")


@lru_cache
def _course(begin: bytes) -> list[tuple[str, State, float]]:
    bench = begun(msgspec.json.decode(begin, type=ac.Begin))
    course = []
    for _ in range(160):
        view = bench.view()
        course.append((view.kind, bench.state, bench.seconds))
        if view.kind == "hold" and not view.options:
            bench.seconds += 20
        elif not view.ended:
            bench.do(usual(view))
    return course


def test_the_summary_says_what_is_needed_and_how_the_car_is_taken_to_be() -> None:
    view = begun().view()
    words = "\n".join(view.text)
    assert view.kind == "summary"
    assert "Tools: ring spanner" in words
    assert "- every nipple is closed" in words
    assert view.enter is not None
    assert view.enter.act == ac.Assume()


def test_what_the_record_knows_otherwise_stands_first_in_the_summary() -> None:
    view = begun(structs.replace(BEGIN, conditions={"nipple_open@RR": "T"})).view()
    assert view.text[0] == "LAST KNOWN OTHERWISE: the right rear nipple is open"
    assert "- 2" in view.question
    assert not any("OTHERWISE" in text for text in begun().view().text)


def test_what_no_keypad_types_says_by_which_keys_it_is_owed() -> None:
    text = """
steps:
  batch: {do: Read the batch., identify: {as: batch, what: Batch of the fluid, pattern: "[A-Z]+"}, next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    view = look(run.procedure, run.state, run.now())
    (keys,) = (line for line in view.text if "keyboard" in line)
    assert keys == "Without a keyboard, - 1 1 owes it until sign-off."
    panel, act = Panel(), None
    for key in "-11":
        panel, act = press(panel, view, key, run.now())
    assert act == ac.Instead(result="owed until sign-off")
    run.goes(act)
    assert look(run.procedure, run.state, run.now()).because == ("Batch of the fluid: owed until sign-off",)


def test_a_step_that_waits_says_for_what_in_the_words_of_its_author() -> None:
    text = """
waits: {soak: {what: penetrant soaking in, at_least: 15 min}}
steps:
  spray: {do: Spray it., starts: soak, next: turn}
  turn: {do: Turn it., needs: [{wait: soak}], next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.goes(ac.Done())
    view = look(run.procedure, run.state, run.now())
    assert view.question.startswith("Not over yet: penetrant soaking in, ")
    assert view.question.endswith(" left.")
    assert not view.options
    assert view.text[-1] == "Nothing is to be pressed until then."


def test_a_wait_at_which_the_work_may_be_left_says_so_and_what_stays() -> None:
    text = """
waits: {soak: {what: penetrant soaking in, at_least: 15 min}}
steps:
  off: {do: Lift the wheel off., makes: [wheel_off@RR], starts: soak, next: turn}
  turn: {do: Turn it., needs: [{wait: soak}], park: soak, next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.goes(ac.Done())
    view = look(run.procedure, run.state, run.now())
    assert "The work may be left until then: * holds it, and the same command goes on with it." in view.text
    assert view.text[-1] == "The car stands on stands."
    assert "Nothing is to be pressed until then." not in view.text


def test_after_a_break_no_bare_name_of_a_fact_stands_as_a_sentence() -> None:
    bench = brought_to("do", "RR/hose-off")
    bench.do(ac.Hold(), ac.Resume(clean=False))
    view = bench.view()
    assert view.kind == "unknown"
    assert view.question.startswith("What is so?")
    names = {name.replace("_", " ") for name in bench.procedure.conditions}
    shown = " ".join((*view.because, view.question, view.headline)).lower()
    assert not any(re.search(rf"(?<!the )\b{name}\b(?=[.;,]|$)", shown) for name in names), shown


def test_a_warning_is_shown_with_its_step_and_only_its_own_key_confirms_it() -> None:
    bench = brought_to("own caution")
    bench.seconds -= 28
    view = bench.view()
    (caution,) = [c for c in view.cautions if c.state == "owed"]
    assert view.headline == "Raise the rear axle."
    assert caution.key in "123456789"
    assert caution.wait_s > 0
    assert view.enter is None
    assert view.options == ()
    assert view.short == ("WARNING", f"PRESS {caution.key}")


def test_notices_and_cautions_of_a_step_are_confirmed_together_gravest_first() -> None:
    view = brought_to("cautions", "hose").view()
    assert [(c.word, c.state) for c in view.cautions] == [("CAUTION", "together"), ("NOTICE", "together")]
    assert view.enter is not None
    assert view.enter.act == ac.ConfirmRest()


def test_a_message_that_was_read_at_the_first_corner_stands_in_effect_at_the_next() -> None:
    bench = brought_to("do", "RR/hose-off")
    while not (bench.state.path.endswith("LR/bleed") and bench.view().kind == "grant"):
        bench.do(usual(bench.view()))
    assert [c.state for c in bench.view().cautions] == ["confirmed"]


def test_the_limit_is_shown_as_end_values_in_the_authors_unit_and_in_that_of_the_instrument() -> None:
    begin = msgspec.structs.replace(
        BEGIN, instruments={"old one": {"what": "micrometer", "unit": "in", "error": "0.001 in"}}
    )
    found = brought_to("ask", "disc", begin)
    found.do(ac.Supply(name="disc_min", typed="22 mm", source="marked on the part"))
    view = found.view()
    assert view.field is not None
    assert view.field.limit == "at least 22 mm (at least 0.8662 in), marked on the part"
    assert view.field.ways[0] == ("old one", "in")
    assert view.field.points == 2
    assert any("too close to call" in line for line in view.text)


def test_the_target_of_a_wrench_setting_is_shown_nowhere_while_it_is_typed() -> None:
    bench = brought_to("read", "torque")
    view = bench.view()
    assert view.field is not None
    assert view.field.clicks
    shown = "\n".join(page(view, face(Panel(), view), None))
    assert "12" not in shown
    view = bench.do(typed(view.field))
    assert view.kind == "read back"
    assert "limit" not in view.question


def test_a_reading_is_read_back_before_it_counts_and_minus_takes_it_back() -> None:
    bench = brought_to("read", "disc")
    view = bench.do(ac.Enter(typed=["23.4", "23.5"], unit="mm", instrument="micrometer 2"))
    assert view.kind == "read back"
    assert "23.4 mm, 23.5 mm, micrometer 2" in view.question
    assert [(o.key, o.act) for o in view.options] == [("-", ac.Retype())]
    assert view.readings == ()
    view = bench.do(ac.Accept())
    assert view.readings == ("thickness of the disc: 23.4 mm, 23.5 mm: pass",)
    assert "pass" in view.because[0]


@pytest.mark.parametrize(
    ("value", "kind", "word", "then"),
    [
        ("21.9", "fail", "FAIL", "Press the pedal with 300 N."),
        ("22.001", "too close to call", "TOO CLOSE TO CALL", "Count the splines of the shaft."),
    ],
)
def test_a_fail_and_a_close_call_stay_on_the_next_screen_with_their_reason(
    value: str, kind: str, word: str, then: str
) -> None:
    bench = brought_to("read", "disc")
    view = bench.do(ac.Enter(typed=[value, value], unit="mm", instrument="micrometer 2"), ac.Accept())
    assert view.headline == then
    assert view.alert[0] == word
    assert view.alert_kind == kind
    assert value in view.alert[1]


def test_a_wrong_corner_is_named_without_giving_the_right_one_away() -> None:
    bench = brought_to("check", "RR/which")
    view = bench.do(ac.Answer(value="LF"))
    assert view.kind == "check"
    assert view.alert_kind == "refused"
    assert "RR" not in " ".join(view.alert)
    assert {o.text: o.key for o in view.options} == {
        "left front": "7", "right front": "9", "left rear": "1", "right rear": "3",
    }  # fmt: skip


def test_a_grant_says_how_many_strokes_and_is_debited_at_once() -> None:
    bench = brought_to("grant", "bleed")
    assert bench.view().question == "6 pedal strokes, then look."
    assert bench.view().big == "6"
    (before, _) = bench.view().gauges
    view = bench.do(ac.Done())
    (after, _) = view.gauges
    assert view.kind == "beats"
    assert before.least is not None
    assert after.least is not None
    assert after.least < before.least
    view = bench.do(ac.Beat(), ac.Beat())
    assert "2 of them are told" in view.question
    assert view.big == "4"


def test_the_trail_has_every_step_with_its_result_and_the_way_ahead_its_hazards() -> None:
    bench = brought_to("do", "goggles")
    assert [line.title for line in bench.view().ahead][:2] == [
        "Take the cap off the reservoir.", "Look for the valve in the hose.",
    ]  # fmt: skip
    bench = brought_to("check", "RR/which")
    view = bench.view()
    assert [line.status for line in view.trail] == ["DONE"] * 5
    titles = [line.title for line in view.ahead]
    assert titles[:3] == [
        "Push the hose on the right rear nipple.",
        "Pump the granted strokes.",
        "Take the hose off the right rear nipple.",
    ]
    assert titles[3] == "Find the left rear wheel."
    assert len(titles) == 10
    assert view.ahead[1].hazards == ("WARNING: Keep the goggles on.",)
    assert view.section == "right rear (1 of 4)"
    assert (view.step_n, view.steps) == (6, 22)


def test_a_call_that_is_not_needed_shows_as_not_applicable_with_its_reason() -> None:
    bench = begun()
    bench.do(ac.Contradict(condition="on_stands@rear", holds=True))
    while bench.state.path != "corners":
        bench.do(usual(bench.view()))
    last = bench.view().trail[-1]
    assert (last.status, last.note) == ("N/A", "already so")


def test_steps_of_one_posture_are_shown_together() -> None:
    view = brought_to("do", "RR/hose").view()
    assert [(line.status, line.title) for line in view.group] == [
        ("NOW", "Push the hose on the right rear nipple."), ("NEXT", "Take the hose off the right rear nipple."),
    ]  # fmt: skip


def test_the_car_plan_marks_where_the_work_is_and_what_is_open() -> None:
    bench = brought_to("do", "LR/hose-off")
    marks = dict(bench.view().plan.marks)
    assert bench.view().plan.now == "LR"
    assert marks["RR"] == "DONE"
    assert marks["LR"] == "NOW"
    bench = brought_to("beats", "RR/bleed")
    view = bench.do(ac.Hold())
    assert dict(view.plan.marks)["RR"] == "NOW, nipple open?"
    assert "NOT KNOWN whether the right rear nipple is open" in view.open_now


def test_a_hold_shows_the_order_of_making_safe_and_then_how_to_go_on() -> None:
    bench = brought_to("beats", "RR/bleed")
    view = bench.do(ac.Hold())
    assert view.headline == "Close the right rear nipple."
    assert view.enter is not None
    assert view.enter.act == ac.MadeSafe(condition="nipple_open@RR")
    assert "Cover it with a clean cloth." in view.text
    assert [o.text for o in view.options if o.key == "0"] == ["go on with the work"]
    view = bench.do(ac.MadeSafe(condition="nipple_open@RR"))
    assert view.enter is not None
    assert view.enter.act == ac.Resume(clean=True)


def test_coming_back_says_what_was_done_what_is_now_what_is_next_and_what_is_not_known() -> None:
    bench = brought_to("do", "RR/hose-off")
    view = bench.do(ac.Hold(), ac.Resume(clean=True))
    assert view.kind == "unknown"
    story = "\n".join(view.because)
    assert "Last done: Pump the granted strokes." in story
    assert "Now: Take the hose off the right rear nipple." in story
    assert "Next: Find the left rear wheel." in story
    assert "Not known any more: whether goggles are on" in story
    assert [o.text for o in view.options] == ["goggles are on", "goggles are off"]


def test_a_step_that_cannot_begin_says_why_and_how_to_make_it_so() -> None:
    bench = brought_to("do", "RR/hose")
    bench.do(ac.Contradict(condition="goggles_on", holds=False))
    view = bench.do(ac.Done())
    assert view.kind == "needs"
    assert view.question == "Needed: goggles are on."
    assert [o.act for o in view.options] == [
        ac.Restore(condition="goggles_on"), ac.Contradict(condition="goggles_on", holds=True),
    ]  # fmt: skip


def test_a_correction_that_would_have_gone_another_way_offers_steps_to_do_again() -> None:
    bench = brought_to("choose", "choose")
    entry = next(o for o in menu_entry(bench.view(), "correct a value") if "disc" in o.text)
    field = entry.sub[0].field
    assert field is not None
    assert (field.points, field.ways) == (2, (("micrometer 2", "mm"),))
    view = bench.do(complete(field, ("20", "20"), 0))
    assert view.kind == "diverged"
    assert view.headline == "With the corrected value the run would have gone another way."
    assert [o.text for o in view.options] == [
        "Measure the disc where it is thinnest.",
        "Look for the valve in the hose.",
        "Take the cap off the reservoir.",
        "Put the goggles on.",
        "stop safely",
    ]
    assert all(isinstance(o.act, ac.DoAgain) and not o.act.admissible for o in view.options[:-1])


def menu_entry(view: View, text: str) -> tuple[Option, ...]:
    return next(o.sub for o in view.menu if o.text == text)


def test_entries_of_the_menu_keep_their_numbers_and_say_why_they_are_closed() -> None:
    first = [o.text for o in begun().view().menu]
    view = brought_to("read", "disc").view()
    assert [o.text for o in view.menu] == first
    assert next(o for o in begun().view().menu if o.text == "do again").note != ""
    assert menu_entry(view, "go on without this gate")
    assert not menu_entry(brought_to("check", "RR/which").view(), "go on without this gate")


def test_a_text_never_shows_a_brace_and_says_what_is_not_known_yet() -> None:
    bench = begun()
    text = fill("Set {torque} at the {here} nipple, {disc_min}, {nobody}.", bench.procedure, bench.state, "RR")
    assert text == (
        "Set 12 N m at the right rear nipple, (least thickness of the disc: not known yet), (nobody: not known yet)."
    )


def test_the_sheet_of_paper_says_where_the_run_stands_and_what_comes() -> None:
    bench = brought_to("check", "LR/which")
    bench.do(ac.Hold())
    text = status_sheet(bench.view(), "2026-03-02T09:00:00.000Z")
    for part in (
        "STOPPED",
        "OPEN ON THE CAR",
        "the reservoir cap is off",
        "LEVELS",
        "NEXT",
        "[ ] Push the hose",
        "DONE",
    ):
        assert part in text
    assert "WARNING: Keep the goggles on." in text


def test_the_far_view_has_two_lines_of_at_most_22_capitals() -> None:
    for _, view in through():
        assert len(view.short) <= 2
        assert all(len(line) <= 22 and line == line.upper() for line in view.short)


def test_the_demonstration_is_named_on_every_view() -> None:
    assert BEGIN.demonstration
    assert all(view.demonstration == "DEMONSTRATION" for _, view in through())


def test_what_this_work_has_to_do_with_comes_before_the_rest_of_the_vocabulary() -> None:
    run = Run(steps("""
steps:
  first: {do: Look., makes: [hose_on@LF], next: finish}
  finish: {end: done}
""")).begin()
    view = look(run.procedure, run.state, run.now())
    (corner,) = [o.sub for o in menu_entry(view, "the car is not as you say") if o.text == "left front"]
    lists = {o.text: [one.text for one in o.sub] for o in corner if o.sub}
    assert lists["what is not known"] == ["the hose is on the nipple?"]
    assert "the nipple is open?" in lists["what this work does not touch"]
    assert not any("{" in text or "left front" in text for texts in lists.values() for text in texts)


def test_what_does_not_keep_is_not_known_as_soon_as_its_time_is_over() -> None:
    bench = brought_to("do", "RR/hose")
    bench.do(ac.Contradict(condition="rag_wet", holds=True))
    assert [(t.text, t.left_s) for t in bench.view().timers] == [("keeps: the rag is wet", 300)]
    bench.seconds += 301
    view = bench.view()
    assert view.timers == ()
    (whole,) = [o.sub for o in menu_entry(view, "the car is not as you say") if o.key == "5"]
    (unknown,) = [o.sub for o in whole if o.text == "what is not known"]
    (rag,) = [o.sub for o in unknown if o.text == "the rag is wet?"]
    assert [o.text for o in rag] == ["the rag is wet", "the rag is dry"]


def test_a_level_that_is_too_low_is_looked_at_again_by_the_keypad_alone() -> None:
    bench = brought_to("do", "RR/hose")
    name = bench.state.path
    found = g.find(bench.procedure, name)
    need = g.LevelNeed(level="reservoir", at_least=expr("250 mL"), said="reservoir above 250 mL", place=AT)
    assert isinstance(found.node, g.Step)
    low = replace(found.node, needs=(*found.node.needs, need))
    bench.procedure = _with(bench.procedure, name, low)
    bench.state = msgspec.structs.replace(bench.state, levels={"reservoir": (Fraction(1, 10_000), Fraction(2, 10_000))})
    view = bench.view()
    assert view.kind == "needs"
    assert view.question == "Too low for this step: fluid in the reservoir."
    again = next(o for o in view.options if o.text == "look again: fluid in the reservoir")
    panel, _ = press(Panel(), view, again.key, bench.now)
    full = next(o for o in face(panel, view).options if o.text == "MAX")
    _, act = press(panel, view, full.key, bench.now)
    assert act == ac.Look(level="reservoir", position="MAX")
    assert bench.do(act).kind == "do"


def _with(procedure: g.Procedure, path: str, step: g.Step) -> g.Procedure:
    """The procedure with another step in that place."""

    def put(body: g.Body, parts: list[str]) -> g.Body:
        name, *rest = parts
        node = body.nodes[name]
        made: g.Node = step
        if rest:
            assert isinstance(node, g.Each)
            made = replace(node, body=put(node.body, rest[1:]))
        return replace(body, nodes={**body.nodes, name: made})

    return replace(procedure, body=put(procedure.body, path.split("/")))


def test_parts_that_are_missing_are_counted_in_at_the_step_that_needs_them() -> None:
    text = """
parts: {circlip: {what: circlip, have: 0, single_use: true}, boot: {what: boot, have: 1}}
stack: {shaft: [circlip, boot]}
steps:
  on: {do: Slide it on., slides_on: circlip, needs: [not fitted_circlip, not fitted_boot], next: finish}
  finish: {end: done}
"""
    run = Run(steps(text), car={"conditions": {"fitted_circlip": "F", "fitted_boot": "F"}}).begin()
    view = look(run.procedure, run.state, run.now())
    [came] = [o for o in view.options if o.field is not None]
    assert (view.kind, came.text) == ("needs", "it came: circlip")
    assert came.field is not None
    run.goes(complete(came.field, ("1",), 0))
    assert look(run.procedure, run.state, run.now()).kind == "do"


def test_a_wait_that_was_over_too_long_ago_may_be_overridden_where_the_author_allows_it() -> None:
    text = """
waits: {soak: {what: the soak, at_least: 1 min, keeps: 1 min}}
steps:
  spray: {do: Spray it., starts: soak, next: turn}
  turn: {do: Turn it., needs: [{wait: soak}], override: leave, next: finish}
  leave: {do: Leave it., next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.done()
    run.later(600)
    view = look(run.procedure, run.state, run.now(), Extras(people=("MB",)))
    assert view.kind == "needs"
    reasons = menu_entry(view, "go on without this gate")
    [who, _] = reasons[0].sub
    assert who.act is not None
    run.goes(who.act)
    assert run.path == "leave"


def test_a_step_that_nothing_brings_about_offers_the_safe_stop() -> None:
    text = """
rules: [{only_after: {step: open, after: {deed: tries_nipple}}, why: it must have been tried}]
steps:
  first: {do: Look., choose: {ask: Which?, options: [open, try]}, next: {open: open, try: try}}
  open: {do: Open it., next: finish}
  try: {do: Try it., deeds: [tries_nipple], next: open}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.answer("open")
    view = look(run.procedure, run.state, run.now())
    assert view.question.startswith("Not before its time:")
    assert [o.text for o in view.options] == ["stop safely"]
    assert view.options[0].act is not None
    run.goes(view.options[0].act)
    assert run.path == "safe stop"


def test_at_an_end_that_lacks_something_the_keypad_leads_on() -> None:
    text = """
rules:
  - {must_follow: {make: bolts_loose, then: {make: nipple_final}}, why: what was loosened is torqued}
  - {at_end: [all hose_on], why: it is wanted}
steps:
  loose: {do: Loosen it., makes: [bolts_loose@LF], next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.done()
    view = look(run.procedure, run.state, run.now())
    (owed,) = [line for line in view.text if "Not followed yet" in line]
    assert "still to come: " in owed
    assert "(it follows on: " in owed
    assert not {"_", "@"} & set(owed)
    assert "make" not in owed.split()
    assert [line for line in view.text if "hose" in line] == [
        f"Not known: the hose is on the {corner} nipple?"
        for corner in ("left front", "right front", "left rear", "right rear")
    ]
    assert [type(o.act) for o in view.options] == [ac.Attest] * 4 + [ac.Cannot]
    assert menu_entry(view, "cannot be done as written")
    for option in view.options:
        assert option.act is not None
        run.goes(option.act)
    assert run.path == "safe stop"
    told = run.goes(ac.Done())
    assert any("bolts_loose" in e.what for e in told if isinstance(e, ev.FindingMade))


def test_a_run_that_is_over_tells_what_was_not_followed_without_a_name_of_the_file() -> None:
    text = """
rules: [{must_follow: {make: bolts_loose, then: {end: bolts_loose}}, why: what was loosened is torqued}]
steps:
  loose: {do: Loosen it., makes: [bolts_loose@LF], next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.done()
    stop = look(run.procedure, run.state, run.now()).options[-1].act
    assert isinstance(stop, ac.Cannot)
    run.goes(stop)
    run.goes(ac.Done())
    over = look(run.procedure, run.state, run.now())
    (told,) = [line for line in over.text if line.startswith("Still so: ")]
    assert told.count("left front") == 1
    assert not any({"_", "@"} & set(line) for line in over.text)


@pytest.mark.parametrize(
    ("value", "unit_text", "dimension", "shown"),
    [
        ("96.7789", "mL", "volume", "96.8 mL"),
        ("3.1416", "mL", "volume", "3.14 mL"),
        ("0.12345", "mL", "volume", "0.123 mL"),
        ("40", "mL", "volume", "40 mL"),
        ("20.398", "mm", "length", "20.398 mm"),
        ("20.39625", "mm", "length", "20.396 mm"),
        ("33.8954", "N m", "torque", "33.9 N m"),
        ("2.5", "N m", "torque", "2.5 N m"),
    ],
)
def test_a_computed_value_shows_no_digits_that_nobody_can_measure(
    value: str, unit_text: str, dimension: str, shown: str
) -> None:
    made = parse_quantity(value, DIMENSIONS[dimension], unit(unit_text, dimension))
    assert isinstance(made, Typed)
    assert rounded(made.quantity, unit(unit_text, dimension)) == shown


def test_what_nobody_looked_at_is_told_as_not_known_when_a_run_is_over() -> None:
    text = """
rules: [{at_end: [all hose_on], why: it is wanted}]
steps:
  loose: {do: Loosen it., next: finish}
  finish: {end: done}
"""
    run = Run(steps(text)).begin()
    run.done()
    stop = look(run.procedure, run.state, run.now()).options[-1].act
    assert isinstance(stop, ac.Cannot)
    run.goes(stop)
    run.goes(ac.Done())
    over = look(run.procedure, run.state, run.now())
    assert over.kind == "ended"
    about = [line for line in over.text if "hose" in line]
    assert about
    assert all(line.startswith("Not known whether ") for line in about)


def test_what_has_no_word_for_leaving_is_closed_like_the_rest() -> None:
    bench = brought_to("do", "RR/hose")
    conditions = dict(bench.procedure.conditions)
    conditions["nipple_open"] = replace(conditions["nipple_open"], if_left=None)
    bench.procedure = replace(bench.procedure, conditions=conditions)
    bench.do(ac.Contradict(condition="nipple_open@RR", holds=True))
    view = bench.do(ac.Hold())
    assert view.enter is not None
    assert view.enter.act == ac.MadeSafe(condition="nipple_open@RR")
    bench.do(view.enter.act)
    assert bench.state.value("nipple_open@RR") == "F"


def test_a_value_with_which_the_car_was_taken_over_is_corrected_by_the_keypad() -> None:
    run = Run(steps(ASKED), {"limit": "3 mm", "valve": "fitted"}).begin()
    run.goes(ac.Supply(name="depth", typed="7 mm", source="handbook"))
    view = look(run.procedure, run.state, run.now())
    depth, taken_over = menu_entry(view, "correct a value")
    assert depth.text == "Depth: 7 mm"
    assert depth.sub[0].field is not None
    run.goes(complete(depth.sub[0].field, ("8",), 0))
    assert [o.text for o in taken_over.sub] == ["Limit: 3 mm", "Valve: fitted"]
    limit, valve = taken_over.sub
    assert limit.sub[0].field is not None
    run.goes(complete(limit.sub[0].field, ("4",), 0))
    other = next(o for o in valve.sub[0].sub if o.text == "not fitted")
    assert other.act is not None
    run.goes(other.act)
    now = {name: value for name, value, _ in run.state.asks}
    assert now == {"depth": "8 mm", "limit": "4 mm", "valve": "not fitted"}


ASKED = """
asks:
  limit: {what: Limit, quantity: length, unit: mm, sources: [handbook]}
  depth: {what: Depth, quantity: length, unit: mm, sources: [handbook], unknown: true}
  valve: {what: Valve, choice: [fitted, not fitted], sources: [handbook]}
steps:
  first: {do: Look., next: second}
  second: {do: Look again., next: finish}
  finish: {end: done}
"""


def test_a_run_that_diverged_with_nothing_to_do_again_stops_safely() -> None:
    run = Run(steps(ASKED), {"limit": "3 mm", "valve": "fitted"}).begin()
    run.done()
    run.state = msgspec.structs.replace(run.state, diverged=True, offers=())
    view = look(run.procedure, run.state, run.now())
    assert (view.kind, [o.text for o in view.options]) == ("diverged", ["stop safely"])
    assert not menu_entry(view, "do again")
    assert view.options[0].act is not None
    run.goes(view.options[0].act)
    assert run.path == "safe stop"
