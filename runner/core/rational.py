"""Exact numbers as text and back, for the record and for the screen."""

import re
from fractions import Fraction

_TEXT = re.compile(r"-?(?:0|[1-9]\d*)(?:\.\d*[1-9]|/[1-9]\d*)?", re.ASCII)
_MOST_PLACES = 60


def decimal_text(value: Fraction, places: int) -> str:
    """The value with so many decimals; it must be a whole number of the last one."""
    scaled = value * 10**places
    if scaled.denominator != 1:
        raise ValueError(f"{value} has more than {places} decimals")
    digits = str(abs(scaled.numerator)).rjust(places + 1, "0")
    whole, part = (digits[:-places], digits[-places:]) if places else (digits, "")
    return ("-" if value < 0 else "") + whole + ("." + part if part else "")


def to_text(value: Fraction) -> str:
    """The value exactly: its shortest decimal, or p/q where that does not end (within 60 places)."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    places = max(twos, fives)
    if rest != 1 or places > _MOST_PLACES:
        return f"{value.numerator}/{value.denominator}"
    return decimal_text(value, places)


def from_text(text: str) -> Fraction:
    """The number that to_text wrote; raises ValueError for any other text."""
    if _TEXT.fullmatch(text):
        value = Fraction(text)
        if to_text(value) == text:
            return value
    raise ValueError(f"{text[:40]!r} is not an exact number; expected a decimal such as 22.4, or p/q")
