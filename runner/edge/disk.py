"""What the disk can refuse, in words; and the few calls that make sure of what it took."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_WHY = {
    errno.ENOSPC: ("the disk is full", "make room"),
    errno.EDQUOT: ("the disk quota is used up", "make room"),
    errno.EFBIG: ("the file may not grow further", "raise the limit on file sizes, or make room"),
    errno.EROFS: ("the disk is mounted read-only", "mount it for writing"),
    errno.EIO: ("the disk reported an error", "copy the record to another disk"),
    errno.EACCES: (
        "permission is missing",
        "give yourself read and write permission on the file and its folder",
    ),
    errno.EPERM: (
        "permission is missing",
        "give yourself read and write permission on the file and its folder",
    ),
    errno.ENOENT: (
        "there is no such file",
        "check the name; if the folder was removed or unplugged, put it back",
    ),
    errno.ENOTDIR: ("a part of its path is not a folder", "check the name"),
    errno.EISDIR: ("it is a folder", "name the .jsonl file in it"),
    errno.ELOOP: ("it is a symbolic link", "name the file that it leads to"),
    errno.EEXIST: ("there is a record of that name already", "resume it, or choose another name"),
    errno.ENOLCK: ("its folder keeps no locks", "put the record on a local disk"),
    errno.EOPNOTSUPP: ("its folder keeps no locks", "put the record on a local disk"),
}


class NotRecorded(Exception):
    """The world did not let a record be written: nothing of the act is in it, and the act can be repeated."""

    def __init__(self, why: str, mend: str) -> None:
        """Both in lower case: what is wrong and where, and what to do about it."""
        super().__init__(f"not recorded: {why}: {mend}")
        self.why = why
        self.mend = mend


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """What the system refuses within is raised as NotRecorded, with what mends it."""
    try:
        yield
    except OSError as error:
        why, mend = _WHY.get(error.errno or 0, (error.strerror or "unknown trouble", "mend that"))
        raise NotRecorded(f"{path}: {why}", f"{mend}, then try again") from error


def content(descriptor: int) -> bytes:
    """All bytes of an open file, wherever its descriptor stands."""
    os.lseek(descriptor, 0, os.SEEK_SET)
    with open(descriptor, "rb", closefd=False) as file:
        return file.read()


def sync_folder(folder: Path) -> None:
    """Returns once the names in the folder are on the disk."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
