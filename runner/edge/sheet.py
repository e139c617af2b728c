"""The plain-text status sheet beside the record: paper for when all else fails."""

import os
from contextlib import suppress
from pathlib import Path


def write_sheet(path: Path, text: str) -> str | None:
    """None once the sheet reads so, or why it could not be written; a reader never sees half a sheet.

    The sheet is made from the record and can be made again, so it is not synced, and a run goes on without it.
    """
    new = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        try:
            # Not through a link that somebody left there, and for the owner's eyes.
            file = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
            with open(file, "w", encoding="utf-8", errors="backslashreplace", newline="\n") as sheet:
                sheet.write(text)
            os.replace(new, path)
        except BaseException:
            with suppress(OSError):
                os.unlink(new)
            raise
    except OSError as error:
        return (
            f"the status sheet {path} could not be written: {error.strerror}; the record itself is not affected:"
            " make room or set the folder's permissions"
        )
    return None
