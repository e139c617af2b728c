"""What stands on the screen, at the size of a huge font, of a plain terminal and of a wide one."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from runner.core.act import AttestAll, Hold, Note, Resume
from runner.core.panel import Panel
from runner.core.picture_stage import ALL_SO
from runner.core.stamp import SECOND
from runner.core.view import CautionView, View
from runner.edge.clock import SteppedClock
from runner.screen.app import Runner
from runner.screen.ink import Rows, cells, clean, fit, wrap
from runner.screen.page import near
from tests.core.test_picture import brought_to, walk
from tests.screen.looks import BASE, CRUSH, LOOKS, PAINT, SLIP, SPRAY, stamp, turning

SIZES = [(40, 15), (80, 24), (120, 40)]
PANELS = {
    "": Panel(token=""),
    "menu": Panel(mode="menu"),
    "reasons": Panel(mode="menu", chosen=(0,)),
    "time": Panel(mode="menu", chosen=(4,), buffer="9:4"),
    "looking": Panel(mode="look", cursor=2),
    "far": Panel(far=True),
}
SHOTS = Path(__file__).parent / "shots"
PICTURES = [(look, "") for look in LOOKS] + [("do", panel) for panel in PANELS if panel] + [
    ("count", "far"), ("warning", "far"), ("warning", "menu"), ("fail", "menu"),
]  # fmt: skip


def text(rows: Rows) -> str:
    return "\n".join("".join(t for t, _ in row).rstrip() for row in rows)


def words(rows: Rows) -> str:
    """The text of the main column without frames, as running words."""
    lines = [re.sub(r"[╔═╗║╚╝┏━┓┃┗┛┌╌┐╎└┘█▀▄▌]", " ", line) for line in text(rows).splitlines()]
    return " ".join(" ".join(lines).split())


def at(look: str, panel: str = "") -> tuple[View, Panel]:
    return LOOKS[look], replace(PANELS[panel], token=LOOKS[look].token)


@pytest.mark.parametrize("no_color", ["", "1"], ids=["coloured", "plain"])
@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_the_screen_shows_the_expected_pictures(
    size: tuple[int, int], no_color: str, monkeypatch: pytest.MonkeyPatch, take_shots: bool, shown: Callable[[Any], str]
) -> None:
    monkeypatch.setenv("NO_COLOR", no_color)
    _, do, peek = turning([BASE])
    app = Runner(BASE, do, peek, stamp)
    async with app.run_test(size=size) as pilot:
        for look, panel in PICTURES:
            app.view, app.panel = at(look, panel)
            app._sheet.redraw()
            await pilot.pause()
            path = SHOTS / f"{'-'.join(filter(None, (look, panel)))}-{size[0]}x{size[1]}.txt"
            if take_shots:
                path.write_text(shown(app) + "\n", encoding="utf-8")
            assert shown(app) + "\n" == path.read_text(encoding="utf-8"), path.name


def test_every_expected_picture_is_still_compared() -> None:
    expected = {
        f"{'-'.join(filter(None, picture))}-{w}x{h}.txt" for picture in PICTURES for w, h in SIZES
    }
    assert {path.name for path in SHOTS.iterdir()} == expected


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize("look", LOOKS)
def test_the_step_and_what_is_owed_are_whole_without_paging(look: str, width: int, height: int) -> None:
    view, panel = at(look)
    page = words(near(view, panel, width, height))
    assert "+ page" not in page
    for message in view.cautions:
        assert message.word in page
    if width == 40:
        assert view.headline in page
        said = re.sub(r"Read it, then press \[.\]( in \d+ s)?\. ?", "", page)
        for message in view.cautions:
            if message.state in ("owed", "together"):
                assert f"{message.avoid} {message.hazard} {message.consequence}" in said
            if message.state == "owed":
                assert f"[{message.key}]" in page


@pytest.mark.parametrize("panel", PANELS)
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_title_revision_section_car_and_demonstration_always_stand_on_top(width: int, height: int, panel: str) -> None:
    rows = near(*at("fail", panel if panel != "far" else ""), width, height)
    top = text(rows[:2])
    for part in ("Brake fluid", "rev 3", "right rear", "unit 7", "DEMONSTRATION"):
        assert part in top
    assert len(rows) == height


@pytest.mark.parametrize("panel", ["", "menu", "reasons", "time", "looking"])
@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize("look", LOOKS)
def test_whatever_is_open_the_step_of_now_stays_in_sight(look: str, width: int, height: int, panel: str) -> None:
    view, opened = at(look, panel)
    page = words(near(view, opened, width, height))
    assert " ".join(view.headline.split()[:4]) in page


@pytest.mark.parametrize("state", ["owed", "together", "later", "confirmed", "in effect"])
def test_each_signal_word_has_a_border_of_its_own_and_only_a_notice_has_no_alert_sign(state: str) -> None:
    sides = set()
    for message in (CRUSH, SPRAY, SLIP, PAINT):
        view = replace(BASE, cautions=(replace(message, state=state),))
        lines = text(near(view, Panel(), 80, 24)).splitlines()
        line = next(line for line in lines if message.word in line)
        assert ("/!\\ " in line) == (message.word != "NOTICE")
        sides.add(line[0])
    assert len(sides) == 4


def drawn(message: CautionView) -> str:
    return text(near(replace(BASE, cautions=(message,)), Panel(), 60, 15))


def test_a_warning_looks_different_at_each_key_and_says_the_same() -> None:
    pictures = {drawn(replace(SPRAY, key=str(key))).replace(f"[{key}]", "[.]") for key in range(1, 10)}
    assert len(pictures) == 9
    for key in range(1, 10):
        page = words(near(replace(BASE, cautions=(replace(SPRAY, key=str(key), wait_s=0),)), Panel(), 60, 15))
        said = page.replace(f" Read it, then press [{key}].", "")
        assert f"{SPRAY.avoid} {SPRAY.hazard} {SPRAY.consequence}" in said
        assert f"[{key}]" in page


def test_the_seconds_until_a_warning_counts_are_shown_and_never_too_few() -> None:
    assert "[4] in 3 s." in drawn(replace(SPRAY, wait_s=2.1))
    assert "[4]." in drawn(replace(SPRAY, wait_s=0))


def test_a_step_too_long_for_the_terminal_turns_page_by_page_and_keeps_its_headline() -> None:
    lines = tuple(f"Line {n} of a long text that fills one row." for n in range(40))
    view = replace(LOOKS["fail"], text=lines)
    seen = ""
    for page in range(20):
        shown = words(near(view, Panel(token=view.token, page=page), 40, 15))
        assert "Decide what is done about the disc." in shown
        seen += shown
    assert all(f"Line {n} of" in seen for n in range(40))
    assert "[2] measure again" in seen
    assert "+ page 1/" in words(near(view, Panel(token=view.token), 40, 15))


def test_text_is_never_markup() -> None:
    view = replace(BASE, headline="Torque to 25 [Nm] [/] [red]now[/red] [@click=x]y[/]")
    assert "25 [Nm] [/] [red]now[/red]" in words(near(view, Panel(), 80, 24))


@given(st.text(max_size=60))
def test_no_text_brings_a_control_or_direction_character_to_the_screen(typed: str) -> None:
    view = replace(LOOKS["reading"], headline=typed + "\x1b[31m\u202e", title=typed, alert=(typed + "\x07", typed))
    rows = near(view, Panel(token=view.token, buffer=typed), 40, 15)
    assert clean(text(rows).replace("\n", "")) == text(rows).replace("\n", "")
    assert all(cells(row) <= 40 for row in rows)
    text(rows).encode()


@given(st.text(max_size=80), st.integers(1, 50))
def test_text_is_wrapped_and_cut_by_cells_not_by_letters(words_: str, width: int) -> None:
    assert cells(((fit(words_, width), "plain"),)) <= width
    wide = max(width, 2)
    assert all(cells(((line, "plain"),)) <= wide for line in wrap(words_, wide))


@pytest.mark.parametrize("look", LOOKS)
@settings(max_examples=25)
@given(width=st.integers(20, 160), height=st.integers(8, 60))
def test_any_size_gets_a_whole_page(look: str, width: int, height: int) -> None:
    for panel in PANELS:
        rows = near(*at(look, panel), width, height)
        assert len(rows) == height
        assert all(cells(row) <= width for row in rows)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_on_a_walk_through_a_whole_run_nothing_that_matters_now_is_on_a_second_page(
    width: int, height: int, seed: int
) -> None:
    """The text that is read before the work begins may be longer than a page."""
    for _, view, _ in walk(seed, 40):
        rows = near(view, Panel(token=view.token), width, height)
        if view.kind == "summary" or width > 40:
            assert len(rows) == height
            continue
        page = words(rows)
        assert view.headline in page
        owed = [c for c in view.cautions if c.state in ("owed", "together")]
        for message in owed:
            said = re.sub(r"Read it, then press \[.\]( in \d+ s)?\. ?", "", page)
            assert f"{message.avoid} {message.hazard} {message.consequence}" in said
        keys = [] if any(c.state == "owed" for c in owed) else [o.key for o in view.options]
        keys += ["Enter"] if view.enter is not None else []
        assert [key for key in keys if f"[{key}]" not in page] == []


@pytest.mark.parametrize(("step", "steps"), [(1, 1), (1, 165), (83, 165), (165, 165), (31, 31), (0, 5), (3, 0)])
def test_the_line_of_marks_is_whole_for_any_number_of_steps(step: int, steps: int) -> None:
    line = text(near(replace(BASE, step_n=step, steps=steps), Panel(), 80, 24)).splitlines()[2]
    if 0 < step <= steps:
        assert line.endswith(f" step {step} of {steps}")
        assert line.count("╂") == 1
        assert ("╪" in line) == (step > 1)
        assert ("┼" in line) == (step < steps)
    assert len(line) == 80


@pytest.mark.parametrize("size", [(40, 15), (80, 24), (120, 40)])
async def test_nobody_confirms_a_line_of_a_common_page_that_was_not_shown(size: tuple[int, int]) -> None:
    bench = brought_to("do", "RR/hose-off")
    bench.do(Hold(), Resume(clean=False))
    names = tuple(n for n, c in bench.procedure.conditions.items() if c.index is None)
    before = {**bench.state.before, **dict.fromkeys(names, "T")}
    bench.state = structs.replace(
        bench.state, unknown=names, before=before, conditions={**bench.state.conditions, **dict.fromkeys(names, "U")}
    )
    view = bench.view()
    assert view.options[-1].text == ALL_SO
    asked: list[Any] = []
    seen = ""
    app = Runner(view, lambda act: (asked.append(act), view)[1], lambda: view, SteppedClock(step_ns=2 * SECOND).now)
    async with app.run_test(size=size):
        for _ in range(6):
            seen += words(app.rows(*size))
            app.key(view.options[-1].key)
            if asked:
                break
    assert [type(act) for act in asked] == [AttestAll]
    assert all(option.text in seen for option in view.options)


def test_a_finding_that_failed_is_no_mere_note_and_stands_first_on_the_smallest_terminal() -> None:
    bench = brought_to("do", "RR/hose")
    view = bench.do(Note(what="leaking", where="RR", severity="fail"))
    assert view.alert_kind == "fail"
    assert "leaking" in words(near(view, Panel(token=view.token), 40, 15)).split(view.headline)[0]
    assert bench.do(Note(what="worn", where="RR", severity="advisory")).alert_kind == "note"


def test_what_became_unknown_is_asked_on_the_first_page_however_much_of_it_there_is() -> None:
    bench = brought_to("do", "RR/hose-off")
    bench.do(Hold(), Resume(clean=False))
    names = tuple(bench.procedure.conditions)[1:9]
    bench.state = structs.replace(bench.state, unknown=(*bench.state.unknown, *names))
    view = bench.view()
    assert view.kind == "unknown"
    first = words(near(view, Panel(token=view.token), 40, 15))
    assert "What is so?" in first
    assert all(f"[{option.key}] {option.text}" in first for option in view.options)


def test_the_count_of_a_grant_stands_on_every_page_of_the_smallest_terminal() -> None:
    bench = brought_to("beats", "RR/bleed")
    long = tuple(f"{n}. This is a long line of the beat, which takes two rows." for n in range(1, 9))
    view = replace(bench.view(), text=long)
    for page in range(6):
        shown = words(near(view, Panel(token=view.token, page=page), 40, 15))
        assert view.question in shown
        assert view.enter is not None
        assert f"[Enter] {view.enter.text}" in shown


def test_what_was_typed_is_asked_about_on_the_first_page() -> None:
    bench = brought_to("read back")
    view = replace(bench.view(), text=tuple(f"Note {n}: long before it was typed." for n in range(20)))
    shown = words(near(view, Panel(token=view.token), 40, 15))
    assert view.question in shown
    assert "[Enter]" in shown


def test_a_verdict_is_said_once() -> None:
    view = replace(LOOKS["fail"], alert=("FAIL", "Disc 21.7 mm: it fails"), because=("Disc 21.7 mm: it fails",))
    for width, height in SIZES:
        assert words(near(view, Panel(token=view.token), width, height)).count("it fails") == 1


def test_what_is_open_on_the_car_is_written_out_where_there_is_room_for_it() -> None:
    view = replace(BASE, open_now=("at each corner, the nuts of the wheel are not at their final torque",), gauges=())
    side = " ".join(line[94:] for line in text(near(view, Panel(token=view.token), 120, 40)).splitlines())
    assert "at each corner, the nuts of the wheel are not at their final torque" in " ".join(side.split())
    assert "at each corner" in text(near(view, Panel(token=view.token), 80, 24))


def test_entries_of_a_list_are_told_apart_by_a_sign_that_stands_alone() -> None:
    view = replace(BASE, text=("- the nuts of every wheel are tight and this is long", "1. Open it, once for all."))
    rows = [row[2:] for row in text(near(view, Panel(token=view.token), 40, 15)).splitlines() if row.startswith("┃ ")]
    entries = [row for row in rows if row[:2] in ("- ", "  ", "1.")]
    assert [row[:2] for row in entries] == ["- ", "  ", "1."]


def test_on_a_wide_screen_what_comes_next_is_not_cut_off() -> None:
    title = "Look at the fluid in the hose."
    view = replace(BASE, ahead=(replace(BASE.ahead[0], title=title),))
    assert title in text(near(view, Panel(token=view.token), 140, 40))
    assert title not in text(near(view, Panel(token=view.token), 80, 24))
