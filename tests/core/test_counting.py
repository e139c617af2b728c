# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""Counts: beats granted in advance at the worst case, credited, looked at."""

from __future__ import annotations

from fractions import Fraction

import pytest

from runner.core import act as ac
from runner.core import event as ev
from tests.core.driver import Run, case, of, steps

ML = Fraction(1, 1_000_000)

FLUSH_CAR = {
    "mc_bore": "22.225 mm",
    "mc_stroke": "15 mm",
    "tube_bore": "3.33 mm",
    "hose_bore": "3.2 mm",
    "res_max": "200 mL",
    "res_min": "100 mL",
    "res_brim": "250 mL",
    "res_ports": "40 mL",
    "order": "furthest first",
    **{f"tube_length@{c}": t for c, t in {"RR": "5.0 m", "LR": "4.6 m", "RF": "1.9 m", "LF": "1.0 m"}.items()},
    **{f"hose_length@{c}": "0.35 m" if c[1] == "R" else "0.40 m" for c in ("RR", "LR", "RF", "LF")},
    **{f"piston@{c}": "34 mm" if c[1] == "R" else "57 mm" for c in ("RR", "LR", "RF", "LF")},
    **{f"depth@{c}": "20 mm" if c[1] == "R" else "25 mm" for c in ("RR", "LR", "RF", "LF")},
}
"""Volumes by geometry, a synthetic car; the sums below were worked by hand."""


def shown(value: Fraction, places: int) -> str:
    return f"{float(value / ML):.{places}f}"


def test_the_worked_flush_comes_out_to_the_last_printed_digit() -> None:
    run = Run(case("flush"), FLUSH_CAR).begin()
    added = Fraction(0)
    expelled = Fraction(0)
    strokes: dict[str, int] = {}
    levels: dict[str, str] = {}
    top_ups: dict[str, int] = {}
    topped = 0
    run.done()  # filled to MAX
    while run.state.phase == "running" and run.path != "finish":
        here = run.path.split("/")[1] if "/" in run.path else ""
        known = run.state.levels["reservoir"]
        assert known is not None
        if run.path.endswith("top-up"):
            added += 200 * ML - known[0]
            topped += 1
            run.done()
            continue
        granted = [e for e in run.done() if isinstance(e, ev.Granted)]
        if not granted:
            assert run.path.endswith("top-up")
            continue
        strokes[here] = strokes.get(here, 0) + granted[0].beats
        expelled += Fraction(granted[0].each[0] if granted[0].each else 0) * granted[0].beats
        assert shown(Fraction(granted[0].each[0] if granted[0].each else 0), 6) == "5.819219"
        run.done()  # all were used
        run.goes(ac.Look(level="reservoir", position="cannot see"))
        needed = {"RR": 17, "LR": 16, "RF": 22, "LF": 20}[here]
        if strokes[here] < needed:
            run.answer("dark")
        else:
            after = run.state.levels["reservoir"]
            assert after is not None
            levels[here] = shown(after[0], 3)
            top_ups[here] = topped
            run.answer("clear")
    assert strokes == {"RR": 17, "LR": 16, "RF": 22, "LF": 20}
    assert levels == {"RR": "101.073", "LR": "106.893", "RF": "176.723", "LF": "159.265"}
    assert top_ups == {"RR": 0, "LR": 1, "RF": 3, "LF": 4}
    left = run.state.levels["reservoir"]
    assert left is not None
    assert shown(added, 4) == "395.7069"
    assert shown(expelled, 4) == "436.4414"
    assert shown(200 * ML + added - left[0], 4) == "436.4414"
    assert shown(left[0], 4) in ("159.2654", "159.2655")


@pytest.mark.parametrize(
    ("corner", "content"), [("RR", "96.7789"), ("LR", "91.5534"), ("RF", "125.3377"), ("LF", "113.5802")]
)
def test_what_a_corner_needs_follows_from_the_geometry_of_its_branch(corner: str, content: str) -> None:
    from runner.core.expr import parse
    from runner.core.quantity import Quantity
    from runner.core.values import worth

    run = Run(case("flush"), FLUSH_CAR).begin()
    formula = parse("flush")
    assert not isinstance(formula, type(None))
    value = worth(run.procedure, run.state, formula, corner)  # type: ignore[arg-type]
    assert isinstance(value, Quantity)
    assert shown(value.lo, 4) == content


