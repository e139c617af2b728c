"""The one object that changes: decide, write, fold, show, in that order, one act at a time.

Nothing is shown before it is on the disk. The one exception is a hold that cannot be written: the order of
making safe comes up all the same, and says "not recorded".
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import msgspec

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.entry import Entry, as_recorded
from runner.core.folding import fold
from runner.core.graph import Photo, Procedure, Step, find
from runner.core.line import Head, seal
from runner.core.state import SAFE_STOP, State
from runner.core.view import View
from runner.edge.clock import Clock
from runner.edge.disk import NotRecorded

Admit = Callable[[State, str], tuple[bool, str]]
"""Whether the run could go on from a path with the car as it is, and why not."""
Picture = Callable[[State, str, str], View]
"""The view of a state: with the record's head, and a notice of the job ("" if there is none)."""


class Record(Protocol):
    """Where lines go: a journal, or nowhere in a rehearsal."""

    def append(self, line: bytes) -> None:
        """Return once the line is kept; raise NotRecorded if it is not."""
        ...


class Nowhere:
    """A rehearsal's record: there is none."""

    def append(self, line: bytes) -> None:
        """Keep nothing."""


@dataclass(slots=True, kw_only=True)
class Job:
    """A run in progress: its procedure, its state, where its lines go, and what shows it."""

    procedure: Procedure
    journal: Record
    clock: Clock
    picture: Picture
    admit: Admit
    state: State
    head: Head
    after: Callable[[View], None] = lambda _view: None
    take_picture: Callable[[str], str | None] = lambda _named: None
    sign: Callable[[str, str, str, str], str] = lambda _head, _at, _initials, _meaning: ""
    notice: str = ""
    _unrecorded: State | None = None

    def do(self, act: AnyAct) -> View:
        """Carry out one act: it is on the disk, or it has not happened."""
        if self._unrecorded is not None and not isinstance(act, ac.Hold):
            held = self.do(ac.Hold())  # what is shown comes first, before anything is done on it
            if self._unrecorded is not None:
                return held
        now = self.clock.now()
        if isinstance(act, ac.DoAgain):
            ok, because = self.admit(self.state, act.path)
            act = msgspec.structs.replace(act, admissible=ok, because=because)
        try:
            act = as_recorded(self._signed(self._with_picture(act), now.at))
        except NotRecorded as error:
            self.notice = f"NOT RECORDED: {error.why}; {error.mend}"
            return self.peek()
        by = self.state.by
        if isinstance(act, ac.Person | ac.Sign):
            by = act.initials or by
        events = decide(self.procedure, self.state, act, now, by)
        line = seal(self.head, now, by, act, events)
        state = fold(self.state, self.head.n, now, by, act, events)
        try:
            self.journal.append(line)
        except NotRecorded as error:
            self.notice = f"NOT RECORDED: {error.why}; {error.mend}"
            if isinstance(act, ac.Hold):
                self._unrecorded = state
            return self.peek()
        self._unrecorded = None
        self.notice = ""
        self.state, self.head = state, self.head.after(line)
        view = self.peek()
        self.after(view)
        return view

    def _with_picture(self, act: AnyAct) -> AnyAct:
        """A picture that is named by its file is kept first; the act then names its digest."""
        if not isinstance(act, ac.Enter) or self.state.path in ("", SAFE_STOP):
            return act
        node = find(self.procedure, self.state.path).node
        if not isinstance(node, Step) or not isinstance(node.gate, Photo):
            return act
        digest = self.take_picture(" ".join(act.typed))
        return act if digest is None else msgspec.structs.replace(act, typed=[digest])

    def _signed(self, act: AnyAct, at: str) -> AnyAct:
        """A signature is over the record as it stands, made as its line is; a run that goes on has none."""
        if not isinstance(act, ac.Sign) or act.reference or self.state.phase != "ended":
            return act
        made = self.sign(self.head.hash, at, act.initials, act.meaning)
        return msgspec.structs.replace(act, reference=made)

    def peek(self) -> View:
        """The view of this moment, without any act."""
        return self.picture(self._unrecorded or self.state, self.head.hash, self.notice)

    def take_over(self, entries: tuple[Entry, ...]) -> None:
        """Fold the lines of a record that was opened."""
        for one in entries:
            self.state = fold(self.state, one.line, one.stamp, one.by, one.act, one.events)
