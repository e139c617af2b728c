"""Bytes of a terminal to keys of the desk: every keypad mode, and nothing that a stray byte could break.

With NumLock off a keypad sends the codes of the arrow keys and of Home, End, Page and Insert, so these are digits
everywhere, by where they lie on the keypad.
Sources: ECMA-48 (8.3, shape of control sequences); the DEC VT220 manual, application keypad (codes recalled, as the
control sequences of xterm repeat them); kitty keyboard protocol, functional key numbers (recalled).
"""

from __future__ import annotations

import re
from codecs import getincrementaldecoder
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

ESC: Final = "\x1b"
_BY_LETTER: Final = {
    "H": "7", "A": "8", "D": "4", "E": "5", "G": "5", "C": "6", "F": "1", "B": "2",
}
_BY_TILDE: Final = {
    "1": "7", "7": "7", "5": "9", "4": "1", "8": "1", "6": "3", "2": "0", "3": ".",
}
_APPLICATION: Final = _BY_LETTER | {
    **{chr(ord("p") + n): str(n) for n in range(10)},
    "n": ".", "l": ".", "M": "enter", "k": "+", "m": "-", "j": "*", "o": "/",
}
_BY_NUMBER: Final = {
    13: "enter", 10: "enter", 27: "esc", 127: "backspace", 8: "backspace",
    **{57399 + n: str(n) for n in range(10)},
    57409: ".", 57410: "/", 57411: "*", 57412: "-", 57413: "+", 57414: "enter", 57416: ".",
    57417: "4", 57418: "6", 57419: "8", 57420: "2", 57421: "9", 57422: "3", 57423: "7", 57424: "1",
    57425: "0", 57426: ".", 57427: "5",
}
_CONTROL: Final = {"\r": "enter", "\n": "enter", "\x7f": "backspace", "\x08": "backspace"}
_REFUSED: Final = {"\x03": "ctrl+c", "\x11": "ctrl+q", "\x1a": "ctrl+z", "\x04": "ctrl+d", "\x1c": "ctrl+\\"}
LEAVING: Final = frozenset(_REFUSED.values())
"""Keys that end other programs and do nothing here but say how to leave."""

_CONSOLE_F: Final = r"\[\[[A-E]"
_CSI: Final = r"\[[ -?]*"
_SS3: Final = r"O[0-9;]*"
_STRING: Final = r"[PX^_\]]"
_SEQUENCE: Final = re.compile(
    rf"\x1b(?:{_CONSOLE_F}|{_CSI}[@-Z\\-~]|{_SS3}[@-~]|{_STRING}.*?(?:\x1b\\|\x07))", re.DOTALL
)
_STARTED: Final = re.compile(rf"\x1b(?:\[\[|{_CSI}|{_SS3}|{_STRING}.*)?\Z", re.DOTALL)
_PASTE_END: Final = "\x1b[201~"
_LONGEST: Final = 256
"""Characters after which an unfinished sequence is given up."""
_LONGEST_PASTE: Final = 4096


@dataclass(frozen=True, slots=True)
class Key:
    """A key of the desk: ``0``-``9 . enter + - * / backspace esc``, a typed character, or one of ``LEAVING``."""

    name: str


@dataclass(frozen=True, slots=True)
class Paste:
    """Text that was pasted, without control characters; never a key press."""

    text: str


@dataclass(frozen=True, slots=True)
class Report:
    """An answer of the terminal to a question, as it came."""

    text: str


Signal = Key | Paste | Report


