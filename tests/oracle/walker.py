"""The real engine, driven over the unexpanded procedure in every way that a person and the car can take.

Breadth first over what of a state can matter later (``Walk.key``). Beside the engine's state stands what is true on
the car: the level as it really is, at the ends of what a beat may move. With ``outer`` acts on, so many of them may
be thrown in on each way: holds, crashes, things that perish, steps confirmed or done again, corrections.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import product
from random import Random

import msgspec

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.event import AnyEvent
from runner.core.graph import Procedure, Step
from runner.core.mending import may_do_again
from runner.core.needs import waited
from runner.core.stage import Stage, stage
from runner.core.stamp import Stamp, at_text
from runner.core.state import SAFE_STOP, State, fold, visits
from runner.core.values import positions
from runner.verify import Checked, admissible
from tests.oracle.ahead import Ahead, ahead
from tests.oracle.judge import Judge, Line

START_MS = 1_750_000_000_000
ACT_MS, LONG_MS = 3_000, 4_000_000
NOWHERE = Ahead(frozenset(), frozenset(), frozenset(), fluid=False)


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


class Walk:
    """All ways of one procedure; ``most`` bounds how many places are looked at."""

    def __init__(
        self,
        procedure: Procedure,
        *,
        checked: Checked | None = None,
        outer: int = 0,
        most: int = 1500,
        both: bool = False,
        share: float = 1.0,
    ) -> None:
        self.procedure, self.checked, self.outer, self.most = procedure, checked, outer, most
        self.both, self.share, self.random = both, share, Random(most)
        self.judge = Judge(procedure)
        self.seen: dict[object, int] = {}
        self.todo: deque[Spot] = deque()
        self.cut = False
        self.decided = 0
        self.admitted: dict[object, bool] = {}
        steps = [n for p in (procedure, *procedure.fragments.values()) for n in g.walk(p.body) if isinstance(n, Step)]
        self.bounded = {s.id: s.bound.times for s in steps if s.bound is not None}
        rules = [o for r in procedure.rules for o in (r.what, r.other) if o is not None]
        self.onward = ahead(procedure)
        self.watched = {f"{o.on} {o.name}" for o in rules}
        self.timed = any(isinstance(c.keeps, Fraction) for c in procedure.conditions.values())
        self.perishing = any(c.keeps is not None for c in procedure.conditions.values())

    # ── the walk ─────────────────────────────────────────────────────────────────────────────────

    def broken(self) -> Broken | None:
        """The first thing that breaks on a shortest way; None if nothing does."""
        try:
            for asks in self.cars():
                self.begin(asks)
            while self.todo:
                if len(self.seen) > self.most:
                    self.cut = True
                    return None
                self.stand(self.todo.popleft())
        except _Found as found:
            return found.args[0]  # type: ignore[no-any-return]
        return None

    def cars(self) -> Iterator[dict[str, dict[str, str]]]:
        """Every car: each value of each ask."""
        asks = [
            (a.name, a.options if a.kind == "choice" else tuple(a.orders or ())) for a in self.procedure.asks.values()
        ]
        looked_at = self.onward[self.procedure.body.first].subjects
        asks = [(n, o if n == "order" or n in looked_at else o[:1]) for n, o in asks]
        for values in product(*(options for _, options in asks)):
            yield {n: {"value": v, "source": "part"} for (n, _), v in zip(asks, values, strict=True)}

    def begin(self, asks: dict[str, dict[str, str]]) -> None:
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
        new = self.does(Spot(State(by="MB"), None, 0, None, self.outer), act)
        if new is not None:
            self.put(new)

    def does(self, spot: Spot, act: AnyAct, *, wait: int = ACT_MS, must: bool = True) -> Spot | None:
        """The way after an act; None if it was refused. What the run asks for must not be refused."""
        now = stamp(spot.ms + wait)
        self.decided += 1
        try:
            events = decide(self.procedure, spot.state, act, now, "MB")
            state = fold(spot.state, spot.state.line + 1, now, "MB", act, events)
        except Exception as error:
            raise _Found(Broken(f"raised: {error!r} on {act}", spot)) from error
        refused = next((e for e in events if isinstance(e, ev.Refused)), None)
        if refused is not None:
            if must:
                raise _Found(Broken(f"stuck at '{spot.state.path}': {refused.why}", spot))
            return None
        line, wrong = self.judge.judged(spot.line, events)
        new = Spot(state, line, spot.ms + wait, spot.true, spot.left, self.maybe(spot, act, events), spot.base)
        if new.base is None and any(isinstance(e, ev.Stopped | ev.Resumed) for e in events):
            new = replace(new, base=tuple(spot.state.conditions.items()))
        if wrong:
            raise _Found(Broken("; ".join(wrong), new))
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

    def put(self, spot: Spot) -> None:
        key = self.key(spot)
        if self.seen.get(key, -1) < spot.left:
            self.seen[key] = spot.left
            self.todo.append(spot)

    def key(self, spot: Spot) -> object:
        """What of a state can matter later."""
        s = spot.state
        onward = self.onward.get(s.path.rpartition("/")[2] or self.procedure.body.first, NOWHERE)
        names = onward.names | {n for n, c in self.procedure.conditions.items() if c.kind == "opening"}
        gone = tuple(f"{b}/{m}/" for b, o in s.over.items() if b not in onward.ids for m in o)
        happened = [w for w in sorted(s.happened, key=s.happened.__getitem__) if w.partition("@")[0] in self.watched]
        entries = [
            (p, min(n, self.bounded[i]))
            for p, n in s.entries.items()
            if (i := p.rpartition("/")[2]) in self.bounded and i in onward.ids and not p.startswith(gone)
        ]
        beats = [(p, n) for p, n in s.beats.items() if p.rpartition("/")[2] in onward.ids and not p.startswith(gone)]
        out = s.out and (s.out.beats, s.out.used, tuple(s.out.touched.items()), tuple(s.out.before.items()))
        return (
            s.phase,
            s.path,
            frozenset(c for c in s.conditions.items() if s.path == SAFE_STOP or c[0].partition("@")[0] in names),
            tuple(a for a in s.asks if a[0] == "order" or a[0] in onward.subjects),
            tuple(happened),
            frozenset(entries),
            frozenset(beats),
            (frozenset(s.levels.items()), spot.true) if onward.fluid else None,
            frozenset(c for c in s.choices.items() if c[0] in onward.subjects),
            tuple((b, s.orders[b], frozenset(o)) for b, o in s.over.items() if s.path.startswith(f"{b}/")),
            s.confirmed,
            out,
            s.looked,
            s.looks_owed,
            s.unknown,
            s.back_to,
            s.restoring,
            s.again,
            s.diverged,
            self.soaked(spot),
            spot.maybe,
            spot.base,
        )

    def soaked(self, spot: Spot) -> tuple[tuple[str, bool], ...]:
        """The waits that were started, and whether they are over."""
        waits, now = self.procedure.waits, stamp(spot.ms)
        return tuple((n, waited(spot.state, n, now)[0] >= waits[n].at_least * 1_000_000_000) for n in spot.state.waits)

    # ── one place ────────────────────────────────────────────────────────────────────────────────

    def stand(self, spot: Spot) -> None:
        owed = stage(self.procedure, spot.state, stamp(spot.ms + ACT_MS))
        for new in self.asked(spot, owed):
            if new is not None:
                self.put(new)
        if spot.left > 0 and (self.share == 1 or self.random.random() < self.share):
            for new in self.outside(replace(spot, left=spot.left - 1), owed):
                if new is not None:
                    self.put(new)

    def asked(self, spot: Spot, owed: Stage) -> Iterator[Spot | None]:
        """The acts that the run asks for, and the author's edges beside them."""
        match owed.kind:
            case "summary":
                yield self.does(spot, ac.Assume())
            case "own caution":
                assert owed.caution is not None
                yield self.does(spot, ac.Confirm(hazard=owed.caution.name, key=owed.key))
            case "cautions":
                yield self.does(spot, ac.ConfirmRest())
            case "do":
                yield from self.moved(spot, ac.Done(), owed)
            case "check":
                gate = owed.step.gate if owed.step else None
                assert isinstance(gate, g.Check)
                for answer in ("yes", "no") if gate.otherwise else ("yes",):
                    yield from self.moved(spot, ac.Answer(value=answer), owed)
            case "choose" | "fluid":
                for answer in owed.options:
                    yield from self.moved(spot, ac.Answer(value=answer), owed)
            case "grant":
                yield self.does(spot, ac.Done())
            case "beats":
                yield from self.pressed(spot, owed)
            case "look":
                yield from self.looked(spot, owed.level)
            case "again":
                yield self.does(spot, ac.Answer(value="still so"))
            case "unknown":
                for holds in dict(spot.maybe).get(owed.names[0], "TF"):
                    yield self.goes_on(self.does(spot, ac.Attest(condition=owed.names[0], holds=holds == "T")))
            case "end":
                yield self.does(spot, ac.Done())
            case "safe stop":
                yield from self.stopped(spot, owed)
            case "needs":
                yield from self.in_need(spot, owed)
            case "diverged":
                for path in owed.options:
                    yield self.again(spot, path)
            case "ended":
                pass
            case _:
                raise _Found(Broken(f"stuck at '{spot.state.path}' in {owed.kind}", spot))
        yield from self.drawn_edges(spot, owed)

    def drawn_edges(self, spot: Spot, owed: Stage) -> Iterator[Spot | None]:
        step = owed.step
        if step is None or spot.state.back_to or spot.state.again or spot.state.unknown:
            return
        waiting = owed.kind == "needs" and all(isinstance(u.need, g.WaitNeed) for u in owed.unmet)
        if step.override is not None and (waiting or owed.kind in ("check", "choose", "grant", "fluid")):
            yield self.does(spot, ac.Override(reason="no time", initials="MB"))
        if step.cannot is not None and owed.kind in ("do", "check", "choose", "grant", "beats", "fluid"):
            yield self.does(spot, ac.Cannot(reason="rust", way="step"))

    def moved(self, spot: Spot, act: AnyAct, owed: Stage) -> Iterator[Spot]:
        """The step is left; where it moves fluid, the least and the most of it."""
        new = self.does(spot, act)
        assert new is not None
        step = owed.step
        by = next((e.outcome for e in new.line.events if isinstance(e, ev.Left)), "") if new.line else ""
        if step is None or not (step.moves or step.sets) or by in ("", "short", "full"):
            yield new
            return
        for move in step.moves:
            yield from self.drawn(new, move, 1)
        for look in step.sets:
            mark, within = self.number(look.mark), self.number(look.within)
            yield from (replace(new, true=mark + d) for d in ((-within, within) if self.both else (-within,)))

    def number(self, expr: g.Expr) -> Fraction:
        return Fraction(str(expr.text).split()[0]) / 1_000_000

    def drawn(self, spot: Spot, move: g.Move, times: int) -> Iterator[Spot]:
        if spot.true is None:
            raise _Found(Broken("level: fluid was drawn though nobody knows how much there is", spot))
        low = self.number(move.low_mark) if move.low_mark is not None else Fraction(20, 1_000_000)
        for amount in (self.number(move.most) * times, self.number(move.least) * times)[: 2 if self.both else 1]:
            now = spot.true - amount
            new = replace(spot, true=now)
            if now < low:
                raise _Found(Broken(f"level: the fluid fell to {float(now * 1_000_000)} mL", new))
            known = spot.state.levels.get("can")
            if known is not None and not known[0] <= now <= known[1]:
                raise _Found(Broken(f"level: {float(now * 1_000_000)} mL is not inside what the run holds", new))
            yield new

    def pressed(self, spot: Spot, owed: Stage) -> Iterator[Spot]:
        move = owed.step.gate.move if owed.step and isinstance(owed.step.gate, g.Count) else None
        for used in dict.fromkeys((0, owed.beats)):
            new = self.does(spot, ac.Report(used=str(used)))
            assert new is not None
            if move is None or used == 0:
                yield new
            else:
                yield from self.drawn(new, move, used)

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

    def stopped(self, spot: Spot, owed: Stage) -> Iterator[Spot | None]:
        """The order of making safe, from the first on, then the end."""
        for name in owed.names:
            left = self.procedure.conditions[name.partition("@")[0]].if_left
            if left is not None and left.kind == "close":
                yield self.does(spot, ac.MadeSafe(condition=name))
                return
        yield self.does(spot, ac.Done())

    def in_need(self, spot: Spot, owed: Stage) -> Iterator[Spot | None]:
        """A need that does not hold: a detour, a look, the time; if none of them, the run is stuck."""
        for unmet in owed.unmet:
            if isinstance(unmet.need, g.WaitNeed) and unmet.is_now == "running":
                yield self.does(spot, ac.Tick(), wait=100_000)
                return
            if isinstance(unmet.need, g.LevelNeed) and self.enough(spot, unmet.need):
                yield from self.looked(spot, unmet.instance)
                return
            if isinstance(unmet.need, g.Holds) and spot.left < self.outer and not spot.state.back_to:
                new = self.does(spot, ac.Restore(condition=unmet.instance), must=False)
                if new is not None:
                    yield new
                    return
        raise _Found(Broken(f"stuck at '{spot.state.path}': needs {[(u.said, u.is_now) for u in owed.unmet]}", spot))

    def enough(self, spot: Spot, need: g.LevelNeed) -> bool:
        known = spot.state.levels.get(need.level)
        return known is None or (spot.true is not None and spot.true >= self.number(need.at_least))

    # ── what is thrown in ────────────────────────────────────────────────────────────────────────

    def outside(self, spot: Spot, owed: Stage) -> Iterator[Spot | None]:
        """Acts outside the graph. After what may have changed the car, going on is a checked jump."""
        state = spot.state
        if state.phase not in ("running",) or state.path in ("", SAFE_STOP) or state.unknown or state.again:
            return
        held = self.does(spot, ac.Hold())
        if held is not None:
            yield self.goes_on(self.does(held, ac.Resume(clean=True)))
        if not isinstance(owed.step, Step) or state.back_to:
            return
        if self.timed and state.out is None:
            yield self.does(spot, ac.Tick(), wait=LONG_MS)
        yield self.goes_on(self.does(spot, ac.Resume(clean=False)))
        trail = visits(state)
        if trail and state.out is None:
            yield self.does(spot, ac.ConfirmAgain(path=trail[0].path), must=False)
        for path in may_do_again(self.procedure, state) if state.out is None else ():
            yield self.again(spot, path)
        yield self.does(spot, ac.Cannot(reason="rust", way="stop"))
        yield from self.corrected(spot)

    def corrected(self, spot: Spot) -> Iterator[Spot | None]:
        if spot.state.out is not None:
            return
        for name, was, _ in spot.state.asks:
            options = [o for o in self.procedure.asks[name].options if o != was]
            for typed in options:
                yield self.does(spot, ac.Correct(line=0, name=name, typed=[typed], reason="misread"), must=False)

    def goes_on(self, spot: Spot | None) -> Spot | None:
        """After a break: as it was, save for what is restored where it is needed, or by a checked jump to here."""
        if spot is None or spot.base is None or spot.state.unknown:
            return spot
        kept = {n for n, c in self.procedure.conditions.items() if c.keeps is not None}
        was = dict(spot.base)
        now = {n: was.get(n, v) if n.partition("@")[0] in kept else v for n, v in spot.state.conditions.items()}
        same = all(was.get(n, "U") == v for n, v in now.items())
        same = same or self.may(
            replace(spot, state=msgspec.structs.replace(spot.state, conditions=now)), spot.state.path
        )
        return replace(spot, base=None) if same else None

    def again(self, spot: Spot, path: str) -> Spot | None:
        """A step is done again, if the proofs allow it from here."""
        if not self.may(spot, path):
            return None
        return self.does(spot, ac.DoAgain(path=path, admissible=True), must=False)

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
                values=values,
                choices=state.choices,
            )
            self.admitted[key] = verdict.ok
        return self.admitted[key]


class _Found(Exception):
    """Something broke."""
