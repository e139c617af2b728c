"""The pieces of which random procedures are made, each with its own way in and on, and what is certain after it."""

from __future__ import annotations

from itertools import pairwise
from random import Random

from tests.oracle.edges import renamed
from tests.oracle.plan import Node, Plan

ON = "@"
"""The way on, before it is known where that leads."""
MOST_STEPS = (5, 8, 10, 12)


def bare(**more: object) -> Node:
    """A step with nothing to it but this."""
    return {"needs": [], "makes": [], "ends": [], "deeds": [], "cautions": [], **more}


def phase(**more: object) -> Node:
    """A phase of a beat."""
    return {"makes": [], "ends": [], "deeds": [], "needs": [], **more}


class Pieces:
    """Makes the pieces of one plan; ``known`` is what is certain where the next one stands."""

    def __init__(self, seed: int, order: bool | None) -> None:
        self.random = Random(seed)
        self.made = Plan(seed=seed)
        self.order = order
        self.count, self.most = 0, self.random.choice(MOST_STEPS)
        self.known: dict[str, str] = {}
        self.block = ""
        self.told: list[str] = []
        self.tests: list[tuple[str, str, str]] = []

    def chance(self, share: float) -> bool:
        return self.random.random() < share

    def step(self, **more: object) -> Node:
        self.count += 1
        node = bare(**{"id": f"s{self.count}", "ways": {"": (ON, [], [])}, **more})
        self.restate(node)
        return node

    def restate(self, node: Node) -> None:
        """What the duties ask for stands at the step too, where it does for every way."""
        for d in self.made.duties:
            met = d["name"] in node["deeds"] and d["on"] == "deed"
            met |= d["on"] in ("make", "end") and d["name"] in node[d["on"] + "s"]
            met |= d["on"] == "place" and node.get("place") == d["name"]
            if met:
                node["needs"] += [n for n in d["needs"] if n not in node["needs"]]
                node["cautions"] += [h for h in d.get("hazards", ()) if h not in node["cautions"]]
            if d["on"] == "while" and d["name"] in node["makes"]:
                node["cautions"] += [h for h in d["hazards"] if h not in node["cautions"]]

    def joined(self, parts: list[list[Node]]) -> list[Node]:
        """The pieces one after the other: what leads on from one leads to the first node of the next."""
        parts = [p for p in parts if p]
        for one, other in pairwise(parts):
            for node in one:
                renamed(node, ON, other[0]["id"])
        return [n for p in parts for n in p]

    def out(self) -> str:
        """Where to leave early."""
        if self.block:
            return self.random.choice(("safe stop", "exit fault"))
        return self.random.choice(("safe stop", "halt"))

    def make(self, name: str) -> list[Node]:
        self.known[name] = "T"
        node = self.step(makes=[name])
        if self.chance(0.15):
            node["cannot"] = self.out()
        return [node]

    def use(self) -> list[Node]:
        """A step that needs something which is certain, or does a deed that rules watch."""
        sure = [n for n, v in self.known.items() if v == "T" and n in self.made.conditions]
        deeds = [f"use_{self.random.choice(sure)}"] if sure and self.chance(0.8) else []
        if not self.block and self.chance(0.7):
            deeds.append(f"d{len(self.told)}")
            self.told.append(deeds[-1])
        node = self.step(deeds=deeds)
        if self.known.get("s@rear") == "T" and not self.block and self.chance(0.5):
            node["deeds"].append("under_rear")
            self.restate(node)
        if self.chance(0.2):
            node["cannot"] = self.random.choice((ON, self.out()))
        if self.chance(0.1) and not node["makes"]:
            node["at_most"] = (self.random.choice((1, 1, 2)), self.out())
        return [node]

    def fact(self) -> str | None:
        free = [n for n in ("b", "w") if n in self.made.conditions and (n == "b" or self.block)]
        return self.random.choice(free) if free else None

    def choice(self) -> list[Node]:
        name = self.fact()
        first = self.step(choice=("yes", "no"))
        if name is None:
            first["ways"] = {"yes": (ON, [], []), "no": (ON if self.chance(0.5) else self.out(), [], [])}
            return [first]
        if self.chance(0.4):
            first["ways"] = {"yes": (ON, [name], []), "no": (ON, [], [name] if self.chance(0.5) else [])}
            self.known.pop(name, None)
            return [first]
        one, two = self.step(makes=[name]), self.step(makes=[name] if self.chance(0.6) else [])
        first["ways"] = {"yes": (one["id"], [], []), "no": (two["id"], [], [])}
        self.known.pop(name, None)
        if two["makes"]:
            self.known[name] = "T"
        return [first, one, two]

    def remembered(self) -> list[Node]:
        """Something is made for one answer only, and needed later for that answer only."""
        name = self.fact() if not self.block else None
        if name is None:
            return self.retry()
        by_car = bool(self.made.modes) and self.chance(0.6)
        one = self.step(makes=[name])
        if by_car:
            first = self.step(subject="mode", ways={"fitted": (one["id"], [], []), "missing": (ON, [], [])})
            self.tests.append(("mode", "fitted", name))
        else:
            first = self.step(choice=("yes", "no"), **{"as": "seen"})
            first["ways"] = {"yes": (one["id"], [], []), "no": (ON, [], [])}
            self.tests.append(("seen", "yes", name))
        self.known.pop(name, None)
        return [first, one]

    def tested(self, subject: str, value: str, fact: str) -> list[Node]:
        one = self.step(deeds=[f"use_{fact}"])
        other = "missing" if subject == "mode" else "no"
        first = self.step(subject=subject, ways={value: (one["id"], [], []), other: (ON, [], [])})
        return [first, one]

    def retry(self) -> list[Node]:
        first, again = self.step(check=True), self.step()
        first["ways"] = {"met": (ON, [], []), "not so": (again["id"], [], [])}
        again["ways"] = {"": (first["id"], [], [])}
        again["at_most"] = (self.random.choice((1, 1, 1, 2)), self.random.choice((ON, self.out())))
        if self.chance(0.3):
            first["override"] = self.random.choice((ON, self.out()))
        if self.chance(0.3) and "b" in self.made.conditions:
            again["makes"] = ["b"]
            self.known.pop("b", None)
        return [first, again]

    def opening(self) -> list[Node]:
        name = "n" if self.block else "o"
        if name not in self.made.conditions or self.known.get(name, "F") != "F":
            return self.use()
        before = self.ready(name)
        first = self.step(makes=[name])
        self.known[name] = "T"
        inner = self.random.choice((self.use, self.retry, self.choice))() if self.chance(0.7) else []
        last = self.step(ends=[name])
        self.known[name] = "F"
        for node in inner:
            for key in ("override", "cannot"):
                if node.get(key) not in (None, ON):
                    node[key] = "safe stop"
            if node.get("at_most"):
                node["at_most"] = (node["at_most"][0], ON)
            renamed(node, "halt", "safe stop")
            renamed(node, "exit fault", "safe stop")
        return self.joined([before, [first], inner, [last]])

    def ready(self, name: str) -> list[Node]:
        """What making something asks for on the same corner, where it is not certain yet."""
        asked = any((d["on"], d["name"], d["needs"]) == ("make", name, ["w"]) for d in self.made.duties)
        return self.make("w") if asked and self.block and self.known.get("w") != "T" else []

    def wait(self) -> list[Node]:
        if self.block:
            return self.use()
        last = self.step(needs=["wait soak"])
        if self.chance(0.3):
            last["override"] = self.random.choice((ON, self.out()))
        return self.joined([[self.step(starts="soak")], self.use() if self.chance(0.3) else [], [last]])

    def fill(self) -> list[Node]:
        self.known["can"] = "full"
        return [self.step(sets=[(300, 5)])]

    def draw(self) -> list[Node]:
        """Fluid is drawn, by a count or at once; where it might run short it is filled up first."""
        most = self.random.choice((60, 90, 190))
        once = self.chance(0.3)
        full = self.known.pop("can", "") == "full" and not self.block
        move = {"from": "can", "each": (0, most), "low": 100}
        node = self.step()
        refill = self.step(sets=[(300, 5)])
        refill["ways"] = {"": (node["id"], [], [])}
        if once or self.chance(0.4):
            refill["at_most"] = (self.random.choice((1, 2)), self.out())
        if not full or self.chance(0.3):
            move["short"] = refill["id"]
        if once:
            node["moves"] = [move]
        else:
            node["count"] = self.strokes(move)
            node["ways"] = {"clear": (ON, [], [])}
            self.restate_count(node)
        if self.chance(0.25 if full and not self.block else 0.03):
            node["needs"].append("can 60 mL")
        if self.chance(0.2):
            node["cannot"] = self.out()
        if once and "short" not in move:
            return [node]
        if "short" not in move:
            move["short"] = refill["id"]
        filler = [] if full or not self.chance(0.3) else self.fill()
        return self.joined([filler, [node, refill]])

    def strokes(self, move: Node) -> Node:
        beat: list[Node] = [phase(deeds=["rise"])]
        if self.block and "n" in self.made.conditions:
            beat = [phase(makes=["n"]), phase(ends=["n"]), phase(deeds=["rise"])]
        bound = self.random.choice((ON, self.out()))
        return {"beat": beat, "draw": move, "grant": 2, "at_most": self.random.choice((2, 2, 2, 3)), "bound": bound}

    def restate_count(self, node: Node) -> None:
        changed = {c for phase in node["count"]["beat"] for c in (*phase["makes"], *phase["ends"])}
        for phase in node["count"]["beat"]:
            for d in self.made.duties:
                if d["on"] == "deed" and d["name"] in phase["deeds"] and (self.block or "n" not in "".join(d["needs"])):
                    phase["needs"] += d["needs"]
                    node["needs"] += [n for n in d["needs"] if n.split()[-1] not in changed]
                if d["on"] == "make" and d["name"] in phase["makes"]:
                    phase["needs"] += d["needs"]
                    node["needs"] += [n for n in d["needs"] if n not in node["needs"]]
                if d["on"] == "while" and d["name"] in phase["makes"]:
                    node["cautions"] += [h for h in d["hazards"] if h not in node["cautions"]]
        if not self.block:
            for phase in node["count"]["beat"]:
                phase["deeds"] = [d for d in phase["deeds"] if d != "rise"]

    def each(self) -> list[Node]:
        plan, outside = self.made, dict(self.known)
        by_car = self.chance(0.4) if self.order is None else self.order
        members = tuple(self.random.sample(("RR", "LR", "RF", "LF"), 2 if self.chance(0.9) else 3))
        order: object = members
        if self.order:
            plan.orders, order = {"one": ("RR", "LR", "RF", "LF")}, "order"
        elif by_car:
            plan.orders, order = {"one": members, "two": members[::-1]}, "order"
        self.block = "block"
        self.known.pop("can", None)
        inner: list[list[Node]] = []
        kinds = self.random.sample(["make", "opening", "retry", "use", "call", "choice"], 2)
        for kind in kinds:
            if kind == "make":
                inner.append(self.make("w") if "w" in plan.conditions else [])
            elif self.count < self.most - 3:
                inner.append(getattr(self, kind)())
        if self.chance(0.85):
            inner.append(self.ready("n"))
            inner.append(self.draw())
        if not any(inner):
            inner.append(self.use())
        body = self.joined(inner)
        for node in body:
            renamed(node, ON, "next corner")
        self.block = ""
        self.known = {k: v for k, v in outside.items() if k in ("a", "b", "o") and v == self.known.get(k)}
        exits = {"fault": self.random.choice(("halt", "safe stop"))}
        return [{"id": f"each{self.count}", "each": "corner", "order": order, "body": body, "then": ON, "exits": exits}]

    def call(self) -> list[Node]:
        """A fragment: it makes a fact and may come out by another exit."""
        plan, r = self.made, self.random
        axle = "s" in plan.conditions
        fact = "s" if axle else "b" if "b" in plan.conditions else None
        name = f"f{len(plan.fragments)}"
        if plan.fragments:
            name, f = next(iter(plan.fragments.items()))
        else:
            self.count += 3
            look = bare(id="look", check=True, ways={"met": ("lift", [], []), "not so": ("bad", [], [])})
            lift = bare(id="lift", makes=[fact] if fact else [], ways={"": ("ok", [], [])})
            if r.random() < 0.4:
                look["ways"]["not so"] = ("push", [], [])
            push = bare(id="push", ways={"": ("look", [], [])}, at_most=(1, "bad"))
            ends = [{"id": "ok", "end": "ok"}, {"id": "bad", "end": "bad"}]
            if axle and "b" in plan.conditions and r.random() < 0.5:
                lift["makes"].append("b")
            if self.known.get("a") == "T" and "keeps" not in plan.conditions["a"] and r.random() < 0.4:
                lift["needs"], lift["deeds"] = ["a"], ["use_a"]
                self.restate(lift)
            f = {"here": "axle" if axle else None, "needs": list(lift["needs"]), "exits": {}}
            f["body"] = [look, lift, push, *ends] if look["ways"]["not so"][0] == "push" else [look, lift, *ends]
            f["exits"] = {"ok": (list(lift["makes"]), []), "bad": ([], [])}
            plan.fragments[name] = f
        self.count += 1
        node: Node = {"id": f"s{self.count}", "call": name, "exits": {"ok": ON, "bad": self.out()}}
        if axle:
            node["at"] = None if self.block else "rear"
        if fact and r.random() < 0.6:
            node |= {"ensure": "s@rear" if axle and not self.block else fact, "skip": ON}
        if len(f["exits"]["ok"][0]) > 1:
            self.known["b"] = "T"
            if "ensure" in node:
                self.known.pop("b")
        if fact:
            self.known["s@rear" if axle and not self.block else fact] = "T"
        return [node]
