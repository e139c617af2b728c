"""What the proofs catch and what they leave alone, on procedures made in Python."""

from __future__ import annotations

from dataclasses import replace

from runner.core.graph import Contract, Procedure
from runner.verify import Checked, verify
from tests.verify.build import (
    call,
    choice,
    duty,
    each,
    end,
    fact,
    here,
    needs,
    opening,
    phase,
    procedure,
    refs,
    rule,
    step,
    strokes,
)


def found(made: Procedure) -> set[str]:
    """The names of the proofs that complain; what is confirmed at the start is a matter of its own tests."""
    verdict = verify(made)
    return set() if isinstance(verdict, Checked) else {f.check for f in verdict} - {"start"}


GOGGLES = (duty("deed", "look_up", "goggles_on"),)


def test_a_need_met_on_every_path_is_proven() -> None:
    made = procedure(
        step("goggles", "look", makes=("goggles_on",)),
        step("look", "done", asks=("goggles_on",), deeds=("look_up",)),
        end(),
        conditions=[fact("goggles_on")],
        duties=GOGGLES,
    )
    assert found(made) == set()


def test_a_path_past_the_goggles_is_found() -> None:
    made = procedure(
        step("ask", {"yes": "goggles", "no": "look"}, gate=choice("yes", "no")),
        step("goggles", "look", makes=("goggles_on",)),
        step("look", "done", asks=("goggles_on",), deeds=("look_up",)),
        end(),
        conditions=[fact("goggles_on")],
        duties=GOGGLES,
    )
    verdict = verify(made)
    assert not isinstance(verdict, Checked)
    assert [f.check for f in verdict] == ["needs"]
    assert verdict[0].trail == ("ask: Look at ask. (no)", "look: Look at look.")


BLEED = [opening("nipple_open", index="corner"), fact("pedal_down")]
PUMP_DUTY = duty("deed", "pedal_rise", "not nipple_open", unless=("valve", "fitted"))


def pump(*beat: object, asks: tuple[str, ...] = ()) -> Procedure:
    return procedure(
        each(
            "corners",
            "done",
            step("bleed", {"clear": "next corner"}, gate=strokes(*beat, bound="fault"), asks=asks),
            step("fault", "exit fault"),
            exits={"fault": "stopped"},
        ),
        end(),
        end("stopped"),
        conditions=BLEED,
        duties=[PUMP_DUTY],
        assumes=("none nipple_open",),
    )


def test_a_count_that_closes_before_the_pedal_rises_is_proven() -> None:
    made = pump(
        phase("Open.", makes=("nipple_open",)),
        phase("Press.", makes=("pedal_down",)),
        phase("Close.", ends=("nipple_open",)),
        phase("Lift the foot.", deeds=("pedal_rise",), ends=("pedal_down",), asks=("not nipple_open",)),
    )
    assert found(made) == set()


def test_a_count_that_pumps_with_the_nipple_open_and_no_valve_breaks_the_duty() -> None:
    made = pump(
        phase("Open.", makes=("nipple_open",)),
        phase("Press.", makes=("pedal_down",)),
        phase("Lift the foot.", deeds=("pedal_rise",), ends=("pedal_down",)),
        phase("Close.", ends=("nipple_open",)),
    )
    assert found(made) == {"duty", "restated"}


def looks(*nodes: object, **more: object) -> set[str]:
    """The complaints about steps that may put on goggles, look up, and open and close a nipple."""
    conditions = [fact("goggles_on"), fact("cap_off"), opening("nipple_open", rank=1), opening("drain_open", rank=2)]
    settings = {"conditions": conditions, "duties": GOGGLES, "assumes": ("not nipple_open", "not drain_open"), **more}
    return found(procedure(*nodes, **settings))  # type: ignore[arg-type]


def test_a_need_that_a_loop_takes_away_is_found() -> None:
    assert looks(
        step("goggles", "look", makes=("goggles_on",)),
        step(
            "look", {"again": "off", "ok": "done"}, asks=("goggles_on",), deeds=("look_up",), gate=choice("again", "ok")
        ),
        step("off", "look", ends=("goggles_on",), at_most=(3, "done")),
        end(),
    ) == {"needs"}


