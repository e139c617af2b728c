"""A small set of runs that together cross all that can be crossed, walked by the engine with a clock moved by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from runner.core import act as ac
from runner.core.graph import Books, Choice, Count, Procedure, Reading, Step
from runner.core.stage import Stage
from runner.core.state import visits
from runner.edge.exploring import Explorer, Spot, Taste, node_at, way_to
from runner.edge.trials import Given, Trial
from runner.verify.coverage import FORCED, Item, chart

_ROUNDS = 60
"""How often a step is come back to for the sake of its bound."""
_BOUND, _SHORT, _FULL = FORCED[:3]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """One run: its answers, what it crossed first, where it stood, how each step was left, how it ended."""

    given: tuple[Given, ...]
    fresh: frozenset[Item]
    paths: tuple[str, ...]
    left: tuple[tuple[str, str], ...]
    end: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """All runs, all items, those that were crossed, and why the others were not."""

    runs: tuple[Rehearsed, ...]
    items: frozenset[Item]
    crossed: frozenset[Item]
    why: Mapping[Item, str]


def rehearse_all(procedure: Procedure, begin: ac.Begin, by: str) -> Coverage:
    """Runs that begin with the same act on the same car, until nothing more can be crossed."""
    over = Explorer(procedure, begin, by)
    over.explore(over.start)
    while _pursued(over):
        pass
    runs = _runs(over)
    done = frozenset(item for run in runs for item in run.fresh)
    items = frozenset(chart(procedure).items) | done
    return Coverage(runs=runs, items=items, crossed=done, why={i: _why(over, i) for i in items - done})


def led_to(procedure: Procedure, begin: ac.Begin, by: str, step: str) -> Spot | None:
    """A run that has just come to a step, by few steps; None where none was found that does."""
    over = Explorer(procedure, begin, by)
    goals = sorted(p for p in {*over.chart.items.values(), *over.chart.ways} if p.rpartition("/")[2] == step)
    for goal in goals:
        spot = over.lead(over.start, goal)
        if spot.place == goal:
            return spot
    if goals:
        over.explore(over.start)
    return next((over.at[goal] for goal in goals if goal in over.at), None)


def _why(over: Explorer, item: Item) -> str:
    place = over.chart.items.get(item)
    if place is None:
        return "the values of this car lead past it"
    if item.label == FORCED[3]:
        return "no run comes to this call with what it ensures, or gives back, being so already"
    if place not in over.at:
        return "no run comes to this step"
    if item.label == _BOUND and not over.chart.leads_back(place):
        return "no way leads back to this step, so it is never come to that often"
    stuck = over.stuck(over.at[place])
    if stuck:
        return f"the run stands still there: it wants {stuck}"
    if item.label in (_SHORT, _FULL):
        return "the level never comes to that here"
    refused = over.refused.get(place)
    if refused and item.kind != "edge":
        return f"refused there: {refused}"
    return "the step is come to, but never in a state that leads this way"


# ── what the first look did not cross ────────────────────────────────────────────────────────────


def _pursued(over: Explorer) -> bool:
    """Whether going after what is left crossed something more."""
    before = len(over.first)
    for item, place in list(over.chart.items.items()):
        if item not in over.first and place in over.at:
            for spot in _after(over, item, place):
                over.explore(spot)
    return len(over.first) > before


def _after(over: Explorer, item: Item, place: str) -> tuple[Spot, ...]:
    """Where going after one item led."""
    node = node_at(over.procedure, place)
    if item.label in (_BOUND, _SHORT, _FULL):
        return _come_back(over, item, place)
    if isinstance(node, Step) and isinstance(node.gate, Books):
        return _balanced(over, item, place, node.gate)
    subject, _, value = item.label.partition(" is ")
    return _remembered(over, item, place, subject, value) if value else ()


def _come_back(over: Explorer, item: Item, place: str) -> tuple[Spot, ...]:
    """Come back to a step again and again, until its bound is reached or its level calls for the edge."""
    taste = _tasted(over, item)
    known = [s.before for i, s in over.first.items() if i.node == item.node and i.owner == item.owner and s.before]
    for spot in dict.fromkeys((over.at[place], *(s for s in known if s.place == place))):
        for _ in range(_ROUNDS):
            if item in over.first or spot.state.phase == "ended":
                break
            spot = over.lead(spot, place, item, taste, away=True)
    return (over.first[item],) if item in over.first else ()


def _tasted(over: Explorer, item: Item) -> Taste:
    """A level is seen low for the sake of short; one stroke of a grant is used where another step's bound is wanted."""

    def taste(owed: Stage, options: list[Trial[Spot]]) -> Trial[Spot] | None:
        here = owed.step.id if owed.step is not None else ""
        if owed.kind == "look":
            return options[min(1, len(options) - 1)] if item.label == _SHORT else options[0]
        if owed.kind == "beats":
            return options[0] if here == item.node else options[-1]
        return None

    return taste


