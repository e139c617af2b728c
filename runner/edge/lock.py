"""One writer a record: a lock that dies with its process, and a note beside it that says who holds it."""

import fcntl
import os
from contextlib import suppress
from pathlib import Path

import msgspec


class Held(msgspec.Struct, frozen=True):
    """Who writes to the record already; what is not known is empty."""

    by: str = ""
    since: str = ""
    pid: int = 0
    host: str = ""


def take(path: Path, descriptor: int, by: str, since: str) -> Held | None:
    """None once the record is this process's to write, or who holds it; OSError where a folder keeps no locks."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return _told(_note(path))
    told = msgspec.json.encode(Held(by=by, since=since, pid=os.getpid(), host=os.uname().nodename))
    with suppress(OSError):  # a courtesy; the lock is what counts
        note = os.open(_note(path), os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
        with open(note, "wb") as file:
            file.write(told)
    return None


def forget(path: Path) -> None:
    """Take the note away, before the descriptor is closed and lets go of the lock."""
    with suppress(OSError):
        _note(path).unlink()


def _note(path: Path) -> Path:
    return path.with_suffix(".holder")


def _told(note: Path) -> Held:
    try:
        return msgspec.json.decode(note.read_bytes(), type=Held)
    except (OSError, ValueError):
        return Held()
