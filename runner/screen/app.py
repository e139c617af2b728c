"""The screen as a program: keys go to the desk, acts to the caller, the view that comes back to the sheet."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import ClassVar, Final

from rich.console import Console
from textual import constants, events
from textual.app import App, ComposeResult
from textual.driver import Driver
from textual.timer import Timer

from runner.core.act import AnyAct
from runner.core.desk import press
from runner.core.face import face
from runner.core.panel import Panel, opened
from runner.core.stamp import Stamp
from runner.core.view import View
from runner.screen.far import far
from runner.screen.ink import Rows, clean
from runner.screen.keys import LEAVING, name_of
from runner.screen.page import near, pages
from runner.screen.sheet import Sheet

_ENDING: Final = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)


class Runner(App[None], inherit_bindings=False):
    """One run on the screen until the surface is closed; ``return_code`` says how it ended.

    ``do`` records an act and returns what is to be seen then; ``peek`` returns what is to be seen now; ``now`` is
    the clock that the guard against held keys counts with. ``speak`` gets each new sentence to say aloud. ``keys``
    gives keys of another device (a pedal) the meaning of a key of the keypad, wherever no text is typed.
    """

    CSS_PATH = "style.tcss"
    ENABLE_COMMAND_PALETTE: ClassVar[bool] = False

    def __init__(
        self,
        view: View,
        do: Callable[[AnyAct], View],
        peek: Callable[[], View],
        now: Callable[[], Stamp],
        *,
        panel: Panel | None = None,
        distance_m: float = 2.5,
        screen_mm: float = 194,
        speak: Callable[[str], None] | None = None,
        keys: Mapping[str, str] | None = None,
    ) -> None:
        no_color = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=no_color or _few_colours())
        # The framework takes an empty variable for a set one, and sends greys; the sheet sees to both itself.
        self.no_color = no_color
        self.view = view
        self.panel = panel or Panel()
        self._do = do
        self._peek = peek
        self._now = now
        self._angle = (distance_m, screen_mm)
        self._speak = speak
        self._keys = keys or {}
        self._said = ""
        self._sheet = Sheet(self._rows)
        self._clock: Timer | None = None

    def get_driver_class(self) -> type[Driver]:
        """Our own reading of the keyboard, except where the environment names a driver or there is no terminal."""
        if constants.DRIVER is not None or os.name == "nt":
            return super().get_driver_class()
        from runner.screen.terminal import Terminal  # needs termios, which is not everywhere

        return Terminal

    def compose(self) -> ComposeResult:
        """The one sheet."""
        yield self._sheet

    def on_mount(self) -> None:
        """Start the clock, and take the signals that end a program."""
        self._clock = self.set_interval(1, self._tick, pause=True)
        loop = asyncio.get_running_loop()
        # Off the main thread signals belong to whoever runs the screen there.
        with contextlib.suppress(RuntimeError, ValueError, NotImplementedError):
            for ending in _ENDING:
                loop.add_signal_handler(ending, self.exit, None, 128 + ending)
        self._follow(None)

    def on_unmount(self) -> None:
        """Give the signals back."""
        loop = asyncio.get_running_loop()
        with contextlib.suppress(RuntimeError, ValueError, NotImplementedError):
            for ending in _ENDING:
                loop.remove_signal_handler(ending)

    async def on_event(self, event: events.Event) -> None:
        """Take keys before anything else can; the rest goes the framework's way."""
        if isinstance(event, events.Key):
            self._key(name_of(event.key, event.character))
        elif isinstance(event, events.Paste):
            self._paste(event.text)
        else:
            await super().on_event(event)

    def _key(self, name: str | None) -> None:
        if name is None or self._exit:
            return
        if name in self._keys and not self._typing_text():
            name = self._keys[name]
        before = self.view
        if name in LEAVING:
            say = f"{name} does not leave: * holds the work, - opens the menu with the way out"
            self.panel = replace(self.panel, say=say)
        elif self._unread(name):
            now = self._now()
            self.panel, _ = press(self.panel, self.view, "+", now)
            # A key that is held down must not leaf through and agree at the end.
            self.panel = replace(self.panel, passed=(*(p for p in self.panel.passed if p[0] != name), (name, now)))
        else:
            self.panel, act = press(self.panel, self.view, name, self._now())
            if act is not None:
                self.view = self._do(act)
        if self.panel.leave:
            self.exit(return_code=0)
            return
        self._follow(before)
        self._sheet.redraw()

    def _unread(self, name: str) -> bool:
        """Whether a key would answer what is not on the page that is shown: nobody agrees to what was not seen.

        The summary is turned to its last page first; elsewhere the answer itself must stand on the page.
        """
        if self.panel.mode != "step" or self.panel.far or self.view.field is not None:
            return False
        width, height = self.size.width, self.size.height
        if self.view.kind == "summary":
            return name == "enter" and self.panel.page + 1 < pages(self.view, self.panel, width, height)
        answer = "Enter" if name == "enter" and self.view.enter is not None else ""
        if any(option.key == name for option in face(self.panel, self.view).options):
            answer = name
        if not answer or pages(self.view, self.panel, width, height) == 1:
            return False
        return not any(f"[{answer}]" in "".join(part[0] for part in row) for row in self._rows(width, height))

    def _paste(self, text: str) -> None:
        """Pasted text is typed into a text field and goes nowhere else; a hold in it is none."""
        if self._typing_text():
            for character in clean(text).replace("*", "").lstrip("+-/"):
                self._key(character)

    def _typing_text(self) -> bool:
        _, _, field = opened(self.panel, self.view)
        return field is not None and field.kind == "text"

    def _tick(self) -> None:
        before, self.view = self.view, self._peek()
        self._follow(before)
        self._sheet.redraw()

    def _follow(self, before: View | None) -> None:
        """What goes with a new view beside the picture: the clock, the bell, the voice."""
        view = self.view
        runs = any(t.left_s > 0 for t in view.timers) or any(c.wait_s > 0 for c in view.cautions)
        if self._clock is not None:
            self._clock.resume() if runs else self._clock.pause()
        if before is None or view is before or view.alert != before.alert:
            if before is not view and view.alert and view.alert_kind != "note":
                self.bell()
        if self._speak is not None and view.speak != self._said:
            self._said = view.speak
            if view.speak:
                self._speak(clean(view.speak))

    def _rows(self, width: int, height: int) -> Rows:
        if self.panel.far and self.panel.mode == "step":
            return far(self.view, self.panel, width, height, *self._angle)
        return near(self.view, self.panel, width, height)


def _few_colours() -> bool:
    """Whether the terminal has 16 colours at most; then they are the user's own and are named, not computed."""
    return Console(force_terminal=True).color_system in (None, "standard")


def show(app: Runner) -> int:
    """Run the screen until it is closed or ended; the return code for the shell (0, or 128 and a signal)."""
    app.run(mouse=False)
    return app.return_code or 0
