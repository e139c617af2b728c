"""Values as exact intervals with the dimension that they measure.

Everything is a rational number in coherent SI, save that an angle counts in degrees: a radian would make
every angle irrational. A temperature (20 °C) and a temperature difference (20 K) are two dimensions.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType
from typing import Self


class DimensionError(ValueError):
    """Two dimensions cannot be joined in this way; the text says which and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """What a quantity measures: exponents of the base dimensions, and whether it is a temperature."""

    length: int = 0
    mass: int = 0
    time: int = 0
    temperature: int = 0
    angle: int = 0
    current: int = 0
    light: int = 0
    absolute: bool = False

    def plus(self, other: Self) -> Self:
        """The dimension of a sum; raises DimensionError."""
        if self.absolute and other.absolute:
            raise DimensionError("two temperatures cannot be added, only a temperature and a temperature difference")
        self._alike(other, "added")
        return self if self.absolute else other

    def minus(self, other: Self) -> Self:
        """The dimension of a difference; raises DimensionError."""
        self._alike(other, "subtracted")
        if other.absolute and not self.absolute:
            raise DimensionError("a temperature cannot be subtracted from a temperature difference")
        return replace(self, absolute=self.absolute and not other.absolute)

    def times(self, other: Self, power: int = 1) -> Self:
        """The dimension of self times the given power of other; raises DimensionError for a temperature."""
        if self.absolute or other.absolute:
            raise DimensionError("a temperature cannot be multiplied or divided, only a temperature difference can")
        return type(self)(**{name: getattr(self, name) + power * getattr(other, name) for name in _BASES})

    def root(self) -> Self:
        """The dimension of a square root; raises DimensionError."""
        if self.absolute or any(getattr(self, name) % 2 for name in _BASES):
            raise DimensionError(f"{self} has no square root")
        return type(self)(**{name: getattr(self, name) // 2 for name in _BASES})

    def _alike(self, other: Self, done: str) -> None:
        if replace(self, absolute=False) != replace(other, absolute=False):
            raise DimensionError(f"{self} and {other} cannot be {done}")

    def __str__(self) -> str:
        """The trade's name, or the exponents where it has none."""
        if self == PLAIN:
            return "plain number"
        for name, dimension in DIMENSIONS.items():
            if dimension == self:
                return name
        return " ".join(f"{name}^{power}" for name in _BASES if (power := getattr(self, name)))


_BASES = ("length", "mass", "time", "temperature", "angle", "current", "light")
PLAIN = Dimension()

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        "length": Dimension(length=1),
        "distance": Dimension(length=1),
        "area": Dimension(length=2),
        "volume": Dimension(length=3),
        "volume flow": Dimension(length=3, time=-1),
        "speed": Dimension(length=1, time=-1),
        "acceleration": Dimension(length=1, time=-2),
        "kinematic viscosity": Dimension(length=2, time=-1),
        "mass": Dimension(mass=1),
        "density": Dimension(mass=1, length=-3),
        "force": Dimension(length=1, mass=1, time=-2),
        "torque": Dimension(length=2, mass=1, time=-2),
        "pressure": Dimension(length=-1, mass=1, time=-2),
        "time": Dimension(time=1),
        "rotational speed": Dimension(time=-1),
        "temperature difference": Dimension(temperature=1),
        "temperature": Dimension(temperature=1, absolute=True),
        "angle": Dimension(angle=1),
        "current": Dimension(current=1),
        "charge": Dimension(current=1, time=1),
        "voltage": Dimension(length=2, mass=1, time=-3, current=-1),
        "resistance": Dimension(length=2, mass=1, time=-3, current=-2),
        "illuminance": Dimension(light=1, length=-2),
        "ratio": PLAIN,
        "count": PLAIN,
    }
)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: value in coherent SI = value in this unit * factor + offset."""

    symbol: str
    dimension: Dimension
    factor: Fraction
    offset: Fraction = Fraction(0)
    measures: str = ""


@dataclass(frozen=True, slots=True)
class Quantity:
    """All values from lo to hi, in coherent SI (an angle in degrees)."""

    lo: Fraction
    hi: Fraction
    dimension: Dimension

    def __post_init__(self) -> None:
        if self.lo > self.hi:
            raise ValueError(f"an interval from {self.lo} to {self.hi} is upside down")

    @classmethod
    def point(cls, value: Fraction | int | str, unit: Unit) -> Self:
        """The quantity with exactly this value in the unit."""
        return cls.between(value, value, unit)

    @classmethod
    def between(cls, low: Fraction | int | str, high: Fraction | int | str, unit: Unit) -> Self:
        """The quantity from low to high in the unit."""
        lo, hi = (Fraction(end) * unit.factor + unit.offset for end in (low, high))
        return cls(lo, hi, unit.dimension)

    @property
    def is_point(self) -> bool:
        """Whether it is a single value."""
        return self.lo == self.hi

    def within(self, unit: Unit) -> tuple[Fraction, Fraction]:
        """Both ends as numbers of the unit; raises DimensionError."""
        if unit.dimension != self.dimension:
            raise DimensionError(f"{self.dimension} cannot be shown in {unit.symbol}")
        return (self.lo - unit.offset) / unit.factor, (self.hi - unit.offset) / unit.factor

    def __add__(self, other: Self) -> Self:
        return type(self)(self.lo + other.lo, self.hi + other.hi, self.dimension.plus(other.dimension))

    def __sub__(self, other: Self) -> Self:
        return type(self)(self.lo - other.hi, self.hi - other.lo, self.dimension.minus(other.dimension))

    def __mul__(self, other: Self) -> Self:
        ends = [mine * theirs for mine in (self.lo, self.hi) for theirs in (other.lo, other.hi)]
        return type(self)(min(ends), max(ends), self.dimension.times(other.dimension))

    def __truediv__(self, other: Self) -> Self:
        """The quotient; raises ZeroDivisionError if the divisor may be zero."""
        if other.lo <= 0 <= other.hi:
            raise ZeroDivisionError("the divisor may be zero")
        inverse = type(self)(1 / other.hi, 1 / other.lo, PLAIN.times(other.dimension, -1))
        return self * inverse

    def __pow__(self, power: int) -> Self:
        if power < 0:
            return type(self)(Fraction(1), Fraction(1), PLAIN) / self**-power
        dimension = PLAIN.times(self.dimension, power)
        lo, hi = sorted((self.lo**power, self.hi**power))
        if power and power % 2 == 0 and self.lo < 0 < self.hi:
            lo = Fraction(0)
        return type(self)(lo, hi, dimension)

    def __neg__(self) -> Self:
        return type(self)(-self.hi, -self.lo, PLAIN.times(self.dimension))

    def __abs__(self) -> Self:
        ends = sorted((abs(self.lo), abs(self.hi)))
        least = Fraction(0) if self.lo < 0 < self.hi else ends[0]
        return type(self)(least, ends[1], PLAIN.times(self.dimension))


def decimal_out(quantity: Quantity, places: int) -> Quantity:
    """The smallest interval around the quantity whose ends have so many decimals in coherent SI."""
    grid = 10**places
    lo = Fraction(quantity.lo * grid // 1, grid)
    hi = Fraction(-(-quantity.hi * grid // 1), grid)
    return Quantity(lo, hi, quantity.dimension)
