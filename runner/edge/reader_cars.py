"""Example cars: values of invented cars, bound at the desk as those of a real one are."""

from runner.core.bind import EXAMPLE, Bound, bind, keys_of
from runner.core.finding import Place, quote
from runner.core.graph import ExampleCar, Procedure
from runner.edge.reader_desk import Desk
from runner.edge.reader_tree import pairs, words
from runner.edge.text import Map, Node

_Written = dict[str, tuple[str, Place]]


def example_cars(node: Node | None) -> tuple[ExampleCar, ...]:
    """The cars with their values as typed, under ``name`` or ``name@RR``."""
    return tuple(
        ExampleCar(name=name.value, values={key: text for key, (text, _) in _written(car).items()}, place=name.place)
        for name, car in pairs(node)
    )


def bind_cars(desk: Desk, procedure: Procedure, node: Node | None) -> None:
    """Notes every value of an example car that does not fit its ask, and every ask without a value."""
    for name, car in pairs(node):
        written = _written(car)
        raw = {key: {"value": text, "source": EXAMPLE} for key, (text, _) in written.items()}
        bound = bind(procedure, raw, {key: place for key, (_, place) in written.items()})
        if not isinstance(bound, Bound):
            desk.found += bound
        lacking = [key for ask in procedure.asks.values() for key in keys_of(ask) if key not in written]
        if lacking:
            why = f"the car {quote(name.value)} has no value for {', '.join(map(quote, lacking[:6]))}"
            desk.say(name.place, "missing-key", why, "write the value, or 'not known yet' where the ask allows it")


def _written(car: Node) -> _Written:
    made: _Written = {}
    for name, value in pairs(car):
        if isinstance(value, Map):
            made |= {f"{name.value}@{at.value}": (words(one), one.place) for at, one in pairs(value)}
        else:
            made[name.value] = (words(value), value.place)
    return made
