"""What leaving a step does to the car: deeds, conditions, parts, levels, waits."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from runner.core import event as ev
from runner.core import graph, ruling
from runner.core.draft import Draft, outward
from runner.core.going import go
from runner.core.granting import brim_of, measured, threshold
from runner.core.graph import LEFT, Arm, Found, Move, Step, Target
from runner.core.order import note
from runner.core.quantity import Quantity
from runner.core.ruling import Deed
from runner.core.state import Enclosure
from runner.core.values import named, worth


def arm_for(step: Step, outcome: str) -> Arm | None:
    """The first arm that takes the outcome."""
    return next((a for a in step.branch.arms if a.value in (None, outcome)), None)


def leave(draft: Draft, found: Found, outcome: str, because: str = "", late: str = "") -> None:
    """Apply the effects of the step and of its arm, and go on. Refuses, unchanged, where a rule forbids it."""
    step = found.node
    if not isinstance(step, Step):
        return
    arm = _arm(draft, found, step, outcome)
    if arm is None:
        draft.refuse(f"the outcome '{outcome}' leads nowhere", "the procedure has no edge for it: use 'cannot be done'")
        return
    deeds = ruling.of_step(draft.procedure, found, step, arm)
    if not may_happen(draft, deeds, touched_levels(step)):
        return
    _apply(draft, found, step, deeds)
    draft.emit(ev.Left(path=draft.state.path, outcome=outcome, because=because, late=late))
    note(draft, draft.state.path, outcome)
    _on(draft, arm.target)


def turn_away(draft: Draft) -> None:
    """Leave a step by its edge for short or full before its transfer is done: afterwards it would be too late."""
    state = draft.state
    while (
        not draft.refused
        and state.phase == "running"
        and not (state.unknown or state.looks_owed or state.diverged or state.again)
    ):
        found = draft.found()
        step = found.node
        if not isinstance(step, Step) or not step.moves or state.pending is not None:
            return
        turned = _short(draft, found, step)
        if turned is None:
            return
        draft.emit(ev.Left(path=state.path, outcome=turned[0], because=_in_the_way(turned[0])))
        note(draft, state.path, LEFT, done=False)
        _on(draft, turned[1])
        state = draft.state


def _in_the_way(reason: str) -> str:
    return "it could pass below the low mark" if reason == "short" else "it could run over the brim"


def _on(draft: Draft, target: Target) -> None:
    """Back to the step that waits for what was restored, or on along the edge."""
    back = draft.state.back_to
    if back:
        draft.emit(ev.Arrived(path=back, because="back from restoring"))
        draft.emit(ev.Restored(condition=draft.state.restoring))
        return
    go(draft, target)


def may_happen(draft: Draft, deeds: tuple[Deed, ...], levels: Iterable[str]) -> bool:
    """Whether neither a rule nor the claim of a paused run forbids it; if one does, the act is refused."""
    rule = ruling.broken(draft.procedure, draft.state, deeds)
    if rule is not None:
        draft.refuse(f"a rule forbids it now: {rule.said}", rule.why or "say how the car is, or what cannot be done")
        return False
    claims = draft.state.claims
    if not claims:
        return True
    changed = [d.instance for d in deeds if d.instance and draft.state.value(d.instance) != d.value]
    held = next((n for n in (*changed, *levels) if n in claims), None)
    if held is not None:
        draft.refuse(f"'{held}' is held by the paused run {claims[held]}", "finish or safely stop that run first")
    return held is None


def touched_levels(step: Step) -> tuple[str, ...]:
    """The levels that the step changes."""
    return (*(n for m in step.moves for n in (m.source, m.target) if n), *(s.level for s in step.sets))


def _arm(draft: Draft, found: Found, step: Step, outcome: str) -> Arm | None:
    subject = step.branch.subject
    if subject == "gate":
        return arm_for(step, outcome)
    value = draft.state.choices.get(subject)
    if value is None:
        known = named(found.procedure, draft.state, subject, found.here)
        value = known if isinstance(known, str) else ""
    return arm_for(step, value)


def _short(draft: Draft, found: Found, step: Step) -> tuple[str, Target] | None:
    """A planned transfer that would pass below the low mark or over the brim takes its edge instead."""
    for move in step.moves:
        if measured(step, move):
            continue  # a measured amount has already moved
        amounts = _amounts(draft, found, move)
        if move.if_short is not None and move.source is not None:
            known = draft.state.levels.get(move.source)
            low = threshold(draft.procedure, draft.state, found, move)
            if known is None or amounts is None or low is None or known[0] - amounts[1] < low:
                return ("short", move.if_short)
        if move.if_full is not None and move.target is not None:
            known = draft.state.levels.get(move.target)
            brim = brim_of(draft.procedure, draft.state, found, move.target)
            if known is None or amounts is None or brim is None or known[1] + amounts[1] > brim:
                return ("full", move.if_full)
    return None


def _amounts(draft: Draft, found: Found, move: Move) -> Enclosure | None:
    least, most = (worth(found.procedure, draft.state, e, found.here) for e in (move.least, move.most))
    if isinstance(least, Quantity) and isinstance(most, Quantity):
        return (max(Fraction(0), min(least.lo, most.lo)), max(Fraction(0), least.hi, most.hi))
    return None


def _apply(draft: Draft, found: Found, step: Step, deeds: tuple[Deed, ...]) -> None:
    told = ruling.watched(draft.procedure, deeds)
    if told:
        draft.emit(ev.Happened(deeds=told))
    changes = ruling.changes(deeds)
    if changes:
        draft.emit(ev.Became(changes=changes, why=step.id))
    for part in step.taken:
        declared = found.procedure.parts.get(part) or draft.procedure.parts.get(part)
        if declared is not None and declared.single_use:
            draft.emit(ev.PartUsed(part=part, left=max(0, draft.state.parts.get(part, declared.have) - 1)))
    for move in step.moves:
        _transfer(draft, found, step, move)
    for look in step.sets:
        mark, within = (worth(found.procedure, draft.state, e, found.here) for e in (look.mark, look.within))
        if isinstance(mark, Quantity) and isinstance(within, Quantity):
            pair = (max(Fraction(0), mark.lo - within.hi), mark.hi + within.hi)
            draft.emit(ev.LevelIs(level=look.level, enclosure=outward(pair), why=f"seen at {look.said}", by_look=True))
        else:
            draft.emit(ev.LevelIs(level=look.level, enclosure=None, why="the mark is not known"))
    if step.starts:
        draft.emit(ev.WaitStarted(wait=step.starts))


def _transfer(draft: Draft, found: Found, step: Step, move: Move) -> None:
    amounts = _amounts(draft, found, move)
    for name, sign in ((move.source, -1), (move.target, 1)):
        if name is None:
            continue
        known = draft.state.levels.get(name)
        if amounts is None or known is None:
            draft.emit(ev.LevelIs(level=name, enclosure=None, why=f"{step.id}: the amount is not known"))
            continue
        least = amounts[0] if sign < 0 or measured(step, move) else Fraction(0)
        draft.emit(ev.LevelIs(level=name, enclosure=outward(moved(known, (least, amounts[1]), sign)), why=step.id))


def moved(known: Enclosure, amounts: Enclosure, sign: int) -> Enclosure:
    """An enclosure after [least, most] went out (sign -1) or came in (1); never below empty.

    What comes in raises the lower bound only by what was measured: a plan has filled nothing yet.
    """
    least, most = amounts
    pair = (known[0] - most, known[1] - least) if sign < 0 else (known[0] + least, known[1] + most)
    return (max(Fraction(0), pair[0]), max(Fraction(0), pair[1]))


def make_unknown(draft: Draft, found: Found, why: str) -> None:
    """What the step would have made, ended or moved is not known: it was overridden or could not be done."""
    step = found.node
    if not isinstance(step, Step):
        return
    deeds = [d for arm in step.branch.arms for d in ruling.of_step(draft.procedure, found, step, arm)]
    if draft.state.out is not None and isinstance(step.gate, graph.Count):
        deeds += ruling.of_beat(draft.procedure, found, step.gate.beat)
    changes = dict.fromkeys(ruling.changes(deeds), "U")
    if changes:
        draft.emit(ev.Became(changes=changes, why=why))
    for name in dict.fromkeys(touched_levels(step)):
        draft.emit(ev.LevelIs(level=name, enclosure=None, why=why))
