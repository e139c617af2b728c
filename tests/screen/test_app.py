from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from textual import events

from runner.core import act as acts
from runner.core.act import AnyAct
from runner.core.panel import Panel
from runner.core.stamp import Stamp
from runner.core.view import Field, Option, View
from runner.screen.app import Runner
from tests.screen.looks import BASE, LOOKS, SPRAY, stamp, turning

Shown = Callable[[Any], str]


def runner(*looks: View, **more: Any) -> tuple[Runner, list[AnyAct]]:
    done, do, peek = turning(list(looks))
    return Runner(peek(), do, peek, stamp, **more), done


async def test_a_key_becomes_an_act_and_the_next_view_is_on_the_screen(shown: Shown) -> None:
    app, done = runner(BASE, LOOKS["reading"])
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        await pilot.pause()
        assert done == [acts.Done()]
        assert "Measure the disc at its thinnest place." in shown(app)


@pytest.mark.parametrize("look", LOOKS)
async def test_hold_is_taken_at_once_whatever_is_open(look: str) -> None:
    view = replace(LOOKS[look], kind="do" if look == "held" else LOOKS[look].kind)
    app, done = runner(view)
    async with app.run_test(size=(40, 15)) as pilot:
        for count, opening in enumerate(((), ("minus",), ("minus", "1"), ("slash",), ("minus", "5", "9")), 1):
            await pilot.press(*opening, "asterisk")
            assert done == [acts.Hold()] * count


async def test_only_the_key_in_the_text_confirms_a_warning() -> None:
    app, done = runner(LOOKS["warning"])
    async with app.run_test(size=(40, 15)) as pilot:
        await pilot.press("enter", "1", "2", "3", "5", "6", "7", "8", "9", "0", "full_stop", "plus")
        assert done == []
        await pilot.press("4")
        assert done == [acts.Confirm(hazard="spray", key="4")]


async def test_looking_back_and_opening_lists_asks_for_nothing() -> None:
    app, done = runner(BASE)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("slash", "slash", "plus", "1", "minus", "minus", "1", "escape", "minus", "plus")
        assert done == []


async def test_widgets_stay_the_same_from_step_to_step() -> None:
    app, done = runner(*LOOKS.values())
    async with app.run_test(size=(80, 24)) as pilot:
        before = [id(w) for w in app.screen.walk_children()]
        for key in ("enter", "4", "8", "enter", "2", "enter", "enter", "7", "1", "enter", "plus"):
            await pilot.press(key)
        assert [id(w) for w in app.screen.walk_children()] == before
        assert len(app.screen_stack) == 1
        assert done


async def test_a_refused_way_out_leaves_the_screen_and_says_how_to_leave(shown: Shown) -> None:
    app, done = runner(BASE)
    async with app.run_test(size=(40, 15)) as pilot:
        await pilot.press("ctrl+q", "ctrl+c")
        await pilot.pause()
        assert "ctrl+c does not leave" in shown(app)
        assert app.is_running
        assert done == []


async def test_the_lid_is_closed_from_the_menu_and_the_run_stays() -> None:
    app, done = runner(BASE)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("minus", "8")
        await pilot.pause()
    assert app.return_code == 0
    assert done == []


async def test_while_nothing_waits_the_clock_asks_for_nothing_and_then_once_a_second() -> None:
    asked: list[float] = []
    waiting = [replace(LOOKS["warning"], cautions=(replace(SPRAY, wait_s=wait),)) for wait in (1.4, 0.4, 0.0, 0.0)]

    def peek() -> View:
        asked.append(1)
        return waiting[len(asked)]

    quiet = Runner(BASE, lambda act: BASE, peek, stamp)
    async with quiet.run_test() as pilot:
        await pilot.pause(1.3)
    assert asked == []
    app = Runner(waiting[0], lambda act: BASE, peek, stamp)
    async with app.run_test() as pilot:
        await pilot.pause(3.2)
    assert len(asked) == 2


