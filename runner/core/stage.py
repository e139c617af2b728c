"""What the run owes next at the step where it stands: derived from procedure and state, never stored.

The order is fixed: unknown facts, unseen levels, values of the car, needs, safety messages, the gate.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from typing import Literal

from runner.core import graph
from runner.core.graph import Count, Found, Holds, LevelNeed, Need, Procedure, Step, WaitNeed
from runner.core.hazard import Caution
from runner.core.quantity import Quantity
from runner.core.stamp import Stamp, elapsed
from runner.core.state import SAFE_STOP, State, kind_of_step
from runner.core.units import Unclear
from runner.core.uses import asks_of
from runner.core.values import level_of, positions, subject_value, worth

READ_NS_PER_WORD = 200_000_000
"""300 words a minute: faster is not reading (Brysbaert 2019, most adults 175 to 300)."""

Kind = Literal[
    "new",
    "ended",
    "held",
    "summary",
    "safe stop",
    "diverged",
    "unknown",
    "look",
    "ask",
    "needs",
    "own caution",
    "cautions",
    "do",
    "check",
    "choose",
    "read",
    "read back",
    "grant",
    "beats",
    "fluid",
    "start hold",
    "hold",
    "identify",
    "photo",
    "books",
    "again",
    "end",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmet:
    """A need that does not hold: its words, the condition instance or level, what is there instead."""

    need: Need
    said: str
    instance: str
    is_now: str
    wait_left_s: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One thing that is owed now. Only the fields that belong to ``kind`` are filled."""

    kind: Kind
    found: Found | None = None
    unmet: tuple[Unmet, ...] = ()
    names: tuple[str, ...] = ()
    caution: Caution | None = None
    key: str = ""
    needed_ms: int = 0
    shown_ms: int = 0
    rest: tuple[Caution, ...] = ()
    options: tuple[str, ...] = ()
    beats: int = 0
    level: str = ""
    left_s: int = 0

    @property
    def step(self) -> Step | None:
        """The step of the stage, if it stands at one."""
        node = self.found.node if self.found else None
        return node if isinstance(node, Step) else None


def stage(procedure: Procedure, state: State, now: Stamp) -> Stage:
    """What the run owes next."""
    if state.phase in ("new", "ended", "summary"):
        return Stage(kind=state.phase)
    if state.phase == "held":
        return Stage(kind="held", names=open_now(procedure, state))
    if state.unknown:
        return Stage(kind="unknown", names=state.unknown, found=_found(procedure, state))
    if state.path == SAFE_STOP:
        return Stage(kind="safe stop", names=open_now(procedure, state))
    found = graph.find(procedure, state.path)
    if state.offers:
        return Stage(kind="diverged", found=found, options=state.offers)
    if state.again:
        return _again(procedure, state, now)
    if state.looks_owed:
        return look_stage(procedure, state, found)
    if isinstance(found.node, graph.Each):
        # Only a block whose order is not known yet is stood at.
        return Stage(kind="ask", found=found, names=(str(found.node.order),))
    if not isinstance(found.node, Step):
        return Stage(kind="end", found=found, names=tuple(state.owed))
    missing = asks_of(procedure, found, state)
    if missing:
        return Stage(kind="ask", found=found, names=missing)
    unmet = needs_unmet(procedure, state, found, now)
    if unmet and state.out is None:
        return Stage(kind="needs", found=found, unmet=unmet)
    messages = caution_stage(state, found, now)
    return messages or gate_stage(procedure, state, found, now)


def _found(procedure: Procedure, state: State) -> Found | None:
    return graph.find(procedure, state.path) if state.path not in ("", SAFE_STOP) else None


def look_stage(procedure: Procedure, state: State, found: Found) -> Stage:
    """A look at the first level that is owed one."""
    name = state.looks_owed[0]
    level = level_of(procedure, found.procedure, name)
    return Stage(kind="look", found=found, level=name, options=(*positions(procedure, state, level), "cannot see"))


