"""Going back without lying: attest, contradict, restore, confirm again, do again, correct."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct, Attest, ConfirmAgain, Contradict, Correct, DoAgain, Enter, Report, Restore
from runner.core.draft import Draft
from runner.core.effects import arrive
from runner.core.graph import Call, Each, Procedure, Step
from runner.core.rational import to_text
from runner.core.stage import needs_unmet
from runner.core.stamp import Stamp
from runner.core.state import SAFE_STOP, State, fold, history, visits


def attest(draft: Draft, act: Attest) -> None:
    """An unknown condition was looked at on the car."""
    name = act.condition.partition("@")[0]
    if name not in draft.procedure.conditions or act.condition not in graph.instances(draft.procedure.conditions):
        draft.refuse(f"'{act.condition}' is no condition of this procedure")
        return
    if draft.state.value(act.condition) != "U" and act.condition not in draft.state.unknown:
        draft.refuse(f"'{act.condition}' is known", "use 'the car is not as you say' where it is otherwise")
        return
    draft.emit(ev.Attested(condition=act.condition, value="T" if act.holds else "F"))


def contradict(draft: Draft, act: Contradict) -> None:
    """The car is not as the record says; what no longer holds is named."""
    if act.condition not in graph.instances(draft.procedure.conditions):
        draft.refuse(f"'{act.condition}' is no condition of this procedure", "choose one from the list")
        return
    was, value = draft.state.value(act.condition), "T" if act.holds else "F"
    if was == value:
        draft.refuse("that is what the record says already")
        return
    before = _unmet(draft)
    draft.emit(ev.Contradicted(condition=act.condition, was=was, value=value, breaks=[], reason=act.reason))
    breaks = [text for text in _unmet(draft) if text not in before]
    if breaks:
        draft.events[-1] = ev.Contradicted(
            condition=act.condition, was=was, value=value, breaks=breaks, reason=act.reason
        )


def _unmet(draft: Draft) -> tuple[str, ...]:
    if draft.state.path in ("", SAFE_STOP):
        return ()
    return tuple(u.said for u in needs_unmet(draft.procedure, draft.state, draft.found(), draft.now))


@lru_cache(maxsize=16)
def paths(procedure: Procedure) -> tuple[str, ...]:
    """Every path of the procedure to a step, turns and calls included."""
    return tuple(_paths(procedure, procedure.body, ""))


def _paths(procedure: Procedure, body: graph.Body, before: str) -> list[str]:
    made: list[str] = []
    for name, node in body.nodes.items():
        if isinstance(node, Call):
            made += _paths(procedure, procedure.fragments[node.fragment].body, f"{before}{name}/")
        elif isinstance(node, Each):
            for member in graph.MEMBERS[node.index]:
                made += _paths(procedure, node.body, f"{before}{name}/{member}/")
        elif isinstance(node, Step):
            made.append(before + name)
    return made


def restoring_path(procedure: Procedure, at: str, condition: str) -> str | None:
    """The step that makes a condition instance and nothing else, nearest to where the run stands."""
    wanted = procedure.conditions[condition.partition("@")[0]].restore
    candidates = []
    for path in paths(procedure):
        found = graph.find(procedure, path)
        step = found.node
        if not isinstance(step, Step) or step.ends or step.moves or len(step.makes) != 1:
            continue
        made = graph.instance(procedure.conditions, step.makes[0], found.here)
        if made == condition and (wanted is None or step.id == wanted):
            candidates.append(path)
    if not candidates:
        return None
    return max(candidates, key=lambda p: _shared(p, at))


def _shared(one: str, other: str) -> int:
    count = 0
    for a, b in zip(one.split("/"), other.split("/"), strict=False):
        if a != b:
            break
        count += 1
    return count


def restore(draft: Draft, act: Restore) -> None:
    """Go to the step that makes a lost condition true again, then come back to this step."""
    if act.condition not in graph.instances(draft.procedure.conditions):
        draft.refuse(f"'{act.condition}' is no condition of this procedure")
        return
    if draft.state.path in ("", SAFE_STOP) or draft.state.back_to:
        draft.refuse("a restore is under way or the run stands at no step", "finish it first")
        return
    unmet = [u.instance for u in needs_unmet(draft.procedure, draft.state, draft.found(), draft.now)]
    if act.condition not in unmet:
        draft.refuse(f"the step does not wait for '{act.condition}'")
        return
    path = restoring_path(draft.procedure, draft.state.path, act.condition)
    if path is None:
        draft.refuse("no step of this procedure makes it true alone", "make it so and attest it, or stop safely")
        return
    found = graph.find(draft.procedure, path)
    first = needs_unmet(draft.procedure, draft.state, found, draft.now)
    if first:
        draft.refuse(f"that step itself needs: {first[0].said}", "stop safely, or say how the car is")
        return
    draft.emit(ev.Restoring(condition=act.condition, back_to=draft.state.path))
    draft.emit(ev.Arrived(path=path, because=f"to restore '{act.condition}'"))


def confirm_again(draft: Draft, act: ConfirmAgain) -> None:
    """Ask the gates from an earlier step to now again. Nothing is counted and nothing takes effect."""
    trail = [v.path for v in visits(draft.state)]
    if act.path not in trail:
        draft.refuse(f"'{act.path}' was not passed in this run")
        return
    again = list(dict.fromkeys(trail[trail.index(act.path) :]))
    steps = [p for p in again if isinstance(graph.find(draft.procedure, p).node, Step)]
    draft.emit(ev.Asked(paths=steps))


def still_so(draft: Draft, value: str) -> None:
    """The answer to a confirmation asked again."""
    if value not in ("still so", "not so any more"):
        draft.refuse(f"'{value}' is none of the answers", "answer: still so, not so any more")
        return
    first, *rest = draft.state.again
    if value == "still so":
        draft.emit(ev.Asked(paths=rest))
        return
    draft.emit(ev.Asked(paths=[]))
    draft.emit(
        ev.FindingMade(
            what=f"not so any more: {_title(draft, first)}",
            where="",
            severity="advisory",
            follows="say with 'the car is not as you say' what is otherwise",
            origin="run",
        )
    )


def _title(draft: Draft, path: str) -> str:
    node = graph.find(draft.procedure, path).node
    return node.do if isinstance(node, Step) else path


def may_do_again(procedure: Procedure, state: State) -> tuple[str, ...]:
    """The steps on the trail to which a checked jump may lead, latest first: same body or one around it."""
    if state.path == "":
        return ()
    here = state.path if state.path != SAFE_STOP else next((v.path for v in reversed(visits(state))), "")
    around = {graph.prefix(procedure, here)}
    above = graph.parent(procedure, here)
    while above is not None:
        around.add(graph.prefix(procedure, above))
        above = graph.parent(procedure, above)
    seen = dict.fromkeys(v.path for v in reversed(visits(state)))
    return tuple(p for p in seen if graph.prefix(procedure, p) in around and _is_step(procedure, p))


def _is_step(procedure: Procedure, path: str) -> bool:
    return isinstance(graph.find(procedure, path).node, Step)


def do_again(draft: Draft, act: DoAgain) -> None:
    """A checked jump to an earlier step: what was chosen after it is void, what was used up stays used."""
    if act.path not in may_do_again(draft.procedure, draft.state):
        draft.refuse(f"'{act.path}' cannot be done again from here", "choose a step of this part of the work")
        return
    if not act.admissible:
        draft.refuse(f"it cannot be done again as the car is now: {act.because}", "stop safely, or go on")
        return
    after: list[str] = []
    for visit in reversed(visits(draft.state)):
        after.append(visit.path)
        if visit.path == act.path:
            break
    void = sorted(
        {
            node.gate.name
            for p in after
            if isinstance(node := graph.find(draft.procedure, p).node, Step)
            and isinstance(node.gate, graph.Choice | graph.Count)
            and node.gate.name
        }
    )
    draft.emit(ev.Jumped(source=draft.state.path, path=act.path, void=void))
    arrive(draft, act.path)


Decide = Callable[[Procedure, State, AnyAct, Stamp, str], tuple[ev.AnyEvent, ...]]


# ── corrections ──────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Entry:
    """One recorded act: line, stamp, person, act."""

    line: int
    stamp: Stamp
    by: str
    act: AnyAct


def entries(state: State) -> tuple[Entry, ...]:
    """The acts of the run, oldest first."""
    return tuple(Entry(*e) for e in history(state.acts) if isinstance(e, tuple))[::-1]


def correct(draft: Draft, act: Correct, decide: Decide) -> None:
    """Refold the record with the new value: same path, a safeguard that was in truth not met, or another path."""
    past = entries(draft.state)
    old = next((e for e in past if e.line == act.line), None)
    if old is None or not isinstance(old.act, Enter | Report):
        draft.refuse(f"line {act.line} holds no value that was typed", "choose one of the readings from the list")
        return
    if not act.reason.strip():
        draft.refuse("a correction needs a reason", "choose one from the list")
        return
    new: AnyAct = (
        Report(used=act.typed[0])
        if isinstance(old.act, Report)
        else Enter(typed=act.typed, unit=act.unit or old.act.unit, instrument=old.act.instrument, clicks=old.act.clicks)
    )
    replay = _refold(draft.procedure, past, act.line, new, decide)
    if replay.unclear:
        draft.refuse(replay.unclear, "type the value that was meant, with its unit")
        return
    was = old.act.used if isinstance(old.act, Report) else " ".join(old.act.typed)
    offers = list(may_do_again(draft.procedure, draft.state)) if replay.effect == "diverged" else []
    if replay.effect == "diverged":
        before = [v.path for v in visits(draft.state) if v.line <= max(replay.line, act.line + 1)]
        offers = [p for p in offers if p in before]
    broken = [
        r.if_found_broken or r.said for r in draft.procedure.rules if replay.effect == "broken" and r.if_found_broken
    ]
    draft.emit(
        ev.Corrected(
            line=act.line,
            was=was,
            now=" ".join(act.typed),
            reason=act.reason,
            effect=replay.effect,
            offers=offers,
            broken=broken,
        )
    )
    _restate(draft, replay)
    if replay.effect != "same path":
        draft.emit(
            ev.FindingMade(
                what=f"corrected from {was} to {' '.join(act.typed)}: {replay.why}",
                where="",
                severity="fail",
                follows="do again what depended on it",
                origin="run",
            )
        )


@dataclass(frozen=True, slots=True)
class Replay:
    """The run as it would have been with the corrected value, as far as it goes."""

    effect: str
    line: int
    state: State
    why: str
    unclear: str = ""


def _refold(procedure: Procedure, past: tuple[Entry, ...], line: int, new: AnyAct, decide: Decide) -> Replay:
    true, told = State(), State()
    for entry in past:
        act = new if entry.line == line else entry.act
        events = decide(procedure, true, act, entry.stamp, entry.by)
        refused = next((e for e in events if isinstance(e, ev.Refused)), None)
        before = decide(procedure, told, entry.act, entry.stamp, entry.by)
        was_refused = any(isinstance(e, ev.Refused) for e in before)
        told = fold(told, entry.line, entry.stamp, entry.by, entry.act, before)
        if refused is not None and not was_refused:
            if entry.line == line:
                return Replay("", line, true, "", unclear=refused.why)
            return Replay("diverged", entry.line, true, refused.why)
        granted = next((e.beats for e in events if isinstance(e, ev.Granted)), None)
        granted_then = next((e.beats for e in before if isinstance(e, ev.Granted)), None)
        true = fold(true, entry.line, entry.stamp, entry.by, act, events)
        if granted is not None and granted_then is not None and granted < granted_then:
            return Replay(
                "broken", entry.line, true, f"{granted_then} were granted where {granted} would have been safe"
            )
        if true.path != told.path or true.phase != told.phase:
            return Replay("diverged", entry.line, true, f"the run would have gone to '{true.path}' instead")
    return Replay("same path", past[-1].line, true, "")


def _restate(draft: Draft, replay: Replay) -> None:
    """Bring the readings to what they are with the correction; levels follow where the path is the same."""
    for name, taken in sorted(replay.state.readings.items()):
        current = draft.state.readings.get(name, ())
        for nth, one in enumerate(taken):
            if nth < len(current) and (current[nth].points, current[nth].outcome) != (one.points, one.outcome):
                pairs = [[to_text(p.lo), to_text(p.hi)] for p in one.points]
                draft.emit(ev.Restated(name=name, nth=nth, values=pairs, outcome=one.outcome))
    for name, known in sorted(draft.state.levels.items()):
        if replay.effect != "same path":
            moved = name in replay.state.levels and replay.state.levels[name] != known
            if replay.effect == "broken" or moved:
                draft.emit(ev.LevelIs(level=name, enclosure=None, why="a correction left it unknown"))
        elif (fresh := replay.state.levels.get(name)) != known:
            pair = None if fresh is None else [to_text(fresh[0]), to_text(fresh[1])]
            draft.emit(ev.LevelIs(level=name, enclosure=pair, why="follows from the correction"))
