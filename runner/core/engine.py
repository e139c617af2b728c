"""``decide(procedure, state, act, now, by) -> events``: pure and total.

Rules of this module
1. Every act in every state yields at least one event; what is not possible is an event too (``Refused``).
2. The checked graph alone moves the place of the run; everything else leaves it where it is, or is a checked jump.
3. What ran out of time has run out before the act is judged.
"""

from __future__ import annotations

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.correcting import correct
from runner.core.counting import beat, fluid, grant
from runner.core.draft import Draft
from runner.core.effects import turn_away
from runner.core.event import AnyEvent
from runner.core.gates import OTHER, at_gate, check_late
from runner.core.going import arrive
from runner.core.graph import Count, Each, Found, Procedure
from runner.core.leaving import (
    abandon,
    assume,
    begin,
    cannot,
    expire,
    finish,
    hold,
    made_safe,
    override,
    resume,
    safe_stop,
)
from runner.core.mending import attest, attest_all, confirm_again, contradict, do_again, restore, still_so
from runner.core.stage import Stage, stage
from runner.core.stamp import Stamp
from runner.core.state import SAFE_STOP, State
from runner.core.values import is_known, misfit

STANDING = (
    ac.Note,
    ac.Settle,
    ac.Supply,
    ac.Person,
    ac.PartsCame,
    ac.Tick,
    ac.Sign,
    ac.Contradict,
    ac.Abandon,
    ac.Hold,
    ac.Resume,
    ac.Correct,
)
"""Acts that are open in every phase after the start, whatever the step asks for."""


def decide(procedure: Procedure, state: State, act: AnyAct, now: Stamp, by: str) -> tuple[AnyEvent, ...]:
    """What happens when ``by`` asks for ``act`` at ``now``. Never raises for anything a person can do."""
    draft = Draft(procedure, state, now, by)
    if state.phase == "new":
        if isinstance(act, ac.Begin):
            begin(draft, act)
        else:
            draft.refuse("the run has not begun")
        return tuple(draft.events)
    if isinstance(act, ac.Begin):
        draft.refuse("the run has begun already")
        return tuple(draft.events)
    if not isinstance(act, ac.Resume):
        expire(draft)
    draft.keep()
    before = len(draft.events)
    if isinstance(act, STANDING):
        _standing(draft, act)
    elif state.phase == "ended":
        draft.refuse("the run is over", "only findings, owed texts, corrections and signatures can be added")
    elif state.phase == "held":
        if isinstance(act, ac.MadeSafe):
            made_safe(draft, act)
        else:
            draft.refuse("the run is on hold", "resume it first")
    elif state.phase == "summary":
        if isinstance(act, ac.Assume):
            assume(draft)
        else:
            draft.refuse("the summary has not been confirmed", "read it and confirm that the car is as it says")
    else:
        _running(draft, act)
    if len(draft.events) == before and not isinstance(act, ac.Tick):
        draft.refuse("this is not asked for now", "the screen shows what is")
    if not draft.refused:
        _owe_the_reason(draft, act)
        turn_away(draft)
    return tuple(draft.events)


def _owe_the_reason(draft: Draft, act: AnyAct) -> None:
    """Where a text was put off it is owed until the sign-off."""
    match act:
        case (
            ac.Cannot(reason=said)
            | ac.Override(reason=said)
            | ac.Correct(reason=said)
            | ac.Contradict(reason=said)
            | ac.Abandon(reason=said)
            | ac.Note(what=said)
        ) if said == OTHER:
            what = "what was found" if isinstance(act, ac.Note) else f"the reason of '{act.__struct_config__.tag}'"
            line = draft.state.line + 1
            draft.emit(ev.Owes(owed=f"reason of line {line}", what=f"{what}, line {line}"))


def _standing(draft: Draft, act: AnyAct) -> None:
    match act:
        case ac.Hold():
            if draft.state.phase == "ended":
                draft.refuse("the run is over: there is nothing to hold")
            else:
                hold(draft)
        case ac.Resume():
            if draft.state.phase == "ended":
                draft.refuse("the run is over: it cannot be resumed")
            else:
                resume(draft, act)
        case ac.Abandon():
            if draft.state.phase == "ended":
                draft.refuse("the run is over already")
            else:
                abandon(draft, act)
        case ac.Contradict():
            contradict(draft, act)
        case ac.Correct():
            correct(draft, act, decide)
        case ac.Tick():
            if not draft.events:
                draft.emit(ev.Ticked())
        case ac.Note():
            _note(draft, act)
        case ac.Settle():
            if act.owed in draft.state.owed and act.text.strip():
                draft.emit(ev.Settled(owed=act.owed, text=act.text))
            else:
                draft.refuse("no such text is owed, or it is empty")
        case ac.Person():
            if act.initials.strip():
                draft.emit(ev.PersonSet(initials=act.initials))
            else:
                draft.refuse("initials are needed", "choose a person from the car's file")
        case ac.PartsCame():
            if act.part in draft.procedure.parts and act.have >= 0:
                draft.emit(ev.InHand(part=act.part, have=act.have))
            else:
                draft.refuse(f"'{act.part}' is no part of this procedure")
        case ac.Supply():
            if draft.state.phase == "ended":
                draft.refuse("the run is over: no value of the car is needed any more")
            else:
                _supply(draft, act)
        case ac.Sign():
            _sign(draft, act)
        case _:
            draft.refuse("this is not asked for now")


