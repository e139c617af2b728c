"""How many beats may be done before the next look: the worst case stays inside, whatever the foot does."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from runner.core.graph import Count, Found, Move, Procedure, Reading, Step
from runner.core.quantity import Quantity
from runner.core.state import State
from runner.core.units import Unclear
from runner.core.values import owner_of, worth


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
        each = _each(state, found, count, count.move)
        if each is None:
            return Grant(beats=0, reason="unclear")
        least, most = each
        short = _room(procedure, state, found, count.move, most)
        if short is not None:
            if short[0] < 1:
                return Grant(beats=0, reason=short[1], least=least, most=most)
            room = short[0]
    if used >= count.at_most:
        return Grant(beats=0, reason="bound", least=least, most=most)
    planned = worth(found.procedure, state, count.planned, found.here) if count.planned is not None else None
    left = -(-planned.hi // 1) - used if isinstance(planned, Quantity) else count.grant
    beats = min(count.grant, left if left >= 1 else count.grant, count.at_most - used)
    return Grant(beats=int(min(beats, room) if room is not None else beats), reason="", least=least, most=most)


def _each(state: State, found: Found, count: Count, move: Move) -> tuple[Fraction, Fraction] | None:
    """Least and most that one beat moves; None where that is not known."""
    ends = [worth(found.procedure, state, e, found.here) for e in (move.least, move.most)]
    flow = worth(found.procedure, state, count.gravity, found.here) if count.gravity is not None else None
    known = [q for q in ends if isinstance(q, Quantity)]
    if len(known) < 2 or isinstance(flow, Unclear):
        return None
    drained = max(Fraction(0), flow.hi * count.seconds) if flow is not None else Fraction(0)
    return (max(Fraction(0), min(q.lo for q in known)), max(Fraction(0), *(q.hi for q in known)) + drained)


def _room(procedure: Procedure, state: State, found: Found, move: Move, most: Fraction) -> tuple[int, str] | None:
    """How many beats the levels allow, and which of them is in the way: short before full."""
    if most <= 0:
        return None
    rooms: list[tuple[int, str]] = []
    if move.source is not None:
        known, low = state.levels.get(move.source), threshold(procedure, state, found, move)
        if known is None or low is None:
            return (0, "short")
        rooms.append((int((known[0] - low) // most), "short"))
    if move.target is not None:
        known, brim = state.levels.get(move.target), brim_of(procedure, state, found, move.target)
        if known is None or brim is None:
            rooms.append((0, "full"))
        else:
            rooms.append((int((brim - known[1]) // most), "full"))
    stopped = next((room for room in rooms if room[0] < 1), None)
    return stopped or min(rooms, default=None)


def threshold(procedure: Procedure, state: State, found: Found, move: Move) -> Fraction | None:
    """What the source must not pass below: the low mark of the move, else the floor of the level."""
    if move.low_mark is not None:
        low = worth(found.procedure, state, move.low_mark, found.here)
    else:
        owner = owner_of(procedure, found.procedure, move.source or "")
        low = worth(owner, state, owner.levels[move.source or ""].floor, found.here)
    return low.hi if isinstance(low, Quantity) else None


def brim_of(procedure: Procedure, state: State, found: Found, level: str) -> Fraction | None:
    """Where the level runs over, at its lowest."""
    owner = owner_of(procedure, found.procedure, level)
    brim = worth(owner, state, owner.levels[level].brim, found.here)
    return brim.lo if isinstance(brim, Quantity) else None


def measured(step: Step, move: Move) -> bool:
    """Whether the move is by the step's own reading: what was measured has moved already."""
    return isinstance(step.gate, Reading) and step.gate.name in move.least.names | move.most.names
