"""A step as a proof sees it: what it asks on entry, and its edges with what takes place on each.

Rules of this module
1. A count is four kinds of station: the step itself, its rest before a grant, one for each phase of the beat,
   and the look after a grant. A grant of which nothing was used leads back to the rest: nothing is asked then.
2. What happens at leaving happens in this order: the step and its deeds, what it ends, what it makes; then
   what its arm ends and makes.
3. On an edge that leaves a step undone (override, cannot) the deeds may have happened, and what the step
   would have changed is not known.
"""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from runner.core.finding import Place
from runner.core.graph import (
    LEFT,
    OVERRIDDEN,
    Arm,
    Choice,
    Count,
    Each,
    Holds,
    Procedure,
    Reading,
    Ref,
    Step,
    Target,
    outcomes,
)
from runner.verify.station import Edge, Op, Setting, Station, When, asked

MOST_COUNTED = 12
"""Up to so many entries a bounded step is counted exactly; past them it may reach its bound at the second."""


def stations(setting: Setting, step: Step) -> tuple[Station, ...]:
    """The stations of one step; the first is the one that is entered."""
    gate = step.gate
    if not isinstance(gate, Count):
        edges = (*_shorts(setting, step), *_arms(setting, step), *_undone(setting, step))
        return (*_counted(setting, step), _first(setting, step, edges))
    first = _first(setting, step, (Edge(label="", kind="on", to="rest", place=step.place),))
    bare = replace(first, asked=(), others=(), entry=(), place=gate.place)
    rest = replace(bare, kind="rest", part="rest", edges=_rest(setting, step, gate))
    look = replace(bare, kind="look", part="look", edges=_arms(setting, step))
    return (*_counted(setting, step), first, rest, *_phases(setting, gate, bare), look)


def _counted(setting: Setting, step: Step) -> tuple[Station, ...]:
    """Before a bounded step: in, or by the edge of the bound where it was entered so often already."""
    if step.bound is None:
        return ()
    times, name = step.bound.times, counted(setting, step)
    entered = Op("enter", name, step.place, values=(str(times),))
    if times <= MOST_COUNTED:
        taken = When(f"entries left {name}", ("0",))
        inside = When(f"entries left {name}", tuple(str(n) for n in range(1, times + 1)))
    else:
        taken, inside = When(f"entered {name}", ("before",)), None
    label = f"entered {times} times"
    edges = (
        Edge(label=label, kind="bound", to=step.bound.then, when=taken, place=step.bound.then.place),
        Edge(label="", kind="on", to="in", when=inside, ops=(entered,), place=step.place),
    )
    return (replace(_first(setting, step, edges), kind="gate", part="", asked=(), others=(), entry=()),)


def counted(setting: Setting, step: Step) -> str:
    """The name by which a step is counted: one for each place in which it stands."""
    return setting.at_here(f"{setting.block}{step.id}")


def _first(setting: Setting, step: Step, edges: tuple[Edge, ...]) -> Station:
    return Station(
        kind="step",
        part="in" if step.bound is not None else "",
        node=step,
        owner=setting.owner,
        here=setting.here,
        block=setting.block,
        asked=asked(setting, step.needs),
        others=tuple(n for n in step.needs if not isinstance(n, Holds)),
        entry=tuple(Op("tell", c.name, step.place) for c in step.cautions),
        edges=edges,
        place=step.place,
    )


def _phases(setting: Setting, count: Count, bare: Station) -> Iterator[Station]:
    last = len(count.beat) - 1
    for at, phase in enumerate(count.beat):
        ops = tuple(_doing(setting, phase.deeds, phase.ends, phase.makes))
        onward = ("phase 0", "look") if at == last else (f"phase {at + 1}",)
        yield replace(
            bare,
            kind="phase",
            part=f"phase {at}",
            phase=phase,
            asked=asked(setting, phase.needs),
            place=phase.place,
            others=tuple(n for n in phase.needs if not isinstance(n, Holds)),
            edges=tuple(Edge(label="", kind="on", to=to, ops=ops, place=phase.place) for to in onward),
        )


