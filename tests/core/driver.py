"""A run of a small procedure, driven act by act with a clock that only the test moves."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from runner.core import act as ac
from runner.core import event as ev
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.entry import as_recorded
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.graph import Procedure
from runner.core.stage import Stage, stage
from runner.core.stamp import Stamp, at_text
from runner.core.state import State
from runner.edge.reader import read

CASES = Path(__file__).parent / "cases"
START_MS = 1_750_000_000_000
EXAMPLE = "example car"


@lru_cache(maxsize=64)
def case(name: str) -> Procedure:
    """The small procedure of that name."""
    made = read({f.name: f.read_bytes() for f in CASES.glob("*.yaml")}, f"{name}.yaml")
    assert isinstance(made, Procedure), [f"{f.place}: {f.text}" for f in made]
    return made


@lru_cache(maxsize=64)
def steps(text: str, name: str = "small") -> Procedure:
    """A procedure from its text, the vocabulary beside it."""
    text = "\n".join(map(_placed, text.split("\n")))
    head = f"procedure: {name}\ntitle: {name}\nrevision: '1'\npurpose: It is tried.\n"
    files = {f.name: f.read_bytes() for f in CASES.glob("*.yaml")} | {f"{name}.yaml": (head + text).encode()}
    made = read(files, f"{name}.yaml")
    assert isinstance(made, Procedure), [f"{f.place}: {f.text}" for f in made]
    return made


def _placed(line: str) -> str:
    """The line with a place at every step that names none: which it is does not matter here."""
    if "beat:" in line or "place:" in line:
        return line
    return re.sub(r"^( +)do: ", r"\1place: wheel\n\1do: ", line).replace("{do: ", "{place: wheel, do: ")


@dataclass
class Run:
    """A run, its clock and every line that it has written."""

    procedure: Procedure
    asks: Mapping[str, str] = field(default_factory=dict)
    car: Mapping[str, object] = field(default_factory=dict)
    by: str = "MB"
    state: State = field(default_factory=State)
    ms: int = 0
    boot: str = "b1"
    wall_ms: int = 0
    lines: list[tuple[Stamp, str, AnyAct, tuple[AnyEvent, ...]]] = field(default_factory=list)

    def now(self) -> Stamp:
        return Stamp(at=at_text(START_MS + self.ms + self.wall_ms), mono=self.ms * 1_000_000, boot=self.boot)

    def do(self, act: AnyAct, by: str | None = None) -> tuple[AnyEvent, ...]:
        now, act, by = self.now(), as_recorded(act), self.by if by is None else by
        events = decide(self.procedure, self.state, act, now, by)
        self.state = fold(self.state, self.state.line + 1, now, by, act, events)
        self.lines.append((now, by, act, events))
        return events

    def owed(self) -> Stage:
        return stage(self.procedure, self.state, self.now())

    def later(self, seconds: float) -> Run:
        self.ms += round(seconds * 1000)
        return self

    def begin(self) -> Run:
        bare: dict[str, object] = {
            "conditions": {},
            "levels": {},
            "waits": {},
            "parts": {},
            "instruments": {},
            "claims": {},
        }
        self.do(
            ac.Begin(
                procedure=self.procedure.name,
                revision="1",
                version="0",
                texts={},
                hashes={},
                car="unit-7",
                demonstration=True,
                salt="salt",
                asks={n: {"value": v, "source": EXAMPLE} for n, v in self.asks.items()},
                heads={},
                **{**bare, **self.car},  # type: ignore[arg-type]
            )
        )
        self.do(ac.Assume())
        return self

    def refused(self, act: AnyAct) -> ev.Refused:
        """The act is refused, and nothing else happens."""
        before = self.state
        events = self.do(act)
        assert len(events) == 1, events
        assert isinstance(events[0], ev.Refused), events
        first = set() if before.by else {"by"}
        assert unlike(before, self.state) - first <= {"line", "stamp", "last", "acts", "told", "waited"}
        return events[0]

    def goes(self, act: AnyAct) -> tuple[AnyEvent, ...]:
        """The act is not refused."""
        events = self.do(act)
        assert not any(isinstance(e, ev.Refused) for e in events), events
        return events

    def confirm_all(self) -> Run:
        """Every safety message that stands before the gate, each after its time."""
        while (owed := self.owed()).kind in ("own caution", "cautions"):
            self.later((owed.needed_ms + 1) / 1000)
            owed = self.owed()
            if owed.kind == "own caution" and owed.caution is not None:
                self.goes(ac.Confirm(hazard=owed.caution.name, key=owed.key))
            else:
                self.goes(ac.ConfirmRest())
        return self

    def done(self) -> tuple[AnyEvent, ...]:
        self.confirm_all()
        return self.goes(ac.Done())

    def answer(self, value: str) -> tuple[AnyEvent, ...]:
        self.confirm_all()
        return self.goes(ac.Answer(value=value))

    def enter(self, *typed: str, **more: str) -> tuple[AnyEvent, ...]:
        self.confirm_all()
        self.goes(ac.Enter(typed=list(typed), **more))
        return self.goes(ac.Accept())

    @property
    def path(self) -> str:
        return self.state.path


def unlike(one: State, other: State) -> set[str]:
    """The fields in which two states differ."""
    return {name for name in State.__struct_fields__ if getattr(one, name) != getattr(other, name)}


def of(kind: type, events: tuple[AnyEvent, ...]) -> object:
    """The one event of a kind."""
    found = [e for e in events if isinstance(e, kind)]
    assert len(found) == 1, events
    return found[0]