def test_an_override_leaves_what_it_would_have_made_unknown() -> None:
    look = step("look", "done", asks=("goggles_on",), deeds=("look_up",))
    assert looks(step("goggles", "look", makes=("goggles_on",), gate=choice("on"), override="look"), look, end()) == {
        "needs"
    }
    assert (
        looks(step("goggles", "look", makes=("goggles_on",), gate=choice("on"), override="done"), look, end()) == set()
    )


def test_a_step_that_cannot_be_done_leaves_by_its_own_edge() -> None:
    look = step("look", "done", asks=("goggles_on",), deeds=("look_up",))
    assert looks(step("goggles", "look", makes=("goggles_on",), cannot="look"), look, end()) == {"needs"}
    assert looks(step("goggles", "look", makes=("goggles_on",), cannot="safe stop"), look, end()) == set()


def test_the_bound_of_a_step_is_taken_before_its_needs_are_asked() -> None:
    assert (
        looks(
            step("goggles", "try", makes=("goggles_on",)),
            step("try", {"ok": "done", "no": "try"}, gate=choice("ok", "no"), at_most=(3, "look"), makes=("cap_off",)),
            step("look", "done", asks=("cap_off",), deeds=("look_up",)),
            end(),
            duties=(duty("deed", "look_up", "cap_off"),),
        )
        == set()
    )


def test_opening_twice_and_closing_twice_are_found() -> None:
    ways = {"a": "open", "b": "close"}
    open_, close = step("open", "close", makes=("nipple_open",)), step("close", "done", ends=("nipple_open",))
    assert looks(open_, close, end()) == set()
    assert looks(step("ask", ways, gate=choice("a", "b")), open_, close, end()) == {"opening"}
    twice = step("twice", "close", makes=("nipple_open",))
    assert looks(step("open", "twice", makes=("nipple_open",)), twice, close, end()) == {"opening"}


def test_what_is_left_open_at_the_end_is_found_unless_it_is_carried() -> None:
    open_, other = step("open", "done", makes=("nipple_open",)), [fact("goggles_on"), opening("drain_open")]
    assert looks(open_, end()) == {"end"}
    assert looks(open_, end(), carries=("nipple_open",)) == {"end"}
    stays = [opening("nipple_open", if_left="may stay"), *other]
    assert looks(open_, end(), conditions=stays) == {"end"}
    assert looks(open_, end(), carries=("nipple_open",), conditions=stays) == set()


def test_an_opening_that_may_not_stay_is_owed_by_a_stopped_end() -> None:
    open_ = step("open", "stopped", makes=("nipple_open",))
    other = [opening("nipple_open", if_left="may stay")]
    assert looks(open_, end("stopped")) == {"end"}
    assert looks(open_, end("stopped"), conditions=[*other, fact("goggles_on"), opening("drain_open")]) == set()


def test_an_opening_without_a_way_to_leave_it_is_found() -> None:
    open_, close = step("open", "close", makes=("nipple_open",)), step("close", "done", ends=("nipple_open",))
    bare = [opening("nipple_open", if_left=None), opening("drain_open"), fact("goggles_on")]
    assert looks(open_, close, end(), conditions=bare) == {"leave"}


def test_two_openings_that_are_open_together_need_two_ranks() -> None:
    one = [opening("nipple_open", rank=1), opening("drain_open", rank=1), fact("goggles_on")]
    nipple = step("nipple", "drain", makes=("nipple_open",))
    drain = step("drain", "shut", makes=("drain_open",))
    shut = step("shut", "done", ends=("drain_open", "nipple_open"))
    assert looks(nipple, drain, shut, end(), conditions=one) == {"leave"}
    assert looks(nipple, drain, shut, end()) == set()
    apart = step("between", "drain", ends=("nipple_open",))
    assert (
        looks(
            step("nipple", "between", makes=("nipple_open",)),
            apart,
            drain,
            step("shut", "done", ends=("drain_open",)),
            end(),
            conditions=one,
        )
        == set()
    )


