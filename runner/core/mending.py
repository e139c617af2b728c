"""Going back without lying: attest, contradict, restore, confirm again, do again."""

from __future__ import annotations

from functools import lru_cache

from runner.core import event as ev
from runner.core import graph
from runner.core.act import Attest, AttestAll, ConfirmAgain, Contradict, DoAgain, Restore
from runner.core.draft import Draft, at, paths
from runner.core.going import arrive
from runner.core.graph import Procedure, Step
from runner.core.needs import needs_unmet
from runner.core.state import SAFE_STOP, State, visits
from runner.core.wording import title


def attest(draft: Draft, act: Attest) -> None:
    """An unknown condition was looked at on the car."""
    if not _is_condition(draft, act.condition):
        draft.refuse(f"'{act.condition}' is no condition of this procedure")
        return
    if draft.state.value(act.condition) != "U" and act.condition not in draft.state.unknown:
        draft.refuse(f"'{act.condition}' is known", "use 'the car is not as you say' where it is otherwise")
        return
    draft.emit(ev.Attested(condition=act.condition, value="T" if act.holds else "F"))


def attest_all(draft: Draft, act: AttestAll) -> None:
    """Several unknown conditions were looked at together; all of them count, or none."""
    known = [name for name in act.conditions if name not in draft.state.unknown]
    if known or not act.conditions:
        draft.refuse(f"'{known[0]}' is not asked now" if known else "nothing was named", "look at the car and answer")
        return
    for name, holds in act.conditions.items():
        draft.emit(ev.Attested(condition=name, value="T" if holds else "F"))


def contradict(draft: Draft, act: Contradict) -> None:
    """The car is not as the record says; what no longer holds is named."""
    if not _is_condition(draft, act.condition):
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


def _is_condition(draft: Draft, instance: str) -> bool:
    name, _, member = instance.partition("@")
    condition = draft.procedure.conditions.get(name)
    return condition is not None and (member in graph.MEMBERS[condition.index] if condition.index else name == instance)


def _unmet(draft: Draft) -> tuple[str, ...]:
    if draft.state.path in ("", SAFE_STOP):
        return ()
    return tuple(u.said for u in needs_unmet(draft.procedure, draft.state, draft.found(), draft.now))


def restoring_path(procedure: Procedure, here: str, condition: str) -> str | None:
    """The step that makes a condition instance and nothing else, nearest to where the run stands."""
    candidates = _restoring(procedure).get(condition, ())
    return max(candidates, key=lambda p: _shared(p, here), default=None)


@lru_cache(maxsize=16)
def _restoring(procedure: Procedure) -> dict[str, tuple[str, ...]]:
    """The steps by the condition instance that is all they make."""
    made: dict[str, tuple[str, ...]] = {}
    for path in paths(procedure):
        found = at(procedure, path)
        step = found.node
        if isinstance(step, Step) and restores(procedure, step):
            name = graph.instance(procedure.conditions, step.makes[0], found.here)
            made[name] = (*made.get(name, ()), path)
    return made


def restores(procedure: Procedure, step: Step) -> bool:
    """Whether a run that lacks what the step makes may go to it: it makes that alone, and no other step is named."""
    if len({(ref.name, ref.at) for ref in step.makes}) != 1 or _does_more(step):
        return False
    return procedure.conditions[step.makes[0].name].restore in (None, step.id)


def _does_more(step: Step) -> bool:
    """Whether a step changes more than the condition that it makes."""
    arms = any(arm.makes or arm.ends for arm in step.branch.arms)
    return bool(step.ends or step.moves or step.sets or step.slides or step.uses or step.starts or arms) or isinstance(
        step.gate, graph.Count
    )


def _shared(one: str, other: str) -> int:
    count = 0
    for a, b in zip(one.split("/"), other.split("/"), strict=False):
        if a != b:
            break
        count += 1
    return count


def restore(draft: Draft, act: Restore) -> None:
    """Go to the step that makes a lost condition true again, then come back to this step."""
    if not _is_condition(draft, act.condition):
        draft.refuse(f"'{act.condition}' is no condition of this procedure")
        return
    if draft.state.path in ("", SAFE_STOP) or draft.state.back_to or draft.state.out is not None:
        draft.refuse("a detour or a grant is under way, or the run stands at no step", "finish that first")
        return
    unmet = [u.instance for u in needs_unmet(draft.procedure, draft.state, draft.found(), draft.now)]
    if act.condition not in unmet:
        draft.refuse(f"the step does not wait for '{act.condition}'")
        return
    path = restoring_path(draft.procedure, draft.state.path, act.condition)
    if path is None:
        draft.refuse("no step of this procedure makes it true alone", "make it so and attest it, or stop safely")
        return
    found = at(draft.procedure, path)
    first = needs_unmet(draft.procedure, draft.state, found, draft.now)
    if first:
        draft.refuse(f"that step itself needs: {first[0].said}", "stop safely, or say how the car is")
        return
    draft.emit(ev.Restoring(condition=act.condition, back_to=draft.state.path))
    draft.emit(ev.Arrived(path=path, because=f"to restore '{act.condition}'"))


def confirm_again(draft: Draft, act: ConfirmAgain) -> None:
    """Ask the gates from an earlier step to now again. Nothing is counted and nothing takes effect."""
    if draft.state.out is not None:
        draft.refuse("a grant is out", "report how many were done first")
        return
    trail = [v.path for v in visits(draft.state)]
    if act.path not in trail:
        draft.refuse(f"'{act.path}' was not passed in this run")
        return
    again = list(dict.fromkeys(trail[trail.index(act.path) :]))
    steps = [p for p in again if isinstance(at(draft.procedure, p).node, Step)]
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
            what=f"not so any more: {title(at(draft.procedure, first), draft.state)}",
            where=at(draft.procedure, first).here or "",
            severity="advisory",
            follows="say with 'the car is not as you say' what is otherwise",
            origin="run",
        )
    )


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
    return isinstance(at(procedure, path).node, Step)


def do_again(draft: Draft, act: DoAgain) -> None:
    """A checked jump to an earlier step: what was chosen after it is void, what was used up stays used."""
    if act.path not in may_do_again(draft.procedure, draft.state):
        draft.refuse(f"'{act.path}' cannot be done again from here", "choose a step of this part of the work")
        return
    if draft.state.diverged and act.path not in draft.state.offers:
        draft.refuse(f"'{act.path}' is later than what was corrected", "choose one of the steps offered, or stop")
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
            if isinstance(node := at(draft.procedure, p).node, Step)
            and isinstance(node.gate, graph.Choice | graph.Count)
            and node.gate.name
        }
    )
    draft.emit(ev.Jumped(source=draft.state.path, path=act.path, void=void))
    arrive(draft, act.path)