COUNT = """
levels:
  reservoir: {what: fluid, unit: mL, floor: 40 mL, brim: 250 mL, marks: {MIN: 100 mL, MAX: 200 mL}}
  bottle: {what: old fluid, unit: mL, floor: 0 mL, brim: 100 mL}
steps:
  fill: {do: Fill to MAX., sets: {reservoir: MAX, by: look, within: 3 mL}, next: empty}
  empty: {do: Empty the bottle., sets: {bottle: 0 mL, by: look, within: 0 mL}, next: bleed}
  bleed:
    do: Pump the granted strokes.
    cautions: [squirt]
    count:
      what: strokes
      beat: [{do: Open it., makes: [nipple_open@RR]}, {do: Press., makes: [pedal_down]}, {do: Close it., ends: [nipple_open@RR]}, {do: Let rise., ends: [pedal_down], deeds: [pedal_rise], needs: [not nipple_open@RR]}]
      moves: {from: reservoir, to: bottle, each: [0 mL, 6 mL], low_mark: MIN, if_short: fill, if_full: empty}
      GRAVITY
      planned: "8"
      grant: 5
      at_most: {strokes: 12, then: stop}
      exit: {ask: How does it look?, as: fluid, clear: finish, dark: again}
    override: stop
    next: {clear: finish}
  finish: {end: done}
  stop: {end: stopped}
"""
PLAIN = COUNT.replace("      GRAVITY\n", "").replace("    next: {clear: finish}\n", "")
GRAVITY = COUNT.replace("GRAVITY", "gravity: 0.5 mL/s\n      seconds: 8 s").replace("    next: {clear: finish}\n", "")
ASSUMED = {"conditions": {"nipple_open@RR": "F", "pedal_down": "F"}}


def at_the_count(text: str = PLAIN) -> Run:
    run = Run(steps(text), car=ASSUMED).begin()
    run.done()
    run.done()
    return run.confirm_all()


def level(run: Run, name: str = "reservoir") -> tuple[Fraction, Fraction]:
    known = run.state.levels[name]
    assert known is not None
    return known[0] / ML, known[1] / ML


def test_a_grant_is_debited_in_advance_at_the_largest_draw() -> None:
    run = at_the_count()
    granted = of(ev.Granted, run.done())
    assert isinstance(granted, ev.Granted)
    assert granted.beats == 5  # no more than one grant
    assert level(run) == (197 - 30, 203)
    assert level(run, "bottle") == (0, 30)


def test_an_open_nipple_also_drains_by_gravity_and_the_grant_has_a_time_bound() -> None:
    run = at_the_count(GRAVITY)
    granted = of(ev.Granted, run.done())
    assert isinstance(granted, ev.Granted)
    assert granted.seconds == "40"
    assert level(run) == (197 - 5 * (6 + 4), 203)
    run.later(41)
    expired = run.goes(ac.Tick())
    assert of(ev.Expired, expired) == ev.Expired(conditions=[], levels=["bottle", "reservoir"])
    assert run.state.levels["reservoir"] is None
    assert run.owed().kind == "beats"  # nothing stands between the beats and their report
    run.goes(ac.Report(used="5"))
    assert run.state.levels["reservoir"] is None
    assert run.owed().kind == "look"


def test_a_report_after_the_time_bound_leaves_the_level_unknown() -> None:
    run = at_the_count(GRAVITY)
    run.done()
    run.later(41)
    run.do(ac.Report(used="1"))
    assert run.state.levels["reservoir"] is None


def test_a_credit_only_cancels_its_own_debit() -> None:
    run = at_the_count()
    before = level(run)
    run.done()
    run.goes(ac.Report(used="2"))
    assert level(run) == (before[0] - 12, before[1])
    assert level(run, "bottle") == (0, 12)
    run.goes(ac.Look(level="reservoir", position="cannot see"))
    run.answer("dark")
    run.done()
    run.goes(ac.Report(used="0"))
    assert level(run) == (before[0] - 12, before[1])
    assert level(run, "bottle") == (0, 12)


def test_where_nothing_was_pumped_the_fluid_is_not_asked_for_and_the_look_stays() -> None:
    run = at_the_count()
    run.done()
    run.goes(ac.Report(used="0"))
    assert run.owed().kind == "look"
    run.goes(ac.Look(level="reservoir", position="cannot see"))
    assert run.owed().kind == "grant"
    run.refused(ac.Answer(value="clear"))
    run.done()
    run.goes(ac.Report(used="1"))
    run.goes(ac.Look(level="reservoir", position="cannot see"))
    run.answer("clear")
    assert run.path == "finish"