def test_steps_that_cannot_be_reached_or_left_are_found() -> None:
    assert looks(step("look", "done"), step("lost", "done"), end()) == {"reach"}
    assert looks(
        step("ask", {"a": "round", "b": "done"}, gate=choice("a", "b")),
        step("round", "round", at_most=(3, "round")),
        end(),
    ) == {"reach", "loop"}


def test_a_loop_needs_a_bound() -> None:
    ways = {"no": "try", "yes": "done"}
    assert looks(step("try", ways, gate=choice("no", "yes")), end()) == {"loop"}
    assert looks(step("try", ways, gate=choice("no", "yes"), at_most=(5, "done")), end()) == set()


def test_what_is_counted_inside_a_block_bounds_no_loop_around_it() -> None:
    inner = step("free", "next corner", at_most=(2, "safe stop"))

    def around(**bound: object) -> set[str]:
        back = step("back", {"no": "all", "yes": "done"}, gate=choice("no", "yes"), **bound)
        return looks(each("all", "back", inner), back, end())

    assert around() == {"loop"}
    assert around(at_most=(2, "done")) == set()


def test_a_bounded_step_counts_for_each_place_from_which_it_is_called() -> None:
    part = procedure(step("try", "ok", at_most=(1, "spent")), end("ok"), end("spent"), name="part")
    first = call("first", "part", {"ok": "second", "spent": "safe stop"})
    second = call("second", "part", {"ok": "look", "spent": "done"})
    look = step("look", "done", asks=("goggles_on",), deeds=("look_up",))
    assert "needs" in looks(first, second, look, end(), fragments=[part])


def test_a_bounded_step_counts_anew_in_every_turn_and_every_pass() -> None:
    part = procedure(step("try", "ok", at_most=(1, "spent")), end("ok"), end("spent"), name="part", at="axle")
    nodes = (
        call("go", "part", {"ok": "look", "spent": "next corner"}),
        step("look", "off", asks=("goggles_on",), deeds=("look_up",)),
        step("off", "next corner", ends=("goggles_on",)),
    )
    goggles = step("goggles", "all", makes=("goggles_on",))
    more = step("more", {"no": "all", "yes": "done"}, gate=choice("no", "yes"), at_most=(2, "done"))

    def turns(*order: str, then: str) -> set[str]:
        last = [more] if then == "more" else []
        return looks(goggles, each("all", then, *nodes, order=order), *last, end(), fragments=[part])

    assert turns("LR", then="done") == set()
    assert turns("LR", "RR", then="done") == {"needs"}
    assert turns("LR", then="more") == {"needs"}


def test_the_answer_of_a_count_comes_after_one_beat_at_least() -> None:
    count = strokes(phase("Press.", deeds=("press",)))
    pump = step("pump", {"clear": "close"}, gate=count)
    close, fault = step("close", "done", makes=("cap_off",)), step("fault", "done")
    only = [rule("only_after", "make cap_off", "deed press")]
    assert looks(pump, close, fault, end(), rules=only) == set()
    ask = step("ask", {"a": "pump", "b": "close"}, gate=choice("a", "b"))
    assert looks(ask, pump, close, fault, end(), rules=only) == {"rule"}


def test_only_after_holds_on_every_path_or_is_found() -> None:
    ask = step("ask", {"a": "shake", "b": "pour"}, gate=choice("a", "b"))
    shake, pour = step("shake", "pour", deeds=("shake",)), step("pour", "done", deeds=("pour",))
    only = [rule("only_after", "deed pour", "deed shake")]
    assert looks(ask, shake, pour, end(), rules=only) == {"rule"}
    assert looks(shake, pour, end(), rules=only) == set()


