"""The real engine, driven over the unexpanded procedure in every way that a person and the car can take.

Breadth first over what of a state can matter later (``projection``). With ``outer`` acts on, so many of them may be
thrown in on each way: holds, crashes, things that perish, steps confirmed or done again, corrections.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from random import Random

import msgspec
import networkx as nx

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.graph import Procedure, Step
from runner.core.mending import may_do_again
from runner.core.stage import Stage, stage
from runner.core.state import SAFE_STOP, visits
from runner.verify import Checked
from tests.oracle.projection import Projection
from tests.oracle.run import ACT_MS, Broken, Found, Run, Spot, stamp

LONG_MS = 4_000_000


class Walk(Run):
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
        super().__init__(procedure, checked, both=both)
        self.outer, self.most, self.share, self.random = outer, most, share, Random(most)
        self.projection = Projection(procedure)
        self.seen: dict[object, int] = {}
        self.todo: deque[Spot] = deque()
        self.onward: list[tuple[object, object, Spot | None]] = []
        self.cut = False
        self.timed = any(isinstance(c.keeps, Fraction) for c in procedure.conditions.values())

    # ── the walk ─────────────────────────────────────────────────────────────────────────────────

    def broken(self) -> Broken | None:
        """The first thing that breaks on a shortest way; None if nothing does."""
        try:
            for asks in self.projection.cars():
                self.put(self.begin(asks, self.outer))
            while self.todo:
                if len(self.seen) > self.most:
                    self.cut = True
                    return None
                self.stand(self.todo.popleft())
        except Found as found:
            return found.args[0]  # type: ignore[no-any-return]
        return self.endless()

    def endless(self) -> Broken | None:
        """A way that leads round and round: by acts that were asked for alone, and through steps that were left."""
        round_ = nx.DiGraph((a, b) for a, b, _ in self.onward)
        among = {key: nth for nth, part in enumerate(nx.strongly_connected_components(round_)) for key in part}
        spot = next((spot for a, b, spot in self.onward if spot is not None and among[a] == among[b]), None)
        return None if spot is None else Broken(f"endless: back at '{spot.state.path}' as before", spot)

    def put(self, spot: Spot) -> None:
        key = self.projection.key(spot)
        if self.seen.get(key, -1) < spot.left:
            self.seen[key] = spot.left
            self.todo.append(spot)

    def came(self, spot: Spot, new: Spot) -> None:
        """What leads on without anything thrown in; a grant of which nothing is used is a pause, no way."""
        events = new.line.events if new.line is not None else ()
        if self.outer or any(isinstance(e, ev.Returned) and not e.used for e in events):
            return
        moved = any(isinstance(e, ev.Left) for e in events)
        self.onward.append((self.projection.key(spot), self.projection.key(new), new if moved else None))

    # ── one place ────────────────────────────────────────────────────────────────────────────────

    def stand(self, spot: Spot) -> None:
        owed = stage(self.procedure, spot.state, stamp(spot.ms + ACT_MS))
        for new in self.asked(spot, owed):
            if new is not None:
                self.put(new)
                self.came(spot, new)
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
                raise Found(Broken(f"stuck at '{spot.state.path}' in {owed.kind}", spot))
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

    def pressed(self, spot: Spot, owed: Stage) -> Iterator[Spot]:
        move = owed.step.gate.move if owed.step and isinstance(owed.step.gate, g.Count) else None
        for used in dict.fromkeys((0, owed.beats)):
            new = self.does(spot, ac.Report(used=str(used)))
            assert new is not None
            if move is None or used == 0:
                yield new
            else:
                yield from self.drawn(new, move, used)

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
        raise Found(Broken(f"stuck at '{spot.state.path}': needs {[(u.said, u.is_now) for u in owed.unmet]}", spot))

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
