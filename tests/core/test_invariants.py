"""What holds whatever anybody does: a random person against an independent judge.

``WITNESSMARK_ACTS`` sets how many acts are tried in all; the seed stands in the text of a failure.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import msgspec
import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.act import AnyAct
from runner.core.canonical import canonical
from runner.core.engine import decide
from runner.core.entry import Entry, as_recorded
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.gaterows import count, gates
from runner.core.graph import Count, Procedure, Step
from runner.core.quantity import Quantity
from runner.core.stage import stage
from runner.core.stamp import Stamp, at_text
from runner.core.state import State
from runner.core.values import worth
from runner.edge.reader import read
from tests.core.actor import Actor
from tests.core.driver import EXAMPLE, START_MS, case
from tests.core.judge import Judge
from tests.core.test_counting import FLUSH_CAR

ACTS = int(os.environ.get("WITNESSMARK_ACTS", "30000"))
LONGEST = 1200
PROCEDURES = Path(__file__).parents[2] / "procedures"
KEPT = frozenset({"line", "stamp", "by", "last", "acts", "told", "waited"})
CHANGING = tuple(f for f in State.__struct_fields__ if f not in KEPT)
EVERYTHING = {"draw": "6 mL", "least": "22 mm", "torque": "10 N m", "order": "furthest first", "valve": "fitted"}
MICROMETER = {"id-1": {"what": "micrometer", "unit": "mm", "error": "0.02 mm"}}
_events = msgspec.json.Decoder(tuple[AnyEvent, ...])


def library() -> dict[str, tuple[Procedure, dict[str, str]]]:
    """The small procedures, and those that ship as far as they can be read, each with a car."""
    found = {"everything": (case("everything"), EVERYTHING), "flush": (case("flush"), FLUSH_CAR)}
    files = {f.name: f.read_bytes() for f in sorted(PROCEDURES.glob("*.yaml"))}
    for name in files:
        made = read(files, name) if name != "vocabulary.yaml" else ()
        if isinstance(made, Procedure) and not made.is_fragment:
            values = made.example_cars[0].values if made.example_cars else {}
            found[made.name] = (made, {k: str(v) for k, v in values.items()})
    return found


LIBRARY = library()


@dataclass
class Walk:
    """One run by a random person: every line is judged, then the whole is folded and decided again."""

    name: str
    seed: int
    state: State = field(default_factory=State)
    lines: list[tuple[Stamp, str, AnyAct, tuple[AnyEvent, ...]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random = Random(f"{self.name} {self.seed}")
        self.procedure, asks = LIBRARY[self.name]
        self.asks = {n: v for n, v in asks.items() if self.random.random() < 0.97}
        self.actor = Actor(self.procedure, self.random, asks, care=self.random.choice((0.8, 0.95, 0.99)))
        self.judge = Judge(self.procedure)
        self.ms = 0
        self.boot = "b0"

    def now(self) -> Stamp:
        return Stamp(at=at_text(START_MS + self.ms), mono=self.ms * 1_000_000, boot=self.boot)

    def fail(self, why: str) -> None:
        last = self.lines[-1] if self.lines else None
        pytest.fail(f"{self.name}, seed {self.seed}, line {len(self.lines)}: {why}\n{last}", pytrace=False)

    def step(self, act: AnyAct, key: str = "") -> None:
        now, before = self.now(), self.state
        by = "MB" if self.random.random() < 0.995 else "JT"
        by = before.by if before.by and self.random.random() < 0.995 else by
        act = as_recorded(act)
        try:
            events = decide(self.procedure, before, act, now, by)
            self.state = fold(before, before.line + 1, now, by, act, events)
        except Exception as error:
            self.lines.append((now, by, act, ()))
            self.fail(f"raised {error!r}")
        self.lines.append((now, by, act, events))
        wrong = self.judge.line(now, by, act, events, key)
        if wrong is not None:
            self.fail(wrong)
        self.check(before, by, events)

    def check(self, before: State, by: str, events: tuple[AnyEvent, ...]) -> None:
        after = self.state
        if after.path != before.path or self.judge.path != after.path:
            if not any(isinstance(e, ev.Arrived) and e.path == after.path for e in events):
                self.fail("the place moved without an arrival")
        if len(events) == 1 and isinstance(events[0], ev.Refused):
            person = by and before.by and by != before.by
            changed = [f for f in CHANGING if getattr(before, f) is not getattr(after, f)]
            if changed and not (person and set(changed) <= {"confirmed", "in_effect"}):
                self.fail(f"a refused act changed {changed}")
        for event in events:
            if isinstance(event, ev.Granted):
                self.above_the_low_mark(before, event)

    def above_the_low_mark(self, before: State, event: ev.Granted) -> None:
        node, here = self.judge.node(event.path)
        move = node.gate.move if isinstance(node, Step) and isinstance(node.gate, Count) else None
        if move is None or move.source is None or move.low_mark is None:
            return
        low, known = worth(self.procedure, before, move.low_mark, here), self.state.levels[move.source]
        if not isinstance(low, Quantity) or known is None or known[0] < low.hi:
            self.fail("a grant may pass below the low mark")

    def run(self, most: int) -> int:
        car = {"clamp": 2} if self.name == "everything" else {}
        self.step(
            ac.Begin(
                procedure=self.procedure.name,
                revision="1",
                version="0",
                texts={},
                hashes={},
                car="unit-7",
                demonstration=True,
                salt=str(self.seed),
                asks={n: {"value": v, "source": EXAMPLE} for n, v in self.asks.items()},
                conditions={"on_stands@rear": self.random.choice("TFU")} if self.random.random() < 0.2 else {},
                levels={},
                waits={},
                parts=car,
                instruments=MICROMETER,
                claims={},
                heads={},
            )
        )
        after_end = 3
        while len(self.lines) < most and after_end:
            owed = stage(self.procedure, self.state, self.now())
            self.ms += self.actor.pause_ms(owed)
            if self.random.random() < 0.002:
                self.boot = f"b{self.ms}"
                self.step(ac.Resume(clean=False, torn=self.random.random() < 0.5))
                continue
            owed = stage(self.procedure, self.state, self.now())
            self.step(self.actor.act(self.state, owed), owed.key)
            after_end -= self.state.phase == "ended"
        self.again()
        return len(self.lines)

    def again(self) -> None:
        """Folded from its lines, and decided again from its acts, the run is the same."""
        folded = replayed = State()
        for n, (now, by, act, events) in enumerate(self.lines):
            stored = _events.decode(canonical(msgspec.to_builtins(events)))
            if stored != events:
                self.fail(f"line {n} does not read back as it was written")
            folded = fold(folded, n, now, by, act, stored)
            if n % 3 == self.seed % 3:  # each line of some runs, to be quick
                if decide(self.procedure, replayed, act, now, by) != events:
                    self.fail(f"line {n} is decided otherwise on replay")
            replayed = folded
        if any(getattr(folded, f) != getattr(self.state, f) for f in CHANGING if f != "trail"):
            self.fail("the fold of the lines is not the live state")
        told = [Entry(n, *line) for n, line in enumerate(self.lines)]
        if self.seed % 20 == 0 and count(told) != len(gates(told)):  # the rows take their time
            self.fail("the summary counts other gates than there are rows")


@pytest.mark.parametrize("name", LIBRARY)
def test_nobody_passes_a_gate_without_its_act_whatever_they_try(name: str) -> None:
    share, done, seed = ACTS // len(LIBRARY), 0, int(os.environ.get("WITNESSMARK_SEED", "0"))
    while done < share:
        done += Walk(name, seed).run(min(LONGEST, share - done + 1))
        seed += 1
