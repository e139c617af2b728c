"""Canonical JSON (RFC 8785) for the subset that a record holds: text, whole numbers, true, false, null, lists, objects.

Without fractions the canonical form is plain: no spaces, the shortest escapes, and keys sorted by UTF-16 code units.
msgspec writes the same bytes at speed, except that it sorts by code point; the two orders part only where a key
holds a character beyond U+FFFF, so such keys are sorted here.
"""

from collections.abc import Mapping
from typing import NoReturn

import msgspec

SAFE = 2**53 - 1
"""The largest whole number that every JSON reader keeps exactly (RFC 7493, section 2.2)."""

_BEYOND_BMP = tuple(bytes([lead]) for lead in range(0xF0, 0xF5))  # first bytes of four-byte UTF-8


def canonical(value: object) -> bytes:
    """The canonical bytes of a value; TypeError or ValueError names what a record cannot hold, and where."""
    return _AS_GIVEN.encode(_ordered(value, "$"))


def is_canonical(lines: bytes) -> bool:
    """Whether each newline-ended line is the canonical form of what it says."""
    try:
        values = _LOOSE.decode_lines(lines)
        if not lines.isascii() and any(lead in lines for lead in _BEYOND_BMP):
            return b"".join(canonical(value) + b"\n" for value in values) == lines
        return _SORTED.encode_lines(values) == lines
    except (ValueError, RecursionError):  # msgspec's and UTF-8 errors are ValueErrors
        return False


def replace_surrogates(text: str) -> str:
    r"""The text with each lone surrogate written out as \udxxx, since UTF-8 has no form for it."""
    return text if text.isascii() else text.encode("utf-8", "backslashreplace").decode("utf-8")


def _ordered(value: object, where: str) -> object:
    match value:
        case str():
            return replace_surrogates(value)
        case None | bool():
            return value
        case int() if -SAFE <= value <= SAFE:
            return value
        case int():
            raise ValueError(f"{where}: {value} is beyond {SAFE}; expected a smaller number, or the number as text")
        case list() | tuple():
            return [_ordered(item, f"{where}[{index}]") for index, item in enumerate(value)]
        case Mapping():
            return _ordered_object(value, where)
        case _:
            raise TypeError(
                f"{where}: a value of type {type(value).__name__} has no place in a record; expected text, a whole"
                " number, true, false, null, a list or an object: write a measured value as the text that was typed"
            )


def _ordered_object(value: Mapping[object, object], where: str) -> dict[str, object]:
    plain: dict[str, object] = {}
    for key, item in value.items():
        if not isinstance(key, str):
            raise TypeError(f"{where}: the key {key!r} is not text; expected text keys only")
        name = replace_surrogates(key)
        if name in plain:
            raise ValueError(f"{where}: two keys read {name!r}; expected each key once")
        plain[name] = _ordered(item, f"{where}.{name}")
    return dict(sorted(plain.items(), key=lambda pair: pair[0].encode("utf-16-be")))


def _refuse_fraction(digits: str) -> NoReturn:
    raise ValueError(f"{digits} is not a whole number")


_AS_GIVEN = msgspec.json.Encoder()
_SORTED = msgspec.json.Encoder(order="sorted")
_LOOSE = msgspec.json.Decoder(float_hook=_refuse_fraction)
