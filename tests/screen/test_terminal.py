"""The screen on a real terminal line: bytes in, bytes out, and how it ends."""

from __future__ import annotations

import errno
import io
import os
import re
import signal
import termios
import time
from collections.abc import Callable
from typing import Any

import pytest

from runner.screen.terminal import Outlet

Start = Callable[..., Any]
SGR = re.compile(rb"\x1b\[([\d;:]*)m")


def codes(raw: bytes) -> list[int]:
    return [int(part or 0) for match in SGR.finditer(raw) for part in re.split(rb"[;:]", match[1])]


def colours(raw: bytes) -> list[int]:
    return [c for c in codes(raw) if 30 <= c <= 49 or 90 <= c <= 107]


def test_the_keypad_in_every_mode_types_the_same_number(box: Start) -> None:
    """Application mode, NumLock off, digits, the numbered protocol; point, comma and the keypad's comma."""
    for typed in (b"\x1bOr\x1bOr\x1bOn\x1bOt", b"\x1b[B\x1b[B\x1b[3~\x1b[D", b"22.4", b"22,4", b"22\x1bOl4",
                  b"\x1b[57401u\x1b[57401u\x1b[57409u\x1b[57403u"):  # fmt: skip
        terminal = box("reading", columns=40, rows=15)
        terminal.until("limit: 22.0 mm")
        terminal.press(typed)
        terminal.until("22.4_")


def test_a_corner_is_answered_with_the_key_that_lies_there_with_numlock_off(box: Start) -> None:
    terminal = box("corner", "do")
    terminal.until("At which corner")
    terminal.press(b"\x1b[6~")
    terminal.until("Pump the granted strokes")


def test_no_color_sends_no_colour_at_all_and_an_empty_one_is_ignored(box: Start) -> None:
    raw = {}
    for value in ("1", ""):
        terminal = box("warning", "fail", "count", NO_COLOR=value)
        terminal.until("Keep your eyes")
        terminal.press(b"-")
        terminal.until("a finding")
        terminal.press(b"-")
        time.sleep(0.1)
        terminal.press(b"4")
        terminal.until("What is done?")
        raw[value] = terminal.raw
    assert colours(raw["1"]) == []
    assert {1, 7} & set(codes(raw["1"]))
    assert len(colours(raw[""])) > 50
    assert b"48;2;255;121;0" in raw[""]
    assert b"48;2;155;36;35" in raw[""]


def test_nothing_blinks(box: Start) -> None:
    for env in ({}, {"NO_COLOR": "1"}, {"TERM": "linux", "COLORTERM": ""}):
        terminal = box("fail", **env)
        terminal.until("What is done?")
        styles = [m[1] for m in SGR.finditer(terminal.raw)]
        assert not any(re.fullmatch(rb"(?:.*;)?[56](?:;(?!.*[34]8;).*)?", s) and b"8;" not in s for s in styles)


def test_a_terminal_of_16_colours_gets_no_other_codes(box: Start) -> None:
    terminal = box("warning", TERM="linux", COLORTERM="")
    terminal.until("WARNING")
    assert colours(terminal.raw)
    assert not {38, 48} & set(codes(terminal.raw))


def test_bytes_that_are_no_text_and_odd_codes_do_not_end_the_run(box: Start) -> None:
    terminal = box("reading", columns=40, rows=15)
    terminal.until("limit: 22.0 mm")
    terminal.press(b"\xff\xfe\x80\xc3(\x1b[99999999u\x1b[999999999999u\x1b[;;;u\x1bP\xff\x1b\\\x1b[M")
    time.sleep(0.2)
    terminal.press(b"7")
    terminal.until("7_")


def test_keys_that_end_other_programs_say_how_to_leave_and_the_step_stays(box: Start) -> None:
    for key, name in ((b"\x03", "ctrl+c"), (b"\x11", "ctrl+q"), (b"\x1a", "ctrl+z")):
        terminal = box("do")
        terminal.until("Pump")
        terminal.press(key)
        assert "Pump the granted strokes" in terminal.until(f"{name} does not leave")
        assert terminal.process.poll() is None


def test_closing_the_lid_leaves_the_program_with_code_0_and_the_terminal_as_it_was(box: Start) -> None:
    terminal = box("do")
    terminal.until("Pump")
    terminal.press(b"-")
    terminal.until("close the lid")
    terminal.press(b"8")
    assert terminal.ended() == 0
    assert termios.tcgetattr(terminal.slave) == terminal.before
    assert b"\x1b[?1049l" in terminal.raw
    assert terminal.raw.rindex(b"\x1b[?25h") > terminal.raw.rindex(b"\x1b[?25l")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_signal_that_ends_the_program_leaves_the_terminal_as_it_was(box: Start, number: int) -> None:
    terminal = box("do")
    terminal.until("Pump")
    terminal.process.send_signal(number)
    assert terminal.ended() == 128 + number
    assert termios.tcgetattr(terminal.slave) == terminal.before
    assert b"\x1b[?1049l" in terminal.raw
    assert b"Traceback" not in terminal.raw


@pytest.mark.parametrize("look", ["do", "warning"], ids=["nothing moves", "a clock runs"])
@pytest.mark.parametrize("controlling", [True, False], ids=["with a hang-up", "without a hang-up"])
def test_a_terminal_that_is_gone_ends_the_program_at_once(box: Start, look: str, *, controlling: bool) -> None:
    terminal = box(look, controlling=controlling)
    terminal.until("NOW")
    terminal.settle(0.5)
    os.close(terminal.slave)
    os.close(terminal.master)
    assert terminal.process.wait(timeout=30) == 129


def test_writing_to_a_terminal_that_is_gone_is_told_and_raises_nothing() -> None:
    """The thread that writes would die of it, and the program then wait for it for ever."""

    class Gone(io.StringIO):
        def write(self, _text: str) -> int:
            raise OSError(errno.EIO, "gone")

        def flush(self) -> None:
            raise OSError(errno.EIO, "gone")

    told: list[int] = []
    outlet = Outlet(Gone(), lambda: told.append(1))
    outlet.write("text")
    outlet.flush()
    assert told == [1, 1]


def test_a_held_key_passes_one_gate_however_long_it_is_held(box: Start) -> None:
    """First repeat after 0.25 s, then 30 a second: common practice of terminals, no source."""
    terminal = box("do")
    terminal.until("step 1 of 31")
    terminal.press(b"\r")
    terminal.until("step 2 of 31")
    time.sleep(0.25)
    for _ in range(60):
        terminal.press(b"\r")
        terminal.read(0.02)
    assert "step 2 of 31" in terminal.settle()
    assert "held" in terminal.text()
