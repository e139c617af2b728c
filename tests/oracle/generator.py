"""Random procedures that make sense: built from pieces that fit, then spoiled a little in about half of them.

Steering: while a piece is chosen it is known which conditions are certain there, so that what is not spoiled is
mostly clean although it loops, calls, counts, overrides and leaves early.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from random import Random

from tests.oracle.ordering import ordered
from tests.oracle.pieces import Pieces
from tests.oracle.plan import Node, Plan
from tests.oracle.spoiling import spoil, tidy


def grown(seed: int, *, order: bool | None = None) -> Plan:
    """The plan of this seed; with ``order`` its block follows an order of four corners from the car."""
    plan = _Grower(seed, order).plan()
    r = Random(f"spoil {seed}")
    if r.random() < 0.7:
        for _ in range(r.choice((1, 1, 2))):
            spoil(plan, r)
    return plan


class _Grower(Pieces):
    def plan(self) -> Plan:
        plan, r = self.made, self.random
        plan.conditions["a"] = {"kind": "fact"}
        if self.chance(0.35):
            plan.conditions["a"]["keeps"] = r.choice(("this stretch", Fraction(3000)))
        others = r.sample(["b", "o", "n", "w", "s"], 3)
        table = {"b": {"kind": "fact"}, "o": {"kind": "opening", "rank": 2}, "n": {"kind": "opening", "rank": 1}}
        table |= {"w": {"kind": "fact"}, "s": {"kind": "fact", "index": "axle"}}
        for name in others:
            plan.conditions[name] = table[name]
            if name in ("n", "w"):
                plan.conditions[name]["index"] = "corner"
        for name, c in plan.conditions.items():
            if c["kind"] == "opening":
                plan.assumes.append(f"none {name}" if c.get("index") else f"not {name}")
                c["if_left"] = r.choice(("close", "close", "may stay"))
            plan.duties.append({"on": "deed", "name": f"use_{name}", "needs": [name]})
            if self.chance(0.4):
                plan.duties[-1]["hazards"] = ["burn"]
        if self.chance(0.4):
            plan.modes.append("mode")
        if "s" in plan.conditions:
            plan.duties.append({"on": "deed", "name": "under_rear", "needs": ["s@rear"]})
        self.more_duties()
        self.known = {n: "F" for n in ("o",) if n in plan.conditions}
        plan.body = self.joined([*self.pieces(), [{"id": "done", "end": "done"}]])
        plan.body.append({"id": "halt", "end": "stopped"})
        self.rules()
        tidy(plan)
        if self.chance(0.5):
            ordered(plan, r)
        return plan

    def more_duties(self) -> None:
        plan, names = self.made, self.made.conditions
        if "o" in names and self.chance(0.4):
            plan.duties.append({"on": self.random.choice(("make", "end")), "name": "o", "needs": ["a"]})
        if "n" in names and self.chance(0.4):
            plan.duties.append({"on": "while", "name": "n", "needs": [], "hazards": ["squirt"]})
        if "n" in names and self.chance(0.5):
            plan.duties.append({"on": "deed", "name": "rise", "needs": ["not n"]})
            if plan.modes and self.chance(0.6):
                plan.duties[-1]["unless"] = ("mode", "fitted")
        if {"n", "w"} <= names.keys() and Random(f"on one corner {plan.seed}").random() < 0.5:
            plan.duties.append({"on": "make", "name": "n", "needs": ["w"]})
        if "b" in names and plan.modes:
            plan.duties.append({"on": "deed", "name": "pour", "needs": ["b"], "unless": ("mode", "fitted")})

    # ── pieces ───────────────────────────────────────────────────────────────────────────────────

    def pieces(self) -> Iterator[list[Node]]:
        middle: list[Callable[[], list[Node]]] = []
        if self.chance(0.85):
            middle.append(self.call)
        if self.chance(0.85):
            middle.append(self.each)
        elif self.chance(0.7):
            middle.append(self.draw)
        more = [self.retry, self.choice, self.opening, self.wait, self.remembered]
        if self.made.modes and "b" in self.made.conditions:
            middle += [self.remembered, *self.random.sample(more[:-1], 1)]
        else:
            middle += self.random.sample(more, 2)
        self.random.shuffle(middle)
        yield self.make("a")
        wide = self.made.conditions.get("o", {}).get("if_left") == "may stay" and self.chance(0.4)
        if wide:
            self.known["o"] = "T"
            yield [self.step(makes=["o"])]
        if "each" not in [m.__name__ for m in middle] or self.chance(0.9):
            yield self.fill()
            if self.chance(0.3):
                yield self.draw()
        for piece in middle:
            if self.count < self.most - 2 or piece.__name__ in ("each", "call"):
                yield piece()
            if self.chance(0.3) and self.count < self.most:
                yield self.use()
        for name, value, fact in self.tests:
            yield self.tested(name, value, fact)
        if wide:
            yield [self.step(ends=["o"])]

    def rules(self) -> None:
        plan, r = self.made, self.random
        if len(self.told) >= 2:
            one, two = self.told[0], self.told[-1]
            if self.chance(0.6):
                plan.rules.append(("only_after", (f"deed {two}", f"deed {one}")))
            if self.chance(0.4):
                plan.rules.append(("must_follow", (f"deed {one}", f"deed {two}")))
        if "n" in plan.conditions and self.chance(0.5):
            plan.rules.append(("at_most_one", ("n",)))
        if {"o", "n"} <= plan.conditions.keys() and self.chance(0.4):
            plan.rules.append(("never_together", ("o", "n")))
        sure = [
            n for n in ("a", "b") if self.known.get(n) == "T" and "keeps" not in plan.conditions.get(n, {"keeps": 1})
        ]
        if sure and self.chance(0.5):
            plan.rules.append(("at_end", (r.choice(sure),)))
        if "w" in plan.conditions and self.chance(0.3):
            plan.rules.append(("only_after", ("make w", "step s1")))
