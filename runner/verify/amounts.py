"""What each edge does to the levels, in numbers of one car.

Rules of this module
1. A beat of a count is granted only while the worst case stays inside; after a grant comes a look, which may show
   any position of the gauge that agrees with what was known.
2. Where a value of the car is not known yet the run waits before the step, so no path goes on there.
3. What is read while the work runs may be any amount; a total begins with nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction

from runner.core.bind import Bound, bind, quantity, value
from runner.core.expr import Expr
from runner.core.granting import measured
from runner.core.graph import Count, Level, LevelNeed, Move, Procedure
from runner.core.quantity import Quantity
from runner.core.state import State
from runner.core.units import show
from runner.core.values import nothing_yet, of_asks, positions
from runner.verify.expressions import behind, formulas
from runner.verify.spans import MOST, Draw
from runner.verify.station import Station

Raw = Mapping[str, Mapping[str, str]]
Look = tuple[str, Fraction, Fraction]
"""A level that is set by a look, from and to."""


class Car:
    """The values of one car for a procedure, and what formulas are worth with them."""

    def __init__(self, procedure: Procedure, raw: Raw) -> None:
        self.procedure = procedure
        self.raw = raw
        self.bounds: dict[str, Bound] = {}
        self.known: dict[tuple[str, int, str | None], Quantity | None] = {}
        self.gauges: dict[tuple[str, str], tuple[tuple[Fraction, Fraction], ...]] = {}

    def worth(self, owner: Procedure, expr: Expr, here: str | None) -> Quantity | None:
        """What a formula is worth; None where something in it is not known."""
        if owner.name not in self.bounds:
            own = {k: v for k, v in self.raw.items() if k.partition("@")[0] in owner.asks}
            made = bind(owner, own)
            self.bounds[owner.name] = (
                made if isinstance(made, Bound) else Bound(values={}, unknown=frozenset(owner.asks))
            )
        key = (owner.name, id(expr), here)
        if key not in self.known:
            value = quantity(owner, self.bounds[owner.name], expr, here, dict(nothing_yet(owner)))
            self.known[key] = value if isinstance(value, Quantity) else None
        return self.known[key]

    def level(self, owner: Procedure, name: str) -> tuple[Level, Procedure]:
        """The declaration of a level and whose it is."""
        return (owner.levels[name], owner) if name in owner.levels else (self.procedure.levels[name], self.procedure)

    def edge_of(self, owner: Procedure, name: str, *, brim: bool) -> Fraction | None:
        """The brim of a level, or its floor."""
        level, whose = self.level(owner, name)
        value = self.worth(whose, level.brim if brim else level.floor, None)
        return None if value is None else value.lo if brim else value.hi

    def told(self, owner: Procedure, name: str, value: Fraction) -> str:
        """So much of a level in words, in the unit of the level."""
        unit = self.level(owner, name)[0].unit
        return show(Quantity(value, value, unit.dimension), unit)

    def seen(self, owner: Procedure, name: str) -> tuple[tuple[Fraction, Fraction], ...]:
        """What a look at a level may show."""
        level, whose = self.level(owner, name)
        if (whose.name, name) not in self.gauges:
            asks = tuple((k, v.get("value", ""), v.get("source", "")) for k, v in sorted(self.raw.items()))
            self.gauges[whose.name, name] = tuple(positions(whose, State(asks=asks), level).values())
        return self.gauges[whose.name, name]

    def draw(self, station: Station, move: Move, *, by_reading: bool) -> Draw | None:
        """A move in numbers; None where they are not known."""
        owner, here = station.owner, station.here
        least, most = self.worth(owner, move.least, here), self.worth(owner, move.most, here)
        if not by_reading and not (of_asks(owner, move.least) and of_asks(owner, move.most)):
            volume = self.level(owner, move.source or move.target or "")[0].unit.dimension
            least, most = Quantity(Fraction(0), Fraction(0), volume), Quantity(Fraction(0), MOST, volume)
        if by_reading and (least is None or most is None):
            return Draw(move=move, least=Fraction(0), most=MOST, low=Fraction(0), brim=MOST, measured=True)
        low = Quantity(Fraction(0), Fraction(0), least.dimension) if least is not None else None
        if move.low_mark is not None:
            low = self.worth(owner, move.low_mark, here)
        floor = self.edge_of(owner, move.source, brim=False) if move.source else Fraction(0)
        brim = self.edge_of(owner, move.target, brim=True) if move.target else MOST
        if least is None or most is None or low is None or floor is None or brim is None:
            return None
        extra = self._drained(station)
        if extra is None:
            return None
        # Whichever of the two is written first: the engine takes the lesser one for the least.
        return Draw(
            move=move,
            least=max(Fraction(0), min(least.lo, most.lo)),
            most=max(Fraction(0), least.hi, most.hi) + extra,
            low=low.hi if move.low_mark is not None else floor,
            brim=brim,
            measured=by_reading,
        )

    def _drained(self, station: Station) -> Fraction | None:
        gate = station.step.gate if station.step is not None else None
        if not isinstance(gate, Count) or gate.gravity is None:
            return Fraction(0)
        flow = self.worth(station.owner, gate.gravity, station.here)
        return None if flow is None else max(Fraction(0), flow.hi * gate.seconds)

    def draws(self, station: Station) -> tuple[Draw | None, ...]:
        """The moves of a step or of its count."""
        step = station.step
        if step is None:
            return ()
        if isinstance(step.gate, Count):
            return () if step.gate.move is None else (self.draw(station, step.gate.move, by_reading=False),)
        return tuple(self.draw(station, m, by_reading=measured(step, m)) for m in step.moves)

    def looks(self, station: Station) -> tuple[Look | None, ...]:
        """The levels that a step sets by a look."""
        made: list[Look | None] = []
        for look in station.step.sets if station.step is not None else ():
            mark = self.worth(station.owner, look.mark, station.here)
            within = self.worth(station.owner, look.within, station.here)
            sure = mark is not None and within is not None
            if not (of_asks(station.owner, look.mark) and of_asks(station.owner, look.within)):
                made.append((look.level, Fraction(0), MOST))
                continue
            made.append((look.level, max(Fraction(0), mark.lo - within.hi), mark.hi + within.hi) if sure else None)  # type: ignore[union-attr]
        return tuple(made)

    def worthless(self, station: Station) -> Iterator[str]:
        """The formulas of a step that come to nothing although every value of the car in them is known."""
        owner, here = station.owner, station.here
        for expr in formulas(station.step) if station.step is not None else ():
            if of_asks(owner, expr) and self.worth(owner, expr, here) is None:
                asks = [n for n in behind(owner, expr) if n.partition("@")[0] in owner.asks]
                if all(value(owner, self.bounds[owner.name], n, here, {}) is not None for n in asks):
                    yield expr.text

    def least_of(self, station: Station, need: LevelNeed) -> Fraction | None:
        """What a level must be at least."""
        value = self.worth(station.owner, need.at_least, station.here)
        return None if value is None else value.hi
