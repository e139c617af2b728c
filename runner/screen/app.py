"""The screen as a program: keys go to the desk, acts to the caller, the view that comes back to the sheet."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from textual.timer import Timer

from runner.core.act import AnyAct
from runner.core.desk import press
from runner.core.face import face
from runner.core.panel import Panel, fresh, opened
from runner.core.stamp import Stamp
from runner.core.view import View
from runner.screen.far import far, reads_near
from runner.screen.ink import Rows, clean
from runner.screen.keys import LEAVING
from runner.screen.page import near, pages
from runner.screen.surface import Surface


class Runner(Surface):
    """One run on the screen until the surface is closed; ``return_code`` says how it ended.

    ``do`` records an act and returns what is to be seen then; ``peek`` returns what is to be seen now; ``now`` is
    the clock that the guard against held keys counts with. ``speak`` gets each new sentence to say aloud. ``keys``
    gives keys of another device (a pedal) the meaning of a key of the keypad, wherever no text is typed.
    """

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
        super().__init__()
        self.view = view
        self.panel = panel or Panel()
        self._do = do
        self._peek = peek
        self._now = now
        self._angle = (distance_m, screen_mm)
        self._speak = speak
        self._keys = keys or {}
        self._said = ""
        self._clock: Timer | None = None

    def on_mount(self) -> None:
        """Start the clock."""
        self._clock = self.set_interval(1, self._tick, pause=True)
        self._follow(None)

    def key(self, name: str | None) -> None:
        """A key goes to the desk, its act to the caller."""
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
            if self.panel.far and not reads_near(self.view):
                self.panel = replace(self.panel, far=False, say="what the keys mean stands here: answer now")
            else:
                self.panel, _ = press(self.panel, self.view, "+", now)
            # A key that is held down must not leaf through and agree at the end.
            self.panel = replace(self.panel, passed=(*(p for p in self.panel.passed if p[0] != name), (name, now)))
        elif name == "+" and self._leafs():
            self.panel = replace(fresh(self.panel, self.view), page=self.panel.page + 1, say="")
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
        if self.panel.mode != "step" or self.view.field is not None:
            return False
        width, height = self.size.width, self.size.height
        if self.view.kind == "summary":
            return name == "enter" and self.panel.page + 1 < pages(self.view, self.panel, width, height)
        answer = "Enter" if name == "enter" and self.view.enter is not None else ""
        if any(option.key == name for option in face(self.panel, self.view).options):
            answer = name
        if not answer or (answer == "Enter" and self.panel.far and not reads_near(self.view)):
            return False
        if not self.panel.far and pages(self.view, self.panel, width, height) == 1:
            return False
        return not any(f"[{answer}]" in "".join(part[0] for part in row) for row in self.rows(width, height))

    def _leafs(self) -> bool:
        """Whether ``+`` turns to the next page alone: what it changes in an empty field is offered on the last one."""
        panel, view = self.panel, self.view
        if panel.mode != "step" or panel.far or view.field is None or panel.buffer or panel.points:
            return False
        count = pages(view, panel, self.size.width, self.size.height)
        return panel.page % count + 1 < count

    def paste(self, text: str) -> None:
        """Pasted text is typed into a text field and goes nowhere else; a hold in it is none."""
        if self._typing_text():
            for character in clean(text).replace("*", "").lstrip("+-/"):
                self.key(character)

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

    def rows(self, width: int, height: int) -> Rows:
        """The near page or the far one."""
        if self.panel.far and self.panel.mode == "step":
            return far(self.view, self.panel, width, height, *self._angle)
        return near(self.view, self.panel, width, height)
