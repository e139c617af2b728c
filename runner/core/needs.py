"""What a step needs and does not find: conditions, levels, waits, parts in hand."""

from __future__ import annotations

from dataclasses import dataclass

from runner.core import graph
from runner.core.graph import After, Count, Found, Holds, LevelNeed, Need, Part, Procedure, Rule, Step, WaitNeed
from runner.core.order import unmet as unmet_before
from runner.core.quantity import Quantity
from runner.core.ruling import changes, of_beat, too_early
from runner.core.stamp import SECOND, Stamp, elapsed
from runner.core.state import State
from runner.core.values import worth


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmet:
    """A need that does not hold: its words, the condition instance, level, wait, part or step, what is there instead.

    ``is_now`` is T, F or U; ``low``; of a wait ``not started``, ``running`` or ``too long ago``; of a part
    ``none in hand``; of a step that a rule or what must come before forbids now ``too early``.
    """

    need: Need | Part | Rule | After
    said: str
    instance: str
    is_now: str
    wait_left_s: int = 0


def needs_unmet(procedure: Procedure, state: State, found: Found, now: Stamp) -> tuple[Unmet, ...]:
    """The needs of the step that do not hold now, in the author's order; of a count those of each phase too."""
    node = found.node
    if not isinstance(node, Step):
        return ()
    unmet = [u for need in node.needs if (u := unmet_need(procedure, state, found, need, now)) is not None]
    rule = too_early(procedure, state, found)
    if rule is not None:
        unmet.append(Unmet(need=rule, said=rule.said, instance=node.id, is_now="too early"))
    if found.path == state.path:  # a detour to a step is outside of the order
        early = unmet_before(state, found)
        unmet += [Unmet(need=one, said=one.said, instance=node.id, is_now="too early") for one in early]
    for name in node.taken:
        part = found.procedure.parts.get(name) or procedure.parts.get(name)
        if part is not None and part.single_use and state.parts.get(name, part.have) < 1:
            unmet.append(Unmet(need=part, said=f"a new {part.what}", instance=name, is_now="none in hand"))
    if isinstance(node.gate, Count):
        told = {(u.said, u.instance) for u in unmet}
        unmet += [u for u in _of_phases(procedure, state, found, node.gate, now) if (u.said, u.instance) not in told]
    return tuple(unmet)


def _of_phases(procedure: Procedure, state: State, found: Found, count: Count, now: Stamp) -> list[Unmet]:
    """What a phase needs and will not find when the beat has come so far: nothing is granted before it does."""
    unmet: list[Unmet] = []
    values = dict(state.conditions)
    for phase in count.beat:
        for ref in phase.makes:
            # A break can leave open what the beat opens: it is closed before the next beat is granted.
            name = graph.instance(procedure.conditions, ref, found.here)
            if procedure.conditions[ref.name].kind == "opening" and values.get(name) == "T":
                closed = Holds(ref=ref, wanted=False, said=f"not {ref.name}", place=ref.place)
                unmet.append(Unmet(need=closed, said=closed.said, instance=name, is_now="T"))
        for need in phase.needs:
            if not isinstance(need, Holds):
                missing = unmet_need(procedure, state, found, need, now)
            else:
                name = graph.instance(procedure.conditions, need.ref, found.here)
                missing = _condition(need, name, values.get(name, "U"))
            if missing is not None and missing not in unmet:
                unmet.append(missing)
        values |= changes(of_beat(procedure, found, (phase,)))
    return unmet


def unmet_need(procedure: Procedure, state: State, found: Found, need: Need, now: Stamp) -> Unmet | None:
    """The need with what is there instead; None where it holds."""
    match need:
        case Holds(ref=ref):
            name = graph.instance(procedure.conditions, ref, found.here)
            return _condition(need, name, state.value(name))
        case LevelNeed(level=level, at_least=mark):
            known, least = state.levels.get(level), worth(found.procedure, state, mark, found.here)
            if known is not None and isinstance(least, Quantity) and known[0] >= least.hi:
                return None
            return Unmet(need=need, said=need.said, instance=level, is_now="U" if known is None else "low")
        case WaitNeed():
            return _wait(procedure, state, found, need, now)


def _condition(need: Holds, name: str, value: str) -> Unmet | None:
    if value == ("T" if need.wanted else "F"):
        return None
    return Unmet(need=need, said=need.said, instance=name, is_now=value)


def _wait(procedure: Procedure, state: State, found: Found, need: WaitNeed, now: Stamp) -> Unmet | None:
    wait = _declared(procedure, found, need.wait)
    least, most = waited(state, need.wait, now)
    if need.wait not in state.waits:
        return Unmet(need=need, said=need.said, instance=need.wait, is_now="not started")
    left = wait.at_least * SECOND - least
    if left > 0:
        left_s = int(-(-left // SECOND))
        return Unmet(need=need, said=need.said, instance=need.wait, is_now="running", wait_left_s=left_s)
    if wait.keeps is not None and most > (wait.at_least + wait.keeps) * SECOND:
        return Unmet(need=need, said=need.said, instance=need.wait, is_now="too long ago")
    return None


def ready_ns(procedure: Procedure, state: State, found: Found, now: Stamp) -> int | None:
    """For how long the waits of a step have been over, in nanoseconds; None where it has none."""
    if not isinstance(found.node, Step):
        return None
    waits = [need.wait for need in found.node.needs if isinstance(need, WaitNeed)]
    spans = (waited(state, n, now)[0] - _declared(procedure, found, n).at_least * SECOND for n in waits)
    return min((max(int(span), 0) for span in spans), default=None)


def _declared(procedure: Procedure, found: Found, wait: str) -> graph.Wait:
    return found.procedure.waits.get(wait) or procedure.waits[wait]


def waited(state: State, wait: str, now: Stamp) -> tuple[int, int]:
    """How long a wait has lasted at least and at most, in nanoseconds: the sum of the spans between the acts."""
    least, most = state.waited.get(wait, (0, 0))
    if state.stamp is None:
        return (least, most)
    span = elapsed(state.stamp, now)
    return (least + span.at_least_ns, most + span.at_most_ns)
