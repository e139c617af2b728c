"""What every screen of this program is: one sheet on a terminal, its keys, its colours, and an end that is clean."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from typing import ClassVar, Final

from rich.console import Console
from textual import constants, events
from textual.app import App, ComposeResult
from textual.driver import Driver

from runner.screen.ink import Rows
from runner.screen.keys import name_of
from runner.screen.sheet import Sheet

_ENDING: Final = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)


class Surface(App[None], inherit_bindings=False):
    """One sheet that is drawn by ``rows`` and gets its keys by ``key`` and ``paste``, until it is closed or ended."""

    CSS_PATH = "style.tcss"
    ENABLE_COMMAND_PALETTE: ClassVar[bool] = False

    def __init__(self) -> None:
        no_color = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=no_color or _few_colours())
        # The framework takes an empty variable for a set one, and sends greys; the sheet sees to both itself.
        self.no_color = no_color
        self._sheet = Sheet(self.rows)

    def rows(self, width: int, height: int) -> Rows:
        """What stands on the sheet."""
        raise NotImplementedError

    def key(self, name: str | None) -> None:
        """A key was pressed, by its name at the desk; None if it has none."""
        raise NotImplementedError

    def paste(self, text: str) -> None:
        """A text was pasted; it is no key."""
        raise NotImplementedError

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
        """Take the signals that end a program."""
        loop = asyncio.get_running_loop()
        # Off the main thread signals belong to whoever runs the screen there.
        with contextlib.suppress(RuntimeError, ValueError, NotImplementedError):
            for ending in _ENDING:
                loop.add_signal_handler(ending, self.exit, None, 128 + ending)

    def on_unmount(self) -> None:
        """Give the signals back."""
        loop = asyncio.get_running_loop()
        with contextlib.suppress(RuntimeError, ValueError, NotImplementedError):
            for ending in _ENDING:
                loop.remove_signal_handler(ending)

    async def on_event(self, event: events.Event) -> None:
        """Take keys before anything else can; the rest goes the framework's way."""
        if isinstance(event, events.Key):
            self.key(name_of(event.key, event.character))
        elif isinstance(event, events.Paste):
            self.paste(event.text)
        else:
            await super().on_event(event)


def _few_colours() -> bool:
    """Whether the terminal has 16 colours at most; then they are the user's own and are named, not computed."""
    return Console(force_terminal=True).color_system in (None, "standard")


def show(surface: Surface) -> int:
    """Run the screen until it is closed or ended; the return code for the shell (0, or 128 and a signal)."""
    surface.run(mouse=False)
    return surface.return_code or 0
