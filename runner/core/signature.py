"""A signature at sign-off: what it covers, and how a record holds it.

It is over the hash of the line before (and so over the whole record up to there), the initials, the meaning and the
time of its own line: moved to another place or record, or edited, it fails. The key stands with it, so that a
stranger can verify it; that the key is the right person's shows against the name of the key on paper.
"""

from __future__ import annotations

from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass
from hashlib import sha256

from runner.core.canonical import canonical
from runner.core.record import fingerprint

_SCHEME = "ed25519"
_SIZES = (32, 64)  # RFC 8032, 5.1.5 and 5.1.6
_PRIME = 2**255 - 19
_EIGHTH = 0x5FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
_SMALL = frozenset((0, 1, _PRIME - 1, _EIGHTH, _PRIME - _EIGHTH))
"""The y of the points of order 1, 2, 4 and 8 (Bernstein et al. 2012, section 2: the cofactor of the curve is 8)."""


@dataclass(frozen=True, slots=True)
class Signature:
    """A public key and what it signed with, both as RFC 8032 writes them."""

    key: bytes
    value: bytes


def message(head: str, at: str, initials: str, meaning: str) -> bytes:
    """The bytes that are signed: canonical JSON of the hash of the line before, the time, who and the meaning."""
    return canonical({"at": at, "by": initials, "meaning": meaning, "prev": head, "signs": "witnessmark record"})


def reference(signature: Signature) -> str:
    """The signature as a record holds it."""
    key, value = (urlsafe_b64encode(part).decode().rstrip("=") for part in (signature.key, signature.value))
    return f"{_SCHEME}:{key}:{value}"


def understood(text: str) -> Signature | None:
    """The signature that such a text holds; None if it is none."""
    scheme, *parts = text.split(":")
    if scheme != _SCHEME or len(parts) != len(_SIZES):
        return None
    try:
        key, value = (urlsafe_b64decode(part + "=" * (-len(part) % 4)) for part in parts)
    except ValueError:
        return None
    found = Signature(key, value)
    return found if (len(key), len(value)) == _SIZES and reference(found) == text else None


def binding(key: bytes) -> bool:
    """Whether a public key ties its owner to what was signed: under one of small order one text fits many records."""
    return int.from_bytes(key, "little") % 2**255 % _PRIME not in _SMALL


def key_name(key: bytes) -> str:
    """The short name of a public key for paper, formed like the fingerprint of a record."""
    return fingerprint(sha256(key).hexdigest())


def told(text: str) -> str:
    """What to say of the signature that a record holds: the name of its key."""
    found = understood(text)
    return f"key {key_name(found.key)}" if found else text
