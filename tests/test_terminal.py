"""The whole exchange on a real terminal, in real time, with the keys of a keypad and what the eye can read.

The screen is that of tmux; nothing of the program is known to the player but the rows of text.
"""

from __future__ import annotations

import os
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from runner.core import act as ac
from runner.core.entry import Entry, entries, folded
from runner.core.finding import clean
from runner.core.picture import look
from runner.core.record import fingerprint, read
from runner.core.stage import stage
from runner.core.wording import says
from runner.edge.clock import SystemClock
from tests.keypad import CORNER_NAMES, Player, Seen
from tests.rig import NAME, answers, ready, truths

ROOT = Path(__file__).resolve().parents[1]
GUARD_S = 1.3
"""So long a key rests after it passed a gate; nobody does a step in less."""
MOST_WAIT_S = 90
APPLICATION = {**{str(n): f"1b4f{0x70 + n:02x}" for n in range(10)}, "enter": "1b4f4d", "-": "1b4f6d", "+": "1b4f6b"}
"""What a keypad sends in application mode (DEC VT220 manual, recalled)."""
TMUX_KEYS = {"enter": "Enter"}


WATCHED = """\
import subprocess, sys
program = subprocess.Popen(sys.argv[3:])
open(sys.argv[1], "w").write(str(program.pid))
open(sys.argv[2], "w").write(str(program.wait()))
"""
"""Who starts the program tells how it ended: tmux at times does not hear of it."""


