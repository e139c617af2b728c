"""Stopping and coming back: hold, the order of making safe, resume, what cannot be done, overrides, ends."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import Literal

from runner.core import event as ev
from runner.core import graph, ruling
from runner.core.act import Abandon, Begin, Cannot, MadeSafe, Override, Resume
from runner.core.draft import Draft
from runner.core.effects import make_unknown
from runner.core.going import arrive, go
from runner.core.graph import LEFT, OVERRIDDEN, Count, Found, Holds, Procedure, Step, Target
from runner.core.order import note
from runner.core.stage import Stage, is_open, open_now
from runner.core.stamp import SECOND, elapsed
from runner.core.state import SAFE_STOP
from runner.core.wording import title

OVERRIDABLE = frozenset(
    {"check", "choose", "read", "read back", "grant", "fluid", "start hold", "hold", "identify", "photo"}
)
"""Gates that may be overridden where the author allows it. Needs, rules, levels and dangers never may."""


def begin(draft: Draft, act: Begin) -> None:
    """Start: nothing is done before the summary is read and the openings are confirmed."""
    # What does not keep was known in another stretch of work: it is looked at anew.
    taken_over = {c: "U" if v == "T" and _keeps(draft, c) is not None else v for c, v in act.conditions.items()}
    draft.emit(
        ev.Begun(
            procedure=act.procedure,
            revision=act.revision,
            car=act.car,
            demonstration=act.demonstration,
            rehearsal=act.rehearsal,
            salt=act.salt,
            asks=act.asks,
            conditions=taken_over,
            levels=act.levels,
            waits=act.waits,
            parts=act.parts,
            instruments=act.instruments,
            claims=act.claims,
        )
    )


def assume(draft: Draft) -> None:
    """The summary was read and what the procedure assumes was confirmed from the car."""
    draft.emit(ev.Assumed())
    changes = {
        graph.instance(draft.procedure.conditions, n.ref, None): "T" if n.wanted else "F"
        for n in draft.procedure.assumes
        if isinstance(n, Holds)
    }
    if changes:
        draft.emit(ev.Became(changes=changes, why="confirmed at the start"))
    arrive(draft, draft.procedure.body.first)


def perishable(draft: Draft) -> dict[str, str]:
    """Facts that a break makes unknown."""
    return {i: "U" for i, v in draft.state.conditions.items() if v == "T" and _keeps(draft, i) == "this stretch"}


def _keeps(draft: Draft, instance: str) -> Fraction | Literal["this stretch"] | None:
    condition = draft.procedure.conditions.get(instance.partition("@")[0])
    return condition.keeps if condition is not None else None


def hold(draft: Draft) -> None:
    """Stop at once. What a grant touches is unknown; facts that last only for a stretch are gone."""
    out = draft.state.out
    unknown = perishable(draft) | (dict.fromkeys(out.touched, "U") if out else {})
    draft.emit(ev.Stopped(unknown=unknown, levels=sorted(out.before) if out else []))


def resume(draft: Draft, act: Resume) -> None:
    """Come back. After a clean hold only perishables are asked; after a crash, what was open or in the making too.

    A run that was not on hold was cut off, whatever is said of it.
    """
    if act.by:
        draft.emit(ev.PersonSet(initials=act.by))
    unknown = perishable(draft) | dict.fromkeys(_too_old(draft), "U")
    levels: list[str] = []
    if draft.state.phase in ("running", "safe stop") or (draft.state.phase == "held" and not act.clean):
        unknown |= {i: "U" for i in draft.state.conditions if is_open(draft.procedure, draft.state, i)}
        if draft.state.path not in ("", SAFE_STOP):
            found = draft.found()
            unknown |= dict.fromkeys(_in_the_making(draft, found), "U")
            levels = _levels_in_flight(draft, found)
    draft.emit(ev.Resumed(clean=act.clean, torn=act.torn, unknown=unknown, levels=levels))


def _in_the_making(draft: Draft, found: Found) -> tuple[str, ...]:
    touched = draft.state.out.touched if draft.state.out and isinstance(found.node, Step) else ()
    return tuple(dict.fromkeys((*in_the_making(draft.procedure, found), *touched)))


def in_the_making(procedure: Procedure, found: Found) -> tuple[str, ...]:
    """What the step changes on the car: where it was broken off nobody knows how far it came."""
    step = found.node
    if not isinstance(step, Step):
        return ()
    refs = (*step.makes, *step.ends, *(r for a in step.branch.arms for r in (*a.makes, *a.ends)))
    return tuple(graph.instance(procedure.conditions, r, found.here) for r in refs)


def _levels_in_flight(draft: Draft, found: Found) -> list[str]:
    step = found.node
    if not isinstance(step, Step):
        return []
    return sorted(n for n in set(graph.levels_of(step)) if draft.state.levels.get(n) is not None)


def made_safe(draft: Draft, act: MadeSafe) -> None:
    """A line of the order of making safe was done."""
    if act.condition not in open_now(draft.procedure, draft.state):
        draft.refuse(f"'{act.condition}' is not open", "the order of making safe names what is open now")
        return
    condition = draft.procedure.conditions[act.condition.partition("@")[0]]
    if condition.if_left is not None and condition.if_left.kind != "close":
        draft.refuse(f"'{act.condition}' may stay as it is", "go on with the next line")
        return
    normal = "T" if condition.normally else "F"
    draft.emit(ev.Became(changes={act.condition: normal}, why="made safe"))


def _closes(draft: Draft, instance: str) -> bool:
    left = draft.procedure.conditions[instance.partition("@")[0]].if_left
    return left is not None and left.kind == "close"


def expire(draft: Draft) -> None:
    """Facts that keep for a time only, and levels of a grant that ran out of time, become unknown."""
    state = draft.state
    gone = _too_old(draft)
    out = state.out
    over = out is not None and out.seconds > 0 and elapsed(out.since, draft.now).at_most_ns > out.seconds * SECOND
    levels = [n for n in sorted(out.before) if state.levels.get(n) is not None] if out is not None and over else []
    if gone or levels:
        draft.emit(ev.Expired(conditions=gone, levels=levels))


def _too_old(draft: Draft) -> list[str]:
    """Facts that keep for so long and may be older: the upper end of the time that went by counts."""
    state, gone = draft.state, []
    for name in _timed_facts(draft.procedure):
        kept, since = _keeps(draft, name), state.set_at.get(name)
        if since is None or not isinstance(kept, Fraction) or state.value(name) != "T":
            continue
        if elapsed(since, draft.now).at_most_ns > kept * SECOND:
            gone.append(name)
    return gone


@lru_cache(maxsize=32)
def _timed_facts(procedure: Procedure) -> tuple[str, ...]:
    timed = {n: c for n, c in procedure.conditions.items() if isinstance(c.keeps, Fraction)}
    return tuple(sorted(graph.instances(timed)))


def cannot(draft: Draft, act: Cannot, found: Found) -> None:
    """The step cannot be done as written: a finding, and the author's edge or the safe stop."""
    step = found.node
    if not act.reason.strip() or act.way not in ("step", "stop", "defer"):
        draft.refuse("what cannot be done needs a reason and a way on", "the way on is one of: step, stop, defer")
        return
    # The checker has proven a detour and its way back, not what may follow from its middle; a run that would have
    # gone another way goes on by no edge.
    onward = isinstance(step, Step) and act.way == "step" and not (draft.state.back_to or draft.state.diverged)
    target = step.cannot if onward and isinstance(step, Step) else None
    draft.emit(ev.CannotDo(path=draft.state.path, reason=act.reason, way=act.way))
    make_unknown(draft, found, "could not be done as written")
    _drop_grant(draft)
    severity = "advisory" if act.way == "defer" else "fail"
    draft.emit(
        ev.FindingMade(
            what=f"not done as written: {title(found, draft.state)} ({act.reason})",
            where=found.here or "",
            severity=severity,
            follows="deferred" if act.way == "defer" else "",
            origin="run",
        )
    )
    draft.emit(ev.Left(path=draft.state.path, outcome="cannot", because=act.reason))
    note(draft, draft.state.path, LEFT, done=False)
    if draft.state.back_to:
        draft.emit(ev.Restored(condition=draft.state.restoring))
    go(draft, target or Target(kind="safe stop", place=step.place))


