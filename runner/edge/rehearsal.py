"""A small set of runs that together cross all that can be crossed, walked by the engine with a clock moved by hand.

Rules of this module
1. The engine alone decides what an act does: each act that might be given is tried on a copy of the state first.
2. Of the acts that cross something new the one is taken from which most is still ahead; else the way to the nearest.
3. Every run is kept as answers, so that a file of them leads the same way again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import dataclass, field, replace

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.entry import as_recorded
from runner.core.graph import Procedure
from runner.core.stage import Stage, stage
from runner.core.state import SAFE_STOP, State, fold, visits
from runner.edge.clock import SteppedClock
from runner.edge.trials import Given, Trial, trials
from runner.verify.coverage import FAR, Chart, Item, alike, chart, crossed

MOST_ACTS = 4_000
IDLE_ACTS = 400
MOST_RUNS = 200
_AHEAD = 60
NS_PER_S = 1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A run in progress: the state, the clock, what was answered so far."""

    state: State
    clock: SteppedClock
    line: int = 0
    plain: Mapping[str, int] = field(default_factory=dict)
    """How often a step was left without an answer of its own: a file of answers cannot tell these visits apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """One run: its answers by table, what it crossed first, where it stood, how each step was left, how it ended."""

    given: tuple[Given, ...]
    left: tuple[tuple[str, str], ...]
    fresh: frozenset[Item]
    paths: tuple[str, ...]
    end: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """All runs, all items, those that were crossed, and why the others were not."""

    runs: tuple[Rehearsed, ...]
    items: frozenset[Item]
    crossed: frozenset[Item]
    why: Mapping[Item, str]


def rehearse_all(procedure: Procedure, begin: ac.Begin, by: str) -> Coverage:
    """Runs until nothing more is crossed; each begins with the same act on the same car."""
    return _Hunt(procedure, begin, by).coverage()


class _Hunt:
    def __init__(self, procedure: Procedure, begin: ac.Begin, by: str) -> None:
        self.procedure, self.begin, self.by = procedure, begin, by
        car = {name: one["value"] for name, one in begin.asks.items()}
        self.chart: Chart = chart(procedure, car)
        self.items = set(chart(procedure).items)
        self.ends = {item for item in self.items if item.label == "reached"}
        self.done: set[Item] = set()
        elsewhere = self.items - set(self.chart.items)
        self.given_up: dict[Item, str] = dict.fromkeys(elsewhere, "the values of this car lead past it")
        self.wants: Counter[Item] = Counter()
        self.later: set[Item] = set()
        self.refused = ""
        self.refusals: dict[str, str] = {}

    def coverage(self) -> Coverage:
        runs: list[Rehearsed] = []
        for _ in range(MOST_RUNS):
            if not self.left():
                break
            run = self.walk()
            if run.fresh:
                runs.append(run)
            else:
                self.give_up(run)
        why = {i: self.hindrance(i) for i in self.items - self.done}
        return Coverage(
            runs=tuple(runs), items=frozenset(self.items | self.done), crossed=frozenset(self.done), why=why
        )

    def hindrance(self, item: Item) -> str:
        """Why nothing crossed it."""
        refused = self.refusals.get(self.chart.items.get(item, ""))
        if refused and item.kind != "edge":
            return f"refused there: {refused}"
        return self.given_up.get(item, "no run came there")

    def left(self) -> set[Item]:
        """What is still to be crossed and was not given up."""
        return self.items - self.done - set(self.given_up)

    def give_up(self, run: Rehearsed) -> None:
        """A run crossed nothing new: what it was after is given up, and where it came instead is said."""
        wanted = self.wants.most_common(1)
        aims = [wanted[0][0]] if wanted else list(self.left())[:1]
        last = run.paths[-1] if run.paths else ""
        why = f"refused: {self.refused}" if run.end == "not over" and self.refused else run.end
        for item in aims:
            self.given_up[item] = f"the run that was after it came to '{last}' ({why})"

    # ── one run ──────────────────────────────────────────────────────────────────────────────────

    def walk(self) -> Rehearsed:
        self.wants = Counter()
        self.later = set()
        spot = self.begun()
        given: list[Given] = []
        paths: list[str] = []
        fresh: set[Item] = set()
        idle = 0
        for nth in range(MOST_ACTS):
            if spot.state.phase == "ended":
                break
            if not paths or paths[-1] != spot.state.path:
                paths.append(spot.state.path)
            trial = self.chosen(spot, finish=idle > IDLE_ACTS or nth > MOST_ACTS - IDLE_ACTS)
            if trial is None:
                break
            new = trial.items & self.items - self.done if trial.items else frozenset()
            self.done |= trial.items
            fresh |= new
            idle = 0 if new else idle + 1
            given += trial.given
            spot = trial.after
        ended = spot.state.ended
        end = ended.kind if ended is not None else "not over"
        left = tuple((v.path, v.outcome) for v in visits(spot.state))
        return Rehearsed(given=tuple(given), left=left, fresh=frozenset(fresh), paths=tuple(paths), end=end)

    def begun(self) -> Spot:
        spot = Spot(state=State(by=self.by), clock=SteppedClock())
        after, _ = self.act(spot, self.begin)
        return after

    def act(self, spot: Spot, act: AnyAct, wait_ns: int = 0) -> tuple[Spot, frozenset[Item] | None]:
        """The spot after an act, and what it crossed; None where it was refused or mistaken."""
        clock = copy(spot.clock)
        clock.now()
        clock.advance(wait_ns)
        now = clock.now()
        act = as_recorded(act)
        events = decide(self.procedure, spot.state, act, now, spot.state.by)
        state = fold(spot.state, spot.line, now, spot.state.by, act, events)
        clock.now()
        after = replace(spot, state=state, clock=clock, line=spot.line + 1)
        refused = next((e for e in events if isinstance(e, ev.Refused | ev.Mistaken)), None)
        if refused is not None:
            self.refused = refused.why if isinstance(refused, ev.Refused) else f"'{refused.value}' is not so"
            return after, None
        return after, crossed(self.procedure, spot.state, events, state)

    # ── which act ────────────────────────────────────────────────────────────────────────────────

    def chosen(self, spot: Spot, *, finish: bool, deep: bool = True) -> Trial[Spot] | None:
        owed = stage(self.procedure, spot.state, copy(spot.clock).now())
        options = list(self.tried(spot, owed))
        if not options:
            return None
        if len(options) == 1:
            return options[0]
        if owed.kind == "look":
            return self.seen(spot, options, owed)
        if deep and not finish:
            ahead = self.books_ahead(options, owed)
            if ahead is not None:
                return ahead
        if finish:
            return min(options, key=lambda t: self.distance(t, None))
        left = self.left()
        ahead_of = {id(t): self.reach(t, left) + len(t.items & left) for t in options}
        most = max(ahead_of.values())
        new = [t for t in options if t.items & left]
        whole = [t for t in new if ahead_of[id(t)] >= most]
        if whole:
            return max(whole, key=lambda t: len(t.items & left))
        # What would cost more than it brings waits for a run of its own.
        self.later |= {i for t in new for i in t.items & left}
        if not left - self.later and new:
            return max(new, key=lambda t: ahead_of[id(t)])
        forced = self.returning(spot, options, left, most)
        if forced is not None:
            return forced
        rich = [t for t in options if ahead_of[id(t)] == most] if left - self.later else options
        return min(rich, key=lambda t: self.distance(t, left - self.later or left or None))

    def seen(self, spot: Spot, options: list[Trial[Spot]], owed: Stage) -> Trial[Spot]:
        """High in what is drawn from, low in what is filled, unless the edge for short or full is still to be gone."""
        step = owed.step
        count = step.gate if step is not None and isinstance(step.gate, graph.Count) else None
        move = count.move if count is not None else None
        into = move is not None and move.target == owed.level
        wanted = {i.label for i in self.forced(spot)}
        low = ("full" not in wanted) if into else ("short" in wanted)
        return options[min(1, len(options) - 1)] if low else options[0]

    def forced(self, spot: Spot) -> list[Item]:
        """The edges of the engine's own at this step that were not gone yet."""
        if spot.state.path in ("", SAFE_STOP):
            return []
        found = graph.find(self.procedure, spot.state.path)
        left = self.left()
        every = (Item(found.procedure.name, found.node.id, label) for label in ("short", "full", "bound"))
        return [item for item in every if item in left]

    def beyond(self, here: str, item: Item) -> frozenset[Item]:
        """What is ahead on an edge of a place, itself included."""
        way = next((w for w in self.chart.ways.get(here, ()) if item in w.items), None)
        return frozenset(way.items).union(*(self.chart.ahead(to) for to in way.to)) if way else frozenset()

    def tried(self, spot: Spot, owed: Stage) -> Iterator[Trial[Spot]]:
        """Every act that may be given now and is not refused, with what it crosses."""
        every: Iterator[Trial[Spot]] = trials(self.procedure, spot.state, owed, spot.plain)
        for one in every:
            after, items, good = spot, frozenset[Item](), True
            for act in one.acts:
                after, more = self.act(after, act, one.wait_ns)
                if more is None:
                    good = False
                    self.refusals[alike(spot.state.path)] = self.refused
                    break
                items |= more
            if good:
                plain = dict(after.plain)
                if one.plain:
                    plain[spot.state.path] = plain.get(spot.state.path, 0) + 1
                yield replace(one, after=replace(after, plain=plain), items=items)

    def at(self, trial: Trial[Spot]) -> str:
        state = trial.after.state
        return "" if state.phase == "ended" else alike(state.path)

    def reach(self, trial: Trial[Spot], left: set[Item]) -> int:
        """How much is still ahead."""
        return len(self.chart.ahead(self.at(trial)) & left - trial.items)

    def distance(self, trial: Trial[Spot], goal: set[Item] | None) -> int:
        """How many steps it is to something that is still to be crossed, or to an end."""
        far, hit = self.chart.nearest(self.at(trial), goal if goal is not None else self.ends)
        if goal is not None:
            self.wants.update(hit[:1])
        return far

    def returning(
        self, spot: Spot, options: list[Trial[Spot]], left: set[Item], most: int
    ) -> Trial[Spot] | None:
        """Where the engine has an edge of its own that was not gone yet, the step is come back to."""
        wanted = self.forced(spot)
        if not wanted or spot.state.entries.get(spot.state.path, 0) > _AHEAD:
            return None
        here = alike(spot.state.path)
        if len(self.beyond(here, wanted[0]) & left) < most and left - self.later - set(wanted):
            self.later |= set(wanted)
            return None
        self.wants[wanted[0]] += MOST_ACTS  # before what other runs may still come to
        near = [(self.chart.steps_to(self.at(t), here), n) for n, t in enumerate(options)]
        best = min(near)
        return options[best[1]] if best[0] < FAR else None

    def books_ahead(self, options: list[Trial[Spot]], owed: Stage) -> Trial[Spot] | None:
        """Of several amounts the one that makes the books come out as they never did."""
        step = owed.step
        if owed.kind != "read" or step is None or not isinstance(step.gate, graph.Reading) or step.gate.bands:
            return None
        left = {i for i in self.left() if i.kind == "outcome" and self._is_books(i)}
        if not left:
            return None
        for trial in options:
            spot = trial.after
            for _ in range(_AHEAD):
                if spot.state.phase == "ended":
                    break
                after = self.chosen(spot, finish=False, deep=False)
                if after is None:
                    break
                if after.items & left:
                    return trial
                spot = after.after
        return None

    def _is_books(self, item: Item) -> bool:
        path = self.chart.items.get(item)
        node = graph.find(self.procedure, path).node if path else None
        return isinstance(node, graph.Step) and isinstance(node.gate, graph.Books)
