"""Typed values with their unit, read strictly and shown without flipping a comparison."""

import re
from dataclasses import dataclass
from fractions import Fraction

from runner.core.finding import nearest, quote
from runner.core.quantity import DIMENSIONS, PLAIN, Dimension, DimensionError, Quantity, Unit, decimal_out
from runner.core.rational import decimal_text, from_text, to_text
from runner.core.unitlist import BY_KEY, ONE, REFUSED, UNITS, key_of, units_of

__all__ = [
    "DIMENSIONS",
    "ONE",
    "PLAIN",
    "UNITS",
    "Dimension",
    "DimensionError",
    "Quantity",
    "Typed",
    "Unclear",
    "Unit",
    "decimal_out",
    "from_text",
    "parse_quantity",
    "parse_unit",
    "show",
    "to_text",
    "units_of",
]


@dataclass(frozen=True, slots=True)
class Typed:
    """A value as it was typed, and what it means."""

    raw: str
    quantity: Quantity
    unit: Unit


@dataclass(frozen=True, slots=True)
class Unclear:
    """Text that cannot be taken: what was typed, what is wrong, how to mend it, and the column from 0."""

    text: str
    why: str
    help: str
    column: int = 0


def parse_unit(text: str, dimension: Dimension | None = None) -> Unit | Unclear:
    """The unit of that spelling, for a value of that dimension; K alone is a difference."""
    key = key_of(text)
    found = BY_KEY.get(key, ())
    fitting = [unit for unit in found if dimension in (None, unit.dimension)]
    if fitting:
        return fitting[0]
    usual = " or ".join([unit.symbol for unit in units_of(dimension)[:3]] if dimension else ["mm", "mL", "N m"])
    if found:
        why = f"{quote(text)} measures {found[0].measures}, but {dimension} is expected"
        return Unclear(text, why, f"write the value in {usual}" if usual else "no unit measures this")
    if key in REFUSED:
        return Unclear(text, f"the unit {quote(text)} can mean more than one thing", REFUSED[key])
    near = nearest(key, BY_KEY)
    meant = f"did you mean {near}" if near else f"write {usual}"
    return Unclear(text, f"the unit {quote(text)} is not known", meant)


