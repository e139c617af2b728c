"""The record of a run: sealed lines, read strictly, and the fingerprint that paper keeps of them.

The reader takes a chunk of lines at a time and asks one question of all of them; only where the answer is no does
it look at single lines, to name the first that is wrong and why.

What the chain cannot show: a tail that was taken away whole looks like a run that ended there, and a file that was
written anew from the start is whole in itself. Both show against the fingerprint on paper.
"""

from base64 import b32encode
from collections.abc import Sequence
from itertools import pairwise

import msgspec

from runner.core.canonical import is_canonical
from runner.core.fault import Fault, first_fault, tail_fault
from runner.core.line import Head, Line, decode_lines, digests, seal
from runner.core.stamp import MS, SECOND, all_times, at_ms, elapsed

__all__ = ["Fault", "Head", "Line", "Record", "clock_faults", "fingerprint", "read", "seal"]

_CHUNK = 1 << 16
_STEADY_MS = 1_000
_GROUPS = 6
_GROUP = 4
_MISREAD = str.maketrans("018", "OIB", " -\t\r\n")


class Record(msgspec.Struct, frozen=True):
    """What a file holds: its good lines, the first fault after them, and the torn end, if any.

    `printed` is the number (from 1) of the line whose fingerprint was asked for: a record that went on after the
    paper was printed holds it further up.
    """

    lines: tuple[Line, ...]
    fault: Fault | None
    torn: bytes
    printed: int | None = None

    @property
    def head(self) -> Head:
        """Where the next line goes."""
        return Head(len(self.lines), self.lines[-1].hash) if self.lines else Head()


def read(data: bytes, *, fingerprint: str | None = None) -> Record:
    """The record that the bytes of a file hold, with the first thing that is wrong with it.

    A `fingerprint` from paper, typed in any case and grouping, finds a shortened or rewritten file as well.
    """
    lines: list[Line] = []
    fault: Fault | None = None
    end = data.rfind(b"\n") + 1
    start = 0
    while start < end and fault is None:
        stop = data.find(b"\n", min(start + _CHUNK, end - 1)) + 1
        head = Head(len(lines), lines[-1].hash) if lines else Head()
        chunk = data[start:stop]
        sound = _sound_lines(chunk, head)
        if sound is None:
            raws = data[start:end].split(b"\n")[:-1]
            sound, fault = first_fault(raws, head, [line.hash for line in lines])
            stop = end
        lines += sound
        start = stop
    torn = b""
    if fault is None:
        fault = tail_fault(data[end:], Head(len(lines), ""))
        torn = data[end:] if fault is not None and fault.kind == "torn: crash or cut" else b""
    else:
        del lines[fault.line - 1 :]  # a line that was sealed anew shows at the next one only
    printed = None
    if fingerprint is not None:
        printed, unlike = _compared(lines, fingerprint)
        if fault is None or torn:  # a line that is wrong says more
            fault = unlike or fault
    return Record(tuple(lines), fault, torn, printed)


def fingerprint(hash_hex: str) -> str:
    """The short form of a line's hash for paper: six groups of four letters and digits, like ABCD-EF23-….

    It is the base32 (RFC 4648) of the first 120 bits. That alphabet has neither 0, 1 nor 8, so nothing in it is
    misread for O, I or B. 120 bits, since an owner who prepares two records with one fingerprint before printing
    has to try about 2^60 of them; to match a paper that exists takes 2^120.
    """
    letters = b32encode(bytes.fromhex(hash_hex)).decode("ascii")
    return "-".join(letters[at : at + _GROUP] for at in range(0, _GROUPS * _GROUP, _GROUP))


def clock_faults(lines: Sequence[Line]) -> tuple[Fault, ...]:
    """Where the clock was set, or its two counts contradict each other: warnings, as an honest record may have them."""
    found = []
    # How far the time of day is ahead of the running count: while that hardly moves, no span needs a closer look.
    ahead = [at_ms(line.at) - line.mono // MS for line in lines]
    for number, (earlier, later) in enumerate(pairwise(lines), start=2):
        moved = ahead[number - 1] - ahead[number - 2]
        steady = -_STEADY_MS < moved < _STEADY_MS and earlier.boot == later.boot and earlier.mono <= later.mono
        if not steady and elapsed(earlier.stamp, later.stamp).doubtful:
            found.append(_clock_fault(number, earlier, later))
    return tuple(found)


def _clock_fault(number: int, earlier: Line, later: Line) -> Fault:
    wall = (at_ms(later.at) - at_ms(earlier.at)) // 1_000
    said = f"the time of day moved by {wall} s since line {number - 1}"
    if earlier.boot == later.boot:
        said += f", the running count by {(later.mono - earlier.mono) // SECOND} s"
    back = "the clock was set back" if wall < 0 else "the clock was set, or is wrong"
    text = f"{back}: {said}; spans over this line are asked, not assumed: set the clock of the machine"
    return Fault(number, "clock", text)


def _sound_lines(chunk: bytes, head: Head) -> list[Line] | None:
    """The lines of a chunk if every one of them is right, else None."""
    try:
        lines = decode_lines(chunk)
    except (ValueError, RecursionError):
        return None
    hashes = digests(chunk)
    count = len(lines)
    whole = (
        [line.hash for line in lines] == hashes
        and [line.prev for line in lines] == [head.hash, *hashes[:-1]]
        and [line.n for line in lines] == list(range(head.n, head.n + count))
        and all_times([line.at for line in lines])
        and is_canonical(chunk)
    )
    return lines if whole else None


def _compared(lines: Sequence[Line], typed: str) -> tuple[int | None, Fault | None]:
    """The number of the line with this fingerprint, or what is wrong."""
    wanted = typed.upper().translate(_MISREAD)
    size = _GROUPS * _GROUP
    if len(wanted) != size or not wanted.isalnum():
        text = f"the fingerprint has {len(wanted)} letters and digits; expected {size}, as printed on the sheet"
        return None, Fault(len(lines), "not a fingerprint", text)
    for number in range(len(lines), 0, -1):
        if fingerprint(lines[number - 1].hash).replace("-", "") == wanted:
            return number, None
    text = (
        "no line has the fingerprint on paper: the file was shortened after it was printed, or written anew,"
        " or the paper belongs to another record; look for another copy"
    )
    return None, Fault(len(lines), "shortened or rewritten", text)
