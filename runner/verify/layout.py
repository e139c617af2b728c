"""The fields that the proofs of a procedure follow, gathered from all that its flat graph does."""

from __future__ import annotations

from runner.core.graph import HERE, Holds, Need, Occasion, Procedure, Rule, instance, instances
from runner.verify.expand import Expanded
from runner.verify.fields import UNSET, Field, Layout, Waiting, alike, meant, member_of, paired
from runner.verify.steps import MOST_COUNTED, choices_of

MOST_IN_HAND = 12
MOST_ENTERED = 256
"""Past so many bounded steps a bound may seem to be reached at once; that is a false alarm at worst."""


def layout(procedure: Procedure, expanded: Expanded) -> Layout:
    """The fields that the proofs of a procedure follow, with the state in which it starts."""
    maker = _Maker(procedure, expanded)
    maker.conditions()
    maker.subjects()
    maker.things()
    maker.rules()
    maker.order()
    return maker.made()


class _Maker:
    def __init__(self, procedure: Procedure, expanded: Expanded) -> None:
        self.procedure = procedure
        self.expanded = expanded
        self.owners = (procedure, *procedure.fragments.values())
        self.fields: dict[str, Field] = {}
        self.next = 0
        self.start = 0
        self.monitors: dict[tuple[int, str], Field] = {}
        self.watchers: dict[str, list[tuple[int, int]]] = {}
        self.turns: dict[tuple[str, str], list[tuple[int, int]]] = {}
        self.over: dict[str, list[tuple[int, int]]] = {}
        self.ops = [(s, op) for s in expanded.stations for ops in (s.entry, *(e.ops for e in s.edges)) for op in ops]
        self.turned = sorted({(op.name, op.values[0]) for _, op in self.ops if op.verb == "turn"})
        self.before: Waiting = {}
        self.blocks: dict[str, set[str]] = {}
        for station, op in self.ops:
            self.blocks.setdefault(op.told, set()).add(station.block)
        self.plain: dict[str, list[str]] = {}
        for told in self.blocks:
            self.plain.setdefault(told.partition("@")[0], []).append(told)
        self.add("reached", ("yes",), "yes")

    def add(self, name: str, states: tuple[str, ...], *start: str) -> Field:
        made = Field(name, self.next, states)
        self.fields[name] = made
        self.next += len(states)
        self.start |= made.bits(*(start or states[:1]))
        return made

    def conditions(self) -> None:
        names = {op.name.partition("@")[0] for _, op in self.ops if op.verb in ("make", "end", "lose", "waver")}
        names |= {a.instance.partition("@")[0] for s in self.expanded.stations for a in s.asked}
        names |= {e.when.field.partition("@")[0] for s in self.expanded.stations for e in s.edges if e.when}
        names |= {n.ref.name for d in self.procedure.vocabulary.duties for n in d.needs if isinstance(n, Holds)}
        names |= {r.name for rule in self.procedure.rules for r in rule.refs}
        for owner in self.owners:
            contract = owner.contract
            if contract is not None:
                names |= {r.name for pair in contract.exits.values() for refs in pair for r in refs}
                names |= {n.ref.name for n in contract.needs if isinstance(n, Holds)}
        any_state = ("T", "F", "U") if self.procedure.is_fragment else ("U",)
        for name in instances(self.procedure.conditions):
            if name.partition("@")[0] in names:
                self.add(name, ("T", "F", "U"), *any_state)

    def subjects(self) -> None:
        choices: dict[str, tuple[str, ...]] = {}
        for owner in self.owners:
            for name, values in choices_of(owner).items():
                choices[name] = tuple(dict.fromkeys((*choices.get(name, ()), *values)))
            for ask in owner.asks.values():
                if ask.kind == "choice" and f"ask {ask.name}" not in self.fields:
                    self.add(f"ask {ask.name}", ask.options, *ask.options)
        for name, values in choices.items():
            made = self.add(f"choice {name}", (UNSET, *values))
            for station, op in self.ops:
                if op.verb == "choose" and op.name == name:
                    self._dies(station.block, made)

    def _dies(self, block: str, made: Field) -> None:
        parts = block.rstrip("/").split("/") if block else []
        for at in range(len(parts)):
            key = "/".join(parts[: at + 1])
            pair = (made.mask, made.bits(made.states[0]))
            if pair not in self.over.setdefault(key, []):
                self.over[key].append(pair)

    def things(self) -> None:
        for owner in self.owners:
            for wait in owner.waits:
                if f"wait {wait}" not in self.fields:
                    self.add(f"wait {wait}", ("idle", "started"))
            for part in owner.parts.values():
                if part.single_use and f"in hand {part.name}" not in self.fields:
                    have = min(part.have, MOST_IN_HAND)
                    self.add(f"in hand {part.name}", tuple(map(str, range(have + 1))), str(have))
        for name in sorted({op.name for _, op in self.ops if op.verb == "read"}):
            self.add(f"reading {name}", (UNSET, "taken"))
        entered = {op.name: int(op.values[0]) for _, op in self.ops if op.verb == "enter"}
        for name, times in entered.items() if len(entered) <= MOST_ENTERED else ():
            self._entered(name, times)
        watched = {h for d in self.procedure.vocabulary.duties if d.on == "while" for h in d.hazards}
        for hazard in sorted(watched):
            made = self.add(f"told {hazard}", ("not in effect", "in effect"))
            pair = (made.mask, made.bits("not in effect"))
            for turn in self.turned:
                self.turns.setdefault(turn, []).append(pair)
                if pair not in self.over.setdefault(turn[0], []):
                    self.over[turn[0]].append(pair)

    def _entered(self, name: str, times: int) -> None:
        """How often a bounded step may still be entered; every turn of a block around it begins anew."""
        if times <= MOST_COUNTED and not name.startswith("beats of "):
            made = self.add(f"entries left {name}", tuple(map(str, range(times + 1))), str(times))
            anew = made.bits(str(times))
        else:
            made = self.add(f"entered {name}", ("not yet", "before"))
            anew = made.bits("not yet")
        blocks = self.blocks[f"enter {name}"]
        for turn in self.turned:
            # A step counts for each turn by itself, and for all of them anew when its block is walked again.
            if all(b.startswith(f"{turn[0]}/") for b in blocks):
                self.turns.setdefault(turn, []).append((made.mask, anew))

    def rules(self) -> None:
        for at, rule in enumerate(self.procedure.rules):
            if rule.what is None or rule.other is None:
                continue
            whats, others = self._told(rule.what), self._told(rule.other)
            for member in sorted({member_of(t) for t in whats}):
                states = ("not yet", "happened") if rule.kind == "only_after" else ("nothing owed", "owed")
                made = self.add(f"rule {at} {member}", states)
                self.monitors[at, member] = made
                self._watch(rule, made, [t for t in whats if member_of(t) == member], others, member)
                self._renew(rule, made, member)

    def _told(self, occasion: Occasion) -> list[str]:
        """What takes place somewhere and is meant by an occasion of a rule, in the order in which it stands."""
        return [t for t in self.plain.get(f"{occasion.on} {occasion.name}", ()) if meant(occasion, t)]

    def _watch(self, rule: Rule, made: Field, whats: list[str], others: list[str], member: str) -> None:
        first, second = made.states
        outcome = second if rule.kind == "only_after" else first
        for told in others:
            if rule.other is not None and paired(rule.other, told, member):
                self.watchers.setdefault(told, []).append((made.mask, made.bits(outcome)))
        if rule.kind == "must_follow":
            for told in whats:  # last: what follows itself is owed anew
                self.watchers.setdefault(told, []).append((made.mask, made.bits(second)))

    def _renew(self, rule: Rule, made: Field, member: str) -> None:
        """Both inside one block: what happened in an earlier turn of this member does not count."""
        at = rule.other.at if rule.other is not None else None
        elsewhere = at not in (None, HERE) and not alike(at or "", member)
        if rule.kind != "only_after" or not member or elsewhere:
            return
        both = tuple(o for o in (rule.what, rule.other) if o is not None)
        blocks = {b for o in both for told in self._told(o) for b in self.blocks[told]}
        for block, now in self.turned:
            if now == member and all(b.startswith(f"{block}/") for b in blocks):
                self.turns.setdefault((block, member), []).append((made.mask, made.bits("not yet")))

    def order(self) -> None:
        """One field for each node and outcomes that another one of its body waits for; every turn begins anew."""
        for station in self.expanded.stations:
            for one in getattr(station.node, "after", ()):
                fields = self.before.setdefault(name := f"{station.block}{one.node}", {})
                if one.outcomes in fields:
                    continue
                made = self.add(f"before {' '.join((name, *one.outcomes))}", ("not yet", "done"))
                fields[one.outcomes] = made
                for turn in self.turned:
                    if station.block.startswith(f"{turn[0]}/"):
                        self.turns.setdefault(turn, []).append((made.mask, made.bits("not yet")))

    def made(self) -> Layout:
        contract = self.procedure.contract
        self._hold(self.procedure.assumes + (contract.needs if contract is not None else ()))
        return Layout(
            fields=self.fields,
            monitors=self.monitors,
            watchers={k: tuple(v) for k, v in self.watchers.items()},
            turns={k: tuple(v) for k, v in self.turns.items()},
            over={k: tuple(v) for k, v in self.over.items()},
            start=self.start,
            order=self.before,
        )

    def _hold(self, needs: tuple[Need, ...]) -> None:
        here = self.expanded.points[0].frame.here
        for need in needs:
            if isinstance(need, Holds):
                made = self.fields.get(instance(self.procedure.conditions, need.ref, here))
                if made is not None:
                    self.start = self.start & ~made.mask | made.bits("T" if need.wanted else "F")