def _shorts(setting: Setting, step: Step) -> Iterator[Edge]:
    gate = step.gate
    for move in (gate.move,) if isinstance(gate, Count) else step.moves:
        if move is not None and move.if_short is not None:
            yield Edge(label="short", kind="short", to=move.if_short, ops=_left(setting, step), place=move.place)
        if move is not None and move.if_full is not None:
            yield Edge(label="full", kind="full", to=move.if_full, ops=_left(setting, step), place=move.place)


def _left(setting: Setting, step: Step) -> tuple[Op, ...]:
    """The step is left undone: its gate came out in no way."""
    return setting.come(step, LEFT, step.place, sure=False)


def _rest(setting: Setting, step: Step, count: Count) -> tuple[Edge, ...]:
    first = "phase 0" if count.beat else "look"
    ways = dict.fromkeys((first, "rest"))
    granted = Op("enter", f"beats of {counted(setting, step)}", count.place, values=(str(count.at_most),))
    when = When(f"entered {granted.name}", ("before",))
    label = f"{count.at_most} {count.what} used"
    return (
        *_shorts(setting, step),
        Edge(label=label, kind="bound", to=count.bound, when=when, ops=_left(setting, step), place=count.place),
        *(
            # A grant of which nothing was used does not count against the bound.
            Edge(label="", kind="on", to=way, ops=(granted,) if way == first else (), place=count.place)
            for way in ways
        ),
        *_undone(setting, step),
    )


def _doing(setting: Setting, deeds: tuple[str, ...], ends: tuple[Ref, ...], makes: tuple[Ref, ...]) -> Iterator[Op]:
    here = Place("", 0, 0)
    yield from (Op("deed", setting.at_here(d), here) for d in deeds)
    yield from (Op("end", setting.name(r), r.place) for r in ends)
    yield from (Op("make", setting.name(r), r.place) for r in makes)


def _leaving(setting: Setting, step: Step) -> Iterator[Op]:
    yield Op("step", setting.at_here(step.id), step.place)
    slid_on = tuple(_fitted(step, part) for how, part in step.slides if how == "on")
    slid_off = tuple(_fitted(step, part) for how, part in step.slides if how != "on")
    yield from _doing(setting, step.deeds, (*step.ends, *slid_off), (*step.makes, *slid_on))
    yield from (Op("use", part, step.place) for part in step.taken)
    if step.starts:
        yield Op("start", step.starts, step.place)


def _fitted(step: Step, part: str) -> Ref:
    return Ref(name=f"fitted_{part}", at=None, place=step.place)


def _arms(setting: Setting, step: Step) -> tuple[Edge, ...]:
    subject, gate = step.branch.subject, step.gate
    own = _own(step)
    left = list(outcomes(gate)) if own else _options(setting, subject)
    base = tuple(_leaving(setting, step))
    edges: list[Edge] = []
    for arm in step.branch.arms:
        taken = tuple(o for o in left if arm.value in (None, o))
        if left and not taken and (own or arm.value is None):
            continue
        left = [o for o in left if o not in taken]
        came = taken if own else outcomes(gate)
        edges += (_arm(setting, step, arm, base, taken, out) for out in _apart(setting, step, came))
    if isinstance(gate, Count):
        edges = [e for e in edges if isinstance(e.to, Target) and e.to.kind != "again"]
        again = tuple(o for o in gate.exits if o in gate.again)
        for said in _apart(setting, step, again) if again else ():
            ops = (*_noted(setting, step, said), *setting.come(step, said[0], step.place, sure=False))
            edges.append(Edge(label=", ".join(said), kind="arm", to="rest", ops=ops, place=gate.place))
    return tuple(edges)


