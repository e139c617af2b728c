"""What a step, call or block states under `after` has come before it, on every path.

`after: [goggles]`: that node of the same body was done before, in the same turn of the block or in the same run.
`after: [{tread: pass}]`: it was passed, and the latest way in which it came out is the one that is named (or one of a
list). What an override or "cannot be done" left undone was not done; `{tread: override}` asks for the override. Of a
call the ways out of its fragment are named, and `skipped` where it is taken only if needed; a block by itself was done
when all its turns are over.

Bad:
    steps:
      look: {do: Look at the tread., place: wheel, choose: {ask: How is it?, options: [good, worn]}, next: {good: renew, worn: end}}
      renew: {do: Put the new tyre on., place: wheel, after: [{look: worn}], next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      look: {do: Look at the tread., place: wheel, choose: {ask: How is it?, options: [good, worn]}, next: {good: end, worn: renew}}
      renew: {do: Put the new tyre on., place: wheel, after: [{look: worn}], next: end}
      end: {end: done, say: It is done.}

Source: dominance on a flow graph (Kildall 1973 for the method)
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import quote
from runner.core.graph import After, Call, Each, Step
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """What must have come before a station where a step, a call or a block is begun."""
    node = station.node
    if not isinstance(node, Step | Call | Each) or not node.after or not _begins(case, station):
        return
    for one in node.after:
        field = case.layout.order[f"{station.block}{one.node}"][one.outcomes]
        yield Claim(
            check="after",
            edge=0 if station.kind == "call" else ENTRY,
            bad=(field.bits("not yet"),),
            place=one.place,
            key=one.said,
            text=f"{quote(node.id)} may be begun {_without(one)}",
            help=_mend(one),
        )


def _begins(case: Case, station: Station) -> bool:
    """Whether the node is begun here: not where it is only counted, goes on, or is left."""
    node = station.node
    if isinstance(node, Each) and station.kind == "each":
        turns = [edge.label for edge in station.edges]
        if not isinstance(node.order, str):
            return turns == [node.order[0]]
        # Where the order is a value of the car any member may be first, and only where no turn is over.
        return all(len(s.edges) <= len(turns) for s in case.expanded.stations if s.node is node)
    return station.kind == "step" or (station.kind == "call" and any(e.to == ">" for e in station.edges))


def _without(one: After) -> str:
    if not one.outcomes:
        return f"before {quote(one.node)} was done"
    said = " or ".join(map(quote, one.outcomes))
    return f"where {quote(one.node)} did not last come out as {said}"


def _mend(one: After) -> str:
    if not one.outcomes:
        return f"let every path that leads here pass {quote(one.node)} first"
    said = " or ".join(map(quote, one.outcomes))
    return f"let only the edge for {said} of {quote(one.node)} lead here, and nothing ask it again on the way"
