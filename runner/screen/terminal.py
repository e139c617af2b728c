"""The terminal under the screen: its own reading of keys, and an end that always leaves the terminal whole."""

from __future__ import annotations

import os
import selectors
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final, TextIO, cast

from textual import events, messages
from textual.drivers.linux_driver import LinuxDriver

from runner.screen.keys import Decoder, Key, Paste, Report, Signal

if TYPE_CHECKING:
    from textual.app import App

ESCAPE_S: Final = 0.05
"""Silence after which an Esc byte was the Esc key."""
LOST: Final = 129
"""Return code when the terminal went away: 128 and the number of SIGHUP, as shells count."""


class Outlet:
    """The terminal to write to; once it is gone, writing does nothing instead of stopping the program."""

    def __init__(self, file: TextIO, on_loss: Callable[[], None]) -> None:
        self._file = file
        self._on_loss = on_loss

    def write(self, text: str) -> None:
        """Write if the terminal is there."""
        self._try(lambda: self._file.write(text))

    def flush(self) -> None:
        """Flush if the terminal is there."""
        self._try(self._file.flush)

    def fileno(self) -> int:
        """The descriptor of the terminal."""
        return self._file.fileno()

    def _try(self, call: Callable[[], object]) -> None:
        try:
            call()
        except (OSError, ValueError):
            self._on_loss()


class Terminal(LinuxDriver):
    """The framework's driver with our decoder: no byte is dropped that is a key, none raises, no loss spins."""

    def __init__(
        self, app: App[object], *, debug: bool = False, mouse: bool = True, size: tuple[int, int] | None = None
    ) -> None:
        super().__init__(app, debug=debug, mouse=mouse, size=size)
        self._lost = False
        if self._file is not None:
            self._file = cast(Any, Outlet(self._file, self._lose))

    def run_input_thread(self) -> None:
        """Read keys until the screen ends or the terminal is gone."""
        decoder = Decoder()
        with selectors.SelectSelector() as selector:
            selector.register(self.fileno, selectors.EVENT_READ)
            while not self.exit_event.is_set():
                if not selector.select(ESCAPE_S if decoder.waiting else 0.1):
                    if decoder.waiting:
                        self._pass_on(decoder.settle())
                    continue
                try:
                    data = os.read(self.fileno, 4096)
                except OSError:
                    data = b""
                if not data:
                    self._lose()
                    return
                self._pass_on(decoder.feed(data))

    def _pass_on(self, signals: tuple[Signal, ...]) -> None:
        for signal in signals:
            match signal:
                case Key(name):
                    self.process_message(events.Key(name, name if len(name) == 1 else None))
                case Paste(text):
                    self.process_message(events.Paste(text))
                case Report(text):
                    if text.startswith("\x1b[?2026;") and text[8] in "123":
                        self.process_message(messages.TerminalSupportsSynchronizedOutput())

    def _lose(self) -> None:
        if not self._lost:
            self._lost = True
            with suppress(RuntimeError):  # the loop may be over already
                self._loop.call_soon_threadsafe(self._app.exit, None, LOST)
