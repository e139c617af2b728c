"""The file of a running record: one line appended and synced an act, one writer at a time.

An append is one write to a descriptor opened for appending, then a sync; whatever goes wrong in between, the file is
cut back to the lines that were acknowledged, so that a failed act leaves no trace and can be repeated.
"""

import errno
import os
import re
import stat
from contextlib import ExitStack
from pathlib import Path
from typing import Self

import msgspec

from runner.core.record import Record, read
from runner.edge.disk import NotRecorded, content, in_words, sync_folder
from runner.edge.lock import Held, forget, take

__all__ = ["Held", "Journal", "NotRecorded", "Torn"]

_FLAGS = os.O_RDWR | os.O_APPEND | os.O_NOFOLLOW | os.O_NONBLOCK  # a pipe must not block, nor a link lead away
_RUN_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")


class Torn(msgspec.Struct, frozen=True):
    """A torn end that was found on opening, and where it is kept now."""

    size: int
    kept: Path


class Journal:
    """The one writer of a record; open until `close`, or to the end of a `with`."""

    def __init__(self, path: Path, descriptor: int, record: Record, torn: Torn | None) -> None:
        """Use `create` or `open`."""
        self.path = path
        self.record = record
        """What the file held when it was opened."""
        self.torn = torn
        self._descriptor = descriptor
        self._ragged = False  # a failed append could not be cut back
        status = os.fstat(descriptor)
        self._length = status.st_size
        self._file = (status.st_dev, status.st_ino)

    @classmethod
    def create(cls, folder: Path, run_id: str, *, by: str, since: str) -> "Journal | Held":
        """A new, empty record; NotRecorded if it cannot be made. `by` and `since` tell others who holds it."""
        path = folder / f"{run_id}.jsonl"
        if _RUN_ID.fullmatch(run_id) is None:
            raise NotRecorded(
                f"{run_id!a} is no name for a record",
                "use letters, digits, dots, hyphens and underscores, a letter or digit first",
            )
        with in_words(path), ExitStack() as undo:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            descriptor = os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, 0o600)
            undo.callback(os.close, descriptor)
            if held := take(path, descriptor, by, since):
                return held
            undo.callback(forget, path)
            undo.callback(path.unlink, missing_ok=True)
            sync_folder(folder)
            journal = cls(path, descriptor, read(b""), None)
            undo.pop_all()
            return journal

    @classmethod
    def open(cls, path: Path, *, by: str, since: str) -> "Journal | Held":
        """The record at that path, ready for the next line.

        A torn end is set aside into a file of its own. NotRecorded if the record cannot be continued; a file that
        is anything but a good record, torn or not, stays as it is.
        """
        with in_words(path), ExitStack() as undo:
            descriptor = os.open(path, _FLAGS)
            undo.callback(os.close, descriptor)
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise NotRecorded(f"{path} is not a plain file", "name the .jsonl file of a run")
            if held := take(path, descriptor, by, since):
                return held
            undo.callback(forget, path)
            record = read(content(descriptor))
            if record.fault is not None and not (record.torn and record.lines):
                raise NotRecorded(
                    f"{path}:{record.fault.line}: {record.fault.text}",
                    "keep the file as it is and begin a new run, which takes over the state of the car",
                )
            torn = _set_aside(path, descriptor, record.torn) if record.torn else None
            journal = cls(path, descriptor, record, torn)
            undo.pop_all()
            return journal

    def append(self, line: bytes) -> None:
        """Returns once the sealed line is on the disk; NotRecorded, and the file as it was, if it is not."""
        if line.count(b"\n") != 1 or not line.endswith(b"\n"):
            raise ValueError("expected one line that ends in its only newline")
        with in_words(self.path):
            self._expect_own_file()
            before = self._length
            try:
                written = os.write(self._descriptor, line)
                if written != len(line):
                    raise OSError(errno.ENOSPC, f"{written} of {len(line)} bytes were written")
                os.fsync(self._descriptor)
                self._length = before + len(line)
                self._ragged = False
            except BaseException:  # an interrupt too: the caller will not take the act as recorded
                self._cut_back(before)
                raise

    def close(self) -> None:
        """Let the next writer in."""
        if self._descriptor < 0:
            return
        forget(self.path)
        os.close(self._descriptor)
        self._descriptor = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _expect_own_file(self) -> None:
        status = os.stat(self.path, follow_symlinks=False)
        if (status.st_dev, status.st_ino) != self._file:
            raise NotRecorded(
                f"{self.path} is no longer the file that was opened",
                "put the record back in its place, then resume",
            )
        if status.st_size == self._length:
            return
        if not self._ragged:
            raise NotRecorded(
                f"{self.path} holds {status.st_size} bytes, expected {self._length}: another program wrote to it",
                "close that program, verify the record, then resume",
            )
        self._cut_back(self._length)
        if self._ragged:
            raise NotRecorded(
                f"{self.path} ends in part of a line that cannot be cut off: the disk takes no changes",
                "mend the disk, or copy the record to another one and resume it there",
            )

    def _cut_back(self, length: int) -> None:
        self._length = length
        try:
            os.ftruncate(self._descriptor, length)
            os.fsync(self._descriptor)
            self._ragged = False
        except OSError:
            self._ragged = True  # tried again before the next append, and on the next opening


def _set_aside(path: Path, descriptor: int, torn: bytes) -> Torn:
    """Keep the torn end in a file of its own, synced, before it is cut off."""
    number = 1
    while True:
        kept = path.with_suffix(f".torn-{number}")
        try:
            copy = os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600)
            break
        except FileExistsError:
            number += 1
    with open(copy, "wb") as file:
        file.write(torn)
        file.flush()
        os.fsync(copy)
    sync_folder(path.parent)
    os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(torn))
    os.fsync(descriptor)
    return Torn(size=len(torn), kept=kept)