def _note(draft: Draft, act: ac.Note) -> None:
    if not act.what.strip() or act.severity not in ("unsafe", "fail", "advisory"):
        draft.refuse("a finding says what, where and how bad", "how bad is one of: unsafe, fail, advisory")
        return
    draft.emit(
        ev.FindingMade(what=act.what, where=act.where, severity=act.severity, follows=act.follows, origin="person")
    )


def _sign(draft: Draft, act: ac.Sign) -> None:
    if draft.state.phase != "ended":
        draft.refuse("the run is not over", "finish or stop it first")
    elif draft.state.owed:
        draft.refuse(f"texts are still owed: {', '.join(draft.state.owed.values())}", "give them, then sign")
    elif act.meaning not in ("performed", "reviewed", "approved") or not act.initials.strip():
        draft.refuse("a signature has initials and a meaning", "performed, reviewed or approved")
    else:
        draft.emit(ev.Signed(initials=act.initials, meaning=act.meaning, reference=act.reference))


def _supply(draft: Draft, act: ac.Supply) -> None:
    """A value of the car: it must fit its declaration and the others, or it is refused with the reason."""
    wrong = misfit(draft.procedure, draft.state.asks, act.name, act.typed, act.source)
    if wrong is not None:
        draft.refuse(wrong.why, wrong.help)
        return
    if is_known(draft.procedure, draft.state.asks, act.name):
        draft.refuse(f"'{act.name}' is known already", "correct it where it was typed, with a reason")
        return
    draft.emit(ev.Supplied(name=act.name, value=act.typed, source=act.source))
    if draft.state.path not in ("", SAFE_STOP) and isinstance(draft.found().node, Each):
        arrive(draft, draft.state.path)


def _running(draft: Draft, act: AnyAct) -> None:
    now_owed = stage(draft.procedure, draft.state, draft.now)
    match act:
        case ac.MadeSafe() if now_owed.kind == "safe stop":
            made_safe(draft, act)
        case ac.Attest():
            attest(draft, act)
        case ac.AttestAll():
            attest_all(draft, act)
        case ac.Restore():
            restore(draft, act)
        case ac.ConfirmAgain():
            confirm_again(draft, act)
        case ac.DoAgain():
            if draft.state.out is not None:
                draft.refuse("a grant is out", "report how many were done first")
            else:
                do_again(draft, act)
        case ac.Cannot():
            if draft.state.path == SAFE_STOP:
                draft.refuse("the run is stopping already", "leave it with what is open if it cannot be closed")
            else:
                cannot(draft, act, draft.found())
        case ac.Override():
            override(draft, act, now_owed)
        case ac.Done() if now_owed.kind == "safe stop":
            safe_stop(draft)
        case ac.Done() if now_owed.kind == "end":
            finish(draft, now_owed)
        case ac.Done() if (late := check_late(act.late)) is not None:
            draft.refuse(late, "type the time of day as hh:mm")
        case _:
            _gate(draft, now_owed, act)


def _gate(draft: Draft, now_owed: Stage, act: AnyAct) -> None:
    found, step = now_owed.found, now_owed.step
    if now_owed.kind == "again" and isinstance(act, ac.Answer):
        still_so(draft, act.value)
        return
    if found is None:
        _not_now(draft, now_owed)
        return
    if step is not None and isinstance(step.gate, Count) and now_owed.kind in ("grant", "beats", "fluid"):
        _count(draft, found, step, step.gate, now_owed.kind, act)
        return
    at_gate(draft, now_owed, found, act)


def _count(draft: Draft, found: Found, step: graph.Step, count: Count, kind: str, act: AnyAct) -> None:
    match kind, act:
        case "grant", ac.Done():
            grant(draft, found, step, count)
        case "beats", ac.Beat() | ac.Report() | ac.Done():
            beat(draft, found, step, count, act)
        case "fluid", ac.Answer():
            fluid(draft, found, step, count, act)
        case _:
            draft.refuse("this is not asked for now", "the screen shows what is")


def _not_now(draft: Draft, now_owed: Stage) -> None:
    words = {
        "unknown": ("what became unknown is asked first", "look at the car and answer"),
        "safe stop": ("the run is stopping", "close what is open, in the order shown"),
    }
    why, mend = words.get(now_owed.kind, ("this is not asked for now", "the screen shows what is"))
    draft.refuse(why, mend)