_LONGEST = 60
_MARKS = str.maketrans({"−": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "})
_DECIMAL = re.compile(r"(?:\d+(?:[.,]\d+)?|[.,]\d+)(?![\d.,/])", re.ASCII)
_FRACTION = re.compile(r"(?:(\d+) +)?(\d+) ?/ ?(\d+)(?!\d)", re.ASCII)
_MINUTES = re.compile(r"(\d+) *(?:°|deg) *(\d+(?:[.,]\d+)?) *(?:'|′|arcmin)", re.ASCII)

# Tried in this order on the text after its sign; the first that fits says what is wrong.
_WRONG: tuple[tuple[re.Pattern[str], str, str], ...] = tuple(
    (re.compile(pattern, re.ASCII | re.IGNORECASE), why, mend)
    for pattern, why, mend in (
        (r"$", "nothing was typed", "type the value and its unit, for example 22.4 mm"),
        (r"(nan|inf|infinity|∞)\b|∞", "no instrument shows this as a value", "type the number that it shows"),
        (
            r"[\d.,]+ *(e[-+]?\d|[x×*] *10)",
            "powers of ten are not taken",
            "write the number out, such as 0.0012",
        ),
        (r"[^\d.,]", "a number is missing at the start", "type the number first, for example 25 N m"),
        (
            r"\d*[.,]\d*[.,]",
            "there is more than one point or comma",
            "type one decimal point, and no thousand mark",
        ),
        (
            r"[1-9]\d{0,2},\d{3}(?!\d)",
            "the comma can mark decimals or thousands",
            "type a point for decimals",
        ),
        (r"\d+[ _'’]+\d+(?!\d* ?/)", "the number is broken in two", "type the digits without a gap"),
        (r"\d+ *- *\d+ */", "a hyphen stands inside the number", "type a space, as in 1 1/2 in"),
        (r"\d*[.,](?!\d)", "a digit is missing after the point", "type 22 or 22.0"),
        (r"(\d+ +)?\d+ ?/ ?0+(?!\d)", "the fraction divides by zero", "type a fraction such as 7/8 in"),
    )
)


def parse_quantity(text: str, dimension: Dimension, default_unit: Unit | None = None) -> Typed | Unclear:
    """The typed value of that dimension; without a unit in the text it counts in the default unit."""
    body = text.translate(_MARKS).strip()
    if len(body) > _LONGEST:
        return Unclear(text, "this is too long for a value", f"type at most {_LONGEST} characters")
    sign = -1 if body.startswith("-") else 1
    body = body.removeprefix("-" if sign < 0 else "+").strip()
    minutes = _MINUTES.fullmatch(body)
    if minutes and dimension == DIMENSIONS["angle"]:
        number: Fraction | Unclear = Fraction(minutes[1]) + Fraction(minutes[2].replace(",", ".")) / 60
        rest = "°"
    else:
        number, rest = _number(text, body)
    if isinstance(number, Unclear):
        return number
    unit = _unit_typed(text, rest, dimension, default_unit)
    if isinstance(unit, Unclear):
        return unit
    quantity = Quantity.point(sign * number, unit)
    if dimension.absolute and quantity.lo < 0:
        return Unclear(text, "this is below absolute zero", "check the sign and the unit")
    return Typed(text, quantity, unit)


def _number(text: str, body: str) -> tuple[Fraction | Unclear, str]:
    strange = next((c for c in body if c.isnumeric() and not c.isascii() and c not in "²³"), None)
    if strange:
        return Unclear(text, f"{quote(strange)} is not a plain digit", "type the digits 0 to 9, as in 1/2"), ""
    for pattern, why, mend in _WRONG:
        if pattern.match(body):
            return Unclear(text, why, mend), ""
    if part := _FRACTION.match(body):
        whole, over, under = (int(group or 0) for group in part.groups())
        if part[1] and over >= under:
            return Unclear(text, f"{over}/{under} is not less than one", "type a fraction such as 1 1/2 in"), ""
        return whole + Fraction(over, under), body[part.end() :]
    if plain := _DECIMAL.match(body):
        return Fraction(plain[0].replace(",", ".")), body[plain.end() :]
    return Unclear(text, f"{quote(text)} cannot be read as a number", "type it as 22.4 or 7/8"), ""


def _unit_typed(text: str, rest: str, dimension: Dimension, default: Unit | None) -> Unit | Unclear:
    if not rest.strip():
        if default or dimension == PLAIN:
            return default or ONE
        usual = units_of(dimension)[0].symbol if units_of(dimension) else ""
        return Unclear(text, "the unit is missing", f"type it after the number, for example {text.strip()} {usual}")
    unit = parse_unit(rest.strip(), dimension)
    if isinstance(unit, Unclear):
        return Unclear(text, unit.why, unit.help)
    # A ratio and a count are both plain numbers, but nobody counts strokes in percent.
    if default and unit.measures != default.measures and default.measures:
        why = f"{quote(unit.symbol)} measures {unit.measures}, but {default.measures} is expected"
        return Unclear(text, why, f"write the value in {default.symbol}")
    return unit


def show(quantity: Quantity, unit: Unit, places: int | None = None, against: Quantity | None = None) -> str:
    """The value in that unit: a point rounded, an interval as "low to high" rounded outward.

    With against, decimals are added until the shown value lies on the same side of that limit as the true
    one, also beside the limit rounded alike. Raises DimensionError if the unit does not fit.
    """
    low, high = quantity.within(unit)
    limits = against.within(unit) if against else ()
    wanted = places if places is not None else max(_usual_places(low), _usual_places(high))
    while True:
        ends = _rounded(low, high, wanted)
        pairs = ((end, true, limit) for end, true in zip(ends, (low, high), strict=True) for limit in limits)
        if all(_same_side(end, true, limit, wanted) for end, true, limit in pairs):
            break
        wanted += 1
    words = dict.fromkeys(decimal_text(end, wanted) for end in ends)
    gap = "" if unit.symbol in ("", "°", "'") else " "
    return f"{' to '.join(words)}{gap}{unit.symbol}"


def _usual_places(value: Fraction) -> int:
    exact = next((n for n in range(7) if (value * 10**n).denominator == 1), None)
    if exact is not None:
        return exact
    # Six significant digits.
    if abs(value) >= 1:
        return max(0, 6 - len(str(int(abs(value)))))
    return 5 + len(str(int(1 / abs(value))))


def _rounded(low: Fraction, high: Fraction, places: int) -> tuple[Fraction, Fraction]:
    grid = 10**places
    # An enclosure far narrower than the last digit is shown as one number.
    if (high - low) * grid * 1000 < 1:
        return _nearest(low, places), _nearest(high, places)
    return Fraction(low * grid // 1, grid), Fraction(-(-high * grid // 1), grid)


def _nearest(value: Fraction, places: int) -> Fraction:
    # A half goes away from zero, as handbooks print it.
    grid = 10**places
    size = Fraction((abs(value) * grid * 2 + 1) // 2, grid)
    return size if value >= 0 else -size


def _same_side(shown: Fraction, true: Fraction, limit: Fraction, places: int) -> bool:
    side = (true > limit) - (true < limit)
    beside = _nearest(limit, places)
    if side == 0:
        return True
    return all((shown > other) - (shown < other) == side for other in (limit, beside))