def _drop_grant(draft: Draft) -> None:
    out = draft.state.out
    if out is not None:
        draft.emit(
            ev.Returned(
                path=draft.state.path, used=out.beats, levels=dict.fromkeys(out.before), conditions={}, looks=[]
            )
        )


def override(draft: Draft, act: Override, stage: Stage) -> None:
    """Go on without the gate, by the author's edge. It makes nothing; it leaves a scar."""
    step, found = stage.step, stage.found
    waiting = stage.kind == "needs" and all(isinstance(u.need, graph.WaitNeed) for u in stage.unmet)
    if draft.state.back_to:
        draft.refuse("a detour is under way: nothing is overridden in it", "do it, or use 'cannot be done as written'")
        return
    if step is None or found is None or step.override is None or not (stage.kind in OVERRIDABLE or waiting):
        draft.refuse("this gate cannot be overridden", "use 'cannot be done as written'")
        return
    if not act.reason.strip() or not act.initials.strip():
        draft.refuse("an override needs a reason and initials", "choose a reason from the list and give your initials")
        return
    gate = "wait" if waiting or step.gate is None else type(step.gate).__name__.lower()
    remembered = step.gate.name if isinstance(step.gate, graph.Choice | Count) else None
    draft.emit(
        ev.Overridden(
            path=draft.state.path,
            gate=gate,
            reason=act.reason,
            initials=act.initials,
            void=[remembered] if remembered else [],
        )
    )
    make_unknown(draft, found, "overridden")
    draft.emit(ev.Left(path=draft.state.path, outcome=OVERRIDDEN, because=act.reason))
    note(draft, draft.state.path, OVERRIDDEN, done=False)
    go(draft, step.override)


