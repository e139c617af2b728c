"""Which standing duties apply where: by the place of a step, its deeds, and what it makes and ends."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from runner.core.graph import HERE, Duty, Holds, Ref, instance, narrow
from runner.verify.claim import ENTRY, Case, back
from runner.verify.fields import member_of
from runner.verify.station import Op, Station


class Due(msgspec.Struct, frozen=True):
    """A duty at a station: on entry, or at the operation ``at`` of an edge; ``member`` is what it changes there."""

    duty: Duty
    edge: int
    at: int
    occasion: str
    member: str | None = None


def due(case: Case, station: Station) -> tuple[Due, ...]:
    """The duties that a station brings; what may not have happened brings none of its own."""
    return case.once(("due", id(station)), lambda: tuple(_due(case, station)))


def _due(case: Case, station: Station) -> Iterator[Due]:
    if station.step is not None and station.kind == "step":
        for duty in case.duties.get(("place", station.step.where), ()):
            yield Due(duty, ENTRY, 0, f"place '{station.step.where}'")
    for at, edge in enumerate(station.edges):
        for nth, op in enumerate(edge.ops):
            if op.sure and op.verb in ("deed", "make", "end"):
                for duty in case.duties.get((op.verb, op.name.partition("@")[0]), ()):
                    changed = None if op.verb == "deed" else member_of(op.name) or None
                    yield Due(duty, at, nth, spoken_of(op), changed)


def spoken_of(op: Op) -> str:
    """An occasion in words for a finding."""
    return {"deed": "deed", "make": "making", "end": "ending"}[op.verb] + f" '{op.name.partition('@')[0]}'"


def duty_needs(case: Case, due_: Due, here: str | None) -> Iterator[tuple[str, Holds]]:
    """The condition needs of a duty as instances: of the member that is changed, else of what is here."""
    for need in due_.duty.needs:
        if isinstance(need, Holds):
            yield _instance(case, need.ref, due_.member, here), need


def _instance(case: Case, ref: Ref, changed: str | None, here: str | None) -> str:
    index = case.procedure.conditions[ref.name].index
    own = narrow(changed, index) if ref.at in (None, HERE) else None
    return f"{ref.name}@{own}" if own is not None else instance(case.procedure.conditions, ref, here)


def unlifted(case: Case, duty: Duty) -> tuple[tuple[int, int], ...]:
    """The mask and bits under which the duty is not lifted; () where it never is."""
    if duty.unless is None:
        return ()
    for kind in ("ask", "choice"):
        field = case.layout.fields.get(f"{kind} {duty.unless.subject}")
        if field is not None:
            return ((field.mask, field.but(duty.unless.value)),)
    return ()


def seen_before(case: Case, station: Station, due_: Due, masks: tuple[tuple[int, int], ...]) -> tuple[int, ...] | None:
    """Masks at the moment of the duty as they are when the station is left; None if never broken."""
    if due_.edge == ENTRY:
        return tuple(bad for _, bad in masks)
    return back(masks, case.layout.run(station.edges[due_.edge].ops[: due_.at]))
