"""What follows physically from a deed or a change is stated by the step that does it.

A duty of the vocabulary may say what becomes true (`makes`), what becomes false (`ends`), which level has to be looked
at (`looks`) or must be high enough (`at_least`), and which is filled or drawn from (`fills`, `draws`): the move says
where to go when it is full, or short of its low mark. Whoever does the deed, or makes or ends the condition, states
these effects: by itself, or on each way on which it comes about; what that way takes back at once does not count. So
an effect that is forgotten at one of several steps is seen, and so is a level that a procedure does not follow.

Bad:
    steps:
      free: {do: Turn the nipple., place: wheel, deeds: [turns_nipple], next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      free: {do: Turn the nipple., place: wheel, deeds: [turns_nipple], ends: [nipple_tight@RR], next: end}
      end: {end: done, say: It is done.}
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.graph import Duty, LevelNeed, Ref, Step, instance, moves_of
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.due import Due, due, unlifted
from runner.verify.fields import member_of
from runner.verify.station import Op, Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The effects of duties that a station does not state."""
    if station.step is None:
        return
    for each in due(case, station):
        if each.edge != ENTRY:
            yield from _unstated(case, station, each)


def _unstated(case: Case, station: Station, each: Due) -> Iterator[Claim]:
    op = station.edges[each.edge].ops[each.at]
    here = member_of(op.name) or station.here
    for verb, refs in (("make", each.duty.makes), ("end", each.duty.ends)):
        for ref in refs:
            if not _stated(case, station, each.edge, verb, instance(case.procedure.conditions, ref, here)):
                yield _claim(case, station, each, f"{verb}s: [{_said(ref)}]", f"{verb}s '{_said(ref)}'")
    assert station.step is not None
    for level, write, word in _levels(station.step, each.duty):
        yield _claim(case, station, each, write, f"{word} the level '{level}'")


def _levels(step: Step, duty: Duty) -> Iterator[tuple[str, str, str]]:
    """The levels of a duty that the step does not speak of: which, what would say so, and what is missing."""
    moves = moves_of(step)
    for level in duty.looks:
        if level not in {look.level for look in step.sets}:
            yield level, f"sets: {{{level}: MARK, by: look, within: ..}}", "asks for a look at"
    for level in duty.at_least:
        if level not in {n.level for n in step.needs if isinstance(n, LevelNeed)}:
            yield level, f"needs: [{{level: {level}, at_least: ..}}]", "asks for enough at"
    for level in duty.fills:
        into = [m for m in moves if m.target == level]
        if not into:
            yield level, f"moves: [{{to: {level}, each: [..], if_full: STEP}}]", "fills"
        elif any(m.if_full is None for m in into):
            yield level, "if_full: STEP", "asks for a stop before it runs over at"
    for level in duty.draws:
        out = [m for m in moves if m.source == level]
        if not out:
            yield level, f"moves: [{{from: {level}, each: [..], low_mark: .., if_short: STEP}}]", "draws from"
        elif any(m.if_short is None for m in out):
            yield level, "if_short: STEP", "asks for a stop before it runs dry at"
        elif any(m.low_mark is None for m in out):
            yield level, "low_mark: MARK", "asks for a low mark at"


def _stated(case: Case, station: Station, edge: int, verb: str, name: str) -> bool:
    """On the edge itself, in another phase of the beat, or on every way out of a count's look."""

    def on(ops: tuple[Op, ...]) -> bool:
        # What the same way takes back at once has not come about.
        last = next((op for op in reversed(ops) if op.name == name and op.verb in ("make", "end")), None)
        return any(_is(op, verb, name) for op in ops) and (last is None or last.verb == verb)

    if on(station.edges[edge].ops):
        return True
    if station.kind != "phase":
        return False
    parts = case.step_of(station)
    looks = [e for s in parts if s.kind == "look" for e in s.edges if e.kind == "arm"]
    within = (e.ops for s in parts if s.kind == "phase" for e in s.edges)
    return any(map(on, within)) or (bool(looks) and all(on(e.ops) for e in looks))


def _is(op: Op, verb: str, name: str) -> bool:
    # No member is here: the step itself says of which it speaks.
    anywhere = name.endswith("@None") and op.name.partition("@")[0] == name.partition("@")[0]
    return op.verb == verb and (op.name == name or anywhere)


def _said(ref: Ref) -> str:
    return ref.name if ref.at in (None, "here") else f"{ref.name}@{ref.at}"


def _claim(case: Case, station: Station, each: Due, write: str, word: str) -> Claim:
    return Claim(
        check="effect",
        edge=ENTRY,
        bad=tuple(bad for _, bad in unlifted(case, each.duty)) or case.always,
        place=station.place,
        key=f"{each.occasion} {write}",
        text=f"{each.occasion} {word}, which is not stated here",
        help=f"write '{write}' here",
        related=((each.duty.place, "the duty"),),
    )