def test_beats_reported_one_by_one_add_up_to_the_grant() -> None:
    run = at_the_count()
    run.done()
    for _ in range(4):
        run.goes(ac.Beat())
        assert run.owed().kind == "beats"
    run.refused(ac.Report(used="3"))
    run.refused(ac.Report(used="many"))
    run.goes(ac.Beat())
    assert run.state.beats["bleed"] == 5
    assert run.owed().kind == "look"


def test_more_reported_than_granted_leaves_the_level_unknown_and_is_a_finding() -> None:
    run = at_the_count()
    run.done()
    events = run.goes(ac.Report(used="6"))
    assert run.state.levels["reservoir"] is None
    assert isinstance(of(ev.FindingMade, events), ev.FindingMade)
    run.goes(ac.Look(level="reservoir", position="cannot see"))
    run.answer("dark")
    left = of(ev.Left, run.done())
    assert isinstance(left, ev.Left)
    assert (left.outcome, run.path) == ("short", "fill")  # an unknown level grants nothing


def test_a_look_is_owed_after_every_grant_and_resets_the_level() -> None:
    run = at_the_count()
    run.done()
    run.done()
    assert run.owed().kind == "look"
    assert "3/4" in run.owed().options
    run.refused(ac.Answer(value="clear"))
    run.refused(ac.Look(level="reservoir", position="by the cap"))
    run.goes(ac.Look(level="reservoir", position="1/2"))
    assert level(run) == (150 - Fraction("12.5"), 150 + Fraction("12.5"))


def test_a_reservoir_in_which_nothing_is_seen_is_an_unsafe_finding() -> None:
    run = at_the_count()
    run.done()
    run.done()
    events = run.goes(ac.Look(level="reservoir", position="nothing to be seen"))
    found = of(ev.FindingMade, events)
    assert isinstance(found, ev.FindingMade)
    assert found.severity == "unsafe"


def test_the_grant_never_passes_the_low_mark_even_by_one_beat() -> None:
    run = at_the_count()
    run.done()
    run.done()
    run.goes(ac.Look(level="reservoir", position="1/4"))  # 112.5 to 137.5 mL
    run.answer("dark")
    granted = of(ev.Granted, run.done())
    assert isinstance(granted, ev.Granted)
    assert granted.beats == 2
    assert level(run)[0] == Fraction("100.5")


def test_the_planned_beats_end_a_grant_and_answers_may_go_on_to_the_bound() -> None:
    run = at_the_count()
    given = []
    for _ in range(3):
        granted = of(ev.Granted, run.done())
        assert isinstance(granted, ev.Granted)
        given.append(granted.beats)
        run.done()
        run.goes(ac.Look(level="reservoir", position="above MAX"))
        run.answer("dark")
    assert given == [5, 3, 4]  # a grant, what is planned, then up to the bound
    left = of(ev.Left, run.done())
    assert isinstance(left, ev.Left)
    assert (left.outcome, run.path) == ("bound", "stop")


def test_a_full_bottle_takes_its_own_edge() -> None:
    run = Run(steps(PLAIN.replace("brim: 100 mL}", "brim: 12 mL}")), car=ASSUMED).begin()
    run.done()
    run.done()
    run.confirm_all()
    granted = of(ev.Granted, run.done())
    assert isinstance(granted, ev.Granted)
    assert granted.beats == 2
    run.done()
    run.goes(ac.Look(level="reservoir", position="MAX"))
    run.answer("dark")
    left = of(ev.Left, run.done())
    assert isinstance(left, ev.Left)
    assert (left.outcome, run.path) == ("full", "empty")


def test_short_comes_before_full() -> None:
    run = Run(steps(PLAIN.replace("brim: 100 mL}", "brim: 1 mL}")), car=ASSUMED).begin()
    run.done()
    run.done()
    run.confirm_all()
    run.state.levels["reservoir"] = (100 * ML, 110 * ML)  # type: ignore[index]
    left = of(ev.Left, run.done())
    assert isinstance(left, ev.Left)
    assert left.outcome == "short"


def test_while_a_grant_is_out_what_its_beat_touches_is_not_known() -> None:
    run = at_the_count()
    run.done()
    assert {c: run.state.value(c) for c in ASSUMED["conditions"]} == {"nipple_open@RR": "U", "pedal_down": "U"}
    run.goes(ac.Report(used="1"))
    assert {c: run.state.value(c) for c in ASSUMED["conditions"]} == {"nipple_open@RR": "F", "pedal_down": "F"}


