"""One row for each gate of a run that was passed, or gone past: who, when, how long, what was found.

Rules of this module
1. All of it comes from the lines alone; the procedure, where it can be read, only lends its titles.
2. Every text is clean and on one line: what a person typed reaches a terminal as text.
3. Lines count from 1, as the record's faults do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.entry import Entry
from runner.core.event import AnyEvent
from runner.core.finding import clean
from runner.core.folding import fold
from runner.core.gauging import INSTRUMENT_NOT_NAMED
from runner.core.graph import Procedure
from runner.core.names import Names, place
from runner.core.replay import UNHEARD_OF
from runner.core.stamp import Stamp, elapsed
from runner.core.state import State
from runner.core.story import as_typed
from runner.core.wording import title

_KINDS = {
    "Check": "check", "Choice": "choice", "Count": "look at the fluid", "Timed": "timed hold", "Books": "books",
    "Reading": "reading", "Identify": "identification", "Photo": "photo",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class GateRow:
    """One gate that was passed, or gone past: where, by whom, when, how long after it was shown, and what was found.

    `seconds` is None where nobody can say; `marks` are what a reader must not miss: overridden, corrected, entered
    late, confirmed faster than it can be read. What does not apply is empty.
    """

    line: int
    path: str
    title: str
    kind: str
    who: str
    at: str
    seconds: float | None
    value: str = ""
    unit: str = ""
    limit: str = ""
    verdict: str = ""
    instrument: str = ""
    marks: tuple[str, ...] = ()


def gates(entries: Sequence[Entry], procedure: Procedure | None = None) -> tuple[GateRow, ...]:
    """Each gate that was passed, oldest first; `procedure` lends the instructions as titles."""
    walk = _Walk(procedure)
    for one in entries:
        walk.take(one)
    return tuple(walk.rows)


_ROWS = (
    ev.Assumed | ev.Confirmed | ev.Answered | ev.Taken | ev.Named | ev.Identified | ev.Owes | ev.Returned | ev.Looked
    | ev.Overridden | ev.CannotDo
)  # fmt: skip
"""What has a row of its own."""


def count(entries: Sequence[Entry]) -> int:
    """How many gates were passed or gone past, without a word on each."""
    rows = 0
    for one in entries:
        gone_past = any(isinstance(event, ev.Overridden | ev.CannotDo) for event in one.events)
        mine = 0
        for event in one.events:
            if isinstance(event, _ROWS):
                mine += not (gone_past and isinstance(event, ev.Returned))
            elif isinstance(event, ev.Left):
                mine += not mine and not gone_past
        rows += mine
    return rows


class _Walk:
    """The rows so far, while the lines are gone through."""

    def __init__(self, procedure: Procedure | None) -> None:
        self.procedure = procedure
        self.state = State()
        self.rows: list[GateRow] = []
        self.typed: dict[int, int] = {}  # the row that came of the line in which its value was typed
        self.pending = -1

    def take(self, one: Entry) -> None:
        gone_past = any(isinstance(event, ev.Overridden | ev.CannotDo) for event in one.events)
        before = len(self.rows)
        for event in one.events:
            if isinstance(event, ev.ReadBack):
                self.pending = one.line
            elif isinstance(event, ev.Corrected):
                self._mark_corrected(one, event)
            elif isinstance(event, ev.Left):
                self._leave(one, event, before, gone_past=gone_past)
            elif not (gone_past and isinstance(event, ev.Returned)) and (row := self._row(one, event)):
                if isinstance(event, ev.Taken | ev.Identified):
                    self.typed[self.pending] = len(self.rows)
                elif isinstance(event, ev.Returned):
                    self.typed[one.line] = len(self.rows)
                self.rows.append(row)
        try:
            self.state = fold(self.state, one.line, one.stamp, one.by, one.act, one.events)
        except UNHEARD_OF:  # an edited record; the rest of it is still told
            return

    def _leave(self, one: Entry, event: ev.Left, before: int, *, gone_past: bool) -> None:
        """The step was left: a plain one is a row of its own, any other has its row from the same line."""
        late = (f"entered later, done at about {on_one_line(event.late)}",) if event.late else ()
        if len(self.rows) == before and not gone_past:
            self.rows.append(self._made(one, event.path, "step", verdict=event.outcome, marks=late))
        elif late and len(self.rows) > before:
            self.rows[-1] = replace(self.rows[-1], marks=(*self.rows[-1].marks, *late))

    def _mark_corrected(self, one: Entry, event: ev.Corrected) -> None:
        index = self.typed.get(event.line)
        if index is not None:
            row = self.rows[index]
            change = f"from '{event.was}' to '{event.now}': {event.reason}; {event.effect}"
            mark = f"corrected in line {one.line + 1} {change}"
            self.rows[index] = replace(row, marks=(*row.marks, on_one_line(mark)))

    def _row(self, one: Entry, event: AnyEvent) -> GateRow | None:
        names = Names(self.procedure, self.state)
        match event:
            case ev.Assumed():
                return self._made(one, "", "start", verdict="as the procedure takes it to be")
            case ev.Confirmed(path=path, hazards=hazards, words=words, how=how, shown_ms=shown, fast=fast):
                named = ", ".join(f"{w} {names.of(h)}" for w, h in zip(words, hazards, strict=False))
                marks = ("faster than it can be read",) if fast else ()
                act = "confirmed with a key of its own" if how == "own" else "confirmed together"
                row = self._made(one, path, "safety message", value=named, verdict=act, marks=marks)
                return replace(row, seconds=shown / 1000)
            case ev.Answered(path=path, value=value, outcome=outcome):
                return self._made(one, path, self._kind(path, "answer"), value=value, verdict=outcome)
            case ev.Taken():
                return self._taken(one, event)
            case ev.Named(name=name, result=result):
                verdict = f"{names.of(name)} not measured"
                return self._made(one, self.state.path, "reading", value=result, verdict=verdict)
            case ev.Identified(path=path, text=text, digest=digest):
                kind, value = ("photo", f"SHA-256 {digest}") if digest else ("identification", text)
                return self._made(one, path, kind, value=value, verdict="taken")
            case ev.Owes(what=what):
                return self._made(one, self.state.path, "identification", value=what, verdict="owed until sign-off")
            case ev.Returned(path=path, used=used):
                granted = self.state.out.beats if self.state.out else used
                return self._made(one, path, "count", value=str(used), limit=f"{granted} granted", verdict="reported")
            case ev.Looked(level=level, position=position):
                return self._made(one, self.state.path, "look", value=f"{names.of(level)}: {position}", verdict="seen")
            case ev.Overridden(path=path, gate=gate, reason=reason, initials=initials):
                mark = f"OVERRIDDEN by {initials}: {reason}"
                return self._made(one, path, self._kind(path, gate), verdict="not met", marks=(mark,))
            case ev.CannotDo(path=path, reason=reason, way=way):
                mark = f"could not be done as written: {reason}; {way}"
                return self._made(one, path, self._kind(path, "step"), verdict="not met", marks=(mark,))
            case _:
                return None

    def _taken(self, one: Entry, event: ev.Taken) -> GateRow:
        kind = f" ({event.limit_kind})" if event.limit and event.limit_kind else ""
        taking = (f"taking {event.repeat + 1}",) if event.repeat else ()
        return self._made(
            one,
            event.path,
            "reading",
            value=", ".join(event.typed),
            unit=event.unit,
            limit=f"{event.limit}{kind}",
            verdict=event.outcome if event.label in ("", event.outcome) else f"{event.outcome} ({event.label})",
            instrument=event.instrument,
            marks=(*((f"{event.clicks} clicks",) if event.clicks else ()), *taking),
        )

    def _made(
        self,
        one: Entry,
        path: str,
        kind: str,
        *,
        value: str = "",
        unit: str = "",
        limit: str = "",
        verdict: str = "",
        instrument: str = "",
        marks: tuple[str, ...] = (),
    ) -> GateRow:
        return GateRow(
            line=one.line + 1,
            path=on_one_line(path),
            title=self._title(path),
            kind=on_one_line(kind),
            who=on_one_line(_who(one.by, one.act)),
            at=one.stamp.at,
            seconds=_seconds(self.state.shown, one.stamp),
            value=on_one_line(value),
            unit=on_one_line(unit),
            limit=on_one_line(limit),
            verdict=on_one_line(verdict),
            instrument=on_one_line(instrument),
            marks=tuple(on_one_line(mark) for mark in marks),
        )

    def _title(self, path: str) -> str:
        found = _found(self.procedure, path)
        return on_one_line(title(found, self.state) if found is not None else place(path) if path else "the start")

    def _kind(self, path: str, otherwise: str) -> str:
        found = _found(self.procedure, path)
        gate = found.node.gate if found is not None and isinstance(found.node, graph.Step) else None
        return _KINDS.get(type(gate).__name__, otherwise)


def _found(procedure: Procedure | None, path: str) -> graph.Found | None:
    try:
        return graph.find(procedure, path) if procedure is not None else None
    except LookupError:  # the run stood at the safe stop, or the record is not of this procedure
        return None


def _who(by: str, act: AnyAct) -> str:
    return by or (act.initials if isinstance(act, ac.Person | ac.Sign | ac.Override) else "")


def _seconds(shown: Stamp | None, now: Stamp) -> float | None:
    if shown is None:
        return None
    span = elapsed(shown, now)
    return None if span.doubtful else span.at_least_ns // 1_000_000 / 1000


def gate_line(row: GateRow) -> str:
    """A gate as one line: what, how long it took, value, limit, verdict, instrument and marks."""
    took = "after an unknown time" if row.seconds is None else f"after {row.seconds:.1f} s"
    parts = [
        f"{row.kind} at '{row.title}' {took}",
        as_typed((row.value,), row.unit),
        f"limit {row.limit}" if row.limit else "",
        row.verdict,
        with_what(row.instrument),
        f"by {row.who}" if row.who else "",
        *row.marks,
    ]
    return "; ".join(part for part in parts if part)


def with_what(instrument: str) -> str:
    """With which instrument, where one is asked for."""
    return "instrument not named" if instrument == INSTRUMENT_NOT_NAMED else f"with {instrument}" if instrument else ""


def on_one_line(text: str) -> str:
    """The text without controls, its lines joined."""
    return " ".join(clean(text).split("\n"))
