"""Numbers of a step that mean nothing: formulas without a value, looks and moves that no car can have."""

from __future__ import annotations

from collections.abc import Iterator

from runner.core.finding import Place
from runner.core.graph import SetByLook, moves_of
from runner.core.values import of_asks
from runner.verify.amounts import Car
from runner.verify.spans import Draw
from runner.verify.station import Station

Senseless = tuple[str, Place, str, str]
"""The level, where it stands, what is wrong, and what mends it."""


def senseless(car: Car, station: Station, draws: tuple[Draw | None, ...]) -> Iterator[Senseless]:
    """What is wrong with the numbers of a step, for the values of one car."""
    for text in car.worthless(station):
        said = f"'{text}' has no value, although all that goes into it is known"
        yield "", station.place, said, "write it so that it has one: nothing may be divided by nothing"
    for look in station.step.sets if station.step is not None else ():
        yield from _looked(car, station, look)
    yield from _low_marks(car, station, draws)
    for move in moves_of(station.step) if station.step is not None else ():
        level = move.source or move.target
        for end in (move.least, move.most):
            moved = car.worth(station.owner, end, station.here)
            if moved is not None and moved.hi < 0 and level is not None and of_asks(station.owner, end):
                said = f"{car.told(station.owner, level, moved.hi)} is moved here, less than nothing"
                yield level, move.place, said, "write what goes 'from' one 'to' the other"


def _looked(car: Car, station: Station, look: SetByLook) -> Iterator[Senseless]:
    within = car.worth(station.owner, look.within, station.here)
    if within is not None and within.hi < 0:
        said = f"a look at '{look.level}' is off by {car.told(station.owner, look.level, within.hi)}, less than nothing"
        yield look.level, look.place, said, "write how far a look may be off, up or down"
    mark = car.worth(station.owner, look.mark, station.here)
    brim = car.edge_of(station.owner, look.level, brim=True)
    if mark is not None and brim is not None and mark.lo > brim and of_asks(station.owner, look.mark):
        seen, top = (car.told(station.owner, look.level, x) for x in (mark.lo, brim))
        said = f"'{look.level}' is seen at {seen}, and its brim is at {top}"
        yield look.level, look.place, said, "name a mark that can be seen"


def _low_marks(car: Car, station: Station, draws: tuple[Draw | None, ...]) -> Iterator[Senseless]:
    for d in draws:
        name = d.move.source if d is not None and not d.measured and d.move.low_mark is not None else None
        floor = car.edge_of(station.owner, name, brim=False) if name is not None else None
        if d is not None and name is not None and floor is not None and d.low < floor:
            low, least = (car.told(station.owner, name, x) for x in (d.low, floor))
            said = f"the low mark of '{name}' lies at {low}, under its floor at {least}"
            yield name, d.move.place, said, "name a low mark that is not under the floor"
