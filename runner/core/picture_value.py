"""A value to be typed: its units and instruments, its limits as two ends, and nothing that gives a target away."""

from __future__ import annotations

from fractions import Fraction

from runner.core.act import Answer, AnyAct, Enter, Supply
from runner.core.gauging import instrument, suited
from runner.core.graph import Ask, Check, Found, LimitBand, Reading
from runner.core.measure import Instrument
from runner.core.panel import numbered
from runner.core.quantity import DIMENSIONS, Quantity, Unit
from runner.core.rational import decimal_text
from runner.core.state import State
from runner.core.units import show, units_of
from runner.core.values import worth
from runner.core.view import Field, Option
from runner.core.wording import spoken_order

Ways = tuple[tuple[str, str], ...]
_BELOW_ZERO = ("temperature", "temperature difference", "angle", "length", "voltage", "current")
_SIGNED = tuple(DIMENSIONS[name] for name in _BELOW_ZERO)
_MOST_UNITS = 5
_PLACES = 4
_DIGITS = 5


def reading_field(found: Found, state: State, reading: Reading) -> Field:
    """The field of a reading. In mode ``setting`` the target stays hidden: it is what the wrench is set to."""
    ways = ways_of(reading, state)
    return Field(
        what=reading.what,
        kind="value",
        ways=ways,
        limit="" if reading.mode == "setting" else limits(found, state, reading),
        points=reading.points,
        clicks=reading.clicks is not None,
        signed=reading.mode == "measured" and reading.dimension in _SIGNED,
        base=Enter(typed=[]),
    )


def number_field(check: Check) -> Field:
    """The field of a check that asks for a count."""
    return Field(what="the number", kind="whole number", base=Answer(value=""))


def text_field(what: str, base: AnyAct) -> Field:
    """A field for free text; it is the one thing that the keypad alone cannot do."""
    return Field(what=what, kind="text", base=base)


def ask_field(ask: Ask, base: AnyAct) -> Field:
    """The field of a value that belongs to the car."""
    if ask.kind != "quantity" or ask.unit is None:
        return text_field(ask.what, base)
    limit = _range(ask.low, ask.high, ask.unit)
    return Field(
        what=ask.what,
        kind="value",
        ways=_units("", ask.unit),
        limit=limit,
        signed=ask.unit.dimension in _SIGNED,
        base=base,
    )


def ways_of(reading: Reading, state: State) -> Ways:
    """The instruments that suit with their units, then other units of the first."""
    if reading.mode != "measured":
        return _units("", reading.unit)
    made: list[Instrument] = []
    for name in suited(state.instruments, reading):
        one = instrument(name, state.instruments[name], reading.dimension)
        if isinstance(one, Instrument):
            made.append(one)
    if not made:
        return _units("", reading.unit)
    own = tuple((one.id, one.unit.symbol) for one in made)
    others = _units(made[0].id, made[0].unit)
    return tuple(dict.fromkeys((*own, *others)))


def _units(name: str, first: Unit) -> Ways:
    """The unit, then the usual others of its kind."""
    usual = [u for u in units_of(first.dimension) if u.measures == first.measures][:_MOST_UNITS]
    return tuple(dict.fromkeys(((name, first.symbol), *((name, u.symbol) for u in usual))))


def answers_of(ask: Ask) -> dict[str, str]:
    """The answers of an ask that is chosen and not typed, with their words; empty where it is typed."""
    if ask.kind == "order":
        return {n: f"{n}: {spoken_order(m)}" for n, m in (ask.orders or {}).items()}
    return {o: o for o in ask.options}


def supply_options(ask: Ask, name: str) -> tuple[Option, ...]:
    """The sources of a value of the car; behind each the value is chosen or typed."""
    sources = (*ask.sources, *(("measured on this car",) if ask.measured else ()))
    options: list[Option] = []
    for source in sources:
        answers = answers_of(ask)
        if answers:
            sub = [
                Option(key="", text=words, act=Supply(name=name, typed=value, source=source))
                for value, words in answers.items()
            ]
            options.append(Option(key="", text=source, sub=tuple(sub)))
        else:
            field = ask_field(ask, Supply(name=name, typed="", source=source))
            options.append(Option(key="", text=source, field=field))
    return numbered(options)


# ── limits ───────────────────────────────────────────────────────────────────────────────────────


def limits(found: Found, state: State, reading: Reading) -> str:
    """What passes, as end values in the author's unit, and in the instrument's where that is another."""
    passing = [b for b in reading.bands if b.outcome == "pass"] or list(reading.bands)
    units = [reading.unit]
    for name, symbol in ways_of(reading, state)[:1]:
        units += [u for u in units_of(reading.dimension) if name and u.symbol == symbol and u != reading.unit]
    most = 1 if reading.mode == "amount" else _PLACES
    texts = [_band(found, state, band, units, most) for band in passing]
    words = "; ".join(t for t in dict.fromkeys(texts) if t)
    return f"{words}, {reading.limit_kind}" if words and reading.limit_kind else words


def _band(found: Found, state: State, band: LimitBand, units: list[Unit], most: int) -> str:
    ends: list[Quantity | None] = []
    for expr in (band.low, band.high):
        value = worth(found.procedure, state, expr, found.here) if expr is not None else None
        if expr is not None and not isinstance(value, Quantity):
            return f"{band.outcome}: a limit is not known yet"
        ends.append(value if isinstance(value, Quantity) else None)
    name = "" if band.outcome == "pass" else f"{band.outcome}: "
    words = [_between(ends[0], ends[1], band, unit, most) for unit in units]
    other = f" ({'; '.join(words[1:])})" if words[1:] else ""
    return f"{name}{words[0]}{other}"


def _between(low: Quantity | None, high: Quantity | None, band: LimitBand, unit: Unit, most: int) -> str:
    if low is not None and high is not None:
        if low == high and low.is_point:
            return show(low, unit)
        return f"{inward(low, unit, up=True, signed=False, most=most)} to {inward(high, unit, up=False, most=most)}"
    if low is not None:
        return f"{'at least' if band.low_inclusive else 'more than'} {inward(low, unit, up=True, most=most)}"
    if high is not None:
        return f"{'at most' if band.high_inclusive else 'less than'} {inward(high, unit, up=False, most=most)}"
    return ""


def inward(limit: Quantity, unit: Unit, *, up: bool, signed: bool = True, most: int = _PLACES) -> str:
    """A limit in a unit; where it does not come out even it is rounded to the strict side, never outward.

    ``most`` is how many places can be read at all: an amount is poured to a tenth of its unit at best.
    """
    low, high = limit.within(unit)
    end = high if up else low
    places = next((n for n in range(_PLACES + 1) if (end * 10**n).denominator == 1), None)
    if places is None:
        places = min(most, max(0, _DIGITS - len(str(int(abs(end))))))
        grid = 10**places
        end = Fraction(-(-end * grid // 1), grid) if up else Fraction(end * grid // 1, grid)
    gap = "" if unit.symbol in ("", "°", "'") else " "
    return decimal_text(end, places) + (f"{gap}{unit.symbol}" if signed else "")


def _range(low: Quantity | None, high: Quantity | None, unit: Unit) -> str:
    if low is not None and high is not None:
        return f"{inward(low, unit, up=True, signed=False)} to {inward(high, unit, up=False)}"
    if low is not None:
        return f"at least {inward(low, unit, up=True)}"
    return f"at most {inward(high, unit, up=False)}" if high is not None else ""
