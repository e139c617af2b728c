"""The pictures beside a record, held against the SHA-256 under which its lines name them."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import file_digest
from pathlib import Path

from runner.core import event as ev
from runner.core.entry import Entry
from runner.edge.opening import Trouble


def folder_of(record: Path) -> Path:
    """Where the pictures of a record are kept."""
    return record.with_suffix(".pictures")


def pictured(record: Path, told: Sequence[Entry]) -> tuple[list[Trouble], list[Trouble]]:
    """The lines whose picture is another one now, and those whose picture is not there."""
    files = {path.stem: path for path in sorted(folder_of(record).glob("*"))}
    changed: list[Trouble] = []
    missing: list[Trouble] = []
    for one in told:
        for event in one.events:
            if not isinstance(event, ev.Identified) or not event.digest:
                continue
            named, path = f"the picture '{event.name}'", files.get(event.digest)
            if path is None or (found := _digest(path)) is None:
                text = f"{named} is not beside the record, or cannot be read; a copy without personal data has none"
                missing.append(Trouble(line=one.line + 1, kind="picture missing", text=text))
            elif found != event.digest:
                text = f"{named} is not the one that was taken: {path.name} was changed; look for it in another copy"
                changed.append(Trouble(line=one.line + 1, kind="picture changed", text=text))
    return changed, missing


def _digest(path: Path) -> str | None:
    try:
        with open(path, "rb") as file:
            return file_digest(file, "sha256").hexdigest()
    except OSError:
        return None
