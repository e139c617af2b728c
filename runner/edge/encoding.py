"""From the bytes of a file to its text, or to one clear word why they are not text."""

import codecs
import re

from runner.core.finding import LINE_END, Finding, Place, listed

LARGEST = 2_000_000
"""Bytes of the largest file that is read."""
LONGEST = 10_000
"""Characters of the longest line that is read; the parser is slow on longer words."""

_UTF8 = "save the file as UTF-8"
_MARKS = (
    (codecs.BOM_UTF32_LE, "UTF-32"),
    (codecs.BOM_UTF32_BE, "UTF-32"),
    (codecs.BOM_UTF16_LE, "UTF-16"),
    (codecs.BOM_UTF16_BE, "UTF-16"),
)
# YAML 1.2 allows U+0085, U+2028, U+2029 and U+FEFF inside text, but editors and parsers count lines and
# columns differently there, so no place behind one could be trusted.
_FOREIGN = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_CONTROL_BYTES = bytes(byte for byte in range(32) if byte not in b"\t\n\r\x1b")


def decode(data: bytes, name: str) -> str | tuple[Finding, ...]:
    """The text of a UTF-8 file without its byte order mark, or what stands against reading it."""
    start = Place(name, 1, 1)
    if len(data) > LARGEST:
        text = f"the file has {len(data):,} bytes; at most {LARGEST:,} are read"
        return (Finding(place=start, check="size", text=text, help="split it, or check that it is the right file"),)
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return (_encoded(start, encoding, 0),)
    head = data[:4096]
    if b"\0" in head and (wide := _wide(head)):
        return (_encoded(start, wide, head.index(b"\0")),)
    if b"\0" in data or len(head) - len(head.translate(None, _CONTROL_BYTES)) > max(8, len(head) // 10):
        at = data.find(b"\0") if b"\0" in data else 0
        text = f"this is a binary file, not text (seen at byte {at:,})"
        return (Finding(place=start, check="encoding", text=text, help="give the YAML file of a procedure"),)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return (_undecoded(data, error.start + _mark(data), name),)
    return listed([*_long(text, name), *_foreign(text, name)]) or text


def _mark(data: bytes) -> int:
    """Bytes of the mark, which the decoder does not count in the places of its errors."""
    return len(codecs.BOM_UTF8) if data.startswith(codecs.BOM_UTF8) else 0


def _wide(head: bytes) -> str:
    even, odd = head[::2].count(0), head[1::2].count(0)
    regular = max(even, odd) * 4 >= len(head) and min(even, odd) * 8 <= len(head)
    return "UTF-16" if regular else ""


def _encoded(place: Place, encoding: str, byte: int) -> Finding:
    return Finding(
        place=place,
        check="encoding",
        text=f"the file is in {encoding} (seen at byte {byte:,}), not UTF-8",
        help=_UTF8,
    )


def _undecoded(data: bytes, at: int, name: str) -> Finding:
    before = LINE_END.split(data[:at].decode("utf-8-sig", errors="replace"))
    meant = data[at : at + 1].decode("cp1252", errors="replace")
    text = f"byte 0x{data[at]:02X} at byte {at:,} is not UTF-8; in Latin-1 or Windows-1252 it would be '{meant}'"
    return Finding(place=Place(name, len(before), len(before[-1]) + 1), check="encoding", text=text, help=_UTF8)


def _long(text: str, name: str) -> list[Finding]:
    return [
        Finding(
            place=Place(name, number, 1),
            check="size",
            text=f"the line has {len(line):,} characters; at most {LONGEST:,} are read",
            help="break it, or check that it is the right file",
        )
        for number, line in enumerate(LINE_END.split(text), 1)
        if len(line) > LONGEST
    ]


def _foreign(text: str, name: str) -> list[Finding]:
    found: list[Finding] = []
    for number, line in enumerate(LINE_END.split(text) if _FOREIGN.search(text) else (), 1):
        for match in _FOREIGN.finditer(line):
            words = f"the invisible character U+{ord(match[0]):04X} cannot stand in a procedure"
            place = Place(name, number, match.start() + 1)
            found.append(Finding(place=place, check="character", text=words, help="delete it"))
    return found
