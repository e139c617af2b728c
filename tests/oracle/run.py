"""One run of the real engine beside what is true on the car, judged line by line.

Beside the engine's state stands the level as it really is, at the ends of what a beat may move, and what a condition
that a break left open may be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.graph import Procedure, Step
from runner.core.stamp import Stamp, at_text
from runner.core.state import SAFE_STOP, State
from runner.core.values import positions
from runner.verify import Checked, admissible
from tests.oracle.history import Line
from tests.oracle.judge import Judge

START_MS = 1_750_000_000_000
ACT_MS = 3_000


@lru_cache(maxsize=4096)
def stamp(ms: int) -> Stamp:
    """The moment so many milliseconds after the start."""
    return Stamp(at=at_text(START_MS + ms), mono=ms * 1_000_000, boot="b1")


@dataclass(frozen=True, slots=True)
class Spot:
    """Where one way has come to: the engine's state, the history, the true level, outer acts left, conditions that a
    break left open and what they may be, and the conditions before the break."""

    state: State
    line: Line | None
    ms: int
    true: Fraction | None
    left: int
    maybe: tuple[tuple[str, str], ...] = ()
    base: tuple[tuple[str, str], ...] | None = None


@dataclass(frozen=True, slots=True)
class Broken:
    """What broke, and the acts that led there."""

    why: str
    spot: Spot

    def acts(self) -> list[str]:
        found, linked = [], self.spot.state.acts
        while linked is not None:
            found.append(linked.item[3])  # type: ignore[index]
            linked = linked.before
        return [
            f"{a.__struct_config__.tag} { {f: v for f in a.__struct_fields__ if (v := getattr(a, f))} }"
            if not isinstance(a, ac.Begin)
            else f"begin {a.asks}"
            for a in found[::-1]
        ]


class Found(Exception):
    """Something broke."""


class Run:
    """The acts of one procedure's runs, and the truth on the car; ``both`` tries both ends of what moves."""

    def __init__(self, procedure: Procedure, checked: Checked | None, *, both: bool) -> None:
        self.procedure, self.checked, self.both = procedure, checked, both
        self.judge = Judge(procedure)
        self.decided = 0
        self.admitted: dict[object, bool] = {}

    def begin(self, asks: dict[str, dict[str, str]], outer: int = 0) -> Spot:
        """A run at its summary."""
        act = ac.Begin(
            procedure=self.procedure.name,
            revision="1",
            version="0",
            texts={},
            hashes={},
            car="unit-7",
            demonstration=True,
            salt="salt",
            asks=asks,
            conditions={},
            levels={},
            waits={},
            parts={},
            instruments={},
            claims={},
            heads={},
        )
        new = self.does(Spot(State(by="MB"), None, 0, None, outer), act)
        assert new is not None
        return new

    def does(self, spot: Spot, act: AnyAct, *, wait: int = ACT_MS, must: bool = True) -> Spot | None:
        """The way after an act; None if it was refused. What the run asks for must not be refused."""
        now = stamp(spot.ms + wait)
        self.decided += 1
        try:
            events = decide(self.procedure, spot.state, act, now, "MB")
            state = fold(spot.state, spot.state.line + 1, now, "MB", act, events)
        except Exception as error:
            raise Found(Broken(f"raised: {error!r} on {act}", spot)) from error
        refused = next((e for e in events if isinstance(e, ev.Refused)), None)
        if refused is not None:
            if must:
                raise Found(Broken(f"stuck at '{spot.state.path}': {refused.why}", spot))
            return None
        line, wrong = self.judge.judged(spot.line, events)
        new = Spot(state, line, spot.ms + wait, spot.true, spot.left, self.maybe(spot, act, events), spot.base)
        if new.base is None and any(isinstance(e, ev.Stopped | ev.Resumed) for e in events):
            new = replace(new, base=tuple(spot.state.conditions.items()))
        if wrong:
            raise Found(Broken("; ".join(wrong), new))
        return new

    def maybe(self, spot: Spot, act: AnyAct, events: tuple[AnyEvent, ...]) -> tuple[tuple[str, str], ...]:
        """What each condition that became unknown by a break may be on the car: as it was, or either."""
        known = dict(spot.maybe)
        for event in events:
            lost = event.unknown if isinstance(event, ev.Stopped | ev.Resumed) else {}
            lost = dict.fromkeys(event.conditions, "U") if isinstance(event, ev.Expired) else lost
            going = self.in_the_making(spot)
            for name in (n for n, v in lost.items() if v == "U"):
                keeps = self.procedure.conditions[name.partition("@")[0]].keeps
                was = spot.state.value(name)
                known.setdefault(name, "TF" if keeps is not None or name in going or was == "U" else was)
            changed = getattr(event, "changes", {}) if isinstance(event, ev.Became) else {}
            for name in (*changed, *([event.condition] if isinstance(event, ev.Attested) else [])):
                known.pop(name, None)
        return tuple(sorted(known.items()))

    def in_the_making(self, spot: Spot) -> set[str]:
        path = spot.state.path
        if path in ("", SAFE_STOP):
            return set()
        step, here = self.judge.spot(path)
        if not isinstance(step, Step):
            return set()
        refs = [*step.makes, *step.ends, *(r for a in step.branch.arms for r in (*a.makes, *a.ends))]
        made = {self.judge.name(r, here) for r in refs}
        return made | set(spot.state.out.touched if spot.state.out else ())

    def number(self, expr: g.Expr) -> Fraction:
        return Fraction(str(expr.text).split()[0]) / 1_000_000

    def drawn(self, spot: Spot, move: g.Move, times: int) -> Iterator[Spot]:
        if spot.true is None:
            raise Found(Broken("level: fluid was drawn though nobody knows how much there is", spot))
        low = self.number(move.low_mark) if move.low_mark is not None else Fraction(20, 1_000_000)
        for amount in (self.number(move.most) * times, self.number(move.least) * times)[: 2 if self.both else 1]:
            now = spot.true - amount
            new = replace(spot, true=now)
            if now < low:
                raise Found(Broken(f"level: the fluid fell to {float(now * 1_000_000)} mL", new))
            known = spot.state.levels.get("can")
            if known is not None and not known[0] <= now <= known[1]:
                raise Found(Broken(f"level: {float(now * 1_000_000)} mL is not inside what the run holds", new))
            yield new

    def looked(self, spot: Spot, level: str) -> Iterator[Spot | None]:
        """What the eye sees of the level as it is; where nobody knows, high or low."""
        seen = positions(self.procedure, spot.state, self.procedure.levels[level])
        trues = (spot.true,) if spot.true is not None else (Fraction(25, 1_000_000), Fraction(300, 1_000_000))
        for true in trues:
            fits = [p for p, (lo, hi) in seen.items() if lo <= true <= hi]
            for position in ({fits[0], fits[-1]} if self.both else fits[-1:]) if fits else ():
                yield self.does(replace(spot, true=true), ac.Look(level=level, position=position))
        if spot.left > 0 and not seen:
            yield self.does(spot, ac.Look(level=level, position="cannot see"))

    def may(self, spot: Spot, path: str) -> bool:
        if self.checked is None:
            return False
        state = spot.state
        conditions = dict(state.conditions)
        remaining = {}
        for block, order in state.orders.items():
            if path.startswith(f"{block}/"):
                member = path[len(block) + 1 :].partition("/")[0]
                remaining[block] = tuple(m for m in order if m != member and m not in state.over.get(block, ()))
        values = {n: {"value": v, "source": s} for n, v, s in state.asks}
        key = (
            path,
            frozenset(conditions.items()),
            frozenset(state.levels.items()),
            frozenset(remaining.items()),
            frozenset(state.happened),
            frozenset(state.choices.items()),
            frozenset(state.passed.items()),
            state.asks,
        )
        if key not in self.admitted:
            verdict = admissible(
                self.checked,
                path,
                conditions,
                state.levels,
                remaining=remaining,
                happened=state.happened,
                turned=state.turned,
                passed=state.passed,
                values=values,
                choices=state.choices,
            )
            self.admitted[key] = verdict.ok
        return self.admitted[key]
