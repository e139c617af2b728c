"""Nothing is opened twice, and nothing is closed that may be closed already.

An opening (a condition with `kind: opening`) is strict: a step that makes it may not be reached by a path on which
it is true, and a step that ends it may not be reached by one on which it is false. A fact may be made again.

Bad:
    assumes: [not drain_open]
    steps:
      ask: {do: Look at the pan., place: wheel, choose: {ask: Is it full?, options: [full, empty]}, next: {full: close, empty: open}}
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: close}
      close: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
      end: {end: done, say: It is done.}

Good:
    assumes: [not drain_open]
    steps:
      open: {do: Open the drain., place: wheel, makes: [drain_open], next: close}
      close: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
      end: {end: done, say: It is done.}
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.verify.claim import Case, Claim, back
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """What is made and ended on each edge."""
    for at, edge in enumerate(station.edges):
        for nth, op in enumerate(edge.ops):
            name = op.name.partition("@")[0]
            if op.verb not in ("make", "end") or case.procedure.conditions[name].kind != "opening":
                continue
            field = case.field(op.name)
            state, word = ("T", "made") if op.verb == "make" else ("F", "ended")
            bad = back(((field.mask, field.bits(state)),), case.layout.run(edge.ops[:nth]))
            if bad is not None:
                now, other = ("true", "end") if op.verb == "make" else ("false", "make")
                yield Claim(
                    check="opening",
                    edge=at,
                    bad=bad,
                    place=op.place,
                    key=f"{op.verb} {name}",
                    text=f"'{name}' is {word} here, but it may be {now} already",
                    help=f"let every path that leads here {other} it first, or lead that path past this step",
                )
