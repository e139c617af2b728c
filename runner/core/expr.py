"""Arithmetic of authors, evaluated over postfix operations: first its dimension, then its interval.

No program text is ever run. What is wrong comes back as Unclear with its column; nothing is raised.
"""

import operator
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import reduce
from math import ceil, floor
from typing import TypeVar

from runner.core.enclose import arcsine, cosine, root
from runner.core.finding import nearest, quote
from runner.core.formula import Expr, Op, parse
from runner.core.quantity import DIMENSIONS, PLAIN, Dimension, DimensionError, Quantity
from runner.core.units import Unclear

__all__ = ["Expr", "Points", "dimension_of", "evaluate", "parse"]

Points = Quantity | tuple[Quantity, ...]

# Beyond this the digits of a number, not the car, decide how long an evaluation takes.
_MOST_BITS = 4_000
_TURNS = {"sin": (DIMENSIONS["angle"], PLAIN), "asin": (PLAIN, DIMENSIONS["angle"])}
"""Functions that lead from one dimension to another."""


class _NotKnownError(Exception):
    """A name has nothing behind it; the text says how to mend that."""


class _OutsideError(Exception):
    """An operation has no result for these values; the text says why."""


def dimension_of(expr: Expr, dims: Mapping[str, Dimension]) -> Dimension | Unclear:
    """What the formula measures, given what its names measure."""
    stack: list[Dimension] = []
    for op in expr.ops:
        try:
            stack.append(_dimension_after(op, stack, dims))
        except _NotKnownError as missing:
            return Unclear(op.name, f"{quote(op.name)} is not known here", str(missing), op.column)
        except DimensionError as wrong:
            return Unclear(expr.text, str(wrong), "check the units and the brackets", op.column)
    return stack[0]


def evaluate(expr: Expr, env: Mapping[str, Points]) -> Quantity | Unclear:
    """The interval of the formula's value for these values; several points come as a tuple.

    The total of x is env["total of x"], or else the sum of the tuple env["x"].
    """
    stack: list[Points] = []
    for op in expr.ops:
        try:
            result = _value_after(op, stack, env)
        except _NotKnownError as missing:
            return Unclear(op.name, f"{quote(op.name)} has no value yet", str(missing), op.column)
        except (DimensionError, ZeroDivisionError, _OutsideError) as wrong:
            return Unclear(expr.text, str(wrong), "check the values that go in", op.column)
        stack.append(result)
    result = stack[0]
    return result if isinstance(result, Quantity) else Unclear(expr.text, _SEVERAL, _CHOOSE, 0)


T = TypeVar("T")

_SEVERAL = "this has several points"
_CHOOSE = "say which counts: min, max, mean or spread"
_JOIN: Mapping[str, Callable[[Quantity, Quantity], Quantity]] = {
    "add": operator.add,
    "subtract": operator.sub,
    "multiply": operator.mul,
    "divide": operator.truediv,
}


def _popped(stack: list[T], count: int) -> list[T]:
    taken = stack[len(stack) - count :]
    del stack[len(stack) - count :]
    return taken


def _dimension_after(op: Op, stack: list[Dimension], dims: Mapping[str, Dimension]) -> Dimension:
    if op.value:
        return op.value.dimension
    if op.kind in ("name", "total"):
        return _dimension_named(op, dims)
    args = _popped(stack, _arity(op))
    if op.kind == "call":
        return _called_dimension(op.name, args)
    if op.kind in ("add", "subtract"):
        return args[0].plus(args[1]) if op.kind == "add" else args[0].minus(args[1])
    if op.kind in ("multiply", "divide"):
        return args[0].times(args[1], 1 if op.kind == "multiply" else -1)
    return PLAIN.times(args[0], op.count if op.kind == "power" else 1)


def _dimension_named(op: Op, dims: Mapping[str, Dimension]) -> Dimension:
    key = f"total of {op.name}"
    if op.kind == "total" and key in dims:
        return dims[key]
    if op.name not in dims:
        near = nearest(op.name, dims)
        raise _NotKnownError(f"did you mean {near}" if near else "name a reading, an ask or a computed value")
    found = dims[op.name]
    return found.plus(found) if op.kind == "total" else found


