"""The only now: the clock of the machine, and clocks that are set by hand for answers, demonstrations and tests."""

import time
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from runner.core.canonical import SAFE
from runner.core.stamp import MS, SECOND, Stamp, at_ms, at_text

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
# The count that runs on while the machine sleeps; systems without this name count so in their monotonic clock.
_RUNNING = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)

DEMO_START = Stamp(at="2026-01-01T08:00:00.000Z", mono=0, boot="demo-boot")
"""Where hand-set clocks begin unless told otherwise."""


class Clock(Protocol):
    """Whatever can say when now is."""

    def now(self) -> Stamp:
        """The present moment."""
        ...


class SystemClock:
    """The clock of this machine."""

    def __init__(self) -> None:
        try:
            self._boot = _BOOT_ID.read_text("ascii").strip()
        except OSError:
            # A start of the machine that cannot be told from the next: only this process vouches for its count.
            self._boot = f"process-{uuid.uuid4()}"

    def now(self) -> Stamp:
        """The present moment.

        A count of nanoseconds outgrows the numbers that JSON keeps exactly after 104 days; it then begins anew under
        a boot id of its own.
        """
        wall_ms = time.time_ns() // MS
        turn, mono = divmod(time.clock_gettime_ns(_RUNNING), SAFE + 1)
        return Stamp(at=at_text(wall_ms), mono=mono, boot=f"{self._boot}+{turn}" if turn else self._boot)


@dataclass(frozen=True, slots=True)
class FixedClock:
    """A clock that stands still."""

    stamp: Stamp = DEMO_START

    def now(self) -> Stamp:
        """The one moment it knows."""
        return self.stamp


class SteppedClock:
    """A clock that moves by the same step each time it is asked, and by more where it is told to."""

    def __init__(self, start: Stamp = DEMO_START, step_ns: int = SECOND) -> None:
        self._next = start
        self._step_ns = step_ns

    def now(self) -> Stamp:
        """The present moment, one step after the one before."""
        stamp = self._next
        self.advance(self._step_ns)
        return stamp

    def advance(self, span_ns: int) -> None:
        """Let so much time pass."""
        before = self._next
        ms = (before.mono + span_ns) // MS - before.mono // MS
        self._next = Stamp(at=at_text(at_ms(before.at) + ms), mono=before.mono + span_ns, boot=before.boot)


class ShiftedClock:
    """A clock that runs on like another, from a moment of its own."""

    def __init__(self, clock: Clock, start: Stamp) -> None:
        self._clock, self._start, self._first = clock, start, clock.now()

    def now(self) -> Stamp:
        """The moment that lies as far after its start as the other clock has run."""
        mono = self._start.mono + self._clock.now().mono - self._first.mono
        ms = mono // MS - self._start.mono // MS
        return Stamp(at=at_text(at_ms(self._start.at) + ms), mono=mono, boot=self._start.boot)
