"""How long the screen takes to stand, and a key to be seen, beside a bare program of the same framework.

Both run in turn on a terminal of 80 by 24 in the same minute, so that the ratios stand whatever the machine does.
``python tests/benchmarks/bench_screen.py [starts] [keys]`` prints a table and fails where a ratio is above 1.5.
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import statistics
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MOST = 1.5
_IDLE_S = 0.03
"""Between two keys: longer than a frame of the framework, so that none waits for the next one."""


def bare() -> None:
    from textual import events
    from textual.app import App, ComposeResult
    from textual.widgets import Static

    class Bare(App[None]):
        count = 1

        def compose(self) -> ComposeResult:
            yield Static(" NOW 1/31 ")

        def on_key(self, _event: events.Key) -> None:
            self.count = 1 + self.count % 31
            self.query_one(Static).update(f" NOW {self.count}/31 ")

    Bare().run(mouse=False)


def ours() -> None:
    from runner.core.stamp import Stamp
    from runner.screen.app import Runner
    from runner.screen.surface import show
    from tests.screen.looks import BASE, LOOKS, turning

    passed = [0]

    def two_seconds_on() -> Stamp:
        """A clock for which the guard against held keys never speaks."""
        passed[0] += 2_000_000_000
        return Stamp(at="2026-01-01T00:00:00.000Z", mono=passed[0], boot="b")

    _, do, peek = turning([BASE, LOOKS["count"], LOOKS["cautions"]])
    view = peek()
    sys.exit(show(Runner(view, do, peek, two_seconds_on)))


class Child:
    """One of the two programs on a terminal."""

    def __init__(self, name: str) -> None:
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        env = {k: v for k, v in os.environ.items() if k != "NO_COLOR"}
        env |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": str(ROOT)}
        self.began = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, str(Path(__file__)), "--child", name], stdin=slave, stdout=slave, stderr=slave, env=env,
            start_new_session=True,
        )  # fmt: skip
        os.close(slave)

    def seen(self, words: bytes) -> float:
        """Seconds since 0 at which the words were written."""
        got = b""
        end = time.perf_counter() + 10
        while words not in got:
            if not select.select([self.master], [], [], end - time.perf_counter())[0]:
                raise SystemExit(f"{words!r} never came; last of the output: {got[-400:]!r}")
            got += os.read(self.master, 65536)
        return time.perf_counter()

    def drain(self) -> None:
        while select.select([self.master], [], [], _IDLE_S)[0]:
            os.read(self.master, 65536)

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.master)


def start(name: str) -> float:
    child = Child(name)
    took = child.seen(b"NOW 1/31") - child.began
    child.close()
    return took * 1000


def keys(child: Child, at: int, count: int) -> list[float]:
    took = []
    for _ in range(count):
        at = 1 + at % 31
        child.drain()
        began = time.perf_counter()
        os.write(child.master, b"\r")
        took.append((child.seen(f"NOW {at}/31".encode()) - began) * 1000)
    return took


def p99(values: list[float]) -> float:
    return sorted(values)[max(0, -(-len(values) * 99 // 100) - 1)]


def main(starts: int, presses: int) -> int:
    for name in ("bare", "ours"):
        start(name)
    first: dict[str, list[float]] = {"bare": [], "ours": []}
    for _ in range(starts):
        for name, values in first.items():
            values.append(start(name))
    pressed: dict[str, list[float]] = {"bare": [], "ours": []}
    children = {name: Child(name) for name in pressed}
    for child in children.values():
        child.seen(b"NOW 1/31")
        time.sleep(0.5)
    at, block = 1, 10
    for _ in range(presses // block):
        for name, values in pressed.items():
            values += keys(children[name], at, block)
        at = 1 + (at + block - 1) % 31
    for child in children.values():
        child.close()
    rows = [
        ("first step on the screen, median", statistics.median(first["bare"]), statistics.median(first["ours"])),
        ("key to changed screen, median", statistics.median(pressed["bare"]), statistics.median(pressed["ours"])),
        ("key to changed screen, p99", p99(pressed["bare"]), p99(pressed["ours"])),
    ]
    print(f"{'milliseconds':36}{'bare':>8}{'ours':>8}{'ratio':>8}")
    for what, plain, own in rows:
        print(f"{what:36}{plain:8.1f}{own:8.1f}{own / plain:8.2f}")
    return int(any(own / plain > MOST for _, plain, own in rows))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        {"bare": bare, "ours": ours}[sys.argv[2]]()
    else:
        sys.exit(main(*(int(n) for n in sys.argv[1:3] or (10, 300))))
