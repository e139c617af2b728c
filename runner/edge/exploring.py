"""Where the engine can be led: every act that may be given is tried once at every place, from a run that came there.

Rules of this module
1. The engine alone decides what an act does; nothing is crossed but by its events.
2. States are values, so that each place is a point to go on from, with all that was answered on the way to it.
3. Two runs at the same place of the same turn are taken to be alike; what tells them apart (choices, levels, how often
   a step was entered) is gone after where something is left that only it can cross.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass, field, replace

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.entry import as_recorded
from runner.core.folding import fold
from runner.core.graph import Procedure
from runner.core.stage import Stage, stage
from runner.core.state import SAFE_STOP, State
from runner.edge.clock import SteppedClock
from runner.edge.trials import Given, Trial, trials
from runner.verify.coverage import FAR, Chart, Item, alike, chart, crossed

MOST_ACTS = 600
"""A way that is longer than this from where it began leads nowhere."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """A run in progress: its state and clock, the answers since the spot before, what they crossed."""

    state: State
    clock: SteppedClock
    line: int = 0
    used: str = ""
    plain: Mapping[str, int] = field(default_factory=dict)
    """How each step that asks for nothing was passed last, as in ``Trial.passed``."""
    before: Spot | None = None
    given: tuple[Given, ...] = ()
    items: frozenset[Item] = frozenset()

    @property
    def place(self) -> str:
        """The path of the first member; empty where the run is over."""
        return "" if self.state.phase == "ended" else alike(self.state.path)


Taste = Callable[[Stage, list[Trial[Spot]]], Trial[Spot] | None]
"""Which act is given where several would do; None leaves it to the distance."""


class Explorer:
    """All places that were come to, each with the first run that came there."""

    def __init__(self, procedure: Procedure, begin: ac.Begin, by: str) -> None:
        self.procedure = procedure
        car = {name: one["value"] for name, one in begin.asks.items()}
        self.chart: Chart = chart(procedure, car)
        self.first: dict[Item, Spot] = {}
        self.at: dict[str, Spot] = {}
        self.refused: dict[str, str] = {}
        self._seen: set[tuple[object, ...]] = set()
        new = Spot(state=State(by=by), clock=SteppedClock())
        self.start = self._act(new, begin)[0] or new

    def explore(self, spot: Spot) -> None:
        """Try everything from a spot on; where most is ahead is gone on first."""
        todo = [spot]
        while todo:
            here = todo.pop()
            owed = self.owed(here)
            key = self._key(here, owed)
            if here.state.phase == "ended" or key in self._seen:
                continue
            self._seen.add(key)
            self.at.setdefault(here.place, here)
            options = self.options(here, owed)
            todo += [t.after for t in sorted(options, key=self._ahead, reverse=True)][::-1]

    def _ahead(self, trial: Trial[Spot]) -> int:
        return len(self.chart.ahead(trial.after.place, frozenset()))

    def _key(self, spot: Spot, owed: Stage) -> tuple[object, ...]:
        over = tuple(len(spot.state.over.get(b, ())) for b in spot.state.orders if spot.state.path.startswith(f"{b}/"))
        caution = owed.caution.name if owed.caution is not None else ""
        unmet = tuple((u.said, u.instance, u.is_now) for u in owed.unmet)
        return (spot.place, over, owed.kind, owed.level, owed.names, unmet, caution, spot.state.back_to != "")

    def owed(self, spot: Spot) -> Stage:
        """What the run owes at a spot."""
        return stage(self.procedure, spot.state, copy(spot.clock).now())

    def options(self, spot: Spot, owed: Stage) -> list[Trial[Spot]]:
        """Every act that may be given and is not refused, tried; what is crossed for the first time is kept."""
        made = list(self._tried(spot, owed))
        for trial in made:
            for item in trial.items:
                self.first.setdefault(item, trial.after)
        return made

    def _tried(self, spot: Spot, owed: Stage) -> Iterator[Trial[Spot]]:
        every: Iterator[Trial[Spot]] = trials(self.procedure, spot.state, owed, spot.plain, spot.used)
        for one in every:
            after: Spot | None = spot
            items: frozenset[Item] = frozenset()
            for act in one.acts:
                if after is not None:
                    after, more = self._act(after, act, one.wait_ns)
                    items |= more
            if after is None:
                continue
            plain = dict(spot.plain)
            passed = one.passed or int(owed.kind == "grant" and after.state.path != spot.state.path)
            if passed:
                plain[spot.state.path] = passed
            after = replace(after, plain=plain, used=one.used, before=spot, given=one.given, items=items)
            yield replace(one, after=after, items=items)

    def _act(self, spot: Spot, act: AnyAct, wait_ns: int = 0) -> tuple[Spot | None, frozenset[Item]]:
        """The spot after an act, and what it crossed; None where it was refused."""
        clock = copy(spot.clock)
        clock.now()
        clock.advance(wait_ns)
        now = clock.now()
        act = as_recorded(act)
        events = decide(self.procedure, spot.state, act, now, spot.state.by)
        state = fold(spot.state, spot.line, now, spot.state.by, act, events)
        clock.now()
        no = next((e for e in events if isinstance(e, ev.Refused | ev.Mistaken)), None)
        if no is not None:
            why = no.why if isinstance(no, ev.Refused) else f"'{no.value}' is not so"
            self.refused.setdefault(alike(spot.state.path), why)
            return None, frozenset()
        return replace(spot, state=state, clock=clock, line=spot.line + 1), crossed(
            self.procedure, spot.state, events, state
        )

    # ── going after something ────────────────────────────────────────────────────────────────────

    def lead(
        self, spot: Spot, goal: str, item: Item | None = None, taste: Taste | None = None, *, away: bool = False
    ) -> Spot:
        """Go from a spot towards a place by the fewest steps, until it is come to or the item is crossed.

        ``away`` first leaves the place, to come back to it.
        """
        for _ in range(MOST_ACTS):
            if spot.state.phase == "ended" or (spot.place == goal and not away):
                break
            owed = self.owed(spot)
            options = self.options(spot, owed)
            if not options or (item is not None and item in self.first):
                break
            liked = taste(owed, options) if taste is not None else None
            trial = liked or min(options, key=lambda t: self._far(t, goal))
            away = away and trial.after.place == goal and trial.after.state.path == spot.state.path
            spot = trial.after
        return spot

    def _far(self, trial: Trial[Spot], goal: str) -> int:
        return self.chart.steps_to(trial.after.place, goal) if trial.after.place else FAR

    def stuck(self, spot: Spot) -> str:
        """What keeps a run from going on from a spot; empty where nothing does."""
        for _ in range(MOST_ACTS):
            owed = self.owed(spot)
            options = self.options(spot, owed)
            if not options:
                return ", ".join(u.said for u in owed.unmet) or ", ".join(owed.names) or owed.kind
            if options[0].after.place != spot.place:
                break
            spot = options[0].after
        return ""

    def finish(self, spot: Spot, left: set[Item]) -> Spot:
        """Go from a spot to an end: by what is still to be crossed where it lies on the way, else to the nearest."""
        ends = {item for item in self.chart.items if item.label == "reached"}
        wanted = set(left)
        for _ in range(MOST_ACTS):
            if spot.state.phase == "ended":
                break
            options = self.options(spot, self.owed(spot))
            if not options:
                break
            new = [t for t in options if t.items & wanted]
            trial = max(new, key=self._ahead) if new else min(options, key=lambda t: self._to_end(t, ends))
            wanted -= trial.items
            spot = trial.after
        return spot

    def _to_end(self, trial: Trial[Spot], ends: set[Item]) -> int:
        place = trial.after.place
        if not place:
            return -1
        return FAR + 1 if place == SAFE_STOP else self.chart.nearest(place, ends, frozenset())[0]


def way_to(spot: Spot) -> Iterator[Spot]:
    """The spots from the beginning of a run to this one."""
    made: list[Spot] = []
    at: Spot | None = spot
    while at is not None:
        made.append(at)
        at = at.before
    return reversed(made)


def node_at(procedure: Procedure, place: str) -> graph.Node | None:
    """The node of a place; None at the safe stop."""
    return None if place in ("", SAFE_STOP) else graph.find(procedure, place).node
