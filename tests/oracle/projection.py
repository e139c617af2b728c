"""What of a run's state can matter later: two ways that agree in it need to be walked on from but once."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from runner.core import graph as g
from runner.core.graph import Procedure, Step
from runner.core.needs import waited
from runner.core.state import SAFE_STOP
from tests.oracle.ahead import Ahead, ahead
from tests.oracle.run import Spot, stamp

NOWHERE = Ahead(frozenset(), frozenset(), frozenset(), fluid=False)


class Projection:
    """The projection of one procedure."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        steps = [n for p in (procedure, *procedure.fragments.values()) for n in g.walk(p.body) if isinstance(n, Step)]
        self.bounded = {s.id: s.bound.times for s in steps if s.bound is not None}
        self.onward = ahead(procedure)
        self.watched = {f"{o.on} {o.name}" for r in procedure.rules for o in (r.what, r.other) if o is not None}
        self.openings = {n for n, c in procedure.conditions.items() if c.kind == "opening"}

    def cars(self) -> Iterator[dict[str, dict[str, str]]]:
        """Every car: each value of each ask."""
        asks = [
            (a.name, a.options if a.kind == "choice" else tuple(a.orders or ())) for a in self.procedure.asks.values()
        ]
        looked_at = self.onward[self.procedure.body.first].subjects
        asks = [(n, o if n == "order" or n in looked_at else o[:1]) for n, o in asks]
        for values in product(*(options for _, options in asks)):
            yield {n: {"value": v, "source": "part"} for (n, _), v in zip(asks, values, strict=True)}

    def key(self, spot: Spot) -> object:
        """What of a state can matter later."""
        s = spot.state
        onward = self.onward.get(s.path.rpartition("/")[2] or self.procedure.body.first, NOWHERE)
        names = onward.names | self.openings
        gone = tuple(f"{b}/{m}/" for b, o in s.over.items() if b not in onward.ids for m in o)
        happened = [w for w in sorted(s.happened, key=s.happened.__getitem__) if w.partition("@")[0] in self.watched]
        entries = [
            (p, min(n, self.bounded[i]))
            for p, n in s.entries.items()
            if (i := p.rpartition("/")[2]) in self.bounded and i in onward.ids and not p.startswith(gone)
        ]
        beats = [(p, n) for p, n in s.beats.items() if p.rpartition("/")[2] in onward.ids and not p.startswith(gone)]
        out = s.out and (s.out.beats, s.out.used, tuple(s.out.touched.items()), tuple(s.out.before.items()))
        return (
            s.phase,
            s.path,
            frozenset(c for c in s.conditions.items() if s.path == SAFE_STOP or c[0].partition("@")[0] in names),
            tuple(a for a in s.asks if a[0] == "order" or a[0] in onward.subjects),
            tuple(happened),
            frozenset(entries),
            frozenset(beats),
            (frozenset(s.levels.items()), spot.true) if onward.fluid else None,
            frozenset(c for c in s.choices.items() if c[0] in onward.subjects),
            tuple((b, s.orders[b], frozenset(o)) for b, o in s.over.items() if s.path.startswith(f"{b}/")),
            s.confirmed,
            out,
            s.looked,
            s.looks_owed,
            s.unknown,
            s.back_to,
            s.restoring,
            s.again,
            s.diverged,
            frozenset(p for p in s.passed.items() if not p[0].startswith(gone)),
            self.soaked(spot),
            spot.maybe,
            spot.base,
        )

    def soaked(self, spot: Spot) -> tuple[tuple[str, bool], ...]:
        """The waits that were started, and whether they are over."""
        waits, now = self.procedure.waits, stamp(spot.ms)
        return tuple((n, waited(spot.state, n, now)[0] >= waits[n].at_least * 1_000_000_000) for n in spot.state.waits)