def test_a_deed_of_an_overridden_step_does_not_count_as_done() -> None:
    only = [rule("only_after", "deed pour", "deed shake")]
    shake = step("shake", "pour", deeds=("shake",), gate=choice("ok"), override="pour")
    assert looks(shake, step("pour", "done", deeds=("pour",)), end(), rules=only) == {"rule"}


def test_what_must_follow_is_owed_by_done() -> None:
    must = [rule("must_follow", "deed loosen", "deed torque")]
    loosen = step("loosen", {"a": "torque", "b": "done"}, deeds=("loosen",), gate=choice("a", "b"))
    torque = step("torque", "done", deeds=("torque",))
    assert looks(loosen, torque, end(), rules=must) == {"rule"}
    assert looks(step("loosen", "torque", deeds=("loosen",)), torque, end(), rules=must) == set()


def test_never_together_and_at_end() -> None:
    nipple, drain = step("nipple", "drain", makes=("nipple_open",)), step("drain", "shut", makes=("drain_open",))
    shut = step("shut", "done", ends=("drain_open", "nipple_open"))
    assert looks(nipple, drain, shut, end(), rules=[rule("never_together", "nipple_open", "drain_open")]) == {"rule"}
    assert looks(nipple, drain, shut, end(), rules=[rule("never_together", "nipple_open", "cap_off")]) == {"rule"}
    known = ("not nipple_open", "not drain_open", "not cap_off")
    calm = [rule("never_together", "nipple_open", "cap_off"), rule("at_end", "cap_off", wanted=False)]
    assert looks(nipple, drain, shut, end(), rules=calm, assumes=known) == set()
    assert looks(nipple, drain, shut, end(), rules=[rule("at_end", "cap_off")], assumes=known) == {"rule"}


def test_one_nipple_at_a_time_whatever_the_order_of_corners() -> None:
    conditions = [opening("nipple_open", index="corner")]
    one = [rule("at_most_one", "nipple_open")]
    good = [step("open", "close", makes=("nipple_open",)), step("close", "next corner", ends=("nipple_open",))]
    assert (
        found(
            procedure(each("c", "done", *good), end(), conditions=conditions, rules=one, assumes=("none nipple_open",))
        )
        == set()
    )
    bad = [step("open", "next corner", makes=("nipple_open",))]
    close = each("d", "done", step("shut", "next corner", ends=("nipple_open",)))
    assert found(
        procedure(each("c", "d", *bad), close, end(), conditions=conditions, rules=one, assumes=("none nipple_open",))
    ) == {"rule"}


def test_a_step_that_needs_another_corner_fails_in_some_order() -> None:
    conditions = [fact("wheel_off", index="corner")]
    duties = [duty("deed", "look_up", "wheel_off@RR")]
    inner = [
        step("off", "look", makes=("wheel_off",)),
        step("look", "next corner", asks=("wheel_off@RR",), deeds=("look_up",)),
    ]
    assert found(procedure(each("c", "done", *inner), end(), conditions=conditions, duties=duties)) == {"needs"}
    first = ("RR", "LF", "RF", "LR")
    assert (
        found(procedure(each("c", "done", *inner, order=first), end(), conditions=conditions, duties=duties)) == set()
    )


def test_a_duty_that_is_not_restated_and_a_need_without_reason_are_found() -> None:
    goggles = step("goggles", "look", makes=("goggles_on",))
    assert looks(goggles, step("look", "done", deeds=("look_up",)), end()) == {"restated"}
    assert looks(goggles, step("look", "done", asks=("goggles_on",)), end()) == {"restated"}


def test_a_duty_is_lifted_on_paths_with_its_value_only() -> None:
    lifted = (duty("deed", "look_up", "goggles_on", unless=("visor", "down")),)
    visor = choice("down", "up", name="visor")
    look = step("look", "done", deeds=("look_up",))
    assert looks(step("ask", {"down": "look", "up": "done"}, gate=visor), look, end(), duties=lifted) == set()
    assert looks(step("ask", {"up": "look", "down": "done"}, gate=visor), look, end(), duties=lifted) == {
        "duty",
        "restated",
    }


