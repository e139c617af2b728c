"""What a rehearsal types at a reading: either side of each limit, and what makes the books come out each way."""

from collections.abc import Iterator
from fractions import Fraction

from msgspec.structs import replace

from runner.core.graph import Books, Found, Procedure, Reading, Step, walk
from runner.core.quantity import Quantity
from runner.core.stage import Stage
from runner.core.state import State, TakenValue
from runner.core.values import worth

_LITTLE, _MUCH = Fraction(20), Fraction(1000)
_SHARES = (Fraction(0), Fraction(9, 10), Fraction(3), Fraction(-3))
"""Of what the books allow: they close, cannot tell, and do not close either way."""


def amounts(procedure: Procedure, state: State, owed: Stage, gate: Reading) -> tuple[Fraction, ...]:
    """The values in the unit of the reading; the first is what is usual."""
    found = owed.found
    if found is None:
        return ()
    ends = {e.text: e for b in gate.bands for e in (b.low, b.high) if e is not None}
    limits = [worth(found.procedure, state, e, found.here) for e in ends.values()]
    known = [_typed(gate, q.lo) for q in limits if isinstance(q, Quantity)]
    made = list(_around(known) if known else _balancing(state, found, gate))
    least = min(known, default=Fraction(0))
    return tuple(dict.fromkeys(round(x, 4) for x in made if x >= 0 or least < 0))


def _typed(gate: Reading, value: Fraction) -> Fraction:
    return (value - gate.unit.offset) / gate.unit.factor


def _around(limits: list[Fraction]) -> Iterator[Fraction]:
    """Each limit, a step to either side of it, well beyond, and between the limits."""
    for limit in limits:
        step = max(abs(limit) / 100, Fraction(1, 1000))
        yield from (limit, limit + step, limit - step, limit + 20 * step, limit - 20 * step)
    yield sum(limits, Fraction(0)) / len(limits)


def _balancing(state: State, found: Found, gate: Reading) -> Iterator[Fraction]:
    """What makes the books come out each way, if they stand on nothing else that is not known yet; else a guess."""
    step = found.node
    guess = _LITTLE
    for books in _books(found.procedure):
        sign = _sign(books, gate.name)
        if sign is None:
            continue
        if sign > 0 and not (isinstance(step, Step) and step.moves):
            guess = _MUCH
        rest = worth(found.procedure, _as_if_nothing(state, found, gate), books.imbalance, found.here)
        within = worth(found.procedure, state, books.within, found.here)
        if isinstance(rest, Quantity) and isinstance(within, Quantity):
            even = -sign * (rest.lo + rest.hi) / 2
            yield from (_typed(gate, even + share * within.hi) for share in _SHARES)
    yield from (guess, _LITTLE, 3 * _LITTLE, Fraction(0))


def _books(procedure: Procedure) -> Iterator[Books]:
    for node in walk(procedure.body):
        if isinstance(node, Step) and isinstance(node.gate, Books):
            yield node.gate


def _sign(books: Books, name: str) -> int | None:
    """Whether the reading adds to the imbalance or takes from it; None where it does neither."""
    text = books.imbalance.text
    if name not in {n.removeprefix("total of ").partition("@")[0] for n in books.imbalance.names}:
        return None
    before = text[: text.index(name)].removesuffix("total of ").rstrip()
    return -1 if before.endswith("-") else 1


def _as_if_nothing(state: State, found: Found, gate: Reading) -> State:
    """The state in which the reading was taken and came to nothing."""
    key = f"{gate.name}@{found.here}" if found.here else gate.name
    nought = Quantity(Fraction(0), Fraction(0), gate.dimension)
    taken = TakenValue(line=state.line, path=state.path, points=(nought,) * gate.points, outcome="taken")
    return replace(state, readings={**state.readings, key: (*state.readings.get(key, ()), taken)})
