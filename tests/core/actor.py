"""Somebody who does anything at all: mostly what is asked for, often wrongly, and everything else in between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from random import Random

from runner.core import act as ac
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.draft import paths
from runner.core.graph import Procedure, instances
from runner.core.mending import may_do_again
from runner.core.quantity import Quantity
from runner.core.stage import Stage
from runner.core.state import State, visits
from runner.core.values import worth

RIGHT = ("10", "22.4", "22.0", "10", "110", "60", "1500")
REASONS = ("no time", "", "misread")


@dataclass
class Actor:
    """Chooses the next act from a seed; ``care`` is the share of acts that are what the step asks for."""

    procedure: Procedure
    random: Random
    values: Mapping[str, str]
    care: float = 0.85

    def __post_init__(self) -> None:
        self.known: dict[int, frozenset[str]] = {}
        self.conditions = instances(self.procedure.conditions)
        self.paths = paths(self.procedure)
        self.levels = tuple(self.procedure.levels) or ("reservoir",)
        self.asks = tuple(self.procedure.asks) or ("none",)
        self.parts = tuple(self.procedure.parts) or ("none",)

    def pause_ms(self, owed: Stage) -> int:
        """How much time goes by before the act."""
        if self.random.random() < 0.02:
            return self.random.choice((0, 60_000, 1_300_000, 8_000_000))
        if owed.kind in ("own caution", "cautions", "needs") and self.random.random() < 0.9:
            return max(owed.needed_ms - owed.shown_ms, 0) + (130_000 if owed.kind == "needs" else 0)
        if owed.kind == "hold" and self.random.random() < 0.7:
            return owed.left_s * 1000
        return self.random.choice((0, 200, 900))

    def act(self, state: State, owed: Stage) -> AnyAct:
        if state.phase == "running" and self.random.random() > self.care:
            return self.outer(state)
        return self.meant(state, owed)

    def one(self, things: Sequence[str]) -> str:
        return self.random.choice(things) if things else ""

    def meant(self, state: State, owed: Stage) -> AnyAct:
        right = self.random.random() < 0.9
        match owed.kind:
            case "summary":
                return ac.Assume() if right else ac.Done()
            case "held":
                return self.random.choice((ac.Resume(clean=True), ac.MadeSafe(condition=self.one(owed.names))))
            case "unknown":
                return ac.Attest(condition=owed.names[0], holds=self.random.random() < 0.7)
            case "safe stop":
                name = self.one(owed.names or self.conditions)
                return ac.MadeSafe(condition=name) if self.random.random() < 0.6 else ac.Done()
            case "ended":
                return self.random.choice((ac.Sign(initials="MB", meaning="performed"), ac.Done(), ac.Tick()))
            case "diverged":
                path = self.one(owed.options or self.paths)
                return ac.DoAgain(path=path, admissible=True) if right else ac.Cannot(reason="no time", way="stop")
            case "look":
                return ac.Look(level=owed.level, position=self.one(owed.options) if right else "up there")
            case "ask":
                return self.supply(owed.names[0], right=right)
            case "needs":
                return self.mend(owed)
            case "own caution":
                name = owed.caution.name if owed.caution else ""
                return ac.Confirm(hazard=name, key=owed.key if right else str(self.random.randrange(10)))
            case "cautions":
                return ac.ConfirmRest() if right else ac.Done()
            case "check" | "choose" | "fluid" | "again" | "hold":
                return ac.Answer(value=self.answer(owed, right=right))
            case "read" | "identify" | "photo":
                return self.typed(state, owed, right=right)
            case "read back":
                return ac.Accept() if right else ac.Retype()
            case "beats":
                return self.random.choice((ac.Done(), ac.Beat(), ac.Report(used=str(self.random.randrange(9)))))
            case _:
                return ac.Done()

    def mend(self, owed: Stage) -> AnyAct:
        first = owed.unmet[0]
        if isinstance(first.need, g.LevelNeed):
            return ac.Look(level=first.instance, position="MAX")
        if isinstance(first.need, g.Part):
            return ac.PartsCame(part=first.instance, have=2)
        if isinstance(first.need, g.WaitNeed):
            return ac.Tick() if self.random.random() < 0.9 else ac.Override(reason="no time", initials="MB")
        if isinstance(first.need, g.After | g.Rule):  # too early: try it all the same, or go back
            return ac.Done() if self.random.random() < 0.3 else ac.DoAgain(path=self.one(self.paths), admissible=True)
        if self.random.random() < 0.3:
            return ac.Restore(condition=first.instance)
        if first.is_now == "U":
            return ac.Attest(condition=first.instance, holds=first.need.wanted)
        return ac.Contradict(condition=first.instance, holds=first.need.wanted)

    def answer(self, owed: Stage, *, right: bool) -> str:
        gate = owed.step.gate if owed.step else None
        if isinstance(gate, g.Check) and right:
            value = self.one(gate.right)
            return (owed.found.here if owed.found and value == g.HERE else value) or ""
        if isinstance(gate, g.Check) and gate.kind == "number":
            return self.random.choice(("7", "many"))
        if not owed.options or self.random.random() > 0.95:
            return "perhaps"
        return self.one(self.onward(owed) if self.random.random() < 0.95 else owed.options)

    def onward(self, owed: Stage) -> Sequence[str]:
        """The answers that do not end the work."""
        step, found = owed.step, owed.found
        if step is None or found is None:
            return owed.options
        good = self.good(found)
        ways = {a.value: a.target for a in step.branch.arms}
        wanted = [o for o in owed.options if (t := ways.get(o) or ways.get(None)) and leads(t, good)]
        return wanted or owed.options

    def good(self, found: g.Found) -> frozenset[str]:
        """The nodes from which the end of the work can be reached."""
        body, contract = found.body, found.procedure.contract
        wanted = next(iter(contract.exits)) if contract is not None else "done"
        if id(body) not in self.known:
            good: frozenset[str] = frozenset()
            while True:
                more = good | {n for n, node in body.nodes.items() if any(leads(t, good) for t in ways_of(node))}
                more |= {n for n, node in body.nodes.items() if isinstance(node, g.End) and node.kind == wanted}
                if more == good:
                    break
                good = more
            self.known[id(body)] = good
        return self.known[id(body)]

    def typed(self, state: State, owed: Stage, *, right: bool) -> AnyAct:
        gate = owed.step.gate if owed.step else None
        if isinstance(gate, g.Reading):
            if gate.instead and self.random.random() < 0.1:
                return ac.Instead(result=gate.instead[0])
            fitting = self.fitting(state, owed, gate) if right and self.random.random() < 0.8 else None
            values: Sequence[str] = (fitting,) if fitting else RIGHT if right else ("-5", "thick", "3 N m", "")
            clicks = "" if gate.clicks is None else str(gate.clicks) if right else "0"
            return ac.Enter(typed=[self.one(values) for _ in range(gate.points)], clicks=clicks)
        if not right:
            return ac.Instead(result="owed until sign-off")
        if isinstance(gate, g.Photo):
            return ac.Enter(typed=["0123456789abcdef" * 4])
        return ac.Enter(typed=["AB123"])

    def fitting(self, state: State, owed: Stage, gate: g.Reading) -> str | None:
        """A value inside the first band that leads on with the work."""
        found, step = owed.found, owed.step
        if found is None or step is None or not gate.bands:
            return None
        ways, good = {a.value: a.target for a in step.branch.arms}, self.good(found)
        band = next((b for b in gate.bands if (t := ways.get(b.outcome)) and leads(t, good)), gate.bands[0])
        ends = [e and worth(found.procedure, state, e, found.here) for e in (band.low, band.high)]
        low, high = (e.within(gate.unit)[0] if isinstance(e, Quantity) else None for e in ends)
        value = low * 2 if low and high is None else high / 2 if high and low is None else low or high
        return None if value is None else f"{float(value):.3f} {gate.unit.symbol}"

    def supply(self, name: str, *, right: bool) -> AnyAct:
        ask = self.procedure.asks.get(name.partition("@")[0])
        typed = self.values.get(name, "9") if right else "thick"
        return ac.Supply(name=name, typed=typed, source=self.one(ask.sources) if ask else "")

    def outer(self, state: State) -> AnyAct:
        """What may be asked for at any time, whatever the step wants."""
        pick, one = self.random, self.one
        trail = [v.path for v in visits(state)] if state.line < 400 else []
        match pick.randrange(24):
            case 0 | 1:
                return ac.Hold()
            case 2:
                return ac.Resume(clean=pick.random() < 0.5, by=pick.choice(("", "JT")))
            case 3:
                return ac.Contradict(condition=one(self.conditions), holds=pick.random() < 0.5)
            case 4:
                return ac.Attest(condition=one(self.conditions), holds=pick.random() < 0.5)
            case 5:
                return ac.Restore(condition=one(self.conditions))
            case 6:
                return ac.ConfirmAgain(path=one(trail or self.paths))
            case 7:
                wanted = (may_do_again(self.procedure, state) or self.paths) if trail else self.paths
                return ac.DoAgain(path=one(wanted), admissible=pick.random() < 0.8)
            case 8 if pick.random() < 0.15:
                line = pick.randrange(state.line + 2)
                name = one(self.asks)
                return ac.Correct(line=line, typed=[one(("6", "20", "many"))], reason=one(REASONS), name=name)
            case 9:
                return ac.Override(reason=one(REASONS), initials="MB")
            case 10 if pick.random() < 0.3:
                return ac.Cannot(reason=one(REASONS), way=one(("step", "stop", "defer", "fly")))
            case 11 if pick.random() < 0.1:
                return ac.Abandon(reason="the work is given up")
            case 12:
                return ac.Note(what=one(("rust", "")), where="", severity=one(("fail", "awful")))
            case 13:
                return ac.Person(initials=one(("JT", "MB", "")))
            case 14:
                return ac.PartsCame(part=one(self.parts), have=pick.randrange(-1, 3))
            case 15:
                return ac.Supply(name=one(self.asks), typed=one(("6 mL", "x")), source="seen on the car")
            case 16:
                return ac.Look(level=one(self.levels), position=one(("MAX", "MIN", "cannot see")))
            case 17:
                return ac.MadeSafe(condition=one(self.conditions))
            case 18:
                return ac.Settle(owed=one(tuple(state.owed) or ("batch",)), text=one(("AB123", "")))
            case 19:
                return ac.Sign(initials="MB", meaning="performed")
            case 20:
                return ac.Report(used=one(("3", "300", "-1")))
            case 21:
                return pick.choice((ac.Accept(), ac.Retype(), ac.Beat(), ac.Assume(), ac.ConfirmRest()))
            case 22:
                return ac.Confirm(hazard="squirt", key=str(pick.randrange(10)))
            case _:
                return pick.choice((ac.Tick(), ac.Done(late=one(("", "9:05", "99"))), ac.Answer(value="clear")))


def leads(target: g.Target, good: frozenset[str]) -> bool:
    """Whether an edge leads on with the work."""
    return target.kind in ("next turn", "again") or (target.kind == "step" and target.name in good)


def ways_of(node: g.Node) -> tuple[g.Target, ...]:
    """Where a node leads when all goes well."""
    if isinstance(node, g.Step):
        return tuple(arm.target for arm in node.branch.arms)
    if isinstance(node, g.Each):
        return (node.then,)
    return tuple(node.exits.values()) if isinstance(node, g.Call) else ()