def _apart(setting: Setting, step: Step, came: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """The outcomes of one edge: each by itself where a node waits for one of them."""
    return tuple((one,) for one in came) if step.id in setting.told_apart and came else (came,)


def _own(step: Step) -> bool:
    """Whether the branch is on the outcome of the step's own gate."""
    return step.branch.subject in ("gate", getattr(step.gate, "name", None))


def _arm(
    setting: Setting, step: Step, arm: Arm, base: tuple[Op, ...], taken: tuple[str, ...], out: tuple[str, ...]
) -> Edge:
    """The edge of an arm for the outcomes ``out`` of the gate; ``taken`` are the answers that lead along it."""
    own = _own(step)
    taken = out if own else taken
    came = setting.come(step, out[0] if out else "done", step.place)
    ops = (*base, *_noted(setting, step, out), *_doing(setting, (), arm.ends, arm.makes), *came)
    when = None
    if not own:
        kind = "choice" if step.branch.subject in setting.choices else "ask"
        when = When(f"{kind} {step.branch.subject}", taken or ((arm.value,) if arm.value else ()))
    label = ", ".join(taken) or arm.value or ""
    if not own and label:
        label = f"{step.branch.subject} is {label}"
    return Edge(label=label, kind="arm", to=arm.target, ops=ops, when=when, place=arm.place)


def _noted(setting: Setting, step: Step, taken: tuple[str, ...]) -> Iterator[Op]:
    match step.gate:
        case Choice(name=name) | Count(name=name) if name:
            yield Op("choose", name, step.place, values=taken)
        case Reading(name=name, instead=instead) if not taken or not set(taken) <= set(instead):
            # A named result such as "by feel" leaves no value behind.
            sure = not set(taken) & set(instead)
            yield Op("read", setting.at_here(name), step.place, sure=sure)
        case _:
            pass


def _options(setting: Setting, subject: str) -> list[str]:
    ask = setting.owner.asks.get(subject)
    if ask is not None:
        return list(ask.options)
    return list(setting.choices.get(subject, ()))


def choices_of(owner: Procedure) -> dict[str, tuple[str, ...]]:
    """The remembered choices of a procedure's own steps, and the values that each may have."""
    found: dict[str, dict[str, None]] = {}
    todo = [owner.body]
    while todo:
        for node in todo.pop().nodes.values():
            if isinstance(node, Each):
                todo.append(node.body)
            if isinstance(node, Step) and isinstance(node.gate, Choice | Count) and node.gate.name:
                found.setdefault(node.gate.name, {}).update(dict.fromkeys(outcomes(node.gate)))
    return {name: tuple(values) for name, values in found.items()}


def _undone(setting: Setting, step: Step) -> Iterator[Edge]:
    ways = ((step.override, "override"), (step.cannot, "cannot"))
    for target, kind in ways:
        # The safe stop from anywhere is the leaving of every station and needs no edge of its own.
        if target is not None and (kind == "override" or target.kind != "safe stop"):
            label = "overridden" if kind == "override" else "cannot be done"
            out = OVERRIDDEN if kind == "override" else LEFT
            ops = (*_lost(setting, step), *setting.come(step, out, step.place, sure=False))
            yield Edge(label=label, kind=kind, to=target, ops=ops, place=target.place)  # type: ignore[arg-type]


def _lost(setting: Setting, step: Step) -> Iterator[Op]:
    """What is left behind by a step that was not done: nothing of it is known."""
    phases = step.gate.beat if isinstance(step.gate, Count) else ()
    deeds = (*step.deeds, *(d for p in phases for d in p.deeds))
    yield from (Op("deed", setting.at_here(d), step.place, sure=False) for d in deeds)
    yield Op("step", setting.at_here(step.id), step.place, sure=False)
    within = tuple(r for p in phases for r in (*p.makes, *p.ends))
    by_arm = tuple(r for a in step.branch.arms for r in (*a.makes, *a.ends))
    slid = tuple(_fitted(step, part) for _, part in step.slides)
    if step.starts:
        yield Op("start", step.starts, step.place, values=("idle",))  # what was to begin anew has not
    # A new part may be spoiled by then, and is not counted on.
    yield from (Op("use", part, step.place) for part in step.taken)
    # A beat may not have begun: what it touches is as before, or not known.
    yield from (Op("waver", setting.name(r), r.place) for r in within)
    yield from (Op("lose", setting.name(r), r.place) for r in (*step.makes, *step.ends, *by_arm, *slid))