async def test_the_bell_rings_once_for_an_alert_and_what_is_to_be_said_is_said_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rung: list[int] = []
    said: list[str] = []
    monkeypatch.setattr(Runner, "bell", lambda self: rung.append(1))
    spoken = replace(LOOKS["fail"], speak="Fail. Decide what is done.")
    app, _ = runner(BASE, spoken, spoken, speak=said.append)
    async with app.run_test() as pilot:
        await pilot.press("enter", "minus", "minus", "1")
    assert len(rung) == 1
    assert said == ["Fail. Decide what is done."]


async def test_pasted_text_goes_into_a_text_field_alone_and_holds_nothing(shown: Shown) -> None:
    asked = Field(what="the number on the part", kind="text", base=acts.Enter(typed=[]))
    for view, there in ((replace(BASE, enter=None, field=asked), True), (BASE, False), (LOOKS["corner"], False)):
        app, done = runner(view)
        async with app.run_test(size=(80, 24)) as pilot:
            app.post_message(events.Paste("-*7A1\r\x1b[31m"))
            await pilot.pause()
            assert done == []
            assert ("7A1" in shown(app)) == there


async def test_the_far_view_is_turned_on_and_off_by_the_menu(shown: Shown) -> None:
    app, _ = runner(BASE)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("minus", "7")
        await pilot.pause()
        assert "signs of 23' at 2.5 m" in shown(app)
        await pilot.press("minus", "7")
        await pilot.pause()
        assert "signs of" not in shown(app)


async def test_a_new_size_lays_the_page_out_anew(shown: Shown) -> None:
    app, _ = runner(BASE)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.resize_terminal(40, 15)
        await pilot.pause()
        lines = shown(app).splitlines()
        assert len(lines) == 15
        assert max(map(len, lines)) <= 40
        assert "* HOLD" in lines[-1]


async def test_an_end_that_only_closes_leaves_by_enter() -> None:
    over = replace(BASE, kind="ended", ended=True, enter=Option(key="enter", text="close", turn="leave"))
    app, done = runner(over)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        await pilot.pause()
    assert app.return_code == 0
    assert done == []


async def test_a_screen_can_begin_in_the_far_view(shown: Shown) -> None:
    app, _ = runner(BASE, panel=Panel(far=True), distance_m=3.0, screen_mm=194)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        assert "signs of 19' at 3 m" in shown(app)


async def test_a_pedal_may_take_the_place_of_a_key_but_not_inside_a_text(shown: Shown) -> None:
    app, done = runner(BASE, keys={"b": "enter", "h": "*"})
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("b")
        await pilot.press("h")
        assert done == [acts.Done(), acts.Hold()]
    asked = Field(what="the number on the part", kind="text", base=acts.Enter(typed=[]))
    app, done = runner(replace(BASE, enter=None, field=asked), keys={"b": "enter"})
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("b")
        await pilot.pause()
        assert "b_" in shown(app)
        assert done == []


