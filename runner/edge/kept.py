"""A procedure that was proven is kept between starts, under a name that depends on every byte it depends on.

The name is a hash over the files, the values of the car and the program itself, so that nothing stale is ever
found. The folder is the user's own; a file that is not, or that others may write, is not opened.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Iterable, Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from runner.core.graph import Procedure

MOST_KEPT = 40


def key_of(files: Mapping[str, bytes], main: str, car: Mapping[str, Mapping[str, str]]) -> str:
    """The name under which the proof of these files with these values is kept."""
    made = sha256()
    for part in _parts(files, main, car):
        made.update(len(part).to_bytes(8))
        made.update(part)
    return made.hexdigest()


def _parts(files: Mapping[str, bytes], main: str, car: Mapping[str, Mapping[str, str]]) -> Iterable[bytes]:
    yield main.encode()
    for name in sorted(files):
        yield name.encode()
        yield files[name]
    for name in sorted(car):
        yield f"{name}={sorted(car[name].items())}".encode()
    package = Path(__file__).parents[1]
    for path in sorted((*package.rglob("*.py"), *package.rglob("*.json"))):
        status = path.stat()
        yield f"{path.relative_to(package)} {status.st_size} {status.st_mtime_ns}".encode()


def kept(folder: Path, key: str) -> Procedure | None:
    """The procedure that was proven under this name; None if there is none that can be trusted."""
    path = folder / f"{key}.kept"
    try:
        with open(path, "rb") as file:
            status = os.fstat(file.fileno())
            if status.st_uid != os.getuid() or status.st_mode & 0o022 or folder.stat().st_mode & 0o022:
                return None
            found = pickle.load(file)
    except (OSError, pickle.PickleError, EOFError, AttributeError, ImportError, IndexError, TypeError, ValueError):
        return None
    return found if isinstance(found, Procedure) else None


def keep(folder: Path, key: str, procedure: Procedure) -> None:
    """Keep a procedure that was proven. What cannot be kept is proven again next time."""
    with suppress(OSError, pickle.PickleError, TypeError, AttributeError):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = folder / f"{key}.part-{os.getpid()}"
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            pickle.dump(procedure, file, protocol=5)
        part.replace(folder / f"{key}.kept")
        old = sorted(folder.glob("*.kept"), key=lambda p: p.stat().st_mtime_ns)
        for path in old[:-MOST_KEPT]:
            path.unlink()
