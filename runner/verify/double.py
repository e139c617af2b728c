"""Every duty is restated where it applies, and every need traces to a reason.

Each safeguard stands twice: once in the vocabulary, for all procedures, and once at the step. So a safeguard that
is dropped in one place is seen in the other. A step (or the phase of a count) needs what the duties on its place,
its deeds and its changes need; what the beat of a count needs throughout is needed by its step too. In turn each
condition that a step needs comes from such a duty, from a rule `only_after` that names the condition, from a stack,
or from the contract of the fragment.
Where a rule says only after C was made, and nothing ever ends C, the step needs C as well.

Bad:
    steps:
      goggles: {do: Put on the goggles., place: wheel, makes: [goggles_on], next: look}
      look: {do: Look up., place: wheel, cautions: [drip], deeds: [looks_up], next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      goggles: {do: Put on the goggles., place: wheel, makes: [goggles_on], next: look}
      look: {do: Look up., place: wheel, cautions: [drip], needs: [goggles_on], deeds: [looks_up], next: end}
      end: {end: done, say: It is done.}
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from runner.core.graph import HERE, Condition, Count, Holds, Occasion, Ref, Rule, instance
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.due import Due, due, duty_needs, unlifted
from runner.verify.fields import meant
from runner.verify.station import Asked, Station, asked_of

_Pair = tuple[str, bool]


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """Duties that are not restated; on the first station of a step also needs without a reason."""
    if station.step is None:
        return
    own = {(a.instance, a.wanted) for a in station.asked}
    yield from _before_the_beat(case, station, own)
    if station.kind not in ("step", "phase"):
        own |= {(a.instance, a.wanted) for a in asked_of(case.procedure.conditions, station)}
    yield from _not_restated(case, station, own)
    yield from _rules_not_restated(case, station, own)
    if station.asked:
        yield from _without_reason(case, station)


def _not_restated(case: Case, station: Station, own: set[_Pair]) -> Iterator[Claim]:
    for each in due(case, station):
        for name, need in duty_needs(case, each, station.here):
            if (name, need.wanted) in own or (name.endswith("@None") and _some(own, name, need)):
                continue
            lifted = unlifted(case, each.duty)
            meant_here = instance(case.procedure.conditions, need.ref, station.here) == name
            said = need.said if meant_here else name if need.wanted else f"not {name}"
            yield Claim(
                check="restated",
                edge=ENTRY,
                bad=tuple(bad for _, bad in lifted) or case.always,
                place=station.place,
                key=f"{each.occasion} {need.said}",
                text=f"{each.occasion} asks for '{said}', which is not among the needs here",
                help=f"write 'needs: [{said}]' here",
                related=((each.duty.place, "the duty"),),
            )


def _before_the_beat(case: Case, station: Station, own: set[_Pair]) -> Iterator[Claim]:
    """What a phase of the beat needs and the beat itself does not change is needed before the first beat."""
    if station.kind != "step" or station.step is None or not isinstance(station.step.gate, Count):
        return
    phases = [s for s in case.step_of(station) if s.kind == "phase"]
    changed = {op.name.partition("@")[0] for s in phases for e in s.edges for op in e.ops}
    for a in (a for phase in phases for a in phase.asked):
        if (a.instance, a.wanted) not in own and a.need.ref.name not in changed:
            yield Claim(
                check="restated",
                edge=ENTRY,
                bad=case.always,
                place=station.place,
                key=f"beat {a.need.said}",
                text=f"the beat needs '{a.need.said}', which is not among the needs of its step",
                help=f"write 'needs: [{a.need.said}]' at the step: it is asked before the first beat",
                related=((a.need.place, "the beat"),),
            )


def _some(own: set[_Pair], name: str, need: Holds) -> bool:
    """No index is here: the step itself says of which member it speaks."""
    base = name.partition("@")[0]
    return any(n.partition("@")[0] == base and w == need.wanted for n, w in own)


def _rules_not_restated(case: Case, station: Station, own: set[_Pair]) -> Iterator[Claim]:
    for rule in case.procedure.rules:
        other = rule.other
        if rule.kind != "only_after" or other is None or other.on != "make" or not _does(station, rule.what):
            continue
        name = _instance(case.procedure.conditions, other, station)
        said = other.name if other.at in (None, HERE) else name
        said = f"all {said}" if name.endswith("@None") else said
        stated = (name, True) in own or (
            name.endswith("@None") and any(w and n.startswith(f"{other.name}@") for n, w in own)
        )
        if stated or _ended(case, other):
            continue
        yield Claim(
            check="restated",
            edge=ENTRY,
            bad=case.always,
            place=station.place,
            key=f"rule {rule.said}",
            text=f"the rule '{rule.said}' asks for '{said}', which is not among the needs here",
            help=f"write 'needs: [{said}]' here",
            related=((rule.place, "the rule"),),
        )


def _ended(case: Case, other: Occasion) -> bool:
    return any(
        op.verb in ("end", "lose", "waver") and op.name.partition("@")[0] == other.name
        for s in case.expanded.stations
        for e in s.edges
        for op in e.ops
    )


def _does(station: Station, what: Occasion | None) -> bool:
    if what is None:
        return False
    return any(op.sure and meant(what, op.told) for e in station.edges for op in e.ops)


def _instance(conditions: Mapping[str, Condition], other: Occasion, station: Station) -> str:
    ref = Ref(name=other.name, at=other.at or HERE, place=station.place)
    return instance(conditions, ref, station.here)


def _without_reason(case: Case, station: Station) -> Iterator[Claim]:
    stations = (station,) if station.kind == "phase" else case.step_of(station)
    dues = [each for s in stations for each in due(case, s)]
    reasons = {(n, h.wanted) for each in dues for n, h in duty_needs(case, each, station.here)}
    for a in station.asked:
        if (a.instance, a.wanted) in reasons or _unplaced(case, dues, a) or _other_reason(case, station, a):
            continue
        yield Claim(
            check="restated",
            edge=ENTRY,
            bad=case.always,
            place=a.need.place,
            key=f"reason {a.need.said}",
            text=f"nothing says why '{a.need.said}' is needed here",
            help="state the place, deed or change that asks for it, or a rule 'only_after' that names it",
        )


def _unplaced(case: Case, dues: list[Due], a: Asked) -> bool:
    base = a.instance.partition("@")[0]
    return any(n == f"{base}@None" and h.wanted == a.wanted for each in dues for n, h in duty_needs(case, each, None))


def _other_reason(case: Case, station: Station, a: Asked) -> bool:
    name = a.instance.partition("@")[0]
    contract = station.owner.contract
    by_contract = contract is not None and any(
        isinstance(n, Holds) and n.ref.name == name and n.wanted == a.wanted for n in contract.needs
    )
    stacked = name.startswith("fitted_") and station.step is not None and bool(station.step.slides)
    return by_contract or stacked or any(_names(r, name) for r in (*case.procedure.rules, *station.owner.rules))


def _names(rule: Rule, name: str) -> bool:
    return rule.kind == "only_after" and any(
        o is not None and o.on in ("make", "end") and o.name == name for o in (rule.what, rule.other)
    )
