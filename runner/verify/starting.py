"""What the work starts from is known, and nothing is asked at the start that the work does not use.

What a procedure opens or closes first stands among its `assumes`, so that it is confirmed from the car before anything
is done: an opening that may be open already is not opened again. A level is looked at before it is guarded by
`if_short` or `if_full`. In turn each assumption (of a fragment: each need of
its contract) is used: a step, a duty, a call or a rule asks for it, or an opening of that name is opened or closed,
before anything else changes it.

Bad:
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: close}
      close: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
      end: {end: done, say: It is done.}

Good:
    assumes: [not drain_open]
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: close}
      close: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
      end: {end: done, say: It is done.}

Source: DOE-STD-1029: prerequisites and initial conditions
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from runner.core.finding import Finding, Place
from runner.core.graph import (
    HERE,
    MEMBERS,
    Call,
    End,
    Holds,
    LevelNeed,
    Ref,
    instance,
    instances,
    moves_of,
    narrow,
)
from runner.verify.claim import Case
from runner.verify.due import due, duty_needs
from runner.verify.flow import spread
from runner.verify.station import Edge, Station

_CHANGES = ("make", "end", "lose", "waver")


def findings(case: Case) -> Iterator[Finding]:
    """Openings that are changed first without being known, and assumptions that nothing uses."""
    names = [n for n in instances(case.procedure.conditions) if n in case.layout.fields]
    names += sorted({f"level {n}" for p in (case.procedure, *case.procedure.fragments.values()) for n in p.levels})
    bits = {name: 1 << nth for nth, name in enumerate(names)}
    untouched = spread(_ways(case, bits), 0, (1 << len(bits)) - 1)
    yield from _unknown(case, bits, untouched)
    yield from _unlooked(case, bits, untouched)
    yield from _unused(case, bits, untouched)


def _ways(case: Case, bits: Mapping[str, int]) -> tuple[tuple[tuple[int, int, int, int, tuple[int, ...]], ...], ...]:
    """The edges on the bits of what nobody has changed and no step has asked for since the start."""
    kept: dict[int, tuple[int, ...]] = {}
    for station in case.expanded.stations:
        known = sum(bits[a] for a in {a.instance for a in station.asked} | _looked(station))
        kept[id(station)] = tuple(~(known | _changed(edge, bits)) for edge in station.edges)
    return tuple(
        tuple((t, 0, keep, 0, ()) for t, keep in zip(p.targets, kept[id(p.station)], strict=True))
        for p in case.expanded.points
    )


def _looked(station: Station) -> set[str]:
    """The levels that are looked at here: by the step, after a grant, or because it needs them."""
    step = station.step
    if step is None:
        return set()
    looks = {f"level {look.level}" for look in step.sets}
    if station.kind == "look":
        looks |= {f"level {n}" for m in moves_of(step) for n in (m.source, m.target) if n is not None}
    return looks | {f"level {n.level}" for n in station.others if isinstance(n, LevelNeed)}


def _unlooked(case: Case, bits: Mapping[str, int], untouched: tuple[int, ...]) -> Iterator[Finding]:
    """Guards at levels that nobody has looked at since the start."""
    told: set[tuple[Place, str]] = set()
    for point, x in zip(case.expanded.points, untouched, strict=True):
        step = point.station.step
        if step is None or point.station.kind != "step" or case.procedure.is_fragment:
            continue
        for move in moves_of(step):
            for name, guard in ((move.source, move.if_short), (move.target, move.if_full)):
                if guard is None or not x & bits.get(f"level {name}", 0) or (move.place, name or "") in told:
                    continue
                told.add((move.place, name or ""))
                yield Finding(
                    place=move.place,
                    check="start",
                    text=f"'{name}' is guarded here, and nobody has looked at it since the start",
                    help=f"let every path that leads here pass a step with 'sets: {{{name}: ..}}'",
                )


def _changed(edge: Edge, bits: Mapping[str, int]) -> int:
    return sum(bits[name] for name in {op.name for op in edge.ops if op.verb in _CHANGES})


def _unknown(case: Case, bits: Mapping[str, int], untouched: tuple[int, ...]) -> Iterator[Finding]:
    if case.procedure.is_fragment:
        return
    assumed = {instance(case.procedure.conditions, n.ref, None) for n in case.procedure.assumes if isinstance(n, Holds)}
    said: dict[tuple[Place, str], Finding] = {}
    for point, x in zip(case.expanded.points, untouched, strict=True):
        asked = {a.instance for a in point.station.asked}
        for edge in point.station.edges:
            before = asked | assumed
            for op in (op for op in edge.ops if op.verb in _CHANGES):
                base = op.name.partition("@")[0]
                opening = _strict(case, base, op.verb)
                # A debt that is carried from run to run may be owed already.
                owed = op.verb == "make" and base in case.procedure.carries
                if opening and not owed and x & bits[op.name] and op.name not in before:
                    said.setdefault((op.place, base), _at_start(case, op.place, base, op.verb))
                before = before | {op.name}
    yield from said.values()


def _strict(case: Case, base: str, verb: str) -> bool:
    """Whether the change must not come where it has come already: of an opening, and of a part that is slid on."""
    if verb == "make" and base.startswith("fitted_"):
        return True
    return verb in ("make", "end") and case.procedure.conditions[base].kind == "opening"


def _at_start(case: Case, place: Place, base: str, verb: str) -> Finding:
    how = "made" if verb == "make" else "ended"
    many = case.procedure.conditions[base].index is not None
    need = ("none" if many else "not") if verb == "make" else ("all" if many else "")
    return Finding(
        place=place,
        check="start",
        text=f"'{base}' is {how} here, and nothing says how it stands at the start",
        help=f"write 'assumes: [{need} {base}]', or lead the way past a step that looks".replace("[ ", "["),
    )


def _unused(case: Case, bits: Mapping[str, int], untouched: tuple[int, ...]) -> Iterator[Finding]:
    whole = case.procedure
    contract = whole.contract.needs if whole.contract is not None else ()
    here = case.expanded.points[0].frame.here
    asked: dict[tuple[Place, str], list[str]] = {}
    for need in (*whole.assumes, *contract):
        if isinstance(need, Holds):
            asked.setdefault((need.place, need.said), []).append(instance(whole.conditions, need.ref, here))
    if not asked:
        return
    left = {key: sum(bits[n] for n in names if n in bits) for key, names in asked.items()}
    uses: dict[int, int] = {}
    for point, x in zip(case.expanded.points, untouched, strict=True):
        if not left:
            return
        key = id(point.station)
        if key not in uses:
            uses[key] = sum(bits[n] for n in _uses(case, point.station) if n in bits)
        used = x & uses[key]
        if used:
            left = {need: mask for need, mask in left.items() if not used & mask}
    for place, said in left:
        where = "the contract" if whole.contract is not None else "'assumes'"
        yield Finding(
            place=place,
            check="start",
            text=f"'{said}' is asked for by {where}, and nothing uses it",
            help=f"write 'needs: [{said}]' at the step that rests on it, or take it out",
        )


def _uses(case: Case, station: Station) -> frozenset[str]:
    """What a station asks for, in one way or another, of what holds when it is entered."""
    conditions = case.procedure.conditions
    found = {a.instance for a in station.asked}
    for each in due(case, station):
        found |= {name for name, _ in duty_needs(case, each, station.here)}
    for edge in station.edges:
        found |= {edge.when.field} if edge.when is not None else set()
        made = {op.name for op in edge.ops if op.verb in ("make", "end")}
        found |= {op.name for op in edge.ops if _strict(case, op.name.partition("@")[0], op.verb)}
        for rule in case.procedure.rules:
            if rule.kind in ("at_most_one", "never_together") and made & _meant(case, rule.refs):
                found |= _meant(case, rule.refs)
    if isinstance(station.node, Call) and station.edges and station.edges[0].to == ">":
        found |= _by_contract(case, station, station.node)
    if isinstance(station.node, End) and station.node.kind == "done":
        found |= {n for n in case.touched if conditions[n.partition("@")[0]].kind == "opening"}
        for rule in case.procedure.rules:
            found |= _meant(case, rule.refs) if rule.kind == "at_end" else set()
    return frozenset(found)


def _meant(case: Case, refs: tuple[Ref, ...]) -> set[str]:
    names: set[str] = set()
    for ref in refs:
        index = case.procedure.conditions[ref.name].index
        members = MEMBERS[index] if index and ref.at in (None, HERE) else (ref.at,)
        names |= {f"{ref.name}@{m}" if index else ref.name for m in members}
    return names


def _by_contract(case: Case, station: Station, call: Call) -> set[str]:
    owner = case.procedure.fragments[call.fragment]
    here = station.here if call.at in (None, HERE) else call.at
    here = narrow(here, owner.here) if owner.here is not None else here
    needs = owner.contract.needs if owner.contract is not None else ()
    return {instance(case.procedure.conditions, n.ref, here) for n in needs if isinstance(n, Holds)}
