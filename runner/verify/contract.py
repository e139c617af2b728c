"""A fragment keeps its contract, and is called only where what it needs holds.

At each named exit what the contract says it makes is true and what it ends is false. Everything else that the
fragment touches is put back as it was: what is not written is not changed.

Bad:
    fragment: true
    contract: {needs: [not drain_open], exits: {drained: {}}}
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: out}
      out: {end: drained}

Good:
    fragment: true
    contract: {needs: [not drain_open], exits: {drained: {}}}
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: close}
      close: {do: Close the drain., place: wheel, ends: [drain_open], next: out}
      out: {end: drained}

Source: Meyer, design by contract (1992), for the form
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Finding
from runner.core.graph import Call, End, Holds, Ref, instance, narrow
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.flow import spread, ways
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """What an exit promises, and what a call must meet."""
    if isinstance(station.node, Call) and station.edges and station.edges[0].to == ">":
        yield from _called(case, station, station.node)
    contract = case.procedure.contract
    if contract is None or station.kind != "exit" or not isinstance(station.node, End):
        return
    made, ended = contract.exits.get(station.node.kind, ((), ()))
    for refs, value in ((made, "T"), (ended, "F")):
        for ref in refs:
            field = case.layout.fields.get(instance(case.procedure.conditions, ref, station.here))
            word = "makes" if value == "T" else "ends"
            if field is not None:
                yield Claim(
                    check="contract",
                    edge=ENTRY,
                    bad=(field.but(value),),
                    place=ref.place,
                    key=f"{station.node.kind} {ref.name}",
                    text=f"the exit '{station.node.kind}' {word} '{ref.name}' by contract, but not on every path",
                    help="let every path to this exit bring it about, or give the other result an exit of its own",
                )


def _called(case: Case, station: Station, call: Call) -> Iterator[Claim]:
    owner = case.procedure.fragments[call.fragment]
    if owner.contract is None:
        return
    here = station.here if call.at in (None, "here") else call.at
    here = narrow(here, owner.here) if owner.here is not None else here
    for need in owner.contract.needs:
        if not isinstance(need, Holds):
            continue
        field = case.layout.fields.get(instance(case.procedure.conditions, need.ref, here))
        if field is not None:
            yield Claim(
                check="contract",
                edge=0,
                bad=(field.but("T" if need.wanted else "F"),),
                place=call.place,
                key=need.said,
                text=f"'{call.fragment}' needs '{need.said}', which may not hold here",
                help="bring it about on every path before the call",
                related=((need.place, "the contract"),),
            )


def findings(case: Case) -> Iterator[Finding]:
    """What a fragment changes beyond its contract."""
    contract = case.procedure.contract
    if contract is None:
        return
    all_ways = ways(case.expanded, case.layout)
    exits = [
        (at, p.station.node)
        for at, p in enumerate(case.expanded.points)
        if p.station.kind == "exit" and isinstance(p.station.node, End)
    ]
    here = case.expanded.points[0].station.here
    for name in sorted(case.touched):
        field = case.field(name)
        changed: set[str] = set()
        for state in field.states:
            if not case.layout.start & field.bits(state):
                continue
            states = spread(all_ways, 0, case.layout.start & ~field.mask | field.bits(state))
            changed |= {end.kind for at, end in exits if states[at] & field.but(state)}
        for kind in sorted(changed):
            refs: tuple[Ref, ...] = sum(contract.exits.get(kind, ((), ())), ())
            if name not in {instance(case.procedure.conditions, r, here) for r in refs}:
                yield Finding(
                    place=contract.place,
                    check="contract",
                    text=f"the exit '{kind}' may leave '{name}' changed, and the contract does not say so",
                    help="write it in 'makes' or 'ends' of that exit, or put it back on every path",
                )