def test_two_branches_on_one_choice_are_not_mixed_up() -> None:
    nodes = [
        step("ask", {"": "goggles"}, gate=choice("lamp", "mirror", name="how")),
        step("goggles", {"lamp": "put-on", "mirror": "way"}, subject="how"),
        step("put-on", "way", makes=("goggles_on",)),
        step("way", {"lamp": "look", "mirror": "done"}, subject="how"),
        step("look", "done", asks=("goggles_on",), deeds=("look_up",)),
        end(),
    ]
    assert looks(*nodes) == set()


def test_a_message_stands_before_its_deed_and_while_it_matters() -> None:
    close = step("close", "done", ends=("nipple_open",))
    duties = (duty("make", "nipple_open", hazards=("squirt",)), duty("while", "nipple_open", hazards=("squirt",)))
    open_ = step("open", "close", makes=("nipple_open",), cautions=("squirt",))
    assert looks(open_, close, end(), duties=duties) == set()
    assert looks(step("open", "close", makes=("nipple_open",)), close, end(), duties=duties) == {"caution"}


def test_a_message_of_another_turn_is_not_in_effect() -> None:
    conditions = [opening("cap_off"), opening("nipple_open", index="corner", rank=2)]
    duties = (duty("while", "cap_off", hazards=("squirt",)),)
    nodes = [
        step("open", "c", makes=("cap_off",), cautions=("squirt",)),
        each("c", "close", step("look", "next corner")),
        step("close", "done", ends=("cap_off",), cautions=("squirt",)),
        end(),
    ]
    assert found(procedure(*nodes, conditions=conditions, duties=duties, assumes=("not cap_off",))) == {"caution"}


FRAGMENT_CONDITIONS = [opening("jack_on"), fact("on_stands"), fact("clear")]


def helper(
    *nodes: object, needs_: tuple[str, ...] = ("not jack_on",), makes: tuple[str, ...] = ("on_stands",)
) -> Procedure:
    contract = Contract(needs=needs(*needs_), exits={"supported": (refs(*makes), ())}, place=here())
    return procedure(*nodes, conditions=FRAGMENT_CONDITIONS, contract=contract, name="raise")  # type: ignore[arg-type]


RAISE = (step("jack", "stands", makes=("jack_on",)), step("stands", "out", makes=("on_stands",), ends=("jack_on",)))


def test_a_fragment_that_keeps_its_contract_is_proven() -> None:
    assert found(helper(*RAISE, end("supported", "out"))) == set()


def test_a_fragment_that_changes_more_than_its_contract_says_is_found() -> None:
    more = step("more", "out", makes=("clear",))
    assert found(
        helper(RAISE[0], step("stands", "more", makes=("on_stands",), ends=("jack_on",)), more, end("supported", "out"))
    ) == {"contract"}
    assert found(helper(RAISE[0], step("stands", "out", ends=("jack_on",)), end("supported", "out"))) == {"contract"}


def test_a_fragment_that_opens_what_may_be_open_is_found() -> None:
    assert found(helper(*RAISE, end("supported", "out"), needs_=())) >= {"opening"}


def caller(*nodes: object, **more: object) -> set[str]:
    made = procedure(
        *nodes,
        conditions=FRAGMENT_CONDITIONS,
        fragments=[helper(*RAISE, end("supported", "out"))],  # type: ignore[arg-type]
        duties=[duty("deed", "crawl", "on_stands")],
        **more,  # type: ignore[arg-type]
    )
    return found(made)


def test_what_a_called_fragment_makes_is_known_after_it() -> None:
    crawl = step("crawl", "done", asks=("on_stands",), deeds=("crawl",))
    lift = call("lift", "raise", {"supported": "crawl"})
    assert caller(lift, crawl, end(), assumes=("not jack_on",)) == set()
    assert caller(lift, crawl, end()) >= {"contract"}


