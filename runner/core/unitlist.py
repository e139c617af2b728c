"""The units that the trade uses: a closed list with exact factors, and the spellings that are refused.

Factors: SI Brochure 9 and NIST SP 811 appendix B; 1 in = 25.4 mm, 1 lb = 0.45359237 kg and
g = 9.80665 m/s2 are exact by definition, and the others follow from them.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from types import MappingProxyType

from runner.core.quantity import DIMENSIONS, PLAIN, Dimension, Unit

_IN = Fraction("0.0254")
_FT = 12 * _IN
_MILE = 5280 * _FT
_LB = Fraction("0.45359237")
_G = Fraction("9.80665")
_LBF = _LB * _G
_GALLON = 231 * _IN**3
_IMP_OZ = Fraction("0.0000284130625")

# First spelling = the one shown. A space may also be typed as a point, a middle dot or a hyphen.
# The difference stands before the temperature: a kelvin without context is a difference.
# fmt: off
_TABLE: Mapping[str, Mapping[str, Fraction | str | int]] = {
    "length": {"mm": "0.001", "m": 1, "cm": "0.01", "km": 1000, "µm|um": "0.000001", "in": _IN,
               "mil|thou": _IN / 1000, "ft": _FT, "mi|mile|miles": _MILE},
    "area": {"mm2": "0.000001", "cm2": "0.0001", "m2": 1, "in2|sq in": _IN**2},
    "volume": {"mL|ml|cc|cm3": "0.000001", "L|l|dm3": "0.001", "m3": 1, "mm3": "0.000000001",
               "in3|cu in": _IN**3, "US fl oz": _GALLON / 128, "US pt": _GALLON / 8, "US qt": _GALLON / 4,
               "US gal": _GALLON, "imp fl oz": _IMP_OZ, "imp pt": 20 * _IMP_OZ, "imp qt": 40 * _IMP_OZ,
               "imp gal": 160 * _IMP_OZ},
    "volume flow": {"mL/min|ml/min": Fraction(1, 60_000_000), "mL/s|ml/s": "0.000001",
                    "L/min|l/min": Fraction(1, 60_000), "L/h|l/h": Fraction(1, 3_600_000)},
    "speed": {"km/h": Fraction(1000, 3600), "m/s": 1, "mm/s": "0.001", "mph": _MILE / 3600},
    "acceleration": {"m/s2": 1},
    "kinematic viscosity": {"mm2/s|cSt": "0.000001"},
    "mass": {"kg": 1, "g": "0.001", "mg": "0.000001", "lbm": _LB},
    "density": {"g/mL|g/ml|g/cm3|kg/L": 1000, "kg/m3": 1},
    "force": {"N": 1, "kN": 1000, "lbf": _LBF, "ozf": _LBF / 16, "kgf": _G},
    "torque": {"N m|Nm": 1, "lbf ft|ft lbf": _LBF * _FT, "lbf in|in lbf": _LBF * _IN,
               "ozf in|in ozf": _LBF * _IN / 16, "kgf m": _G, "kgf cm": _G / 100},
    "pressure": {"kPa": 1000, "Pa": 1, "MPa": 1_000_000, "hPa|mbar": 100, "bar": 100_000,
                 "psi": _LBF / _IN**2, "kgf/cm2": _G * 10_000, "inHg": Fraction("13595.1") * _G * _IN},
    "time": {"s": 1, "min": 60, "h": 3600, "d": 86_400},
    "rotational speed": {"rpm|r/min": Fraction(1, 60)},
    "temperature difference": {"K": 1, "C deg": 1, "F deg": Fraction(5, 9)},
    "temperature": {"°C|degC|C": 1, "°F|degF|F": Fraction(5, 9), "K": 1},
    "angle": {"°|deg": 1, "'|arcmin": Fraction(1, 60)},
    "current": {"A": 1, "mA": "0.001"},
    "charge": {"A h|Ah": 3600},
    "voltage": {"V": 1, "mV": "0.001"},
    "resistance": {"Ω|ohm": 1},
    "illuminance": {"lx|lux": 1},
    "ratio": {"%": "0.01", "mm/m|m/km": "0.001", "ft/mi|ft/mile": _FT / _MILE},
    "count": dict.fromkeys(("strokes|stroke", "turns|turn", "clicks|click", "times", "pieces"), 1),
}
# fmt: on
_OFFSETS = {"°C": Fraction("273.15"), "°F": Fraction("459.67") * Fraction(5, 9)}

_TORQUE = "write lbf ft or lbf in for a torque"
_VOLUME = "write US or imp before it, as in US fl oz; they differ by 4 % or more"
_FORCE = "write lbf for a force, lbf ft for a torque, lbm for a mass"
_METRIC = "write kgf m for a torque"
REFUSED: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("lb", "lbs", "#"), _FORCE),
        **dict.fromkeys(("ft lb", "lb ft", "ft lbs", "lbs ft", "in lb", "lb in", "in lbs", "lbs in"), _TORQUE),
        **dict.fromkeys(("ftlb", "lbft", "ftlbs", "inlb", "lbin", "inlbs"), _TORQUE),
        **dict.fromkeys(("fl oz", "pt", "qt", "gal"), _VOLUME),
        **dict.fromkeys(("oz in", "in oz"), "write ozf in for a torque"),
        **dict.fromkeys(("kg m", "m kg", "kgm", "mkg"), _METRIC),
        "kg cm": "write kgf cm for a torque",
        "oz": "write US fl oz or imp fl oz for a volume, ozf for a force, g for a mass",
        "kg/cm2": "write kgf/cm2 for a pressure",
        "lb/in2": "write psi for a pressure",
        "nm": "write N m for a torque",
        "NM": "write N m for a torque",
        "M": "write m for metres, min for minutes",
    }
)
_SAME = str.maketrans(
    {
        **dict.fromkeys("·⋅•.-*\u00a0\u202f", " "),
        "\u03bc": "µ",
        "\u2126": "Ω",
        "º": "°",
        "′": "'",
        "²": "2",
        "³": "3",
    }
)


def key_of(spelling: str) -> str:
    """The spelling as BY_KEY and REFUSED have it, whatever marks stand between its parts."""
    return " ".join(spelling.translate(_SAME).split())


def _build() -> Mapping[str, tuple[Unit, ...]]:
    built: dict[str, tuple[Unit, ...]] = {}
    for measures, row in _TABLE.items():
        for spellings, factor in row.items():
            first, *others = spellings.split("|")
            offset = _OFFSETS.get(first, Fraction(0))
            made = Unit(first, DIMENSIONS[measures], Fraction(factor), offset, measures)
            for spelling in (first, *others):
                built[spelling] = (*built.get(spelling, ()), made)
    return MappingProxyType(built)


def _spellings(key: str) -> Iterator[str]:
    yield key
    if " " in key:
        yield from (key.replace(" ", mark) for mark in (".", "·", "-"))
    if key[-1] in "23":
        yield key[:-1] + {"2": "²", "3": "³"}[key[-1]]


BY_KEY = _build()
ONE = Unit("", PLAIN, Fraction(1))
UNITS: Mapping[str, Unit] = MappingProxyType(
    {spelling: units[0] for key, units in BY_KEY.items() for spelling in _spellings(key)}
)


def units_of(dimension: Dimension) -> tuple[Unit, ...]:
    """The units in which such a value may be written, the usual one first."""
    return tuple(dict.fromkeys(u for units in BY_KEY.values() for u in units if u.dimension == dimension))
