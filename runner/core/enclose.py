"""Rational bounds for the few irrational numbers that the trade's formulas need.

Each function returns (low, high) with the true number between them; both are equal where it is rational.
The relative width is below 1e-30, save for that of an angle.
"""

from fractions import Fraction
from math import asin, degrees, isqrt

_PI_DIGITS = 314159265358979323846264338327950288419716939937510
_PI_SCALE = 10**50
PI = (Fraction(_PI_DIGITS, _PI_SCALE), Fraction(_PI_DIGITS + 1, _PI_SCALE))

_ROOT_BITS = 110
_COSINE_TERMS = 24
_COSINE_GRID = 10**40
_ARC_GRID = 10**9
_EXACT_COSINES = {Fraction(0): Fraction(1), Fraction(60): Fraction(1, 2), Fraction(90): Fraction(0)}


def root(square: Fraction) -> tuple[Fraction, Fraction]:
    """Bounds of the square root; the square must not be negative."""
    product = square.numerator * square.denominator
    shift = max(0, _ROOT_BITS - product.bit_length() // 2)
    widened = product << (2 * shift)
    whole = isqrt(widened)
    scale = square.denominator << shift
    return Fraction(whole, scale), Fraction(whole + (whole * whole != widened), scale)


def cosine(low: Fraction, high: Fraction) -> tuple[Fraction, Fraction]:
    """Bounds of the cosine over all angles from low to high, in degrees."""
    ends = (_cosine_at(low), _cosine_at(high))
    least, most = min(end[0] for end in ends), max(end[1] for end in ends)
    if -(-low // 360) * 360 <= high:
        most = Fraction(1)
    if -(-(low - 180) // 360) * 360 + 180 <= high:
        least = Fraction(-1)
    return least, most


def arcsine(sine: Fraction) -> tuple[Fraction, Fraction]:
    """Bounds of the angle in degrees, from -90 to 90, whose sine it is.

    They lie 1e-8 degrees apart, near 90 degrees further.
    """
    guess = round(degrees(asin(sine)) * _ARC_GRID)
    reach = 2
    while True:
        # The guess of the machine's arithmetic is only a place to look: the bounds are shown by the sine itself.
        below, above = max(guess - reach, -90 * _ARC_GRID), min(guess + reach, 90 * _ARC_GRID)
        if _sine(below)[1] <= sine <= _sine(above)[0] or reach > 90 * _ARC_GRID:
            return Fraction(below, _ARC_GRID), Fraction(above, _ARC_GRID)
        reach *= 8


def _sine(grid: int) -> tuple[Fraction, Fraction]:
    return _cosine_at(90 - Fraction(grid, _ARC_GRID))


def _cosine_at(degrees: Fraction) -> tuple[Fraction, Fraction]:
    turned = degrees % 360
    turned = min(turned, 360 - turned)
    if turned > 90:
        low, high = _cosine_at(180 - turned)
        return -high, -low
    if turned in _EXACT_COSINES:
        return _EXACT_COSINES[turned], _EXACT_COSINES[turned]
    # The cosine falls from 0 to 90 degrees, so the larger angle gives the lower bound.
    low = _series(turned / 180 * PI[1], _COSINE_TERMS)
    high = _series(turned / 180 * PI[0], _COSINE_TERMS + 1)
    return Fraction(low * _COSINE_GRID // 1, _COSINE_GRID), Fraction(-(-high * _COSINE_GRID // 1), _COSINE_GRID)


def _series(radians: Fraction, terms: int) -> Fraction:
    # The terms alternate and shrink: an even number of them lies below the cosine, an odd number above.
    total = term = Fraction(1)
    for k in range(1, terms):
        term = -term * radians * radians / ((2 * k - 1) * (2 * k))
        total += term
    return total
