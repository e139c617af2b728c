"""When something happened, and how long ago that is, with the honest doubt about clocks.

A stamp holds the time of day, which anybody can set, and the count of a clock that runs on while the machine sleeps,
which nobody can set but which starts anew with the machine. Either may mislead; a span is therefore an enclosure:
a wait takes its lower end, something that perishes its upper end, and a doubtful span is asked of the technician.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import msgspec

MS = 1_000_000
"""Nanoseconds in the unit of the time of day."""
SECOND = 1_000 * MS
DAY = 86_400 * SECOND
UNBOUNDED_NS = 2**63 - 1
"""The upper end of a span that may have been of any length."""

# How far the two clocks may part before it counts as a clock that was set: time services slew by 500 ppm at most
# (RFC 5905 and adjtimex, recalled), and a step below two seconds changes no wait in a workshop (own choice).
_SLEW_PPM = 500
_STEP_NS = 2 * SECOND
# A machine that was off for longer than this rather has an empty clock battery (common practice, no source).
_LONGEST_OFF_NS = 366 * DAY

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SHAPE = "0000-00-00T00:00:00.000Z"
_DIGITS = str.maketrans("123456789", "000000000")


class Stamp(msgspec.Struct, frozen=True):
    """One moment: RFC 3339 UTC with milliseconds, the ever-running count in nanoseconds, and the start of the machine
    that the count belongs to.
    """

    at: str
    mono: int
    boot: str


class Elapsed(msgspec.Struct, frozen=True):
    """A span between two stamps in nanoseconds; doubtful where the clocks contradict each other."""

    at_least_ns: int
    at_most_ns: int
    doubtful: bool


def elapsed(earlier: Stamp, later: Stamp) -> Elapsed:
    """The time from one stamp to the next.

    Within one start of the machine this is the span of the ever-running count; across starts it is that of the time
    of day, a millisecond wider at both ends. Where the two contradict each other the span encloses both, never below
    zero; a time of day that went back or leapt between two starts gives no bound at all.
    """
    wall = (at_ms(later.at) - at_ms(earlier.at)) * MS
    if earlier.boot != later.boot:
        if not 0 <= wall <= _LONGEST_OFF_NS:
            return Elapsed(0, UNBOUNDED_NS, doubtful=True)
        return Elapsed(max(wall - MS, 0), wall + MS, doubtful=False)
    mono = later.mono - earlier.mono
    if mono < 0:
        return Elapsed(0, UNBOUNDED_NS, doubtful=True)
    if abs(wall - mono) <= _STEP_NS + mono * _SLEW_PPM // 1_000_000:
        return Elapsed(mono, mono, doubtful=False)
    return Elapsed(max(min(wall, mono), 0), max(wall, mono), doubtful=True)


def total(stamps: Sequence[Stamp]) -> Elapsed:
    """The time from the first stamp to the last, added up over all between; the more stamps, the less hangs on the
    time of day.
    """
    spans = [elapsed(earlier, later) for earlier, later in pairwise(stamps)]
    return Elapsed(
        sum(span.at_least_ns for span in spans),
        min(sum(span.at_most_ns for span in spans), UNBOUNDED_NS),
        doubtful=any(span.doubtful for span in spans),
    )


def at_text(ms: int) -> str:
    """The RFC 3339 text of so many milliseconds since 1970-01-01T00:00:00Z."""
    moment = _EPOCH + timedelta(milliseconds=ms)
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def at_ms(at: str) -> int:
    """The milliseconds since 1970-01-01T00:00:00Z of an RFC 3339 text; ValueError if it is none."""
    return round(datetime.fromisoformat(at).timestamp() * 1_000)


def all_times(ats: Sequence[str]) -> bool:
    """Whether each text is a time of day as records write it."""
    if "".join(ats).translate(_DIGITS) != _SHAPE * len(ats):
        return False
    try:
        for at in ats:
            datetime.fromisoformat(at)
    except ValueError:
        return False
    return True