class Pane:
    """A program on a terminal of tmux."""

    def __init__(self, folder: Path, columns: int, rows: int) -> None:
        self.home = folder / "home"
        self.socket = str(folder / "tmux")
        self.started, self.status = folder / "pid", folder / "status"
        self.columns, self.rows = columns, rows
        self.presses = 0
        self.guarded_s = 0.0
        self._struck: dict[str, float] = {}
        self._tmux("-f", "/dev/null", "new-session", "-d", "-s", "w", "-x", str(columns), "-y", str(rows), "sleep 1000")
        self._tmux("set-option", "-g", "remain-on-exit", "on")
        self._tmux("set-option", "-g", "window-size", "manual")

    def _tmux(self, *words: str) -> str:
        done = subprocess.run(["tmux", "-S", self.socket, *words], capture_output=True, text=True, timeout=20)
        assert done.returncode == 0, (words, done.stderr)
        return done.stdout

    def start(self, **env: str) -> None:
        """Start the program, in place of what ran before."""
        env = {"WITNESSMARK_HOME": str(self.home), "PYTHONPATH": str(ROOT), "TERM": "tmux-256color", **env}
        settings = " ".join(f"{name}={shlex.quote(value)}" for name, value in env.items())
        unset = "-u COLUMNS -u LINES -u NO_COLOR -u COLORTERM -u TEXTUAL_DRIVER"
        self.status.unlink(missing_ok=True)
        started = shlex.join([sys.executable, "-c", WATCHED, str(self.started), str(self.status)])
        command = f"exec env {unset} {settings} {started} {sys.executable} -m runner run {NAME} --demo"
        self._tmux("respawn-pane", "-k", "-t", "w", "-c", str(self.home.parent), command)

    def resize(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self._tmux("resize-window", "-t", "w", "-x", str(columns), "-y", str(rows))

    def text(self) -> str:
        return self._tmux("capture-pane", "-p", "-t", "w")

    def styled(self) -> str:
        return self._tmux("capture-pane", "-p", "-e", "-t", "w")

    def until(self, pattern: str, seconds: float = 30) -> str:
        end = time.monotonic() + seconds
        while not re.search(pattern, text := self.text()):
            assert time.monotonic() < end, f"{pattern!r} is not on the screen:\n{text}"
            time.sleep(0.05)
        return text

    def settled(self) -> str:
        """The text once it stands still."""
        text = self.text()
        while (after := self.text()) != text:
            text = after
        return text

    def strike(self, key: str, *, application: bool = False) -> None:
        """Press a key and wait until the screen shows something else."""
        rest = self._struck.get(key, 0.0) + GUARD_S - time.monotonic()
        if rest > 0:
            self.guarded_s += rest
            time.sleep(rest)
        before = self.text()
        if application and key in APPLICATION:
            codes = APPLICATION[key]
            self._tmux("send-keys", "-t", "w", "-H", *(codes[n : n + 2] for n in range(0, len(codes), 2)))
        else:
            self._tmux("send-keys", "-t", "w", *(() if key in TMUX_KEYS else ("-l",)), TMUX_KEYS.get(key, key))
        self.presses += 1
        end = time.monotonic() + 20
        while self.text() == before:
            assert time.monotonic() < end, f"{key!r} changes nothing on the screen:\n{before}"
            time.sleep(0.01)

    def rest(self, key: str) -> None:
        """The key passed a gate: it rests."""
        self._struck[key] = time.monotonic()

    def pid(self) -> int:
        return int(self.started.read_text())

    def ended(self) -> int:
        """The exit code once the program is over; less than 0 where a signal ended it."""
        end = time.monotonic() + 60
        while not (self.status.exists() and (code := self.status.read_text())):
            assert time.monotonic() < end, f"it does not end:\n{self.text()}"
            time.sleep(0.05)
        return int(code)

    def close(self) -> None:
        subprocess.run(["tmux", "-S", self.socket, "kill-server"], capture_output=True, timeout=20)


@pytest.fixture
def pane(tmp_path: Path) -> Iterator[Pane]:
    made = Pane(tmp_path, 40, 15)
    try:
        yield made
    finally:
        made.close()


# ── reading the screen ───────────────────────────────────────────────────────────────────────────


def seen_on(pane: Pane) -> Seen:
    """What stands on the screen, all its pages."""
    text = pane.settled()
    body = _main(text, pane.columns)
    if pages := re.search(r"\+ page (\d+)/(\d+)", text):
        for _ in range(int(pages[2]) - 1):
            pane.strike("+")
            body += _main(pane.settled(), pane.columns)
    return understood(text.splitlines(), body)


def _main(text: str, columns: int) -> list[str]:
    """The rows between the head and the keys, without what stands to the right of the step."""
    rows = text.rstrip("\n").split("\n")
    rows = rows[3:-1] if columns >= 66 else rows[2:-1]
    return [(row[: columns - 28] if columns >= 66 else row).rstrip() for row in rows]


def understood(whole: list[str], rows: list[str]) -> Seen:
    """The rows as a player takes them."""
    framed = " ".join(" ".join(row.strip("█║┃╎ ") for row in rows if row[:1] in "█║").split())
    owed = re.search(r"press \[(\d)\](?: in (\d+) s)?\.", framed)
    at = next((n for n, row in enumerate(rows) if re.match(r"┃  (NOW|STOPPED|DONE)\b", row)), 0)
    now = re.match(r"┃  (NOW|STOPPED|DONE)(?: (\d+)/\d+)?", rows[at] if rows else "")
    headline = " ".join(row[2:] for row in rows[at:] if row.startswith("┃ "))
    asked: list[str] = []
    options: list[tuple[str, str]] = []
    enter = False
    for row in rows[at + 1 :]:
        if row.startswith("[Enter]"):
            enter = True
        elif found := list(re.finditer(r"\[(\d)\] (.*?)(?=\s{2,}\[\d\] |$)", row)):
            options += [(one[1], one[2].strip()) for one in found]
        elif row.startswith("    ") and options and row.strip()[:1].isalpha():
            options[-1] = (options[-1][0], f"{options[-1][1]} {row.strip()}")
        elif row and not row.startswith("┃ "):
            asked.append(row)
    question = " ".join(" ".join(asked).split())
    section = whole[1] if len(whole) > 1 else ""
    corner = next((c for name, c in CORNER_NAMES.items() if name in section), "")
    number = int(now[2] or 0) if now else 0
    asks_value = re.search(r"Type\b|Read:|[Hh]ow many" if not enter else r"How many were done in all\?", question)
    typed = bool(asks_value) and not options and not owed
    return Seen(
        what=f"{number}|{corner}|{headline}|{question}",
        number=number,
        corner=corner,
        headline=headline,
        question=question,
        warning=owed[1] if owed else "",
        waits=owed is not None and owed[2] is not None,
        answers=tuple(options),
        prompt=question if typed else "",
        unit="",
        instrument=(re.search(r"with: (\S+)", question) or ("", ""))[1],
        enter=enter,
        over="The run is over" in headline,
    )


# ── the record beside it ─────────────────────────────────────────────────────────────────────────


def record_of(pane: Pane) -> Path:
    (path,) = (pane.home / "demonstration").glob("*.jsonl")
    return path


def entries_of(pane: Pane) -> tuple[Entry, ...]:
    return entries(read(record_of(pane).read_bytes()).lines)


def assert_owed_is_shown(pane: Pane, now: Seen) -> None:
    """What the record says is owed stands on the screen."""
    view = look(ready().procedure, folded(entries_of(pane)), SystemClock().now())
    assert view.step_n == now.number, (view.headline, now)
    assert clean(view.headline).split()[:3] == now.headline.partition("┃")[0].split()[2:5], (view.headline, now)


class Run:
    """A player at a terminal, and what it cost."""

    def __init__(self, pane: Pane) -> None:
        self.pane = pane
        self.player = Player(ready().procedure, answers())
        self.forced_s = 0.0
        self.answers = 0
        self.refused = 0
        self.application = False
        self.comma = False

    def once(self) -> Seen:
        """Read the screen and give one answer, or wait a moment where nothing else can be done."""
        now = seen_on(self.pane)
        keys = self.player.keys(now)
        if self.comma and now.prompt and len(keys) > 3 and keys[-1] == "enter":
            keys = (*keys[:-1], ",", "0", "enter")
        if not keys and not now.over:
            began = time.monotonic()
            time.sleep(0.1)
            self.forced_s += time.monotonic() - began
            return now
        for n, key in enumerate(keys):
            self.pane.strike(key, application=self.application)
            if n == len(keys) - 1:
                self.pane.rest(key)
        self.answers += 1
        self.refused += "NOT ACCEPTED" in self.pane.text()
        return now

    def until(self, there: str) -> Seen:
        """Go on until this is asked or the run is over."""
        for _ in range(3_000):
            now = seen_on(self.pane)
            if re.search(there, f"{now.headline} {now.question}"):
                return now
            self.once()
        raise AssertionError(f"{there!r} was never shown:\n{self.pane.text()}")


def test_the_whole_exchange_by_keypad_alone_killed_once_with_90_seconds_of_forced_waiting_at_most(
    pane: Pane, capsys: pytest.CaptureFixture[str]
) -> None:
    began = time.monotonic()
    run = Run(pane)
    pane.start()
    pane.until("Read this before")
    run.until("Put on the goggles")
    pane.resize(80, 24)
    pane.until("DEMONSTRATION")

    run.application = True
    run.until("Add up the fresh fluid")
    run.comma = True
    run.once()
    run.comma = False
    pane.until("Typed: 1000 mL")
    assert entries_of(pane)[-1].act == ac.Enter(typed=["1000.0"], unit="mL")
    run.until("Unscrew the nuts")
    run.application = False

    at_strokes = run.until("How many were done in all")
    assert_owed_is_shown(pane, at_strokes)
    known = truths(entries_of(pane))
    os.kill(pane.pid(), signal.SIGKILL)
    assert pane.ended() == -signal.SIGKILL
    run.player.truths = frozenset(says(ready().procedure, c, holds=holds) for c, holds in known.items())
    pane.start(NO_COLOR="1")
    pane.until("What is so")
    state = folded(entries_of(pane))
    assert stage(ready().procedure, state, SystemClock().now()).kind == "unknown"
    assert not re.search(r"\x1b\[[0-9;]*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])[;m]", pane.styled()), "a colour in NO_COLOR"
    asked = run.until("Look at the level")
    assert_owed_is_shown(pane, asked)

    for _ in range(3_000):
        now = run.once()
        if now.over:
            break
        if run.answers % 20 == 0:
            assert_owed_is_shown(pane, seen_on(pane))
    record = record_of(pane)
    acts = [one.act for one in entries_of(pane)]
    pane.strike("enter")
    goodbye = pane.until("this is not work done on a car")
    assert pane.ended() == 0, goodbye
    assert f"{NAME}: done" in goodbye
    assert fingerprint(read(record.read_bytes()).head.hash) in goodbye

    confirmations = sum(isinstance(act, ac.Confirm | ac.ConfirmRest) for act in acts)
    with capsys.disabled():
        print(
            f"\n{pane.presses} presses, {confirmations} active confirmations, {run.forced_s:.1f} s of forced waiting"
            f" (and {pane.guarded_s:.0f} s between equal keys), {run.refused} refused,"
            f" {len(acts)} acts in {time.monotonic() - began:.0f} s"
        )
    assert run.forced_s <= MOST_WAIT_S
    verified = subprocess.run(
        [sys.executable, "-m", "runner", "audit", "--demo", "verify"],
        capture_output=True, text=True, cwd=ROOT, env={**os.environ, "WITNESSMARK_HOME": str(pane.home)},
    )  # fmt: skip
    assert verified.returncode == 0, verified.stdout + verified.stderr