def test_the_screen_loads_no_reader_no_checker_and_no_store() -> None:
    code = (
        "import sys, runner.screen.app, runner.screen.terminal;"
        "print([m for m in sys.modules if m.split('.')[0] in ('jsonschema', 'ruamel', 'cryptography')"
        " or m.startswith(('runner.edge', 'runner.verify', 'runner.core.engine'))])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


async def test_nobody_agrees_to_a_summary_that_was_not_shown_to_its_end() -> None:
    view = replace(BASE, kind="summary", text=tuple(f"This is line {n} of what must be read." for n in range(40)))
    done, do, peek = turning([view])
    clock = iter(range(0, 10**15, 2 * 10**9))
    app = Runner(peek(), do, peek, lambda: Stamp(at="2026-01-01T08:00:00.000Z", mono=next(clock), boot="b"))
    async with app.run_test(size=(40, 15)) as pilot:
        turned = 0
        while not done and turned < 50:
            await pilot.press("enter")
            turned += 1
        assert done == [acts.Done()]
        assert turned >= 4


async def test_a_held_enter_does_not_leaf_through_a_summary_and_agree() -> None:
    view = replace(BASE, kind="summary", text=tuple(f"This is line {n} of what must be read." for n in range(40)))
    done, do, peek = turning([view])
    clock = iter(range(0, 10**15, 33 * 10**6))
    app = Runner(peek(), do, peek, lambda: Stamp(at="2026-01-01T08:00:00.000Z", mono=next(clock), boot="b"))
    async with app.run_test(size=(40, 15)) as pilot:
        for _ in range(60):
            await pilot.press("enter")
        assert done == []


@pytest.mark.parametrize("key", ["1", "enter"])
async def test_an_answer_that_is_not_on_the_page_shown_turns_the_page_instead(key: str) -> None:
    """At 40x15 a long text pushes the answers to a later page; what was not seen is not agreed to."""
    long = tuple(f"This is line {n} of what must be looked at first." for n in range(40))
    options = (Option(key="1", text="so it is", act=acts.Answer(value="so")),) if key == "1" else ()
    enter = None if key == "1" else BASE.enter
    view = replace(BASE, kind="choose", text=long, options=options, enter=enter, field=None)
    done, do, peek = turning([view])
    clock = iter(range(0, 10**15, 2 * 10**9))
    app = Runner(peek(), do, peek, lambda: Stamp(at="2026-01-01T08:00:00.000Z", mono=next(clock), boot="b"))
    async with app.run_test(size=(40, 15)) as pilot:
        seen = ""
        for _ in range(30):
            before = "\n".join(strip.text for strip in app.screen._compositor.render_strips())
            await pilot.press(key)
            if done:
                seen = before
                break
        assert f"[{'Enter' if key == 'enter' else key}]" in seen


LONG = tuple(f"Note {n}: what must be known of this value before it is taken." for n in range(12))


async def test_a_page_is_turned_before_the_unit_changes_and_what_is_typed_stands_on_every_page(shown: Shown) -> None:
    """At 40x15 the notes take several pages; a number in a unit that is not in sight is a wrong reading."""
    field = Field(what="how hot", kind="value", ways=(("", "°C"), ("", "°F")), base=acts.Enter(typed=[]))
    app, done = runner(replace(LOOKS["reading"], text=LONG, field=field, cautions=()))
    async with app.run_test(size=(40, 15)) as pilot:
        units = []
        for _ in range(40):
            await pilot.pause()
            text = shown(app)
            (typed,) = re.findall(r"_ +°[CF]", text)
            units.append((typed[-1], "[+] another unit" in text))
            if typed[-1] == "F":
                break
            await pilot.press("plus")
        assert units[-1] == ("F", False), "after the last page comes the first one in the other unit"
        assert [offered for _, offered in units].index(True) == len(units) - 2
        await pilot.press("9", "5")
        await pilot.pause()
        assert re.search(r"95_ +°F", shown(app))
        assert done == []


ANSWERS = tuple(
    Option(key=str(n), text=text, act=acts.Answer(value=text)) for n, text in enumerate(("dry", "wet", "cannot see"), 1)
)


@pytest.mark.parametrize(("size", "listed"), [((40, 15), False), ((80, 24), True), ((120, 40), True)])
async def test_no_answer_is_given_from_afar_whose_words_are_not_in_sight(
    shown: Shown, size: tuple[int, int], listed: bool
) -> None:
    view = replace(BASE, kind="choose", options=ANSWERS, enter=None, question="How is it?")
    app, done = runner(view, panel=Panel(token=view.token, far=True))
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        assert ("[2] wet" in shown(app)) == listed
        await pilot.press("2")
        await pilot.pause()
        assert ("[2] wet" in shown(app)) or listed
        assert done == ([acts.Answer(value="wet")] if listed else [])


async def test_a_summary_is_read_near_by_however_far_the_screen_stands(shown: Shown) -> None:
    long = tuple(f"This is line {n} of what is taken to be so." for n in range(40))
    view = replace(BASE, kind="summary", text=long, enter=Option(key="enter", text="so it is", act=acts.Assume()))
    app, done = runner(view, panel=Panel(token=view.token, far=True))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        await pilot.pause()
        assert done == []
        assert "This is line" in shown(app)


async def test_what_a_key_did_not_do_is_said_in_the_far_view_too(shown: Shown) -> None:
    app, _ = runner(BASE, panel=Panel(token=BASE.token, far=True))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("8")
        await pilot.pause()
        assert "the key 8 does nothing here" in shown(app)