def _called_dimension(name: str, args: Sequence[Dimension]) -> Dimension:
    first = args[0]
    for other in args[1:]:
        if other != first:
            raise DimensionError(f"{first} and {other} cannot be compared")
    if name in ("floor", "ceil") and first != PLAIN:
        raise DimensionError(f"{name} of a {first} depends on its unit; divide by one unit of it first")
    if name in _TURNS and first != _TURNS[name][0]:
        raise DimensionError(f"{name} is taken of a {_TURNS[name][0]}, not of a {first}")
    if name in _TURNS:
        return _TURNS[name][1]
    if name == "sqrt":
        return first.root()
    if name == "abs":
        return PLAIN.times(first)
    return first.minus(first) if name == "spread" else first


def _arity(op: Op) -> int:
    if op.kind == "call":
        return op.count
    return 1 if op.kind in ("negate", "power") else 2


def _value_after(op: Op, stack: list[Points], env: Mapping[str, Points]) -> Points:
    if op.value:
        return op.value
    if op.kind == "name":
        if op.name not in env:
            raise _NotKnownError("enter or measure it first")
        return env[op.name]
    if op.kind == "total":
        return _bounded(_total(op.name, env))
    args = _popped(stack, _arity(op))
    if op.kind == "call":
        return _bounded(_called(op.name, _spread_out(args)))
    return _bounded(_joined(op, [_single(arg) for arg in args]))


def _joined(op: Op, values: Sequence[Quantity]) -> Quantity:
    if op.kind == "negate":
        return -values[0]
    return values[0] ** op.count if op.kind == "power" else _JOIN[op.kind](*values)


def _total(name: str, env: Mapping[str, Points]) -> Quantity:
    found = env.get(f"total of {name}", env.get(name, ()))
    if isinstance(found, Quantity):
        return found
    if not found:
        raise _NotKnownError("enter or measure it first")
    return reduce(operator.add, found)


def _single(value: Points) -> Quantity:
    if isinstance(value, Quantity):
        return value
    raise _OutsideError(f"{_SEVERAL}; {_CHOOSE}")


def _spread_out(args: Sequence[Points]) -> list[Quantity]:
    flat = [point for arg in args for point in (arg if isinstance(arg, tuple) else (arg,))]
    if not flat:
        raise _OutsideError("there are no points yet")
    return flat


def _bounded(value: Quantity) -> Quantity:
    if max(part.bit_length() for end in (value.lo, value.hi) for part in end.as_integer_ratio()) > _MOST_BITS:
        raise _OutsideError("the number has too many digits to go on with")
    return value


def _called(name: str, points: Sequence[Quantity]) -> Quantity:
    dimension = _called_dimension(name, [point.dimension for point in points])
    lows, highs = [point.lo for point in points], [point.hi for point in points]
    match name:
        case "min":
            lo, hi = min(lows), min(highs)
        case "max":
            lo, hi = max(lows), max(highs)
        case "mean":
            lo, hi = sum(lows, Fraction(0)) / len(points), sum(highs, Fraction(0)) / len(points)
        case "spread":
            lo, hi = _spread(points)
        case "floor" | "ceil":
            whole = floor if name == "floor" else ceil
            lo, hi = Fraction(whole(lows[0])), Fraction(whole(highs[0]))
        case "sin":
            lo, hi = cosine(90 - highs[0], 90 - lows[0])
        case "asin":
            if lows[0] < -1 or highs[0] > 1:
                raise _OutsideError("the angle is asked for whose sine is beyond 1")
            lo, hi = arcsine(lows[0])[0], arcsine(highs[0])[1]
        case "sqrt":
            if lows[0] < 0:
                raise _OutsideError("the square root of a negative value is asked for")
            lo, hi = root(lows[0])[0], root(highs[0])[1]
        case _:
            return abs(points[0])
    return Quantity(lo, hi, dimension)


def _spread(points: Sequence[Quantity]) -> tuple[Fraction, Fraction]:
    least = max(point.lo for point in points) - min(point.hi for point in points)
    # Highest less lowest of two different points: one uncertain point alone does not spread.
    pairs = (one.hi - other.lo for i, one in enumerate(points) for j, other in enumerate(points) if i != j)
    return max(Fraction(0), least), max(Fraction(0), *pairs, Fraction(0))
