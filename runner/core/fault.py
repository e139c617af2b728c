"""What is wrong with a record, and at which line first.

A line that does not fit its own hash was changed. A line that fits its own hash but not the line before it is
genuine and in the wrong place, or the line before it was replaced; which of these follows from the numbers, and
from what stands elsewhere in the file.
"""

from collections.abc import Collection, Sequence
from typing import Literal

import msgspec

from runner.core.canonical import is_canonical
from runner.core.line import FORMAT, ZEROS, Head, Line, decode_line, digests
from runner.core.stamp import all_times

Kind = Literal[
    "changed", "removed", "added", "reordered", "doubled", "torn: crash or cut",
    "newer format", "not UTF-8", "binary", "shortened or rewritten", "not a fingerprint", "clock",
]  # fmt: skip

_MEND = "compare with another copy, or with the fingerprint on paper; the lines before it are good"
_CLEARLY_BINARY = 4  # NUL bytes; a single changed byte makes one at most


class Fault(msgspec.Struct, frozen=True):
    """One thing wrong: the line (from 1) where it shows first, of what kind it is, and how to mend it."""

    line: int
    kind: Kind
    text: str


def first_fault(raws: Sequence[bytes], head: Head, seen: Collection[str]) -> tuple[list[Line], Fault | None]:
    """The good lines that stand from the head on, and the first fault after them.

    `raws` are all remaining lines without their newlines, `seen` the hashes of the lines before. A fault may lie
    in the line just before the head: when the next one still carries the hash of what stood there.
    """
    good: list[Line] = []
    known = set(seen)
    for index, raw in enumerate(raws):
        line = _line_or_fault(raw, head.n + 1)
        if isinstance(line, Fault):
            return good, line
        if line.n != head.n or line.prev != head.hash:
            return good, _misplaced(line, head, raws[index:], known)
        good.append(line)
        known.add(line.hash)
        head = Head(head.n + 1, line.hash)
    return good, None


def tail_fault(tail: bytes, head: Head) -> Fault | None:
    """What is wrong with the bytes after the last newline; None if there are none."""
    number = head.n + 1
    if head.n == 0 and not tail:
        return Fault(1, "torn: crash or cut", "the record holds no line; nothing was recorded: begin a new run")
    if not tail:
        return None
    if head.n == 0 and tail[:8] != b'{"act":{'[: len(tail)]:
        return _unreadable(tail, number, "it does not begin like a record")
    if isinstance(_line_or_fault(tail[:-1], number), Line):
        text = f"the newline at the end of the last line was changed; expected byte 0A; {_MEND}"
        return Fault(number, "changed", text)
    text = (
        f"the last line ends after {len(tail)} bytes without its newline: a crash while writing, or a cut;"
        " the lines before it are good, and what this line said was never shown as recorded:"
        " resume the run, which sets the torn end aside"
    )
    return Fault(number, "torn: crash or cut", text)


def _line_or_fault(raw: bytes, number: int) -> Line | Fault:
    if raw.startswith(b"\xef\xbb\xbf") or raw.endswith(b"\r"):
        return _unreadable(raw, number, "an editor saved it anew (byte order mark, or CR before the newline)")
    try:
        raw.decode("utf-8")
        line = decode_line(raw)
    except UnicodeDecodeError as error:
        return _unreadable(raw, number, f"byte {error.start + 1} is not UTF-8", kind="not UTF-8")
    except (ValueError, RecursionError) as error:
        # The message may quote the file: shown escaped, never as it stands.
        return _newer(raw, number) or _unreadable(raw, number, ascii(str(error))[1:-1])
    if [line.hash] != digests(raw + b"\n"):
        text = f"the line does not fit its own hash: it was changed after it was written; {_MEND}"
        return Fault(number, "changed", text)
    if not is_canonical(raw + b"\n"):
        text = f"the line is not written as canonical JSON (RFC 8785); {_MEND}"
        return Fault(number, "changed", text)
    if not all_times([line.at]):
        text = f"the time of the line is none; expected the form 2026-01-01T08:00:00.000Z; {_MEND}"
        return Fault(number, "changed", text)
    return line


def _newer(raw: bytes, number: int) -> Fault | None:
    """The fault of a line that says itself that it is of a newer format, whatever else it holds."""
    try:
        said = msgspec.json.decode(raw)
    except (ValueError, RecursionError):
        return None
    if not isinstance(said, dict) or type(said.get("v")) is not int or said["v"] <= FORMAT:
        return None
    # Beyond the first line only a genuine seal tells a newer format from a changed digit.
    if number > 1 and [said.get("hash")] != digests(raw + b"\n"):
        return None
    text = f"the line says format {said['v']}; expected {FORMAT} at most: read it with a newer witnessmark"
    return Fault(number, "newer format", text)


def _unreadable(raw: bytes, number: int, what: str, kind: Kind = "changed") -> Fault:
    if raw.count(0) >= _CLEARLY_BINARY:
        text = f"the line holds NUL bytes, as a damaged disk, another kind of file or UTF-16 does; {_MEND}"
        return Fault(number, "binary", text)
    return Fault(number, kind, f"the line cannot be read: {what}; expected one line of canonical JSON; {_MEND}")


def _misplaced(line: Line, head: Head, rest: Sequence[bytes], seen: Collection[str]) -> Fault:
    """The fault of a genuine line that does not follow the line before it."""
    number = head.n + 1
    if line.hash in seen or rest.count(rest[0]) > 1:
        text = f"the line stands twice: it is line {line.n + 1}; remove the copy on a copy of the file; {_MEND}"
        return Fault(number, "doubled", text)
    expected_stands_later = any(_fits(raw, head) for raw in rest[1:])
    if expected_stands_later and line.n > head.n:
        text = f"line {line.n + 1} stands here; expected line {number}, which stands further down; {_MEND}"
        return Fault(number, "reordered", text)
    if not expected_stands_later and line.n == head.n - 1 and (line.prev in seen or line.prev == ZEROS):
        text = f"lines {head.n} and {number} both say that they are line {head.n}; one was added; {_MEND}"
        return Fault(head.n, "added", text)
    if expected_stands_later or line.n < head.n:
        text = f"a line stands here that does not belong to this record; expected line {number}; {_MEND}"
        return Fault(number, "added", text)
    if line.n > head.n:
        missing = f"line {number} is" if line.n == number else f"lines {number} to {line.n} are"
        return Fault(number, "removed", f"{missing} missing: line {line.n + 1} stands here; {_MEND}")
    if head.n == 0 or line.prev == head.hash:
        text = f"the line was replaced: it does not say that it follows line {head.n}; {_MEND}"
        return Fault(number, "changed", text)
    text = (
        f"the line was replaced and sealed anew: line {number} carries the hash of another line {head.n};"
        f" or line {number} comes from elsewhere; {_MEND}"
    )
    return Fault(head.n, "changed", text)


def _fits(raw: bytes, head: Head) -> bool:
    line = _line_or_fault(raw, head.n + 1)
    return isinstance(line, Line) and line.n == head.n and line.prev == head.hash
