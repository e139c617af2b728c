"""A file that is replaced whole, under a lock that other programs of this project wait for."""

import fcntl
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from runner.edge.disk import NotRecorded, sync_folder


@contextmanager
def locked(real: Path) -> Iterator[int]:
    """The file, open and locked. Who waited for the lock may hold a file that was replaced: it is opened anew."""
    while True:
        descriptor = os.open(real, os.O_RDWR | os.O_NONBLOCK)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX)
            status = os.fstat(descriptor)
            if not stat.S_ISREG(status.st_mode):
                raise NotRecorded(f"{real} is not a plain file", "name the .yaml file of a car")
            if os.path.samestat(status, os.stat(real)):
                yield descriptor
                return
        finally:
            os.close(descriptor)


def replace(real: Path, data: bytes, status: os.stat_result) -> None:
    """All of the new bytes or all of the old, also after a power cut; mode and owner stay."""
    descriptor, name = tempfile.mkstemp(dir=real.parent, prefix=f".{real.name}.")
    try:
        with os.fdopen(descriptor, "wb") as file:
            os.fchmod(descriptor, stat.S_IMODE(status.st_mode))
            with suppress(OSError):  # only root may give a file away
                os.fchown(descriptor, status.st_uid, status.st_gid)
            file.write(data)
            file.flush()
            os.fsync(descriptor)
        Path(name).replace(real)
        sync_folder(real.parent)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
