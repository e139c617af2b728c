"""A second reading of what a procedure means: it walks the unexpanded graph, one concrete state at a time.

It shares nothing with the proofs: its own stack of scopes, plain dictionaries of values, and every way tried.
What it finds broken is a set of (check, place).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

from runner.core.finding import Place
from runner.core.graph import (
    Call,
    Count,
    Each,
    End,
    Holds,
    Node,
    Procedure,
    Ref,
    Step,
    Target,
    find,
    instance,
    instances,
    outcomes,
    parent,
)

Values = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Spot:
    """One concrete state: the path, the values, entries so far, the turns that are over, what happened."""

    path: str
    values: Values
    entries: tuple[tuple[str, int], ...] = ()
    over: tuple[tuple[str, tuple[str, ...]], ...] = ()
    happened: frozenset[str] = frozenset()
    choices: Values = ()


class Walker:
    """Walks every way of one procedure."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        self.broken: set[tuple[str, Place]] = set()
        self.seen: set[Spot] = set()
        self.todo: deque[Spot] = deque()

    def walk(self, most: int = 40_000) -> set[tuple[str, Place]] | None:
        """What is broken on some way; None when there are too many states."""
        values = dict.fromkeys(instances(self.procedure.conditions), "U")
        for need in self.procedure.assumes:
            assert isinstance(need, Holds)
            values[self.name(need.ref, None)] = "T" if need.wanted else "F"
        self.arrive(Spot("", tuple(sorted(values.items()))), self.procedure.body.first)
        while self.todo:
            if len(self.seen) > most:
                return None
            self.stand(self.todo.popleft())
        return self.broken

    def name(self, ref: Ref, here: str | None) -> str:
        return instance(self.procedure.conditions, ref, here)

    def arrive(self, spot: Spot, path: str) -> None:
        found = find(self.procedure, path)
        node = found.node
        if isinstance(node, Call):
            values = dict(spot.values)
            if node.ensure and values[self.name(node.ensure, found.here)] == "T":
                self.follow(spot, path, node.skip)
                return
            self.arrive(spot, f"{path}/{self.procedure.fragments[node.fragment].body.first}")
        elif isinstance(node, Each):
            anew = tuple(e for e in spot.entries if not e[0].startswith(f"{path}/"))
            self.turns(replace(spot, over=put(spot.over, path, ()), entries=anew), path, node)
        elif isinstance(node, End) and (above := self.caller(path)) is not None:
            call = find(self.procedure, above).node
            assert isinstance(call, Call)
            self.follow(spot, above, call.exits[node.kind])
        elif isinstance(node, Step) and node.bound and dict(spot.entries).get(path, 0) >= node.bound.times:
            self.follow(spot, path, node.bound.then)
        else:
            if isinstance(node, Step) and node.bound:
                spot = replace(spot, entries=put(spot.entries, path, dict(spot.entries).get(path, 0) + 1))
            new = replace(spot, path=path)
            if new not in self.seen:
                self.seen.add(new)
                self.todo.append(new)

    def caller(self, path: str) -> str | None:
        above = parent(self.procedure, path)
        return above if above is not None and isinstance(find(self.procedure, above).node, Call) else None

    def turns(self, spot: Spot, path: str, node: Each) -> None:
        over = dict(spot.over)[path]
        members = node.order if isinstance(node.order, tuple) else ("LF", "RF", "LR", "RR")
        left = [m for m in members if m not in over]
        if not left:
            self.follow(spot, path, node.then)
        for member in left if isinstance(node.order, str) else left[:1]:
            self.arrive(spot, f"{path}/{member}/{node.body.first}")

    def follow(self, spot: Spot, path: str, target: Target | None) -> None:
        assert target is not None
        above = parent(self.procedure, path)
        if target.kind == "step":
            self.arrive(spot, (path.rpartition("/")[0] + "/" if "/" in path else "") + target.name)
        elif target.kind == "again":
            self.arrive(spot, path)
        elif target.kind == "exit":
            assert above is not None
            node = find(self.procedure, above).node
            assert isinstance(node, Call | Each)
            self.follow(spot, above, node.exits[target.name])
        elif target.kind == "next turn":
            while above is not None and not isinstance(find(self.procedure, above).node, Each):
                above = parent(self.procedure, above)
            assert above is not None
            block = find(self.procedure, above).node
            assert isinstance(block, Each)
            member = path[len(above) + 1 :].partition("/")[0]
            done = (*dict(spot.over)[above], member)
            self.turns(replace(spot, over=put(spot.over, above, tuple(sorted(done)))), above, block)

    def stand(self, spot: Spot) -> None:
        found = find(self.procedure, spot.path)
        node: Node = found.node
        if isinstance(node, End):
            self.ended(spot, node)
            return
        assert isinstance(node, Step)
        values, now = dict(spot.values), dict(spot.values)
        for need in node.needs:
            assert isinstance(need, Holds)
            wanted, name = "T" if need.wanted else "F", self.name(need.ref, found.here)
            if now[name] != wanted:
                self.broken.add(("needs", need.place))
            # Taken to hold from here on, so that one fault is one report.
            values[name] = wanted
        spot = replace(spot, values=tuple(sorted(values.items())))
        self.early(spot, node, f"step {node.id}", found.here)
        if isinstance(node.gate, Count):
            self.count(spot, node, found.here)
            return
        self.out(spot, node, found.here)
        self.undone(spot, node, found.here)

    def count(self, spot: Spot, node: Step, here: str | None) -> None:
        """One or more beats, then the answer; a bound only after a beat."""
        gate = node.gate
        assert isinstance(gate, Count)
        resting, seen = [(spot, False)], set()
        while resting:
            now, granted = resting.pop()
            if (now, granted) in seen:
                continue
            seen.add((now, granted))
            after = now
            for phase in gate.beat:
                for need in phase.needs:
                    assert isinstance(need, Holds)
                    wanted, name = "T" if need.wanted else "F", self.name(need.ref, here)
                    if dict(after.values)[name] != wanted:
                        self.broken.add(("needs", need.place))
                        after = self.with_(after, {name: wanted})
                after = self.change(after, phase.ends, phase.makes, here)
            resting.append((after, True))
            self.out(after, node, here)
            if granted or gate.beat:
                self.follow(after, spot.path, gate.bound)
            self.undone(now, node, here)

    def out(self, spot: Spot, node: Step, here: str | None) -> None:
        left = list(outcomes(node.gate)) if node.branch.subject == "gate" else []
        told = [f"step {node.id}", *(f"deed {d}" for d in node.deeds)]
        for word in told[1:]:
            self.early(spot, node, word, here)
        name = getattr(node.gate, "name", None)
        for arm in node.branch.arms:
            if node.branch.subject != "gate" and dict(spot.choices).get(node.branch.subject) != arm.value:
                continue
            taken = [o for o in left if arm.value in (None, o)]
            if left and not taken:
                continue
            left = [o for o in left if o not in taken]
            gone = self.change(spot, node.ends, node.makes, here)
            gone = self.change(gone, arm.ends, arm.makes, here)
            gone = replace(gone, happened=gone.happened | {f"{t}@{here}" if here else t for t in told})
            for value in taken or [""]:
                noted = replace(gone, choices=put(gone.choices, name, value)) if name and value else gone
                self.follow(noted, spot.path, arm.target)

    def undone(self, spot: Spot, node: Step, here: str | None) -> None:
        by_arm = (r for a in node.branch.arms for r in (*a.makes, *a.ends))
        lost = {self.name(r, here): "U" for r in (*node.makes, *node.ends, *by_arm)}
        beat = node.gate.beat if isinstance(node.gate, Count) else ()
        begun = {self.name(r, here): "U" for p in beat for r in (*p.makes, *p.ends)}
        for target in (node.override, node.cannot):
            for more in ({}, begun) if target is not None else ():
                self.follow(self.with_(spot, lost | more), spot.path, target)

    def change(self, spot: Spot, ends: tuple[Ref, ...], makes: tuple[Ref, ...], here: str | None) -> Spot:
        for ref, new in [*((r, "F") for r in ends), *((r, "T") for r in makes)]:
            name = self.name(ref, here)
            if self.procedure.conditions[ref.name].kind == "opening" and dict(spot.values)[name] == new:
                self.broken.add(("opening", ref.place))
            spot = self.with_(spot, {name: new})
        return spot

    def with_(self, spot: Spot, changes: dict[str, str]) -> Spot:
        return replace(spot, values=tuple(sorted((dict(spot.values) | changes).items())))

    def early(self, spot: Spot, node: Step, word: str, here: str | None) -> None:
        for rule in self.procedure.rules:
            if rule.kind == "only_after" and rule.what and rule.other and word == f"{rule.what.on} {rule.what.name}":
                plain = f"{rule.other.on} {rule.other.name}"
                before = {h for h in spot.happened if h.partition("@")[0] == plain}
                if not any(here is None or h.partition("@")[2] in ("", here) for h in before):
                    self.broken.add(("rule", node.place))

    def ended(self, spot: Spot, node: End) -> None:
        if node.kind != "done":
            return
        for name, value in spot.values:
            base = self.procedure.conditions[name.partition("@")[0]]
            if base.kind == "opening" and value != "F":
                self.broken.add(("end", node.place))


def put(pairs: tuple[tuple[str, object], ...], key: str, value: object) -> tuple:
    """The pairs with this one in place of the old one."""
    return tuple(sorted((dict(pairs) | {key: value}).items()))
