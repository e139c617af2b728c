"""What leaving a step does to the car: deeds, conditions, parts, levels, waits; and where the run goes next."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from runner.core import event as ev
from runner.core import graph
from runner.core.draft import Draft, outward
from runner.core.graph import Arm, Call, Each, End, Found, Move, Ref, Rule, Step, Target
from runner.core.quantity import Quantity
from runner.core.state import SAFE_STOP, Enclosure
from runner.core.values import level_of, named, worth


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
    makes = (*step.makes, *arm.makes, *_slid(step, on=True))
    ends = (*step.ends, *arm.ends, *_slid(step, on=False))
    changes = {_name(draft, found, r): "F" for r in ends} | {_name(draft, found, r): "T" for r in makes}
    broken = _broken(draft, found, step, changes)
    if broken is not None:
        draft.refuse(f"a rule forbids it now: {broken.said}", broken.why)
        return
    claimed = {c: draft.state.claims[c] for c in changes if c in draft.state.claims}
    if claimed:
        instance, holder = next(iter(claimed.items()))
        draft.refuse(f"'{instance}' is held by the paused run {holder}", "finish or safely stop that run first")
        return
    turned = _short(draft, found, step)
    if turned is not None:
        draft.emit(ev.Left(path=draft.state.path, outcome=turned[0], because=because))
        go(draft, turned[1])
        return
    _apply(draft, found, step, changes)
    draft.emit(ev.Left(path=draft.state.path, outcome=outcome, because=because, late=late))
    if draft.state.back_to:
        back = draft.state.back_to
        draft.emit(ev.Restored(condition=draft.state.restoring))
        draft.emit(ev.Arrived(path=back, because="back from restoring"))
        return
    go(draft, arm.target)


def _arm(draft: Draft, found: Found, step: Step, outcome: str) -> Arm | None:
    subject = step.branch.subject
    if subject == "gate":
        return arm_for(step, outcome)
    value = draft.state.choices.get(subject)
    if value is None:
        known = named(found.procedure, draft.state, subject, found.here)
        value = known if isinstance(known, str) else ""
    return arm_for(step, value)


def _slid(step: Step, *, on: bool) -> tuple[Ref, ...]:
    return tuple(
        Ref(name=f"fitted_{part}", at=None, place=step.place) for how, part in step.slides if (how == "on") is on
    )


def _name(draft: Draft, found: Found, ref: Ref) -> str:
    return graph.instance(draft.procedure.conditions, ref, found.here)


def occasions(draft: Draft, found: Found, step: Step, changes: dict[str, str]) -> set[str]:
    """What the step lets happen, as words: ``step torque``, ``deed pedal_rise@RR``, ``make cap_off``."""
    member = f"@{found.here}" if found.here else ""
    told = {f"step {step.id}{member}"} | {f"deed {d}{member}" for d in step.deeds}
    return told | {f"{'make' if v == 'T' else 'end'} {c}" for c, v in changes.items()}


def _watched(rule: Rule, told: set[str], *, other: bool) -> set[str]:
    occasion = rule.other if other else rule.what
    if occasion is None:
        return set()
    plain = f"{occasion.on} {occasion.name}"
    if occasion.at not in (None, graph.HERE):
        return {t for t in told if t == f"{plain}@{occasion.at}"}
    return {t for t in told if t == plain or t.startswith(f"{plain}@")}


def _broken(draft: Draft, found: Found, step: Step, changes: dict[str, str]) -> Rule | None:
    told = occasions(draft, found, step, changes)
    happened = set(draft.state.happened)
    for rule in draft.procedure.rules:
        if rule.kind == "only_after":
            for hit in _watched(rule, told, other=False):
                before = _watched(rule, happened, other=True)
                same_turn = {b for b in before if "@" not in b or "@" not in hit or _same(b, hit)}
                if not same_turn:
                    return rule
        elif rule.kind in ("at_most_one", "never_together"):
            after = {**draft.state.conditions, **changes}
            true_now = [i for r in rule.refs for i in _spread(draft, r) if after.get(i) == "T"]
            limit = 1 if rule.kind == "at_most_one" else len(rule.refs) - 1
            if len(true_now) > limit and any(changes.get(i) == "T" for i in true_now):
                return rule
    return None


def _same(one: str, other: str) -> bool:
    a, b = one.rpartition("@")[2], other.rpartition("@")[2]
    return a == b or graph.AXLE_OF.get(a) == b or graph.AXLE_OF.get(b) == a


def _spread(draft: Draft, ref: Ref) -> tuple[str, ...]:
    index = draft.procedure.conditions[ref.name].index
    if index is None or ref.at not in (None, graph.HERE):
        return (ref.name if index is None else f"{ref.name}@{ref.at}",)
    return tuple(f"{ref.name}@{m}" for m in graph.MEMBERS[index])


def _short(draft: Draft, found: Found, step: Step) -> tuple[str, Target] | None:
    """A planned transfer that would pass below the low mark or over the brim takes its edge instead."""
    for move in step.moves:
        if isinstance(step.gate, graph.Reading):
            continue  # a measured amount has already moved
        amounts = _amounts(draft, found, move)
        if amounts is None:
            continue
        source, target = draft.state.levels.get(move.source or ""), draft.state.levels.get(move.target or "")
        low = worth(found.procedure, draft.state, move.low_mark, found.here) if move.low_mark else None
        if (
            move.if_short
            and move.source
            and (source is None or (isinstance(low, Quantity) and source[0] - amounts[1] < low.hi))
        ):
            return ("short", move.if_short)
        if move.if_full and move.target:
            level = level_of(draft.procedure, found.procedure, move.target)
            brim = worth(draft.procedure, draft.state, level.brim, found.here)
            if target is None or (isinstance(brim, Quantity) and target[1] + amounts[1] > brim.lo):
                return ("full", move.if_full)
    return None


def _amounts(draft: Draft, found: Found, move: Move) -> tuple[Fraction, Fraction] | None:
    least, most = (worth(found.procedure, draft.state, e, found.here) for e in (move.least, move.most))
    if isinstance(least, Quantity) and isinstance(most, Quantity):
        return (max(Fraction(0), least.lo), most.hi)
    return None


def _apply(draft: Draft, found: Found, step: Step, changes: dict[str, str]) -> None:
    told = occasions(draft, found, step, changes)
    wanted = {t for r in draft.procedure.rules for t in _watched(r, told, other=False) | _watched(r, told, other=True)}
    deeds = sorted(wanted | {t for t in told if t.startswith("deed ")})
    if deeds:
        draft.emit(ev.Happened(deeds=deeds))
    if changes:
        draft.emit(ev.Became(changes=changes, why=step.id))
    for how, part in step.slides:
        declared = found.procedure.parts.get(part) or draft.procedure.parts.get(part)
        if how == "on" and declared is not None and declared.single_use:
            draft.emit(ev.PartUsed(part=part, left=draft.state.parts.get(part, declared.have) - 1))
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
        draft.emit(ev.LevelIs(level=name, enclosure=outward(moved(known, amounts, sign)), why=step.id))


def moved(known: Enclosure, amounts: tuple[Fraction, Fraction], sign: int) -> Enclosure:
    """An enclosure after [least, most] went out (sign -1) or came in (1); never below empty."""
    least, most = amounts
    pair = (known[0] - most, known[1] - least) if sign < 0 else (known[0] + least, known[1] + most)
    return (max(Fraction(0), pair[0]), max(Fraction(0), pair[1]))


def make_unknown(draft: Draft, found: Found, why: str) -> None:
    """What the step would have made, ended or moved is not known: it was overridden or could not be done."""
    step = found.node
    if not isinstance(step, Step):
        return
    touched = (*step.makes, *step.ends, *(r for a in step.branch.arms for r in (*a.makes, *a.ends)))
    touched += (*_slid(step, on=True), *_slid(step, on=False))
    phases = step.gate.beat if isinstance(step.gate, graph.Count) else ()
    if draft.state.out is not None:
        touched += tuple(r for p in phases for r in (*p.makes, *p.ends))
    changes = dict.fromkeys((_name(draft, found, r) for r in touched), "U")
    if changes:
        draft.emit(ev.Became(changes=changes, why=why))
    levels = [n for m in step.moves for n in (m.source, m.target) if n] + [s.level for s in step.sets]
    for name in dict.fromkeys(levels):
        draft.emit(ev.LevelIs(level=name, enclosure=None, why=why))


def go(draft: Draft, target: Target) -> None:
    """Follow an edge from where the run stands."""
    path = draft.state.path
    match target.kind:
        case "safe stop":
            draft.emit(ev.Arrived(path=SAFE_STOP))
        case "again":
            draft.emit(ev.Arrived(path=path))
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
    node = graph.find(draft.procedure, above).node
    if not isinstance(node, Call | Each):
        return
    follow(draft, above, node.exits[name])


def follow(draft: Draft, path: str, target: Target) -> None:
    """Follow an edge that starts at the call or block ``path``."""
    match target.kind:
        case "step":
            arrive(draft, graph.prefix(draft.procedure, path) + target.name)
        case "next turn":
            _next_turn(draft, path)
        case "exit":
            _exit(draft, path, target.name)
        case _:
            draft.emit(ev.Arrived(path=SAFE_STOP))


def _next_turn(draft: Draft, path: str) -> None:
    above = graph.parent(draft.procedure, path)
    while above is not None and not isinstance(graph.find(draft.procedure, above).node, Each):
        above = graph.parent(draft.procedure, above)
    if above is None:
        return
    block = graph.find(draft.procedure, above).node
    if not isinstance(block, Each):
        return
    member = path[len(above) + 1 :].partition("/")[0]
    draft.emit(ev.TurnOver(block=above, member=member, forgotten=sorted(_remembered(draft, block))))
    left = [m for m in draft.state.orders[above] if m not in draft.state.over[above]]
    if left:
        arrive(draft, f"{above}/{left[0]}/{block.body.first}")
    else:
        follow(draft, above, block.then)


def _remembered(draft: Draft, block: Each) -> Iterator[str]:
    for node in graph.walk(block.body):
        if isinstance(node, Step) and isinstance(node.gate, graph.Choice | graph.Count) and node.gate.name:
            yield node.gate.name


def arrive(draft: Draft, path: str) -> None:
    """Move to a path; calls, blocks and bounds are passed through to the step where the run stands."""
    found = graph.find(draft.procedure, path)
    node = found.node
    match node:
        case Call():
            _call(draft, path, found, node)
        case Each():
            _block(draft, path, found, node)
        case End(kind=kind):
            above = graph.parent(draft.procedure, path)
            if above is not None and isinstance(graph.find(draft.procedure, above).node, Call):
                _exit(draft, path, kind)
            else:
                draft.emit(ev.Arrived(path=path))
        case Step():
            bound = node.bound
            if bound is not None and draft.state.entries.get(path, 0) >= bound.times:
                draft.emit(ev.Left(path=path, outcome="bound", because=f"entered {bound.times} times"))
                _from(draft, path, bound.then)
            else:
                draft.emit(ev.Arrived(path=path))


def _from(draft: Draft, path: str, target: Target) -> None:
    if target.kind == "again":
        draft.emit(ev.Arrived(path=path))
    else:
        follow(draft, path, target)


def _call(draft: Draft, path: str, found: Found, node: Call) -> None:
    for ref, why in ((node.ensure, "already so"), (node.give_back, "")):
        if ref is None or node.skip is None:
            continue
        name = _name(draft, found, ref)
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
