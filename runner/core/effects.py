"""What leaving a step does to the car: deeds, conditions, parts, levels, waits; and where the run goes next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from runner.core import event as ev
from runner.core import graph, ruling
from runner.core.draft import MOST_HOPS, Draft, at, outward
from runner.core.granting import brim_of, measured, threshold
from runner.core.graph import Arm, Call, Each, End, Found, Move, Step, Target
from runner.core.quantity import Quantity
from runner.core.ruling import Deed
from runner.core.state import SAFE_STOP, Enclosure
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
    turned = _short(draft, found, step)
    if turned is not None:
        draft.emit(ev.Left(path=draft.state.path, outcome=turned[0], because=because))
        _on(draft, turned[1])
        return
    deeds = ruling.of_step(draft.procedure, found, step, arm)
    if not may_happen(draft, deeds, touched_levels(step)):
        return
    _apply(draft, found, step, deeds)
    draft.emit(ev.Left(path=draft.state.path, outcome=outcome, because=because, late=late))
    _on(draft, arm.target)


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
    for how, part in step.slides:
        declared = found.procedure.parts.get(part) or draft.procedure.parts.get(part)
        if how == "on" and declared is not None and declared.single_use:
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


def go(draft: Draft, target: Target) -> None:
    """Follow an edge from where the run stands."""
    follow(draft, draft.state.path, target)


def follow(draft: Draft, path: str, target: Target) -> None:
    """Follow an edge that starts at the node ``path``."""
    match target.kind:
        case "safe stop":
            draft.emit(ev.Arrived(path=SAFE_STOP))
        case "again":
            arrive(draft, path)
        case "step":
            arrive(draft, graph.prefix(draft.procedure, path) + target.name)
        case "next turn":
            _next_turn(draft, path)
        case "exit":
            _exit(draft, path, target.name)


def _exit(draft: Draft, path: str, name: str) -> None:
    above = graph.parent(draft.procedure, path)
    if above is None:
        draft.emit(ev.Arrived(path=SAFE_STOP, because=f"no way out by '{name}'"))
        return
    node = at(draft.procedure, above).node
    way = node.exits.get(name) if isinstance(node, Call | Each) else None
    if way is None:
        draft.emit(ev.Arrived(path=SAFE_STOP, because=f"no way out by '{name}'"))
        return
    if isinstance(node, Each):
        _turn_over(draft, above, path, node)
    follow(draft, above, way)


def _next_turn(draft: Draft, path: str) -> None:
    above = graph.parent(draft.procedure, path)
    while above is not None and not isinstance(at(draft.procedure, above).node, Each):
        above = graph.parent(draft.procedure, above)
    block = at(draft.procedure, above).node if above is not None else None
    if above is None or not isinstance(block, Each):
        draft.emit(ev.Arrived(path=SAFE_STOP, because="there is no next turn here"))
        return
    _turn_over(draft, above, path, block)
    left = [m for m in draft.state.orders.get(above, ()) if m not in draft.state.over[above]]
    if left:
        arrive(draft, f"{above}/{left[0]}/{block.body.first}")
    else:
        follow(draft, above, block.then)


def _turn_over(draft: Draft, above: str, path: str, block: Each) -> None:
    """A turn ends, by its edge or by an exit; the choices that were made in it and in what it calls are forgotten."""
    gates = (step.gate for step in _inside(draft, block.body))
    forgotten = {g.name for g in gates if isinstance(g, graph.Choice | graph.Count) and g.name}
    member = path[len(above) + 1 :].partition("/")[0]
    draft.emit(ev.TurnOver(block=above, member=member, forgotten=sorted(forgotten)))


def _inside(draft: Draft, body: graph.Body) -> Iterator[Step]:
    for node in graph.walk(body):
        if isinstance(node, Step):
            yield node
        elif isinstance(node, Call):
            yield from _inside(draft, draft.procedure.fragments[node.fragment].body)


def arrive(draft: Draft, path: str) -> None:
    """Move to a path; calls, blocks and bounds are passed through to the step where the run stands."""
    draft.hops += 1
    if draft.hops > MOST_HOPS:
        draft.emit(ev.Arrived(path=SAFE_STOP, because="the procedure goes in circles here"))
        return
    found = at(draft.procedure, path)
    node = found.node
    match node:
        case Call():
            _call(draft, path, found, node)
        case Each():
            _block(draft, path, found, node)
        case End(kind=kind):
            above = graph.parent(draft.procedure, path)
            if above is not None and isinstance(at(draft.procedure, above).node, Call):
                _exit(draft, path, kind)
            else:
                draft.emit(ev.Arrived(path=path))
        case Step():
            bound = node.bound
            if bound is not None and draft.state.entries.get(path, 0) >= bound.times:
                draft.emit(ev.Left(path=path, outcome="bound", because=f"entered {bound.times} times"))
                follow(draft, path, bound.then)
            else:
                draft.emit(ev.Arrived(path=path))


def _call(draft: Draft, path: str, found: Found, node: Call) -> None:
    for ref, why in ((node.ensure, "already so"), (node.give_back, "")):
        if ref is None or node.skip is None:
            continue
        name = draft.name(found, ref)
        holder = draft.state.claims.get(name, "")
        if (ref is node.ensure and draft.state.value(name) == "T") or (ref is node.give_back and holder):
            draft.emit(ev.Left(path=path, outcome="skipped", because=why or f"still needed by {holder}"))
            follow(draft, path, node.skip)
            return
    arrive(draft, f"{path}/{draft.procedure.fragments[node.fragment].body.first}")


def _block(draft: Draft, path: str, found: Found, node: Each) -> None:
    order: tuple[str, ...] | None
    if isinstance(node.order, str):
        value = named(found.procedure, draft.state, node.order, found.here)
        order = value if isinstance(value, tuple) else None
    else:
        order = node.order
    if order is None:
        draft.emit(ev.Arrived(path=path, because="the order is not known yet"))
        return
    source = node.order if isinstance(node.order, str) else "the procedure"
    draft.emit(ev.OrderSet(block=path, order=list(order), source=source))
    arrive(draft, f"{path}/{order[0]}/{node.body.first}")
