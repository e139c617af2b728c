"""One way to see what the screen shows, and a terminal in a box."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pyte
import pytest

ROOT = Path(__file__).resolve().parents[2]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--take-shots", action="store_true", help="write the expected pictures of the screen anew")


@pytest.fixture
def take_shots(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--take-shots", default=False))


@pytest.fixture
def shown() -> Callable[[Any], str]:
    """The text on the screen of an app; the one place that reaches into the framework for it."""

    def text(app: Any) -> str:
        strips = app.screen._compositor.render_strips()
        return "\n".join(strip.text.rstrip() for strip in strips)

    return text


class Box:
    """A program on a terminal of its own; ``raw`` is all that it wrote."""

    def __init__(self, command: list[str], env: dict[str, str], columns: int, rows: int, *, controlling: bool) -> None:
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.before = termios.tcgetattr(slave)
        self.process = subprocess.Popen(
            command, stdin=slave, stdout=slave, stderr=slave, env=env, cwd=ROOT, start_new_session=True,
            preexec_fn=(lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0)) if controlling else None,
        )  # fmt: skip
        self.slave = slave
        self.raw = b""
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._screen)

    def text(self) -> str:
        return "\n".join(line.rstrip() for line in self._screen.display)

    def read(self, seconds: float = 0.02) -> None:
        ready, _, _ = select.select([self.master], [], [], seconds)
        if ready:
            data = os.read(self.master, 65536)
            self.raw += data
            # The emulator of the tests does not know private modes with a dollar sign.
            self._stream.feed(data.replace(b"\x1b[?2026$p", b"").replace(b"\x1b[?2048$p", b""))

    def until(self, words: str, seconds: float = 30) -> str:
        end = time.monotonic() + seconds
        while words not in self.text():
            assert time.monotonic() < end, f"{words!r} is not on the screen:\n{self.text()}"
            self.read()
        return self.text()

    def settle(self, seconds: float = 0.3) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.read()
        return self.text()

    def press(self, data: bytes) -> None:
        os.write(self.master, data)

    def ended(self, seconds: float = 30) -> int:
        end = time.monotonic() + seconds
        while (code := self.process.poll()) is None:
            assert time.monotonic() < end, f"it does not end:\n{self.text()}"
            self.read()
        return code

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for end in (self.master, self.slave):
            try:
                os.close(end)
            except OSError:
                continue


@pytest.fixture
def box() -> Iterator[Callable[..., Box]]:
    """Open looks of the screen on a terminal: ``box("do", columns=40, rows=15, NO_COLOR="1")``."""
    opened: list[Box] = []

    def start(*looks: str, columns: int = 80, rows: int = 24, controlling: bool = True, **env: str) -> Box:
        plain = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLORTERM", "TEXTUAL_DRIVER")}
        plain |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": str(ROOT)} | env
        command = [sys.executable, "-W", "error", str(ROOT / "tests/screen/looks.py"), *looks]
        opened.append(Box(command, plain, columns, rows, controlling=controlling))
        return opened[-1]

    yield start
    for each in opened:
        each.close()
