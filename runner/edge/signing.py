"""The signing key of this user, on the disk for the owner's eyes alone, and signatures made and verified with it."""

from __future__ import annotations

import os
import stat
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.line import Line
from runner.core.signature import Signature, binding, key_name, message, reference, understood
from runner.edge.disk import NotRecorded, in_words, sync_folder
from runner.edge.opening import Trouble

_FILE = "signing-key.pem"


def signed(folder: Path, head: str, at: str, initials: str, meaning: str) -> str:
    """The reference that a record holds for a signature at that head; NotRecorded if the key cannot be used.

    Ed25519 (RFC 8032); the key is made in `folder` the first time.
    """
    key = _own_key(folder)
    public = key.public_key().public_bytes_raw()
    return reference(Signature(public, key.sign(message(head, at, initials, meaning))))


def signatures(lines: Sequence[Line], told: Sequence[Entry]) -> tuple[tuple[Trouble, ...], tuple[Trouble, ...]]:
    """What is wrong with the signatures of a record, and all of them as they are told: who, meaning, time, key."""
    wrong: list[Trouble] = []
    said: list[Trouble] = []
    for line, one in zip(lines, told, strict=False):
        for event in one.events:
            if not isinstance(event, ev.Signed):
                continue
            found = understood(event.reference)
            how = f"key {key_name(found.key)}" if found else "without a key: anybody can have written it"
            text = f"{event.initials}, {event.meaning}, {line.at}, {how}"
            said.append(Trouble(line=line.n + 1, kind="signed", text=text))
            if event.reference and not _holds(found, message(line.prev, line.at, event.initials, event.meaning)):
                text = f"that of {event.initials} ({event.meaning}) does not fit: it was edited, or moved to this place"
                wrong.append(Trouble(line=line.n + 1, kind="signature", text=text))
    return tuple(wrong), tuple(said)


def _holds(signature: Signature | None, over: bytes) -> bool:
    if signature is None or not binding(signature.key):
        return False
    try:
        Ed25519PublicKey.from_public_bytes(signature.key).verify(signature.value, over)
    except (InvalidSignature, ValueError):
        return False
    return True


def _own_key(folder: Path) -> Ed25519PrivateKey:
    path = folder / _FILE
    with in_words(path):
        try:
            data = _read(path)
        except FileNotFoundError:
            _make(path)
            data = _read(path)
    try:
        key = serialization.load_pem_private_key(data, password=None)
    except (ValueError, TypeError) as error:
        raise NotRecorded(f"{path}: this is no signing key", "put the key back from your copy") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise NotRecorded(f"{path}: this is no Ed25519 key", "put the key back from your copy")
    return key


def _read(path: Path) -> bytes:
    descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with open(descriptor, "rb") as file:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode) or status.st_uid != os.geteuid() or status.st_mode & 0o077:
            raise NotRecorded(f"{path}: others could read or change this key", f"make it yours alone: chmod 600 {path}")
        return file.read(10_000)


def _make(path: Path) -> None:
    """A new key under its name, whole from the first moment; where two programs make one, the first one counts."""
    data = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    new = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600)
        with open(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(descriptor)
        with suppress(FileExistsError):
            os.link(new, path)
        sync_folder(path.parent)
    finally:
        new.unlink(missing_ok=True)
