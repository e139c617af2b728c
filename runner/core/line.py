"""One line of a record: an act, all the events that it caused, and the seal that ties it to the line before.

The hash is the SHA-256 of the canonical line without its hash. Both stand in the line as lower-case hex; since the
line itself is canonical, the hash can be cut out of the stored bytes and nothing needs to be written anew to check it.
"""

from collections.abc import Sequence
from hashlib import sha256
from typing import Annotated, Literal

import msgspec

from runner.core.canonical import SAFE, canonical
from runner.core.stamp import Stamp

FORMAT = 1
"""The version of the format that this program writes and reads."""
ZEROS = "0" * 64
"""What stands for the hash of the line before the first."""

_HASH_KEY = b',"hash":"'
_HASH_REST = 64 + len(b'"')

_Count = Annotated[int, msgspec.Meta(ge=0, le=SAFE)]
_Time = Annotated[str, msgspec.Meta(min_length=24, max_length=24)]


class Line(msgspec.Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """What one line says; act and events stay canonical JSON until `msgspec.json.decode(line.act, type=...)`."""

    act: msgspec.Raw
    at: _Time
    boot: str
    by: str
    events: msgspec.Raw
    hash: str
    mono: _Count
    n: _Count
    prev: str
    v: Literal[1]

    @property
    def stamp(self) -> Stamp:
        """When the line was made."""
        return Stamp(self.at, self.mono, self.boot)


class Head(msgspec.Struct, frozen=True):
    """Where the next line goes: its number, and the hash of the line before it."""

    n: int = 0
    hash: str = ZEROS

    def after(self, line: bytes) -> "Head":
        """The head once this sealed line is in the record."""
        cut = line.rindex(_HASH_KEY) + len(_HASH_KEY)
        return Head(self.n + 1, line[cut : cut + 64].decode("ascii"))


def seal(head: Head, stamp: Stamp, by: str, act: object, events: Sequence[object]) -> bytes:
    """The sealed line, newline included, that goes at this head; TypeError or ValueError names what cannot be held."""
    body = {
        "act": msgspec.to_builtins(act, order="deterministic"),
        "at": stamp.at,
        "boot": stamp.boot,
        "by": by,
        "events": msgspec.to_builtins(events, order="deterministic"),
        "mono": stamp.mono,
        "n": head.n,
        "prev": head.hash,
        "v": FORMAT,
    }
    unsealed = canonical(body)
    # "mono" follows "hash" in canonical order, and no text can hold it unescaped: the last one is the line's own.
    cut = unsealed.rindex(b',"mono":')
    return b"".join(
        (unsealed[:cut], _HASH_KEY, sha256(unsealed).hexdigest().encode("ascii"), b'"', unsealed[cut:], b"\n")
    )


def digests(lines: bytes) -> list[str]:
    """The hash that each stored, newline-ended line ought to carry."""
    found = []
    for line in lines.split(b"\n")[:-1]:
        before, _, after = line.rpartition(_HASH_KEY)
        found.append(sha256(before + after[_HASH_REST:]).hexdigest())
    return found


decode_line = msgspec.json.Decoder(Line).decode
"""The line that bytes say, unchecked; ValueError or RecursionError if they say none."""
decode_lines = msgspec.json.Decoder(Line).decode_lines
"""The same for many lines."""
