"""A vehicle identification number as read from the car: its form, and its check digit where there is one.

Characters, weights and check digit: 49 CFR 565.15. ISO 3779 has the form without the check digit, so that
outside North America a wrong digit says nothing.
"""

from dataclasses import dataclass

from runner.core.finding import quote

_LENGTH = 17
_VALUES = {
    **{digit: int(digit) for digit in "0123456789"},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_CHECK_AT = 8
_GROUPS = ((0, 3), (3, 8), (8, 9), (9, 17))
_LIKELY = {"I": "1", "O": "0", "Q": "0"}
_MOST_SHOWN = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class VinProblem:
    """What is wrong at one position (from 1; 0 is the whole), and how to mend it."""

    position: int
    why: str
    help: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VinResult:
    """The number in capitals without gaps, what is wrong with it, and its check digit.

    `problems` make it no VIN; `warning` is a check digit that does not agree. `expected` and `got` are None
    as long as there are problems. `groups` is the number as it is read back, 3-5-1-8.
    """

    text: str
    normalised: str
    problems: tuple[VinProblem, ...]
    expected: str | None
    got: str | None
    warning: str
    groups: str

    @property
    def well_formed(self) -> bool:
        """Whether it has the form of a VIN, whatever its check digit."""
        return not self.problems


def check(text: str) -> VinResult:
    """The VIN in that text; gaps and hyphens between the characters do not count."""
    # Only ASCII letters are raised: other alphabets have capitals that look like ours.
    plain = "".join(c.upper() if c.isascii() else c for c in text if not c.isspace() and c != "-")
    problems = _problems(plain)
    if problems:
        return VinResult(
            text=text,
            normalised=plain[:_MOST_SHOWN],
            problems=problems,
            expected=None,
            got=None,
            warning="",
            groups=_grouped(plain[:_LENGTH]),
        )
    expected, got = check_digit(plain), plain[_CHECK_AT]
    warning = "" if expected == got else _warning(expected, got)
    return VinResult(
        text=text,
        normalised=plain,
        problems=(),
        expected=expected,
        got=got,
        warning=warning,
        groups=_grouped(plain),
    )


def check_digit(vin: str) -> str:
    """The digit, or X, that position 9 of this well-formed number should show."""
    rest = sum(_VALUES[char] * weight for char, weight in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def _problems(plain: str) -> tuple[VinProblem, ...]:
    found: list[VinProblem] = []
    if len(plain) != _LENGTH:
        why = f"a VIN has {_LENGTH} characters, this has {len(plain)}"
        mend = "compare it with the plate, group by group"
        found.append(VinProblem(position=0, why=why, help=mend))
    for position, char in enumerate(plain[:_MOST_SHOWN], 1):
        if char in _LIKELY:
            why = f"{quote(char)} is never used in a VIN"
            found.append(VinProblem(position=position, why=why, help=f"read it again, probably {_LIKELY[char]}"))
        elif char not in _VALUES:
            why = f"{quote(char)} is not a character of a VIN"
            found.append(VinProblem(position=position, why=why, help="type the letters A to Z and digits 0 to 9"))
    return tuple(found)


def _warning(expected: str, got: str) -> str:
    return (
        f"the check digit (9th character) is {got}, but {expected} agrees with the others; read the number "
        "again; a car built for a market outside North America need not have one"
    )


def _grouped(plain: str) -> str:
    return " ".join(part for start, end in _GROUPS if (part := plain[start:end]))
