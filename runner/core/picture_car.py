"""What is known of the car: gauges, timers, what is open, and the plan with its four corners."""

from __future__ import annotations

from fractions import Fraction

from runner.core import graph
from runner.core.graph import CORNERS, Each, Level, Procedure, Timed
from runner.core.names import Names
from runner.core.quantity import Quantity
from runner.core.stage import Stage, open_now
from runner.core.stamp import SECOND, Stamp, elapsed
from runner.core.state import SAFE_STOP, State
from runner.core.units import show, units_of
from runner.core.values import worth
from runner.core.view import CarPlan, Gauge, Timer
from runner.core.wording import minutes, plain, rounded, says, says_all, unit_of


def gauges(procedure: Procedure, state: State) -> tuple[Gauge, ...]:
    """Every level that the procedure and its fragments track."""
    levels: dict[str, tuple[Procedure, Level]] = {}
    for owner in (procedure, *procedure.fragments.values()):
        for name, level in owner.levels.items():
            levels.setdefault(name, (owner, level))
    return tuple(_gauge(owner, state, level) for owner, level in levels.values())


def _gauge(owner: Procedure, state: State, level: Level) -> Gauge:
    known = state.levels.get(level.name)
    brim = worth(owner, state, level.brim, None)
    full = brim.lo if isinstance(brim, Quantity) and brim.lo > 0 else None
    marks: list[tuple[str, float]] = []
    for name, expr in level.marks.items():
        at = worth(owner, state, expr, None)
        if isinstance(at, Quantity) and full is not None:
            marks.append((name, _part(at.lo, full)))
    if known is None:
        return Gauge(name=level.name, text=f"{level.what}: not known", least=None, most=None, marks=tuple(marks))
    words = show(Quantity(known[0], known[1], level.unit.dimension), level.unit, 0)
    least = None if full is None else _part(known[0], full)
    most = None if full is None else _part(known[1], full)
    return Gauge(name=level.name, text=f"{level.what}: {words}", least=least, most=most, marks=tuple(marks))


def _part(value: Fraction, full: Fraction) -> float:
    return float(min(Fraction(1), max(Fraction(0), value / full)))


def timers(procedure: Procedure, state: State, owed: Stage, now: Stamp) -> tuple[Timer, ...]:
    """Waits that run, a hold or a grant that is timed, and facts that keep for a time only."""
    found: list[Timer] = []
    if owed.kind == "hold" and owed.step is not None and isinstance(owed.step.gate, Timed):
        found.append(Timer(text="hold on", left_s=owed.left_s))
    out = state.out
    if out is not None and out.seconds > 0:
        left = _left(out.seconds, elapsed(out.since, now).at_most_ns)
        found.append(Timer(text="after this the level is not known", left_s=left))
    waits = {name: wait for owner in _owners(procedure) for name, wait in owner.waits.items()}
    for name, started in state.waits.items():
        wait = waits.get(name)
        if wait is not None:
            left = _left(wait.at_least, elapsed(started, now).at_least_ns)
            found.append(Timer(text=wait.what if left else f"{wait.what}: over", left_s=left))
    for instance, stamp in state.set_at.items():
        condition = procedure.conditions.get(instance.partition("@")[0])
        if condition is None or state.value(instance) != "T":
            continue
        span = elapsed(stamp, now)
        if isinstance(condition.keeps, Fraction):
            words = says(procedure, instance, holds=True)
            found.append(Timer(text=f"keeps: {words}", left_s=_left(condition.keeps, span.at_most_ns)))
        if condition.no_longer_than is not None:
            words = says(procedure, instance, holds=True)
            left = _left(condition.no_longer_than, span.at_most_ns)
            found.append(Timer(text=words if left else f"TOO LONG: {words}", left_s=left))
    return tuple(found)


def _owners(procedure: Procedure) -> tuple[Procedure, ...]:
    return (*procedure.fragments.values(), procedure)


def _left(seconds: Fraction, gone_ns: int) -> int:
    return max(0, int(-((gone_ns - seconds * SECOND) // SECOND)))


def open_words(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What is open on the car, in the order of making safe; what may be open comes first."""
    known: list[tuple[str, bool]] = []
    unknown: list[str] = []
    for instance in open_now(procedure, state):
        holds = procedure.conditions[instance.partition("@")[0]].normally is not True
        if state.value(instance) == "U":
            unknown.append(f"NOT KNOWN whether {says(procedure, instance, holds=holds)}")
        else:
            known.append((instance, holds))
    return (*unknown, *says_all(procedure, known))


def last_readings(procedure: Procedure, state: State) -> tuple[str, ...]:
    """The latest taking of each reading with its outcome, the newest last."""
    takings = sorted(((taken[-1].line, name) for name, taken in state.readings.items() if taken))
    lines: list[str] = []
    names = Names(procedure, state)
    for _, name in takings:
        taken = state.readings[name][-1]
        base = name.partition("@")[0]
        units = (unit_of(owner, base) for owner in (procedure, *procedure.fragments.values()))
        unit = next((u for u in units if u is not None), None) or units_of(taken.points[0].dimension)[0]
        words = ", ".join(rounded(point, unit) for point in taken.points)
        lines.append(f"{names.of(name)}: {words}" + ("" if taken.outcome == "taken" else f": {taken.outcome}"))
    return tuple(lines)


def plan(procedure: Procedure, state: State, steering: str) -> CarPlan:
    """The corners: where the work is, which turns are over, what is open."""
    here: str | None = None
    done: set[str] = set()
    if state.path not in ("", SAFE_STOP):
        here = graph.find(procedure, state.path).here
        above = graph.parent(procedure, state.path)
        while above is not None:
            if isinstance(graph.find(procedure, above).node, Each):
                done |= set(state.over.get(above, ()))
            above = graph.parent(procedure, above)
    opened: dict[str, list[str]] = {}
    for instance in open_now(procedure, state):
        name, _, member = instance.partition("@")
        if member:
            mark = plain(name) if state.value(instance) != "U" else f"{plain(name)}?"
            opened.setdefault(member, []).append(mark)
    marks: list[tuple[str, str]] = []
    for corner in CORNERS:
        around = (corner, graph.AXLE_OF[corner], graph.SIDE_OF[corner])
        words = ["NOW"] if here in around else ["DONE"] if done & set(around) else []
        words += [mark for member in around for mark in opened.get(member, ())]
        if words:
            marks.append((corner, ", ".join(words)))
    return CarPlan(now=here or "", marks=tuple(marks), steering=steering)


def timer_words(timer: Timer) -> str:
    """A timer in words: what runs, and how long still."""
    return f"{timer.text}, {minutes(timer.left_s)} left" if timer.left_s else timer.text
