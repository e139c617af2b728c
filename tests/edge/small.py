"""A small procedure and a car for it, invented, with every kind of line that a story or a car's file needs."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.entry import Entry
from runner.core.folding import fold
from runner.core.graph import Procedure
from runner.core.line import Head, seal
from runner.core.stage import stage
from runner.core.stamp import MS, SECOND, Stamp, at_ms, at_text
from runner.core.state import State
from runner.edge.clock import DEMO_START, Clock, SteppedClock
from runner.edge.reader import read

VOCABULARY = """\
vocabulary: workshop
places: {wheel: at the wheel, bench: at the bench}
deeds: {pads_pulled: the pads are pulled}
hazards:
  dust:
    hazard: Brake dust gets into the lungs.
    consequence: It can make you ill.
    avoid: Wet the caliper before you pull the pads.
    harm: death or serious injury
    outcome: could
  spring:
    hazard: The spring of the pad has a sharp edge.
    consequence: It can cut a finger.
    avoid: Hold the pad at its plate.
    harm: minor or moderate injury
    outcome: could
conditions:
  goggles_on: {kind: fact, says: goggles are on, says_not: goggles are off, keeps: this stretch, restore: goggles}
  pads_out:
    {kind: opening, says: the pads are out, says_not: the pads are in, normally: false, leave_rank: 1,
     if_left: {close: Put the pads back.}}
duties:
  - {on: {deed: pads_pulled}, needs: [goggles_on], cautions: [dust]}
"""

PROCEDURE = """\
procedure: pad-look
title: Look at the pads
revision: "3"
purpose: Says whether the pads may stay.
assumes: [not pads_out]
asks:
  pad_limit:
    {what: Least thickness of the pad, quantity: length, unit: mm, sources: [car's service literature], at_least: 1 mm,
     at_most: 20 mm}
  pad_new:
    {what: Thickness of a new pad, quantity: length, unit: mm, sources: [car's service literature, marked on the part],
     measured: true, unknown: true, above: pad_limit}
  caliper: {what: Kind of caliper, choice: [floating, fixed], sources: [seen on the car], unknown: true}
  wear: {what: Wear of the disc, quantity: length, unit: mm, per: axle, sources: [seen on the car], unknown: true}
steps:
  goggles: {do: Put on the goggles., short: GOGGLES, place: bench, makes: [goggles_on], next: pull}
  pull:
    do: Pull the pads.
    short: PULL PADS
    place: wheel
    cautions: [dust]
    needs: [goggles_on]
    deeds: [pads_pulled]
    makes: [pads_out]
    check: {ask: How many pads lie on the bench?, number: 2}
    next: measure
  measure:
    do: Measure the thinner pad.
    short: MEASURE
    place: bench
    reading:
      as: pad
      what: pad thickness
      quantity: length
      unit: mm
      instruments: [micrometer]
      limit: {at_least: pad_limit, kind: car's literature}
    override: back
    next: {pass: back, fail: stop, cannot tell: measure}
    at_most: {times: 5, then: stop}
  back:
    do: Put the pads back.
    short: PADS BACK
    place: wheel
    cautions: [spring]
    needs: [goggles_on]
    ends: [pads_out]
    next: batch
  batch:
    do: Read the number of the pads.
    short: NUMBER
    place: bench
    identify: {as: batch, what: number of the pads, pattern: "[A-Z0-9-]{3,20}"}
    next: done
  done: {end: done, say: The pads may stay.}
  stop: {end: stopped, say: The pads are worn.}
"""

FILES = {"pad-look.yaml": PROCEDURE.encode(), "vocabulary.yaml": VOCABULARY.encode()}
CARD = {"what": "micrometer", "unit": "mm", "error": "0.02 mm"}


def procedure() -> Procedure:
    made = read(FILES, "pad-look.yaml")
    assert isinstance(made, Procedure), made
    return made


def begin(**changes: object) -> ac.Begin:
    told: dict[str, object] = {
        "procedure": "pad-look",
        "revision": "3",
        "version": "0.1.0",
        "texts": {name: data.decode() for name, data in FILES.items()},
        "hashes": {},
        "car": "0123456789abcdef",
        "demonstration": False,
        "salt": "salt",
        "asks": {"pad_limit": {"value": "3 mm", "source": "car's service literature"}},
        "conditions": {},
        "levels": {},
        "waits": {},
        "parts": {},
        "instruments": {"outside mike": CARD},
        "claims": {},
        "heads": {},
    }
    return ac.Begin(**(told | changes))  # type: ignore[arg-type]


Course = Callable[[Procedure, State, Stamp], AnyAct]


def key_of_caution(made: Procedure, state: State, now: Stamp) -> AnyAct:
    """The right key for the message that is owed."""
    owed = stage(made, state, now)
    assert owed.caution is not None
    return ac.Confirm(hazard=owed.caution.name, key=owed.key)


def typed(value: str) -> ac.Enter:
    return ac.Enter(typed=[value], unit="mm", instrument="outside mike")


USUAL: tuple[AnyAct | Course, ...] = (
    begin(),
    ac.Assume(),
    ac.Done(),
    key_of_caution,
    ac.Answer(value="2"),
    typed("4.51"),
    ac.Accept(),
    ac.ConfirmRest(),
    ac.Done(late="09:15"),
    ac.Enter(typed=["AB-1234"]),
    ac.Accept(),
    ac.Done(),
    ac.Sign(initials="AB", meaning="performed"),
)


@dataclass
class Spans:
    """A clock that lets the given seconds pass from one act to the next, then 20 s each; the time of day can differ."""

    seconds: list[float]
    set_back: dict[int, float] = field(default_factory=dict)
    asked: int = -1
    mono: int = 0
    wall: int = at_ms(DEMO_START.at)

    def now(self) -> Stamp:
        if self.asked >= 0:
            span = self.seconds[self.asked] if self.asked < len(self.seconds) else 20
            self.mono += int(span * SECOND)
            self.wall += int(span * SECOND) // MS
        self.asked += 1
        self.wall -= int(self.set_back.get(self.asked, 0) * 1000)
        return Stamp(at=at_text(self.wall), mono=self.mono, boot="demo-boot")


def lines(
    acts: Iterable[AnyAct | Course] = USUAL,
    *,
    by: str = "AB",
    clock: Clock | None = None,
    made: Procedure | None = None,
) -> tuple[list[bytes], tuple[Entry, ...]]:
    """The record of the acts as a run writes it, twenty seconds from one to the next."""
    made, state, head = made or procedure(), State(), Head()
    clock = clock or SteppedClock(step_ns=20 * SECOND)
    raws: list[bytes] = []
    told: list[Entry] = []
    for one in acts:
        now = clock.now()
        act = one(made, state, now) if callable(one) else one
        events = decide(made, state, act, now, by)
        raws.append(seal(head, now, by, act, events))
        told.append(Entry(head.n, now, by, act, events))
        state = fold(state, head.n, now, by, act, events)
        head = head.after(raws[-1])
    return raws, tuple(told)


def record(folder: Path, acts: Iterable[AnyAct | Course] = USUAL, name: str = "run-1") -> Path:
    path = folder / f"{name}.jsonl"
    path.write_bytes(b"".join(lines(acts)[0]))
    return path