def _balanced(over: Explorer, item: Item, place: str, books: Books) -> tuple[Spot, ...]:
    """Take each amount that the books stand on in the other ways, and go on to the books."""
    names = {n.removeprefix("total of ").partition("@")[0] for n in books.imbalance.names}
    for reading in list(over.at):
        node = node_at(over.procedure, reading)
        if not (isinstance(node, Step) and isinstance(node.gate, Reading) and node.gate.name in names):
            continue
        spot = over.at[reading]
        while over.owed(spot).kind != "read" and (options := over.options(spot, over.owed(spot))):
            spot = options[0].after
        for trial in over.options(spot, over.owed(spot)):
            spot = over.lead(trial.after, place, item)
            over.lead(spot, place, item, away=True)
            if item in over.first:
                return (over.first[item],)
    return ()


def _remembered(over: Explorer, item: Item, place: str, subject: str, value: str) -> tuple[Spot, ...]:
    """Choose otherwise where the choice is made, and go on to the step that it decides."""
    for chosen in list(over.at):
        node = node_at(over.procedure, chosen)
        gate = node.gate if isinstance(node, Step) else None
        if not (isinstance(gate, Choice | Count) and gate.name == subject):
            continue
        spot = over.lead(over.at[chosen], place, item, _choosing(subject, value))
        over.lead(spot, place, item, away=True)
        if item in over.first:
            return (over.first[item],)
    return ()


def _choosing(subject: str, value: str) -> Taste:
    def taste(_owed: Stage, options: list[Trial[Spot]]) -> Trial[Spot] | None:
        return next((t for t in options if _answered(t) == value and t.after.state.choices.get(subject) == value), None)

    return taste


def _answered(trial: Trial[Spot]) -> str:
    return next((str(g.said["answer"]) for g in trial.given if "answer" in g.said), "")


# ── from what was crossed to runs ────────────────────────────────────────────────────────────────


def _runs(over: Explorer) -> tuple[Rehearsed, ...]:
    """Each run goes on to an end; the longest ways first, so that few are needed."""
    left = set(over.first)
    ways = sorted({id(s): s for s in over.first.values()}.values(), key=lambda s: -s.line)
    made: list[Rehearsed] = []
    for spot in ways:
        if left & {i for i in spot.items if over.first.get(i) is spot}:
            on_the_way = {item for s in way_to(spot) for item in s.items}
            last = over.finish(spot, left - on_the_way)
            run = _told(last, left)
            left -= run.fresh
            made.append(run)
    return tuple(made)


def _told(last: Spot, left: set[Item]) -> Rehearsed:
    spots = tuple(way_to(last))
    paths = [s.state.path for s in spots]
    ended = last.state.ended
    return Rehearsed(
        given=tuple(g for s in spots for g in s.given),
        fresh=frozenset(i for s in spots for i in s.items if i in left),
        paths=tuple(p for nth, p in enumerate(paths) if not nth or p != paths[nth - 1]),
        left=tuple((v.path, v.outcome) for v in visits(last.state)),
        end=ended.kind if ended is not None else "not over",
    )