def test_ensure_is_skipped_only_where_the_condition_holds() -> None:
    crawl = step("crawl", "done", asks=("on_stands",), deeds=("crawl",))
    lift = call("lift", "raise", {"supported": "crawl"}, ensure="on_stands", skip="crawl")
    assert caller(lift, crawl, end(), assumes=("not jack_on",)) == set()
    wrong = call("lift", "raise", {"supported": "crawl"}, ensure="clear", skip="crawl")
    assert caller(wrong, crawl, end(), assumes=("not jack_on", "clear")) == {"needs"}


def test_a_fragment_that_calls_itself_is_refused() -> None:
    inner = procedure(call("again", "inner", {"ok": "out"}), end("ok", "out"), name="inner")
    made = procedure(call("go", "inner", {"ok": "done"}), end(), fragments=[inner])
    verdict = verify(made)
    assert not isinstance(verdict, Checked)
    assert [(f.check, f.text) for f in verdict] == [("size", "fragment 'inner' calls itself: inner > inner")]


def test_a_procedure_that_is_too_large_when_laid_flat_is_refused() -> None:
    def level(depth: int) -> Procedure:
        nodes = [call(f"c{n}", f"f{depth + 1}", {"ok": f"c{n + 1}" if n < 40 else "out"}) for n in range(41)]
        steps = [step("s", "out", makes=("clear",))]
        return procedure(
            *(steps if depth == 4 else nodes), end("ok", "out"), name=f"f{depth}", conditions=[fact("clear")]
        )

    parts = [level(n) for n in range(1, 5)]
    calls = [call(f"c{n}", "f1", {"ok": f"c{n + 1}" if n < 9 else "done"}) for n in range(10)]
    made = procedure(*calls, end(), fragments=parts, conditions=[fact("clear")])
    verdict = verify(made)
    assert not isinstance(verdict, Checked)
    assert [f.check for f in verdict] == ["size"]


def test_a_warning_may_not_be_read_while_something_urgent_is_open() -> None:
    urgent = [replace(opening("nipple_open", rank=1), urgent=True), opening("drain_open"), fact("goggles_on")]
    open_ = step("open", "wait", makes=("nipple_open",), cautions=("squirt",))
    close = step("close", "done", ends=("nipple_open",))
    assert looks(open_, step("wait", "close"), close, end(), conditions=urgent) == set()
    assert looks(open_, step("wait", "close", cautions=("squirt",)), close, end(), conditions=urgent) == {"urgent"}


def test_what_does_not_keep_can_be_brought_back_wherever_it_is_needed() -> None:
    fades = replace(fact("goggles_on"), keeps="this stretch")
    conditions = [fades, fact("cap_off"), opening("nipple_open"), opening("drain_open", rank=2)]
    goggles = step("goggles", "look", makes=("goggles_on",))
    look = step("look", "done", asks=("goggles_on",), deeds=("look_up",))
    assert looks(goggles, look, end(), conditions=conditions) == set()
    both = step("goggles", "look", makes=("goggles_on", "cap_off"))
    assert looks(both, look, end(), conditions=conditions) == {"restore"}
    bare = step("goggles", "cap", makes=("goggles_on",), asks=("not cap_off",), deeds=("open_case",))
    off = step("cap", "look", makes=("cap_off",))
    duties = (*GOGGLES, duty("deed", "open_case", "not cap_off"))
    assert looks(bare, off, look, end(), conditions=conditions, duties=duties, assumes=("not cap_off",)) == {"restore"}


def test_a_thousand_faults_are_told_within_seconds() -> None:
    steps = [
        step(f"s{n}", f"s{n + 1}" if n < 999 else "done", asks=("goggles_on",), deeds=("look_up",)) for n in range(1000)
    ]
    back = [replace(s, ends=refs("goggles_on")) for s in steps]
    verdict = verify(procedure(*back, end(), conditions=[fact("goggles_on")], duties=GOGGLES))
    assert not isinstance(verdict, Checked)
    assert verdict[-1].text == "and 800 more in this file"
    assert sum(bool(f.trail) for f in verdict) == 20
