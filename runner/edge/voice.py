"""Speech, where the machine has a speech program: an addition, never the only signal."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from contextlib import suppress
from functools import partial

_PROGRAMS = (("spd-say", "--"), ("espeak-ng", "--"), ("say", "--"))


def voice() -> Callable[[str], None] | None:
    """What says a sentence aloud without waiting for it; None where no program does."""
    for name, end in _PROGRAMS:
        program = shutil.which(name)
        if program is not None:
            return partial(_say, (program, end))
    return None


def _say(words: tuple[str, str], text: str) -> None:
    with suppress(OSError):
        subprocess.Popen([*words, text], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
