"""Counts: beats granted in advance at the worst case, credited on return, then a look and an answer."""

from __future__ import annotations

from fractions import Fraction

from runner.core import event as ev
from runner.core import ruling
from runner.core.act import Answer, Beat, Done, Report
from runner.core.draft import Draft, outward
from runner.core.effects import leave, may_happen, moved
from runner.core.going import go
from runner.core.granting import grant_of
from runner.core.graph import LEFT, Count, Found, Step
from runner.core.order import note
from runner.core.rational import to_text
from runner.core.state import Out
from runner.core.values import level_of, positions


def grant(draft: Draft, found: Found, step: Step, count: Count) -> None:
    """Grant the next beats, or take the edge of what is in the way: short, full, bound."""
    path, allowed = draft.state.path, grant_of(draft.procedure, draft.state, found)
    if allowed.beats < 1:
        move = count.move
        edge = {
            "short": move.if_short if move else None,
            "full": move.if_full if move else None,
            "bound": count.bound,
        }.get(allowed.reason)
        if edge is None:
            draft.refuse("how many beats are safe is not known", "look at the level, or say what cannot be done")
            return
        draft.emit(ev.Left(path=path, outcome=allowed.reason, because=_because(draft, found, count, allowed.reason)))
        note(draft, path, LEFT, done=False)
        go(draft, edge)
        return
    deeds = ruling.of_beat(draft.procedure, found, count.beat)
    if not may_happen(draft, deeds, (name for name, _ in _levels(count))):
        return
    # At the largest possible draw, and as if nothing had come in: a credit only cancels its own debit.
    levels: dict[str, list[str]] = {}
    for name, sign in _levels(count):
        known = draft.state.levels.get(name)
        if known is not None:
            levels[name] = outward(moved(known, (Fraction(0), allowed.most * allowed.beats), sign))
    draft.emit(
        ev.Granted(
            path=path,
            beats=allowed.beats,
            levels=levels,
            touched=dict.fromkeys(ruling.changes(deeds), "U"),
            seconds=to_text(count.seconds * allowed.beats if count.gravity is not None else Fraction(0)),
            each=outward((allowed.least, allowed.most)),
        )
    )


def _levels(count: Count) -> tuple[tuple[str, int], ...]:
    move = count.move
    if move is None:
        return ()
    return tuple((n, s) for n, s in ((move.source, -1), (move.target, 1)) if n is not None)


def _because(draft: Draft, found: Found, count: Count, reason: str) -> str:
    if reason == "bound":
        return f"{count.at_most} {count.what} were used"
    known = draft.state.levels.get((count.move.source if count.move else None) or "")
    if reason == "short":
        return "the level is not known" if known is None else "one more could pass below the low mark"
    return "one more could run over the brim"


def beat(draft: Draft, found: Found, step: Step, count: Count, act: Beat | Report | Done) -> None:
    """One beat is over, or all are: Done says that the whole grant was used."""
    out = draft.state.out
    if out is None:
        return
    if isinstance(act, Beat):
        draft.emit(ev.Beaten(path=draft.state.path))
        out = draft.state.out
        if out is not None and out.used >= out.beats:
            _return(draft, found, count, out, out.beats)
        return
    if isinstance(act, Done):
        _return(draft, found, count, out, out.beats)
        return
    if not (act.used.isascii() and act.used.isdigit() and len(act.used) <= 4):
        draft.refuse(f"'{act.used}' is not a count", f"type how many {count.what} were done, 0 to {out.beats}")
        return
    used = int(act.used)
    if used < out.used:
        draft.refuse(f"{out.used} were reported one by one already", f"type a number from {out.used} to {out.beats}")
        return
    _return(draft, found, count, out, used)


def _return(draft: Draft, found: Found, count: Count, out: Out, used: int) -> None:
    """Credit what was not used. A credit only cancels its own debit; more than granted makes the level unknown."""
    path = draft.state.path
    levels: dict[str, list[str] | None] = {}
    least, most = out.each
    for name, sign in _levels(count):
        known = out.before.get(name)
        if known is None or used > out.beats or draft.state.levels.get(name) is None:
            levels[name] = None
            continue
        levels[name] = outward(moved(known, (least * used if sign < 0 else Fraction(0), most * used), sign))
    conditions = dict(out.touched)
    if used:
        deeds = ruling.of_beat(draft.procedure, found, count.beat)
        conditions |= ruling.changes(deeds)
        told = ruling.watched(draft.procedure, deeds)
        if told:
            draft.emit(ev.Happened(deeds=told))
    seen = [
        n
        for n, _ in _levels(count)
        if positions(draft.procedure, draft.state, level_of(draft.procedure, found.procedure, n))
    ]
    draft.emit(ev.Returned(path=path, used=used, levels=levels, conditions=conditions, looks=seen))
    if used > out.beats:
        draft.emit(
            ev.FindingMade(
                what=f"{used} {count.what} where {out.beats} were granted: the level may have passed its low mark",
                where=found.here or "",
                severity="fail",
                follows="look for air before the brakes are used",
                origin="run",
            )
        )


def fluid(draft: Draft, found: Found, step: Step, count: Count, act: Answer) -> None:
    """The answer after a grant: again, or out by its edge."""
    if act.value not in count.exits:
        draft.refuse(f"'{act.value}' is none of the answers", f"answer one of: {', '.join(count.exits)}")
        return
    draft.emit(
        ev.Answered(path=draft.state.path, ask=count.ask, value=act.value, outcome=act.value, name=count.name or "")
    )
    if act.value in count.again:
        note(draft, draft.state.path, act.value, done=False)
    else:
        leave(draft, found, act.value)