def finish(draft: Draft, stage: Stage) -> None:
    """The end of the procedure: done only if everything that must be so is so."""
    found = stage.found
    kind = found.node.kind if found is not None and isinstance(found.node, graph.End) else "stopped"
    unmet = unmet_at_end(draft) if kind == "done" else ()
    if unmet:
        draft.refuse(
            f"not everything is as it must be at the end: {'; '.join(unmet)}",
            "say what is not so with 'the car is not as you say', do the step again, or stop safely",
        )
        return
    end(draft, kind)


def safe_stop(draft: Draft) -> None:
    """The end of the safe stop: what must be closed is closed, the rest may stay and is named."""
    closing = tuple(
        i
        for i in open_now(draft.procedure, draft.state)
        if draft.procedure.conditions[i.partition("@")[0]].if_left is None or _closes(draft, i)
    )
    if closing:
        draft.refuse(
            f"still open: {', '.join(closing)}", "close it, or leave the run with it open ('not to be driven')"
        )
        return
    end(draft, "stopped")


def end(draft: Draft, kind: str) -> None:
    """The run is over. Unmet promises become findings."""
    still_open = list(open_now(draft.procedure, draft.state))
    unmet = list(unmet_at_end(draft))
    if kind != "done":
        for text in unmet:
            draft.emit(ev.FindingMade(what=f"left undone: {text}", where="", severity="fail", follows="", origin="run"))
    draft.emit(ev.Ended(kind=kind, open=still_open, unmet=unmet, do_not_drive=bool(unmet) or kind != "done"))


def abandon(draft: Draft, act: Abandon) -> None:
    """Leave for good with whatever is open. Never refused."""
    draft.emit(
        ev.FindingMade(
            what=f"left open: {act.reason}", where="", severity="unsafe", follows="not to be driven", origin="run"
        )
    )
    end(draft, "left open")


def unmet_at_end(draft: Draft) -> tuple[str, ...]:
    """What the end owes and does not have: openings that this run touched, rules of the end, what must follow."""
    procedure, state = draft.procedure, draft.state
    touched = (i for i in open_now(procedure, state) if i in state.since)
    unmet = [i for i in touched if i.partition("@")[0] not in procedure.carries]
    for rule in procedure.rules:
        if rule.kind == "at_end":
            owed = (n for ref in rule.refs for n in ruling.spread(procedure, ref))
            unmet += [n for n in owed if state.value(n) != ("T" if rule.wanted else "F")]
    return tuple(dict.fromkeys((*unmet, *ruling.unfollowed(procedure, state))))
