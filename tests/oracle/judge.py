"""What a procedure means, by plain definitions over the whole list of what happened; it shares nothing with the proofs.

A history is the list of events of a run, line by line. Each definition looks back over all of it: what a condition is
at a moment is what the latest event before it said; a rule holds if for every occasion there is an earlier other one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache

from runner.core import event as ev
from runner.core import graph as g
from runner.core.event import AnyEvent
from runner.core.graph import Procedure
from tests.oracle.history import Line, alike, changes, told, value, words
from tests.oracle.sequence import early

BY_NO_ARM = ("bound", "skipped", "short", "full", "override", "cannot")
Happens = tuple[str, str, g.Ref | None]


def paired(occasion: g.Occasion | None, one: str, other: str) -> bool:
    """Whether two words lie on one member of the car, save where the rule names a member of its own."""
    return occasion is not None and (occasion.at not in (None, "here") or alike(one, other))


def meant(occasion: g.Occasion | None, word: str) -> bool:
    """Whether an occasion of a rule is this one."""
    plain, _, member = word.partition("@")
    return occasion is not None and plain == f"{occasion.on} {occasion.name}" and occasion.at in (None, "here", member)


@dataclass
class Moment:
    """One step or beat while it is done: what held when it began, what it made so far, what happened so far."""

    start: Line | None
    history: Line
    path: str
    node: g.Step
    here: str | None
    said: list[str]
    made: dict[str, str] = field(default_factory=dict)

    def now(self, name: str) -> str:
        """The condition at this moment."""
        return self.made.get(name) or value(self.start, name)

    def at_entry(self, name: str) -> str:
        """The condition as it was when the step was come to (a break inside a step may find it half done)."""
        line: Line | None = self.history
        while line is not None and name not in self.made:
            for at in range(len(line.events) - 1, -1, -1):
                event = line.events[at]
                if isinstance(event, ev.Arrived) and event.path == self.path:
                    return value(Line(line.events[:at], (), line.before), name)
            line = line.before
        return self.now(name)

    def confirmed(self, hazard: str) -> bool:
        """Whether the message was confirmed at this step, since it was come to; at a count, ever in this turn."""
        for event in told(self.history):
            if isinstance(event, ev.Confirmed) and event.path == self.path and hazard in event.hazards:
                return True
            if isinstance(event, ev.OrderSet) and self.path.startswith(f"{event.block}/"):
                return False
            if isinstance(event, ev.Arrived) and event.path == self.path and not isinstance(self.node.gate, g.Count):
                return False
        return False

    def in_effect(self, hazard: str) -> bool:
        """Whether the message was confirmed anywhere since a turn began or ended last."""
        for event in told(self.history):
            if isinstance(event, ev.TurnOver | ev.OrderSet):
                return False
            if isinstance(event, ev.Confirmed) and hazard in event.hazards:
                return True
        return False


class Judge:
    """Judges the newest line of a history against all lines before it."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        self.conditions = procedure.conditions
        self.duties = procedure.vocabulary.duties
        self.spot = lru_cache(maxsize=None)(self.found)

    def found(self, path: str) -> tuple[g.Node, str | None]:
        """The node at a path and the corner or axle that is here, walked down by hand."""
        nodes, here, ids = self.procedure.body.nodes, None, path.split("/")
        while len(ids) > 1:
            node = nodes[ids.pop(0)]
            if isinstance(node, g.Each):
                here, nodes = ids.pop(0), node.body.nodes
            elif isinstance(node, g.Call):
                owner = self.procedure.fragments[node.fragment]
                here = here if node.at in (None, "here") else node.at
                here = g.AXLE_OF.get(here or "", here) if owner.here == "axle" else here
                nodes = owner.body.nodes
        return nodes[ids[0]], here

    def name(self, ref: g.Ref, here: str | None) -> str:
        """The condition instance that a reference means at a place."""
        index = self.conditions[ref.name].index
        if index is None:
            return ref.name
        at = here if ref.at in (None, "here") else ref.at
        return f"{ref.name}@{g.AXLE_OF.get(at or '', at) if index == 'axle' else at}"

    def instances(self, name: str) -> tuple[str, ...]:
        """All instances of a condition."""
        index = self.conditions[name].index
        return (name,) if index is None else tuple(f"{name}@{m}" for m in g.MEMBERS[index])

    def judged(self, before: Line | None, events: tuple[AnyEvent, ...]) -> tuple[Line, list[str]]:
        """The history with this line, and what is wrong with the line."""
        wrong: list[str] = []
        said: list[str] = []
        for at, event in enumerate(events):
            history = Line(events[:at], tuple(said), before)
            wrong += early(self.procedure, history, event)
            match event:
                case ev.Left(path=path, outcome=outcome) if outcome not in BY_NO_ARM:
                    node, here = self.spot(path)
                    if isinstance(node, g.Step):
                        wrong += self.left(Moment(before, history, path, node, here, said), outcome)
                case ev.Granted(path=path):
                    node, here = self.spot(path)
                    assert isinstance(node, g.Step)
                    wrong += self.entered(Moment(before, history, path, node, here, said))
                case ev.Returned(path=path, used=used) if used:
                    wrong += self.beats(history, path, used, said)
                case ev.Arrived(path=path) if path not in ("safe stop", ""):
                    if not isinstance(self.spot(path)[0], g.Step | g.End):
                        wrong.append(f"end: the run stands at '{path}', which is no step")
                case ev.Ended():
                    wrong += self.ended(history, event)
                case ev.Became(changes=made, why="made safe"):
                    wrong += (w for name, new in made.items() for w in self.closing(history, name, new))
                case _:
                    pass
        return Line(events, tuple(said), before), wrong

    def entered(self, moment: Moment) -> Iterator[str]:
        """What holds while a step is done: its needs, the duties of its place, the messages that must stand."""
        for need in moment.node.needs:
            started = (e.wait for e in told(moment.start) if isinstance(e, ev.WaitStarted))
            if isinstance(need, g.WaitNeed) and need.wait not in started:
                yield f"needs: '{moment.path}' was done though '{need.wait}' was never started"
        yield from self.unmet(moment, moment.node.needs, "needs", moment.path)
        yield from self.asked(moment, "place", moment.node.where)
        yield from self.standing(moment)

    def unmet(self, moment: Moment, needs: Iterable[g.Need], check: str, at: str) -> Iterator[str]:
        """The needs that do not hold at this moment."""
        for need in needs:
            if isinstance(need, g.Holds):
                if moment.now(self.name(need.ref, moment.here)) != ("T" if need.wanted else "F"):
                    yield f"{check}: '{at}' without '{need.said}'"

    def standing(self, moment: Moment) -> Iterator[str]:
        """The messages that must be in effect while something is open."""
        for duty in self.duties:
            if duty.on == "while" and any(moment.now(i) == "T" for i in self.instances(duty.name)):
                for hazard in (h for h in duty.hazards if not moment.in_effect(h)):
                    yield f"caution: '{hazard}' not told at '{moment.path}'"

    def left(self, moment: Moment, outcome: str) -> Iterator[str]:
        """A step that was done: everything on it holds at its own moment, one thing after the other."""
        step, subject = moment.node, moment.node.branch.subject
        value_of = outcome if subject == "gate" else self.subject(moment.history, subject)
        arm = next((a for a in step.branch.arms if a.value in (None, value_of)), None)
        if arm is None:
            yield f"unset: '{moment.path}' was left by no arm"
            return
        if not isinstance(step.gate, g.Count):
            yield from self.entered(moment)
        yield from self.happening(moment, [("step", step.id, None), *doing(step.deeds, step.ends, step.makes)])
        yield from self.happening(moment, doing((), arm.ends, arm.makes))

    def beats(self, history: Line, path: str, used: int, said: list[str]) -> Iterator[str]:
        """The beats of a grant, phase by phase, from what held before it was given."""
        node, here = self.spot(path)
        assert isinstance(node, g.Step) and isinstance(node.gate, g.Count)  # noqa: PT018
        given: Line | None = history
        while given is not None and not any(isinstance(e, ev.Granted) for e in given.events):
            given = given.before
        moment = Moment(given.before if given is not None else None, history, path, node, here, said)
        for phase in node.gate.beat * min(used, 2):
            yield from self.unmet(moment, phase.needs, "needs", f"a beat of {path}")
            yield from self.standing(moment)
            yield from self.happening(moment, doing(phase.deeds, phase.ends, phase.makes))

    def happening(self, moment: Moment, happens: Iterable[Happens]) -> Iterator[str]:
        """One thing after the other: what the duties ask for, what opens and closes, what the rules say."""
        for on, name, ref in happens:
            member = None if ref is None else self.name(ref, moment.here).partition("@")[2]
            yield from self.asked(moment, on, name, member)
            if ref is None:
                word = f"{on} {name}@{moment.here}" if moment.here else f"{on} {name}"
            else:
                instance, new = self.name(ref, moment.here), "T" if on == "make" else "F"
                word = f"{on} {instance}"
                if self.conditions[name].kind == "opening" and moment.at_entry(instance) == new:
                    yield f"opening: '{instance}' is {new} already at '{moment.path}'"
                if on == "make":
                    yield from self.together(moment, instance)
                moment.made[instance] = new
            yield from self.early(moment, word)
            moment.said.append(word)

    def asked(self, moment: Moment, on: str, name: str, member: str | None = None) -> Iterator[str]:
        """What a place, a deed or a change asks for: needs at this moment, messages confirmed at this step.

        What is changed on one member of the car asks for the needs of that member.
        """
        for duty in self.duties:
            if (duty.on, duty.name) != (on, name):
                continue
            if duty.unless is not None and self.subject(moment.history, duty.unless.subject) == duty.unless.value:
                continue
            there = replace(moment, here=member or moment.here)
            yield from self.unmet(there, duty.needs, "duty", f"{on} {name} at {moment.path}")
            for hazard in duty.hazards:
                if not moment.confirmed(hazard):
                    yield f"caution: '{hazard}' not confirmed before '{on} {name}' at '{moment.path}'"

    def closing(self, history: Line, instance: str, new: str) -> Iterator[str]:
        """What making safe asks for: the duties on closing an opening."""
        name, _, here = instance.partition("@")
        for duty in self.duties:
            for need in duty.needs if (duty.on, duty.name) == ("end" if new == "F" else "make", name) else ():
                if isinstance(need, g.Holds) and value(history, self.name(need.ref, here)) != "FT"[need.wanted]:
                    yield f"leave: '{instance}' was made safe without '{need.said}'"

    def subject(self, history: Line, name: str) -> str | None:
        """What was chosen last and is not forgotten; else what the car's file says."""
        for event in told(history):
            match event:
                case ev.Answered(name=chosen, value=answer) if chosen == name:
                    return answer
                case ev.Overridden(void=lost) | ev.Jumped(void=lost) | ev.TurnOver(forgotten=lost) if name in lost:
                    return None
                case ev.Supplied(name=ask, value=known) if ask == name:
                    return known
                case ev.Begun(asks=asks) if name in asks:
                    return asks[name]["value"]
        return None

    def early(self, moment: Moment, word: str) -> Iterator[str]:
        """For every first occasion there is an earlier second one, alike in place."""
        for rule in self.procedure.rules:
            if rule.kind == "only_after" and meant(rule.what, word):
                earlier = (*moment.said, *words(moment.history.before))
                if not any(meant(rule.other, w) and paired(rule.other, w, word) for w in earlier):
                    yield f"rule: '{word}' before '{rule.said}'"

    def together(self, moment: Moment, instance: str) -> Iterator[str]:
        """What may not be so together is known not to be so when the one is made."""
        base = instance.partition("@")[0]
        for rule in self.procedure.rules:
            names = {r.name for r in rule.refs}
            if rule.kind in ("at_most_one", "never_together") and base in names:
                for other in (i for n in names for i in self.instances(n) if i != instance):
                    apart = other.partition("@")[0] == base or not alike(other, instance)
                    if not (rule.kind == "never_together" and apart) and moment.now(other) != "F":
                        yield f"rule: '{instance}' is made with '{other}': {rule.said}"

    def ended(self, history: Line, event: ev.Ended) -> Iterator[str]:
        """The right end, and everything as it must be there."""
        path = next((e.path for e in told(history) if isinstance(e, ev.Arrived)), "")
        kind = "stopped" if path == "safe stop" else getattr(self.spot(path)[0], "kind", "")
        if event.kind != kind:
            yield f"end: '{event.kind}' at '{path}'"
        for instance in (i for n, c in self.conditions.items() if c.kind == "opening" for i in self.instances(n)):
            condition, now = self.conditions[instance.partition("@")[0]], value(history, instance)
            touched = any(instance in changes(e) for e in told(history))
            if touched and kind == "done" and condition.name not in self.procedure.carries:
                if now != ("T" if condition.normally else "F"):
                    yield f"end: '{instance}' is {now} at done"
            if kind == "stopped" and now == ("F" if condition.normally else "T"):
                if condition.if_left is None or condition.if_left.kind == "close":
                    yield f"end: '{instance}' is open at the stop"
        for rule in self.procedure.rules if kind == "done" else ():
            if rule.kind == "at_end":
                every = [i for r in rule.refs for i in self.instances(r.name) if r.at in (None, i.partition("@")[2])]
                if any(value(history, i) != ("T" if rule.wanted else "F") for i in every):
                    yield f"rule: at the end not {rule.said}"
            elif rule.kind == "must_follow":
                happened = list(words(history))[::-1]
                for at, word in enumerate(happened):
                    later = (w for w in happened[at + 1 :] if meant(rule.other, w) and paired(rule.other, w, word))
                    if meant(rule.what, word) and not any(later):
                        yield f"rule: '{word}' without {rule.said}"


def doing(deeds: tuple[str, ...], ends: tuple[g.Ref, ...], makes: tuple[g.Ref, ...]) -> list[Happens]:
    """Deeds first, then what ends, then what comes about."""
    gone = [("end", r.name, r) for r in ends]
    return [*(("deed", d, None) for d in deeds), *gone, *(("make", r.name, r) for r in makes)]
