"""A value was wrong: the run is folded again with the right one, and what then follows is said, never hidden.

Rules of this module
1. The old value stays in the record; the correction is one more event.
2. Up to the corrected line the recorded events stand; from there on the same acts are decided again.
3. The path is never changed in silence: where it would have been another one, steps are offered to do again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from msgspec.structs import replace

from runner.core import event as ev
from runner.core.act import AnyAct, Begin, Correct, Enter, Report, Supply
from runner.core.draft import Draft
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.graph import Procedure
from runner.core.mending import may_do_again
from runner.core.rational import to_text
from runner.core.stamp import Stamp
from runner.core.state import State, history, visits
from runner.core.values import misfit

Decide = Callable[[Procedure, State, AnyAct, Stamp, str], tuple[AnyEvent, ...]]
Typed = Begin | Enter | Report | Supply


@dataclass(frozen=True, slots=True)
class Entry:
    """One recorded act: line, stamp, person, act, and the events that it caused."""

    line: int
    stamp: Stamp
    by: str
    act: AnyAct
    events: tuple[AnyEvent, ...]


@dataclass(frozen=True, slots=True)
class Replay:
    """The run as it would have been with the corrected value, as far as it goes."""

    effect: str
    line: int
    state: State
    why: str
    unclear: str = ""


def entries(state: State) -> tuple[Entry, ...]:
    """The acts of the run with their events, oldest first."""
    both = zip(history(state.acts), history(state.told), strict=True)
    pairs = ((a, t) for a, t in both if isinstance(a, tuple) and isinstance(t, tuple))
    return tuple(Entry(a[0], a[1], a[2], a[3], t[1]) for a, t in pairs)[::-1]


def correct(draft: Draft, act: Correct, decide: Decide) -> None:
    """Same path, a safeguard that was in truth not met, or another path: each is said and what follows is done."""
    past = entries(draft.state)
    old = past[act.line] if 0 <= act.line < len(past) else None
    was = _was(old.act, act.name) if old is not None else None
    if old is None or was is None or not isinstance(old.act, Typed):
        draft.refuse(f"line {act.line} holds no value that was typed", "choose one of the readings from the list")
    elif draft.state.out is not None:
        draft.refuse("a grant is out", "report how many were done first")
    elif not act.reason.strip() or not act.typed:
        draft.refuse("a correction needs the value that was meant and a reason", "choose a reason from the list")
    else:
        if isinstance(old.act, Begin):
            wrong = misfit(
                draft.procedure, draft.state.asks, act.name, _with_unit(act), old.act.asks[act.name]["source"]
            )
            if wrong is not None:
                draft.refuse(wrong.why, wrong.help)
                return
        replay = _refold(draft.procedure, past, act, decide)
        if replay.unclear:
            draft.refuse(replay.unclear, "type the value that was meant, with its unit")
        else:
            _tell(draft, act, old.act, was, replay)


def _was(old: AnyAct, name: str) -> str | None:
    match old:
        case Report(used=used):
            return used
        case Enter(typed=typed):
            return " ".join(typed)
        case Supply(typed=value):
            return value
        case Begin(asks=asks) if name in asks:
            return asks[name]["value"]
        case _:
            return None


def _meant(old: AnyAct, act: Correct) -> AnyAct:
    """The act as it should have been."""
    match old:
        case Report():
            return Report(used=act.typed[0])
        case Enter():
            return replace(old, typed=act.typed, unit=act.unit or old.unit)
        case Supply():
            return replace(old, typed=_with_unit(act))
        case Begin(asks=asks):
            return replace(old, asks={**asks, act.name: {**asks[act.name], "value": _with_unit(act)}})
        case _:
            return old


def _with_unit(act: Correct) -> str:
    return " ".join((*act.typed, act.unit)).strip()


def _tell(draft: Draft, act: Correct, old: AnyAct, was: str, replay: Replay) -> None:
    now = " ".join(act.typed)
    offers: list[str] = []
    if replay.effect == "diverged":
        before = {v.path for v in visits(draft.state) if v.line <= max(replay.line, act.line + 1)}
        offers = [p for p in may_do_again(draft.procedure, draft.state) if p in before]
    broken = [r.if_found_broken for r in draft.procedure.rules if replay.effect == "broken" and r.if_found_broken]
    draft.emit(
        ev.Corrected(
            line=act.line,
            was=was,
            now=now,
            reason=act.reason,
            effect=replay.effect,
            offers=offers,
            broken=broken,
        )
    )
    if isinstance(old, Supply):
        draft.emit(ev.Supplied(name=old.name, value=_with_unit(act), source=old.source))
    elif isinstance(old, Begin):
        draft.emit(ev.Supplied(name=act.name, value=_with_unit(act), source=old.asks[act.name]["source"]))
    _restate(draft, replay)
    _passed_in_truth(draft, replay)
    if replay.effect != "same path":
        draft.emit(
            ev.FindingMade(
                what=f"corrected from {was} to {now}: {replay.why}",
                where="",
                severity="fail",
                follows="do again what depended on it",
                origin="run",
            )
        )


def _refold(procedure: Procedure, past: tuple[Entry, ...], act: Correct, decide: Decide) -> Replay:
    """The run with the corrected act, and with those that were corrected before and left the path as it was."""
    meant = _substitutes(past) | {act.line: _meant(past[act.line].act, act)}
    first = min(meant)
    told = true = State()
    for entry in past:
        told = fold(told, entry.line, entry.stamp, entry.by, entry.act, entry.events)
        if entry.line < first:
            true = told
            continue
        new = meant.get(entry.line, entry.act)
        events = _again(procedure, true, entry, new, decide)
        refused = _refusal(events)
        if refused is not None and _refusal(entry.events) is None:
            if entry.line == act.line:
                return Replay("", entry.line, true, "", unclear=refused.why)
            if _level_in_the_way(true, told, refused):
                return Replay("broken", entry.line, true, refused.why)
            return Replay("diverged", entry.line, true, refused.why)
        true = fold(true, entry.line, entry.stamp, entry.by, new, events)
        granted, then = _granted(events), _granted(entry.events)
        if granted is not None and then is not None and granted < then:
            why = f"{then} were granted where {granted} would have been safe"
            return Replay("broken", entry.line, true, why)
        if then is not None and granted is None:
            return Replay("broken", entry.line, true, f"{then} were granted where none would have been safe")
        if true.path != told.path or true.phase != told.phase:
            return Replay("diverged", entry.line, true, f"the run would have gone to '{true.path}' instead")
    return Replay("same path", past[-1].line, true, "")


def _again(procedure: Procedure, true: State, entry: Entry, new: AnyAct, decide: Decide) -> tuple[AnyEvent, ...]:
    """What the act causes in the corrected run. Of an earlier correction only the scar: its value is in already."""
    if not isinstance(new, Correct):
        return decide(procedure, true, new, entry.stamp, entry.by)
    told = next((e for e in entry.events if isinstance(e, ev.Corrected)), None)
    return entry.events if told is None or told.effect != "same path" else (told,)


def _substitutes(past: tuple[Entry, ...]) -> dict[int, AnyAct]:
    """The acts that were corrected before on the same path, as they were meant."""
    meant: dict[int, AnyAct] = {}
    for entry in past:
        if isinstance(entry.act, Correct) and any(
            isinstance(e, ev.Corrected) and e.effect == "same path" for e in entry.events
        ):
            line = entry.act.line
            meant[line] = _meant(meant.get(line, past[line].act), entry.act)
    return meant


def _refusal(events: tuple[AnyEvent, ...]) -> ev.Refused | None:
    return next((e for e in events if isinstance(e, ev.Refused)), None)


def _granted(events: tuple[AnyEvent, ...]) -> int | None:
    return next((e.beats for e in events if isinstance(e, ev.Granted)), None)


def _level_in_the_way(true: State, told: State, refused: ev.Refused) -> bool:
    """Whether the step was entered with a level that in truth was not enough."""
    return refused.why.startswith("the step needs") and true.conditions == told.conditions


def _passed_in_truth(draft: Draft, replay: Replay) -> None:
    """How a gate came out in truth, for what must come after it; what was passed again since stands as it was."""
    since = {v.path for v in visits(draft.state) if v.line > replay.line}
    for path, (done, outcome) in sorted(replay.state.passed.items()):
        told = draft.state.passed.get(path)
        if told is not None and told[1] != outcome and path not in since:
            draft.emit(ev.Passed(path=path, outcome=outcome, done=done))


def _restate(draft: Draft, replay: Replay) -> None:
    """Bring the readings to what they are with the correction; levels follow where the path is the same."""
    for name, taken in sorted(replay.state.readings.items()):
        current = draft.state.readings.get(name, ())
        for nth, one in enumerate(taken):
            if nth < len(current) and (current[nth].points, current[nth].outcome) != (one.points, one.outcome):
                pairs = [[to_text(p.lo), to_text(p.hi)] for p in one.points]
                draft.emit(ev.Restated(name=name, nth=nth, values=pairs, outcome=one.outcome))
    for name, known in sorted(draft.state.levels.items()):
        fresh = replay.state.levels.get(name)
        if fresh == known:
            continue
        if replay.effect != "same path":
            why = "a correction left it unknown"
            draft.emit(ev.LevelIs(level=name, enclosure=None, why=why, look_owed=replay.effect == "broken"))
        else:
            pair = None if fresh is None else [to_text(fresh[0]), to_text(fresh[1])]
            draft.emit(ev.LevelIs(level=name, enclosure=pair, why="follows from the correction"))
