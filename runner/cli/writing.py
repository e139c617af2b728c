"""Files that a command writes for a person: never over a procedure, and what the system refused is said."""

from __future__ import annotations

import sys
from pathlib import Path

from runner.core.finding import clean


def is_source(path: Path) -> bool:
    """Whether a procedure was named where something is to be written, as happens when a file is forgotten."""
    return path.suffix in (".yaml", ".yml")


def written(path: Path, text: str, what: str, mend: str) -> bool:
    """Whether the text was written; ``what`` could not be, and ``mend``, are told to the person if it was not."""
    try:
        path.write_text(text, encoding="utf-8")
    except (OSError, ValueError) as error:
        print(clean(f"{path}: {what} could not be written: {refused(error)}: {mend}"), file=sys.stderr)
        return False
    return True


def refused(error: OSError | ValueError) -> str:
    """Why the system would not write, in its words."""
    return (getattr(error, "strerror", None) or str(error)).lower()
