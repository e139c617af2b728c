"""The course of a run for drawing: when it was worked on and when it stood still, and each level over the strokes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.graph import Procedure
from runner.core.picture_car import gauges
from runner.core.replay import UNHEARD_OF, states
from runner.core.stamp import SECOND, UNBOUNDED_NS, elapsed
from runner.core.wording import minutes, sentence

LONGEST_STEP_S = 15 * 60
"""A gap between two lines that is longer than this counts as a pause, also where nobody said so (own choice)."""
_PAUSE_WIDTH = 0.06
_MOST_PAUSES = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of work or a pause: its times, how long it was, and where it is drawn, from 0 to 1."""

    pause: bool
    begun: str
    ended: str
    long: str
    left: float
    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPoint:
    """A level after so many strokes in all, as parts of the brim."""

    strokes: int
    least: float
    most: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCurve:
    """How one level moved; `marks` are its marks as parts of the brim."""

    what: str
    strokes: int
    points: tuple[LevelPoint, ...]
    marks: tuple[tuple[str, float], ...]
    last: str


def time_line(entries: Sequence[Entry]) -> tuple[Stretch, ...]:
    """The run as stretches of work and pauses; a pause is drawn short however long it was, and says its length."""
    spans: list[tuple[bool, str, str, int]] = []
    held = False
    ends = [n for n, one in enumerate(entries) if any(isinstance(e, ev.Ended) for e in one.events)]
    if ends:  # what is added afterwards, such as a signature, is no work
        entries = entries[: ends[-1] + 1]
    for earlier, later in pairwise(entries):
        held = held or any(isinstance(e, ev.Stopped) for e in earlier.events)
        span = elapsed(earlier.stamp, later.stamp)
        seconds = span.at_least_ns // SECOND if span.at_most_ns < UNBOUNDED_NS else 0
        came_back = any(isinstance(e, ev.Resumed) for e in later.events)
        pause = held or came_back or seconds > LONGEST_STEP_S
        held = held and not came_back
        if spans and spans[-1][0] == pause:
            spans[-1] = (pause, spans[-1][1], later.stamp.at, spans[-1][3] + seconds)
        else:
            spans.append((pause, earlier.stamp.at, later.stamp.at, seconds))
    pauses = sum(pause for pause, *_ in spans)
    working = sum(seconds for pause, _, _, seconds in spans if not pause)
    most = _PAUSE_WIDTH * _MOST_PAUSES if working else 1.0
    one_pause = min(_PAUSE_WIDTH if working else 1.0, most / max(pauses, 1))
    made: list[Stretch] = []
    left = 0.0
    for pause, begun, ended, seconds in spans:
        width = one_pause if pause else (1 - one_pause * pauses) * seconds / max(working, 1)
        words = minutes(seconds)
        made.append(Stretch(pause=pause, begun=begun, ended=ended, long=words, left=left, width=width))
        left += width
    return tuple(made)


def level_curves(entries: Sequence[Entry], procedure: Procedure) -> tuple[LevelCurve, ...]:
    """Each level that was known over the strokes that were done; a grant counts once it is over."""
    names = tuple(level for owner in (procedure, *procedure.fragments.values()) for level in owner.levels)
    points: dict[str, list[LevelPoint]] = {name: [] for name in names}
    last: dict[str, tuple[str, tuple[tuple[str, float], ...]]] = {}
    strokes = 0
    try:
        for _, one, after in states(entries):
            strokes += sum(event.used for event in one.events if isinstance(event, ev.Returned))
            moved = any(isinstance(e, ev.Returned | ev.Looked | ev.LevelIs | ev.Restated) for e in one.events)
            if not moved or after.out is not None:
                continue
            for gauge in gauges(procedure, after):
                last[gauge.name] = (gauge.text, gauge.marks)
                if gauge.least is not None and gauge.most is not None:
                    point = LevelPoint(strokes=strokes, least=gauge.least, most=gauge.most)
                    if points[gauge.name][-1:] != [point]:
                        points[gauge.name].append(point)
    except UNHEARD_OF:  # an edited record: what was known so far is drawn
        pass
    curves = []
    for name, known in points.items():
        if len(known) > 1:
            text, marks = last[name]
            curves.append(
                LevelCurve(
                    what=sentence(text.partition(":")[0]).removesuffix("."),
                    strokes=strokes,
                    points=tuple(known),
                    marks=marks,
                    last=text,
                )
            )
    return tuple(curves)