def open_now(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What is open on the car and not as it normally is, in the order of making safe."""

    def rank(instance: str) -> tuple[int, str]:
        return (procedure.conditions[instance.partition("@")[0]].rank, instance)

    return tuple(sorted((i for i in graph.instances(procedure.conditions) if is_open(procedure, state, i)), key=rank))


def is_open(procedure: Procedure, state: State, instance: str) -> bool:
    """Whether an opening is or may be open: T, or unknown after it was known."""
    condition = procedure.conditions[instance.partition("@")[0]]
    if condition.kind != "opening" or condition.normally is True:
        return condition.kind == "opening" and condition.normally is True and state.value(instance) == "F"
    value = state.value(instance)
    return value == "T" or (value == "U" and instance in state.since)


def needs_unmet(procedure: Procedure, state: State, found: Found, now: Stamp) -> tuple[Unmet, ...]:
    """The needs of the step that do not hold now, in the author's order."""
    node = found.node
    if not isinstance(node, Step):
        return ()
    checked = (unmet_need(procedure, state, found, need, now) for need in node.needs)
    return tuple(u for u in checked if u is not None)


def unmet_need(procedure: Procedure, state: State, found: Found, need: Need, now: Stamp) -> Unmet | None:
    """The need with what is there instead; None where it holds."""
    match need:
        case Holds(ref=ref, wanted=wanted):
            name = graph.instance(procedure.conditions, ref, found.here)
            value = state.value(name)
            if value == ("T" if wanted else "F"):
                return None
            return Unmet(need=need, said=need.said, instance=name, is_now=value)
        case LevelNeed(level=level, at_least=mark):
            known, least = state.levels.get(level), worth(found.procedure, state, mark, found.here)
            if known is not None and isinstance(least, Quantity) and known[0] >= least.hi:
                return None
            return Unmet(need=need, said=need.said, instance=level, is_now="U" if known is None else "low")
        case WaitNeed(wait=wait):
            started = state.waits.get(wait)
            least_s = _wait_s(procedure, found, wait)
            if started is None:
                return Unmet(need=need, said=need.said, instance=wait, is_now="not started")
            left = least_s * 1_000_000_000 - elapsed(started, now).at_least_ns
            if left <= 0:
                return None
            return Unmet(
                need=need, said=need.said, instance=wait, is_now="running", wait_left_s=int(left / 1_000_000_000) + 1
            )


def _wait_s(procedure: Procedure, found: Found, wait: str) -> Fraction:
    return (found.procedure.waits.get(wait) or procedure.waits[wait]).at_least


def caution_stage(state: State, found: Found, now: Stamp) -> Stage | None:
    """The next safety message that is owed an act; None where all are confirmed or in effect."""
    step = found.node
    if not isinstance(step, Step):
        return None
    kind = kind_of_step(state.path)
    rest: list[Caution] = []
    for caution in step.cautions:
        if caution.name in state.confirmed:
            continue
        if isinstance(step.gate, Count) and (state.path, caution.name) in state.in_effect:
            continue
        joined = caution.word == "WARNING" and (kind, caution.name) in state.in_effect
        if caution.own_act and not joined:
            return Stage(
                kind="own caution",
                found=found,
                caution=caution,
                key=confirm_key(state, caution),
                needed_ms=caution.words * READ_NS_PER_WORD // 1_000_000,
                shown_ms=shown_ms(state, now),
            )
        rest.append(caution)
    if not rest:
        return None
    words = sum(c.words for c in rest if (kind, c.name) not in state.in_effect)
    return Stage(
        kind="cautions",
        found=found,
        rest=tuple(rest),
        shown_ms=shown_ms(state, now),
        needed_ms=words * READ_NS_PER_WORD // 1_000_000,
    )


def shown_ms(state: State, now: Stamp) -> int:
    """How long what stands on the screen has been there at least, in milliseconds."""
    return 0 if state.shown is None else elapsed(state.shown, now).at_least_ns // 1_000_000


def confirm_key(state: State, caution: Caution) -> str:
    """The digit printed in the text of a warning: another one at each exposure, the same on replay."""
    seed = sha256(f"{state.salt}|{state.path}|{caution.name}|{state.exposures}".encode()).digest()
    digits = [d for d in "123456789" if d != state.last_key]
    return digits[seed[0] % len(digits)]


def gate_stage(procedure: Procedure, state: State, found: Found, now: Stamp) -> Stage:
    """What the gate of the step asks for."""
    step = found.node
    if not isinstance(step, Step):
        return Stage(kind="end", found=found)
    if state.pending is not None:
        return Stage(kind="read back", found=found)
    match step.gate:
        case None:
            return Stage(kind="do", found=found)
        case graph.Check(kind=answer, options=options):
            return Stage(kind="check", found=found, options=graph.CORNERS if answer == "corner" else options)
        case graph.Choice(options=options):
            return Stage(kind="choose", found=found, options=options)
        case graph.Reading(instead=instead):
            return Stage(kind="read", found=found, options=instead)
        case graph.Count(exits=exits):
            if state.out is not None:
                return Stage(kind="beats", found=found, beats=state.out.beats)
            if state.looked:
                return Stage(kind="fluid", found=found, options=exits)
            return Stage(kind="grant", found=found, beats=grant_of(procedure, state, found).beats)
        case graph.Timed(at_least=least, options=options):
            if state.started is None:
                return Stage(kind="start hold", found=found)
            left = int(least * 1_000_000_000) - elapsed(state.started, now).at_least_ns
            return Stage(kind="hold", found=found, options=options, left_s=max(0, -(-left // 1_000_000_000)))
        case graph.Identify():
            return Stage(kind="identify", found=found)
        case graph.Photo():
            return Stage(kind="photo", found=found)
        case graph.Books():
            return Stage(kind="books", found=found)


def _again(procedure: Procedure, state: State, now: Stamp) -> Stage:
    """The safety messages and the question of the first step that is to be confirmed again."""
    found = graph.find(procedure, state.again[0])
    return caution_stage(state, found, now) or Stage(kind="again", found=found, options=("still so", "not so any more"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Grant:
    """How many beats may be done before the next look; 0 with the reason: short, full, bound or unclear."""

    beats: int
    reason: str
    least: Fraction = Fraction(0)
    most: Fraction = Fraction(0)


def grant_of(procedure: Procedure, state: State, found: Found) -> Grant:
    """As many beats as keep the worst case inside, at most what is planned, bounded and of one grant.

    The worst case is the most of the move plus what gravity drains in the time of a beat.
    """
    step = found.node
    if not isinstance(step, Step) or not isinstance(step.gate, Count):
        return Grant(beats=0, reason="unclear")
    count, used = step.gate, state.beats.get(state.path, 0)
    least = most = Fraction(0)
    room: int | None = None
    if count.move is not None:
        move = count.move
        amounts = [worth(found.procedure, state, e, found.here) for e in (move.least, move.most)]
        flow = worth(found.procedure, state, count.gravity, found.here) if count.gravity is not None else None
        if not all(isinstance(a, Quantity) for a in amounts) or isinstance(flow, Unclear):
            return Grant(beats=0, reason="unclear")
        low_q, high_q = (a for a in amounts if isinstance(a, Quantity))
        least = low_q.lo
        most = high_q.hi + (flow.hi * count.seconds if isinstance(flow, Quantity) else 0)
        short = _room(procedure, state, found, move, most)
        if short is not None:
            if short[0] < 1:
                return Grant(beats=0, reason=short[1], least=least, most=most)
            room = short[0]
    if used >= count.at_most:
        return Grant(beats=0, reason="bound", least=least, most=most)
    planned = worth(found.procedure, state, count.planned, found.here) if count.planned is not None else None
    left = -(-planned.hi // 1) - used if isinstance(planned, Quantity) else count.grant
    beats = min(count.grant, left if left >= 1 else count.grant, count.at_most - used)
    beats = min(beats, room) if room is not None else beats
    return Grant(beats=int(beats), reason="", least=least, most=most)


def _room(procedure: Procedure, state: State, found: Found, move: graph.Move, most: Fraction) -> tuple[int, str] | None:
    """How many beats the levels allow, and which of them is in the way."""
    if most <= 0:
        return None
    rooms: list[tuple[int, str]] = []
    if move.source is not None:
        known = state.levels.get(move.source)
        floor = worth(found.procedure, state, move.low_mark, found.here) if move.low_mark is not None else None
        if not isinstance(floor, Quantity):
            floor = worth(procedure, state, level_of(procedure, found.procedure, move.source).floor, found.here)
        if known is None or not isinstance(floor, Quantity):
            return (0, "short")
        rooms.append((int((known[0] - floor.hi) // most), "short"))
    if move.target is not None:
        known = state.levels.get(move.target)
        brim = worth(procedure, state, level_of(procedure, found.procedure, move.target).brim, found.here)
        if known is None or not isinstance(brim, Quantity):
            return (0, "full")
        rooms.append((int((brim.lo - known[1]) // most), "full"))
    return min(rooms, default=None)


def unless_lifted(procedure: Procedure, state: State, subject: str, value: str, here: str | None) -> bool:
    """Whether a duty is lifted by a remembered choice or a value of the car."""
    return subject_value(procedure, state, subject, here) == value
