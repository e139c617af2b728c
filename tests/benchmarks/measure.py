"""Time and memory of this process, as the kernel tells them."""

from __future__ import annotations

import resource
from pathlib import Path


def busy_s() -> float:
    """Seconds of cores for this process and those that it waited for: others on the machine do not count."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in both)


def _told(key: str) -> float:
    lines = Path("/proc/self/status").read_text("utf-8").splitlines()
    return int(next(line for line in lines if line.startswith(key)).split()[1]) / 1024


def resident_mib() -> float:
    """What is held now."""
    return _told("VmRSS:")


def peak_mib() -> float:
    """The most that was held since the start, or since `forget_peak`."""
    return _told("VmHWM:")


def forget_peak() -> None:
    """Let the peak begin anew (proc(5), clear_refs)."""
    Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")