def test_nothing_is_granted_while_a_phase_would_not_find_what_it_needs() -> None:
    text = PLAIN.replace("{do: Open it., makes: [nipple_open@RR]}", "{do: Open it., makes: [nipple_open@RR], needs: [goggles_on]}")
    run = Run(steps(text), car=ASSUMED).begin()
    run.done()
    run.done()
    owed = run.owed()
    assert owed.kind == "needs"
    assert [u.instance for u in owed.unmet] == ["goggles_on"]
    run.refused(ac.Done())


def test_the_credit_is_by_what_a_beat_moved_when_it_was_granted() -> None:
    text = "asks:\n  draw: {what: Draw of a stroke, quantity: volume, unit: mL, sources: [seen on the car], unknown: true}\n" + PLAIN.replace(
        "each: [0 mL, 6 mL]", "each: [0 mL, draw]"
    )
    run = Run(steps(text), {"draw": "6 mL"}, car=ASSUMED).begin()
    run.done()
    run.done()
    run.confirm_all()
    run.done()
    run.state = run.state.__class__(**{**{f: getattr(run.state, f) for f in run.state.__struct_fields__}, "asks": ()})
    run.goes(ac.Report(used="2"))
    assert level(run) == (197 - 12, 203)


def test_a_count_that_was_cut_off_inside_a_grant_credits_nothing_and_demands_a_look() -> None:
    run = at_the_count()
    run.done()
    run.goes(ac.Beat())
    run.boot = "b2"
    run.goes(ac.Resume(clean=False))
    assert run.state.beats["bleed"] == 5
    assert run.state.levels["reservoir"] is None
    assert set(run.state.unknown) == {"nipple_open@RR", "pedal_down"}
    for name in run.state.unknown:
        run.goes(ac.Attest(condition=name, holds=False))
    assert run.owed().kind == "look"
    run.goes(ac.Look(level="bottle", position="cannot see"))
    run.goes(ac.Look(level="reservoir", position="3/4"))
    assert level(run)[0] == 175 - Fraction("12.5")
    assert run.state.levels["bottle"] is None
    assert run.owed().kind == "own caution"  # it begins at its cautions


def test_a_run_that_was_not_on_hold_was_cut_off_whatever_is_said_of_it() -> None:
    run = at_the_count()
    run.done()
    run.goes(ac.Resume(clean=True))
    assert run.state.levels["reservoir"] is None
    assert set(run.state.unknown) == {"nipple_open@RR", "pedal_down"}


def test_no_warning_stands_between_the_beats_and_their_report() -> None:
    run = at_the_count()
    run.done()
    run.do(ac.Person(initials="JT"), by="JT")
    assert run.owed().kind == "beats"
    run.by = "JT"
    run.goes(ac.Report(used="5"))
    run.goes(ac.Look(level="reservoir", position="MAX"))
    assert run.owed().kind == "own caution"  # the new person has not read it


def test_a_paused_run_that_claims_the_level_or_a_condition_forbids_the_grant() -> None:
    for claimed in ("reservoir", "nipple_open@RR"):
        run = Run(steps(PLAIN), car=ASSUMED).begin()
        run.done()
        run.done()
        run.confirm_all()
        run.state.claims[claimed] = "wheel-job"  # type: ignore[index]
        assert "wheel-job" in run.refused(ac.Done()).why


def test_the_min_mark_is_told_apart_from_below_it_to_a_sixteenth() -> None:
    run = at_the_count()
    run.done()
    run.done()
    run.goes(ac.Look(level="reservoir", position="MIN"))
    assert level(run) == (100 - Fraction("6.25"), 100 + Fraction("12.5"))


def test_what_a_break_left_open_is_closed_before_the_beat_opens_it_again() -> None:
    run = at_the_count()
    run.done()
    run.goes(ac.Hold())
    run.goes(ac.Resume(clean=True))
    while run.owed().kind == "unknown":
        name = run.owed().names[0]
        run.goes(ac.Attest(condition=name, holds=name == "nipple_open@RR"))
    while run.owed().kind == "look":
        run.goes(ac.Look(level=run.owed().level, position="MAX" if "MAX" in run.owed().options else "cannot see"))
    assert run.owed().kind == "needs"
    assert [u.instance for u in run.owed().unmet] == ["nipple_open@RR"]
    run.refused(ac.Done())
    run.goes(ac.Contradict(condition="nipple_open@RR", holds=False))
    assert run.owed().kind != "needs"
