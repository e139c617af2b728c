"""What was worked out is kept between starts, under a name that depends on every byte it depends on.

The name is a hash over the files, the values of the car and the program itself, so that nothing stale is ever
found. The folder is the user's own; a file that is not, or that others may write, is not opened.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from runner.edge.schema import shipped

if TYPE_CHECKING:
    from runner.core.graph import Procedure

MOST_KEPT = 40
_SUFFIX = ".kept"
_READERS = ("ruamel", "jsonschema", "referencing", "msgspec")
"""The libraries on which it depends what a file means."""


def name_of(parts: Iterable[bytes]) -> str:
    """The name under which what depends on these parts, and on the program, is kept."""
    made = sha256()
    for part in (*parts, program()):
        made.update(len(part).to_bytes(8))
        made.update(part)
    return made.hexdigest()


def key_of(files: Mapping[str, bytes], main: str, car: Mapping[str, Mapping[str, str]]) -> str:
    """The name under which the proof of these files with these values is kept."""
    return name_of(
        (
            main.encode(),
            *(part for name in sorted(files) for part in (name.encode(), files[name])),
            *(f"{name}={sorted(car[name].items())}".encode() for name in sorted(car)),
        )
    )


@cache
def program() -> bytes:
    """The program, its schemas, and what it reads files with, as they lie on the disk."""
    package = Path(__file__).parents[1]
    paths = {*package.rglob("*.py"), *package.rglob("*.json"), *shipped("schemas").glob("*.json")}
    lines = [sys.version]
    for path in sorted(paths):
        status = path.stat()
        lines.append(f"{path} {status.st_size} {status.st_mtime_ns}")
    for folder in sys.path:
        with suppress(OSError):
            lines += sorted(n for n in os.listdir(folder) if n.startswith(_READERS) and n.endswith(".dist-info"))
    return "\n".join(lines).encode()


def bytes_kept(path: Path) -> bytes | None:
    """What is kept there; None if there is nothing, or nothing that can be trusted."""
    try:
        with open(path, "rb") as file:
            status = os.fstat(file.fileno())
            if status.st_uid != os.getuid() or status.st_mode & 0o022 or path.parent.stat().st_mode & 0o022:
                return None
            return file.read()
    except OSError:
        return None


def keep_bytes(path: Path, data: bytes, most: int) -> None:
    """Keep it, and of its kind the ``most`` youngest. What cannot be kept is worked out again next time."""
    with suppress(OSError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = path.with_suffix(f".part-{os.getpid()}")
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
        part.replace(path)
        old = sorted(path.parent.glob(f"*{path.suffix}"), key=lambda p: p.stat().st_mtime_ns)
        for one in old[:-most]:
            one.unlink()


def kept(folder: Path, key: str) -> Procedure | None:
    """The procedure that was proven under this name; None if there is none that can be trusted."""
    from runner.core.graph import Procedure  # what else is kept does not need it

    data = bytes_kept(folder / f"{key}{_SUFFIX}")
    try:
        found = pickle.loads(data or b"")
    except (pickle.PickleError, EOFError, AttributeError, ImportError, IndexError, TypeError, ValueError):
        return None
    return found if isinstance(found, Procedure) else None


def keep(folder: Path, key: str, procedure: Procedure) -> None:
    """Keep a procedure that was proven."""
    with suppress(pickle.PickleError, TypeError, AttributeError):
        keep_bytes(folder / f"{key}{_SUFFIX}", pickle.dumps(procedure, protocol=5), MOST_KEPT)
