"""What the run owes next at the step where it stands: derived from procedure and state, never stored.

The order is fixed: unknown facts, unseen levels, values of the car, needs, safety messages, the gate.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import Literal

from runner.core import graph
from runner.core.draft import at
from runner.core.granting import grant_of
from runner.core.graph import Count, Found, LevelNeed, Procedure, Step
from runner.core.hazard import Caution
from runner.core.needs import Unmet, needs_unmet, ready_ns
from runner.core.stamp import MS, Stamp, elapsed
from runner.core.state import SAFE_STOP, State, kind_of_step
from runner.core.uses import asks_of
from runner.core.values import level_of, positions

__all__ = ["Stage", "Unmet", "needs_unmet", "open_now", "stage"]

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
    if state.out is not None:
        # Something urgent may be open: nothing stands between the beats and their report.
        return gate_stage(procedure, state, at(procedure, state.path), now)
    if state.unknown:
        return Stage(kind="unknown", names=state.unknown, found=_found(procedure, state))
    if state.path == SAFE_STOP:
        return Stage(kind="safe stop", names=open_now(procedure, state))
    found = at(procedure, state.path)
    if state.diverged:
        return Stage(kind="diverged", found=found, options=state.offers)
    if state.again:
        return _again(procedure, state, now)
    if state.looks_owed:
        return look_stage(procedure, state, found, state.looks_owed[0])
    if isinstance(found.node, graph.Each):
        # Only a block whose order is not known yet is stood at.
        return Stage(kind="ask", found=found, names=(str(found.node.order),))
    if not isinstance(found.node, Step):
        return Stage(kind="end", found=found, names=tuple(state.owed))
    missing = asks_of(procedure, state.path, state)
    if missing:
        return Stage(kind="ask", found=found, names=missing)
    unmet = needs_unmet(procedure, state, found, now)
    if unmet:
        return _unseen(procedure, state, found, unmet) or Stage(kind="needs", found=found, unmet=unmet)
    over = ready_ns(procedure, state, found, now)
    messages = caution_stage(state, found, state.path, now, least_ms=None if over is None else over // MS)
    return messages or gate_stage(procedure, state, found, now)


def _found(procedure: Procedure, state: State) -> Found | None:
    return at(procedure, state.path) if state.path not in ("", SAFE_STOP) else None


def _unseen(procedure: Procedure, state: State, found: Found, unmet: tuple[Unmet, ...]) -> Stage | None:
    """A look at a level that the step needs and that nobody knows; None where there is nothing to be seen."""
    unknown = [u.instance for u in unmet if isinstance(u.need, LevelNeed) and u.is_now == "U"]
    owed = look_stage(procedure, state, found, unknown[0]) if unknown else None
    return owed if owed is not None and len(owed.options) > 1 else None


def look_stage(procedure: Procedure, state: State, found: Found, name: str) -> Stage:
    """A look at a level."""
    level = level_of(procedure, found.procedure, name)
    return Stage(kind="look", found=found, level=name, options=(*positions(procedure, state, level), "cannot see"))


def open_now(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What is open on the car and not as it normally is, in the order of making safe."""
    return tuple(i for i in _openings(procedure) if is_open(procedure, state, i))


@lru_cache(maxsize=32)
def _openings(procedure: Procedure) -> tuple[str, ...]:
    conditions = procedure.conditions

    def rank(instance: str) -> tuple[int, str]:
        return (conditions[instance.partition("@")[0]].rank, instance)

    all_of = (i for i in graph.instances(conditions) if conditions[i.partition("@")[0]].kind == "opening")
    return tuple(sorted(all_of, key=rank))


def is_open(procedure: Procedure, state: State, instance: str) -> bool:
    """Whether an opening is or may be open: not as it normally is, or unknown after it was known."""
    condition = procedure.conditions.get(instance.partition("@")[0])
    if condition is None or condition.kind != "opening":
        return False
    value = state.conditions.get(instance)
    return value == "U" or value == ("F" if condition.normally else "T")


def caution_stage(state: State, found: Found, path: str, now: Stamp, least_ms: int | None = None) -> Stage | None:
    """The next safety message of the step at ``path`` that is owed an act; None where all are confirmed or in effect.

    A warning is in effect at later corners of the same step and is joined to their other messages; a danger never is.
    Where the step waited for something, its messages have stood for no longer than ``least_ms``.
    """
    step = found.node
    if not isinstance(step, Step) or not step.cautions:
        return None
    kind = kind_of_step(path)
    shown = shown_ms(state, now) if least_ms is None else min(shown_ms(state, now), least_ms)
    rest: list[Caution] = []
    for caution in step.cautions:
        if caution.name in state.confirmed:
            continue
        if isinstance(step.gate, Count) and (path, caution.name) in state.in_effect:
            continue
        joined = caution.word == "WARNING" and (kind, caution.name) in state.in_effect
        if caution.own_act and not joined:
            return Stage(
                kind="own caution",
                found=found,
                caution=caution,
                key=confirm_key(state, path, caution),
                needed_ms=caution.words * READ_NS_PER_WORD // 1_000_000,
                shown_ms=shown,
            )
        rest.append(caution)
    if not rest:
        return None
    words = sum(c.words for c in rest if (kind, c.name) not in state.in_effect)
    return Stage(
        kind="cautions",
        found=found,
        rest=tuple(rest),
        shown_ms=shown,
        needed_ms=words * READ_NS_PER_WORD // 1_000_000,
    )


def shown_ms(state: State, now: Stamp) -> int:
    """How long what stands on the screen has been there at least, in milliseconds."""
    return 0 if state.shown is None else elapsed(state.shown, now).at_least_ns // 1_000_000


def confirm_key(state: State, path: str, caution: Caution) -> str:
    """The digit printed in the text of a warning: the same on replay, never that of its last time or the last one."""
    seed = sha256(f"{state.salt}|{path}|{caution.name}|{state.exposures}".encode()).digest()
    digits = [d for d in "123456789" if d not in (state.last_key, state.keys.get(caution.name))]
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
    path = state.again[0]
    found = at(procedure, path)
    return caution_stage(state, found, path, now) or Stage(
        kind="again", found=found, options=("still so", "not so any more")
    )