class Decoder:
    """A stream of bytes, cut anywhere, to keys. Total: no byte string raises, none grows the buffer for ever."""

    def __init__(self) -> None:
        self._decode = getincrementaldecoder("utf-8")("replace").decode
        self._text = ""
        self._pasting = False

    @property
    def waiting(self) -> bool:
        """Whether a started sequence waits for its rest; after a short silence call ``settle``."""
        return self._text.startswith(ESC) and not self._pasting

    def feed(self, data: bytes) -> tuple[Signal, ...]:
        """The keys that are complete with these bytes."""
        self._text += self._decode(data)
        return tuple(self._take())

    def settle(self) -> tuple[Signal, ...]:
        """What a started sequence means if nothing follows: the Esc key alone, else nothing."""
        alone, self._text = self._text == ESC, ""
        return (Key("esc"),) if alone else ()

    def _take(self) -> Iterator[Signal]:
        while self._text:
            if self._pasting:
                signal = self._pasted()
                if signal is None:
                    return
                yield signal
            elif not self._text.startswith(ESC):
                character, self._text = self._text[0], self._text[1:]
                yield from _typed(character)
            elif match := _SEQUENCE.match(self._text):
                self._text = self._text[match.end() :]
                self._pasting = match[0] == "\x1b[200~"
                yield from _pressed(match[0])
            elif _STARTED.match(self._text) and len(self._text) < _LONGEST:
                return
            else:
                yield from self._stray()

    def _stray(self) -> Iterator[Signal]:
        """Esc before something else (a key with Alt) does nothing; a hold in it is still a hold."""
        rest = self._text[1:]
        if rest.startswith(ESC):
            self._text = rest
            yield Key("esc")
            return
        self._text = rest[1:]
        if rest[0] == "*":
            yield Key("*")

    def _pasted(self) -> Paste | None:
        text, end, rest = self._text.partition(_PASTE_END)
        if not end and len(text) < _LONGEST_PASTE:
            return None
        self._text, self._pasting = rest, False
        return Paste("".join(c for c in text[:_LONGEST_PASTE] if c.isprintable()))


def _typed(character: str) -> Iterator[Signal]:
    name = _CONTROL.get(character) or _REFUSED.get(character)
    if name is None and character.isprintable() and character != "\ufffd":
        name = character
    if name is not None:
        yield Key(name)


def _pressed(sequence: str) -> Iterator[Signal]:
    kind, body, final = sequence[1], sequence[2:-1], sequence[-1]
    first, _, rest = body.partition(";")
    name: str | None = None
    if kind == "O":
        name = _APPLICATION.get(final)
    elif kind == "[" and final == "~":
        name = _modified(rest) if first == "27" else _BY_TILDE.get(first)
    elif kind == "[" and final == "u":
        name = _numbered(first, rest)
    elif kind == "[" and final == "y":
        yield Report(sequence)
    elif kind == "[" and first in ("", "1"):
        name = _BY_LETTER.get(final)
    if name is not None and not _released(kind, final, rest):
        yield Key(name)


def _released(kind: str, final: str, rest: str) -> bool:
    """Whether a terminal that reports it says that the key was let go."""
    return kind == "[" and final != "y" and rest.partition(";")[0].endswith(":3")


def _numbered(first: str, rest: str) -> str | None:
    """The key of a code point with modifiers (CSI u); any number is taken calmly."""
    number = _number(first.partition(":")[0])
    modifiers, _, text = rest.partition(";")
    bits = _number(modifiers.partition(":")[0]) or 1
    if (name := _BY_NUMBER.get(number)) is not None:
        return name
    shown = _number(text.partition(":")[0]) if text else number
    if not 0 < shown <= 0x10FFFF:
        return None
    character = chr(shown)
    if (bits - 1) & 0b100:
        return _REFUSED.get(chr(shown & 0x1F)) if character.isascii() and character.isalpha() else None
    return character if character.isprintable() else None


def _modified(rest: str) -> str | None:
    """The key of ``CSI 27 ; modifiers ; code point ~``."""
    modifiers, _, code = rest.partition(";")
    return _numbered(code, modifiers)


def _number(text: str) -> int:
    """A decimal number of at most eight digits, else 0."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 8 else 0


_NAMED: Final = {
    "enter": "enter", "escape": "esc", "esc": "esc", "backspace": "backspace",
    "home": "7", "up": "8", "pageup": "9", "left": "4", "right": "6", "end": "1", "down": "2", "pagedown": "3",
    "insert": "0", "delete": ".",
}  # fmt: skip


def name_of(key: str, character: str | None) -> str | None:
    """The key of the desk for an event of the framework, whichever driver it came from; None if it is none."""
    name = _NAMED.get(key) or (key if key in LEAVING else None)
    if name is None and character is not None and len(character) == 1 and character.isprintable():
        return character
    return name
