"""A measured value against its limits: what the instrument leaves open is said, not guessed.

Terms: JCGM 106:2012 (conformance probability, guard band), ILAC-G8:09/2019 (decision rules and their
outcomes), JCGM 100:2008 (standard uncertainty). All uncertainties are in coherent SI.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from runner.core.enclose import cosine, root
from runner.core.quantity import DIMENSIONS, PLAIN, DimensionError, Quantity, Unit
from runner.core.units import Unclear

Rule = Literal["guarded", "simple"]
CANNOT_TELL = "cannot tell"
# Guard band w = U = 2u (ILAC-G8:09/2019, 4.2.2).
GUARD = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """What measures: its unit and what is known of its error.

    `mpe` is the maximum permissible error, `mpe_relative` the same as a part of the reading; the larger
    counts. With `expanded_k` both are an expanded uncertainty with that coverage factor.
    """

    id: str
    what: str
    unit: Unit
    mpe: Quantity | None = None
    mpe_relative: Fraction | None = None
    expanded_k: Fraction | None = None
    resolution: Quantity | None = None
    due: str | None = None


@dataclass(frozen=True, slots=True)
class Bound:
    """One end of a band, and whether the end itself belongs to it."""

    value: Quantity
    inclusive: bool


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of the number line that has one outcome; None is without end."""

    label: str
    low: Bound | None
    high: Bound | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome that the procedure follows, its name in ILAC-G8, and the probability of conformity.

    `outcome` is a band's label or "cannot tell"; `probability` is None where no band is called "pass".
    """

    outcome: str
    label: str
    probability: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Misfit:
    """A value (coherent SI) that falls in no band, or in those two."""

    value: Fraction
    labels: tuple[str, ...]


def standard_uncertainty(instrument: Instrument, value: Quantity, repeatability: Quantity | None = None) -> Fraction:
    """The standard uncertainty of a reading in SI, rounded up by less than one part in 1e30.

    A permissible error counts as uniform, m / sqrt 3, a resolution as d / sqrt 12 (JCGM 100:2008, 4.3.7 and
    F.2.2.1); a repeatability is a standard deviation. Zero if nothing is known of the instrument.
    """
    unit = instrument.unit
    # A part of the reading is a part of the number shown: 2 % of 300 °C is 6 K, not 2 % of 573 K.
    shown = max(abs(end) for end in value.within(unit)) * unit.factor
    error = max(instrument.mpe.hi if instrument.mpe else Fraction(0), shown * (instrument.mpe_relative or 0))
    square = (error / instrument.expanded_k) ** 2 if instrument.expanded_k else error**2 / 3
    if instrument.resolution:
        square += instrument.resolution.hi**2 / 12
    if repeatability:
        square += repeatability.hi**2
    return root(square)[1]


def judge(value: Quantity, u: Fraction, bands: Sequence[Band], rule: Rule = "guarded") -> Verdict:
    """The band that the value surely lies in, allowing for twice its standard uncertainty u.

    With rule "simple" the uncertainty is not allowed for. Raises DimensionError if a limit measures
    something else.
    """
    for bound in _bounds(bands):
        if bound.value.dimension != value.dimension:
            raise DimensionError(f"{value.dimension} cannot be compared with {bound.value.dimension}")
    guard = GUARD * u if rule == "guarded" else Fraction(0)
    sure = _sure(value.lo - guard, value.hi + guard, bands)
    plain = _sure(value.lo, value.hi, bands)
    probability = _probability(value, u, bands)
    if sure:
        why = f"{_as(sure)}, the error of the instrument included" if guard else _as(sure)
        return Verdict(sure, sure, probability, why)
    if plain is None:
        return Verdict(CANNOT_TELL, CANNOT_TELL, probability, "it lies on both sides of a limit")
    conditional = {band.label for band in bands} == {"pass", "fail"}
    label = f"conditional {plain}" if conditional else CANNOT_TELL
    why = f"as read {_as(plain)}, but the limit is nearer than the error of the instrument"
    return Verdict(CANNOT_TELL, label, probability, why)


def _as(label: str) -> str:
    return {"pass": "it passes", "fail": "it fails"}.get(label, f"it is '{label}'")


def _bounds(bands: Sequence[Band]) -> list[Bound]:
    return [bound for band in bands for bound in (band.low, band.high) if bound]


def _sure(low: Fraction, high: Fraction, bands: Sequence[Band]) -> str | None:
    inside = [band.label for band in bands if _holds(band, low, high)]
    return inside[0] if len(inside) == 1 else None


def _holds(band: Band, low: Fraction, high: Fraction) -> bool:
    above = band.low is None or low > band.low.value.hi or (band.low.inclusive and low == band.low.value.hi)
    below = band.high is None or high < band.high.value.lo or (band.high.inclusive and high == band.high.value.lo)
    return above and below


def _probability(value: Quantity, u: Fraction, bands: Sequence[Band]) -> float | None:
    passing = [band for band in bands if band.label == "pass"]
    if not passing:
        return None
    # Over an interval the least favourable end counts; the probability is highest inside the band.
    return min(sum(_conformance(end, u, band) for band in passing) for end in (value.lo, value.hi))


def _conformance(y: Fraction, u: Fraction, band: Band) -> float:
    if u == 0:
        return float(_holds(band, y, y))
    below = _phi((band.high.value.lo - y) / u) if band.high else 1.0
    return max(0.0, below - (_phi((band.low.value.hi - y) / u) if band.low else 0.0))


def _phi(z: Fraction) -> float:
    # Beyond 40 standard deviations a float cannot tell the tail from nothing.
    clamped = float(max(Fraction(-40), min(Fraction(40), z)))
    return (1 + math.erf(clamped / math.sqrt(2))) / 2


def gap_or_overlap(bands: Sequence[Band]) -> Misfit | None:
    """A value that falls in no band or in two, edges first; None if the bands cover the line once.

    Exact: membership changes only at an edge, so all edges and one value between neighbours decide. Every
    limit must be one value; raises ValueError otherwise.
    """
    bounds = _bounds(bands)
    if any(not bound.value.is_point for bound in bounds):
        raise ValueError("the bands can only be swept when each limit is one value")
    edges = sorted({bound.value.lo for bound in bounds}) or [Fraction(0)]
    between = [(low + high) / 2 for low, high in pairwise(edges)]
    for tried in (*edges, *between, edges[0] - 1, edges[-1] + 1):
        labels = tuple(band.label for band in bands if _holds(band, tried, tried))
        if len(labels) != 1:
            return Misfit(tried, labels[:2])
    return None


def wrench_setting(
    torque: Quantity, wrench_length: Quantity, adapter_length: Quantity, angle: Quantity
) -> Quantity | Unclear:
    """What the wrench is set to when an adapter moves the nut off its axis: T L / (L + E cos a).

    L reaches from the square to the pull point; a is 0 straight ahead and 180 degrees turned back (US Army
    TM 1-1500-204-23-9, 8-15 to 8-17).
    """
    wanted = (("torque", torque), ("length", wrench_length), ("length", adapter_length), ("angle", angle))
    for name, quantity in wanted:
        if quantity.dimension != DIMENSIONS[name]:
            return Unclear(str(quantity.dimension), f"a {name} is expected here", f"enter a {name}")
    if wrench_length.lo <= 0 or adapter_length.lo < 0:
        return Unclear("", "a length is not above zero", "measure it from the centre of the square")
    turned = Quantity(*cosine(angle.lo, angle.hi), PLAIN)
    one = Quantity(Fraction(1), Fraction(1), PLAIN)
    reach = one + adapter_length / wrench_length * turned
    if reach.lo <= 0:
        why = "the adapter reaches back to the hand or beyond, so the wrench cannot turn the nut"
        return Unclear("", why, "turn the adapter forward, or use a longer wrench")
    return torque / reach
