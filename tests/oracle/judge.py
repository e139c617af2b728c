"""What a procedure means, by plain definitions over the whole list of what happened; it shares nothing with the proofs.

A history is the list of events of a run, line by line. Each definition looks back over all of it: what a condition is
at a moment is what the latest event before it said; a rule holds if for every occasion there is an earlier other one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from runner.core import event as ev
from runner.core import graph as g
from runner.core.event import AnyEvent
from runner.core.graph import Procedure

BY_NO_ARM = ("bound", "skipped", "short", "full", "override", "cannot")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: its events, the occasions that they stand for, and the line before."""

    events: tuple[AnyEvent, ...]
    words: tuple[str, ...]
    before: Line | None


@dataclass(frozen=True, slots=True)
class Spot:
    """A node at a path: what is here, the block turn that it stands in (its path), and whether a turn of it."""

    node: g.Node
    here: str | None
    turn: str


def told(line: Line | None) -> Iterator[AnyEvent]:
    """The events of a history, latest first."""
    while line is not None:
        yield from reversed(line.events)
        line = line.before


def changes(event: AnyEvent) -> dict[str, str]:
    """What an event says of conditions."""
    match event:
        case ev.Begun(conditions=c) | ev.Became(changes=c) | ev.Returned(conditions=c) | ev.Granted(touched=c):
            return c
        case ev.Stopped(unknown=c) | ev.Resumed(unknown=c):
            return c
        case ev.Expired(conditions=names):
            return dict.fromkeys(names, "U")
        case ev.Attested(condition=name, value=value) | ev.Contradicted(condition=name, value=value):
            return {name: value}
    return {}


def value(line: Line | None, name: str) -> str:
    """T, F or U: what the latest event that speaks of the condition said."""
    return next((c[name] for e in told(line) if name in (c := changes(e))), "U")


class Judge:
    """Judges the newest line of a history against all lines before it."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        self.conditions = procedure.conditions
        self.duties = procedure.vocabulary.duties
        self.spot = lru_cache(maxsize=None)(self.found)

    def found(self, path: str) -> Spot:
        """The node at a path, walked down by hand."""
        nodes, here, turn, ids, gone = self.procedure.body.nodes, None, "", path.split("/"), 0
        while gone < len(ids) - 1:
            node = nodes[ids[gone]]
            if isinstance(node, g.Each):
                here, nodes, gone = ids[gone + 1], node.body.nodes, gone + 2
                turn = "/".join(ids[:gone])
            else:
                assert isinstance(node, g.Call)
                owner = self.procedure.fragments[node.fragment]
                here = here if node.at in (None, "here") else node.at
                here = g.AXLE_OF.get(here or "", here) if owner.here == "axle" else here
                nodes, gone = owner.body.nodes, gone + 1
        return Spot(nodes[ids[gone]], here, turn)

    def name(self, ref: g.Ref, here: str | None) -> str:
        """The condition instance that a reference means at a place."""
        index = self.conditions[ref.name].index
        if index is None:
            return ref.name
        if ref.at not in (None, "here"):
            return f"{ref.name}@{ref.at}"
        if index == "axle" and here in g.AXLE_OF:
            return f"{ref.name}@{g.AXLE_OF[here]}"
        return f"{ref.name}@{here}"

    # ── one line ─────────────────────────────────────────────────────────────────────────────────

    def judged(self, before: Line | None, events: tuple[AnyEvent, ...]) -> tuple[Line, list[str]]:
        """The history with this line, and what is wrong with the line."""
        wrong: list[str] = []
        words: list[str] = []
        for at, event in enumerate(events):
            so_far = Line(events[:at], tuple(words), before)
            match event:
                case ev.Left(path=path, outcome=outcome) if outcome not in BY_NO_ARM:
                    step = self.spot(path).node
                    if isinstance(step, g.Step):
                        arm = self.arm(so_far, step, outcome)
                        wrong += self.left(before, so_far, path, step, arm, words)
                case ev.Granted(path=path):
                    wrong += self.entered(before, so_far, path)
                case ev.Returned(path=path, used=used) if used:
                    words += self.beats(so_far, path, used, wrong)
                case ev.Arrived(path=path) if path not in ("safe stop", ""):
                    if not isinstance(self.spot(path).node, g.Step | g.End):
                        wrong.append(f"end: the run stands at '{path}', which is no step")
                case ev.Ended():
                    wrong += self.ended(so_far, event)
                case ev.Became(changes=made, why="made safe"):
                    wrong += [w for n, v in made.items() for w in self.duty(so_far, "end" if v == "F" else "make", n)]
                case _:
                    pass
        return Line(events, tuple(words), before), wrong

    def arm(self, history: Line, step: g.Step, outcome: str) -> g.Arm | None:
        """The arm by which a step was left: the first for its outcome, its choice or the car's value."""
        subject = step.branch.subject
        said = outcome if subject == "gate" else self.subject(history, subject)
        return next((a for a in step.branch.arms if a.value in (None, said)), None)

    def subject(self, history: Line, name: str) -> str | None:
        """What was chosen last and is not forgotten; else what the car's file says."""
        for event in told(history):
            if isinstance(event, ev.Answered) and event.name == name:
                return event.value
            if isinstance(event, ev.Overridden | ev.Jumped) and name in event.void:
                return None
            if isinstance(event, ev.TurnOver) and name in event.forgotten:
                return None
            if isinstance(event, ev.Supplied) and event.name == name:
                return event.value
            if isinstance(event, ev.Begun) and name in event.asks:
                return event.asks[name]["value"]
        return None

    # ── a step ───────────────────────────────────────────────────────────────────────────────────

    def entered(self, before: Line | None, history: Line, path: str) -> Iterator[str]:
        """What holds while a step is done: its needs, the duties of its place, the messages that must stand."""
        spot = self.spot(path)
        step = spot.node
        assert isinstance(step, g.Step)
        for need in step.needs:
            if isinstance(need, g.Holds) and not self.holds(before, need, spot.here):
                yield f"needs: '{path}' was done without '{need.said}'"
            if isinstance(need, g.WaitNeed) and not any(
                isinstance(e, ev.WaitStarted) and e.wait == need.wait for e in told(before)
            ):
                yield f"needs: '{path}' was done though '{need.wait}' was never started"
        yield from self.duties_of(before, history, path, "place", step.where, {})
        for duty in self.duties:
            for instance in self.instances(duty.name) if duty.on == "while" else ():
                if value(before, instance) == "T":
                    yield from (
                        f"caution: '{h}' not told at '{path}'" for h in duty.hazards if not self.in_effect(history, h)
                    )

    def holds(self, history: Line | None, need: g.Holds, here: str | None) -> bool:
        return value(history, self.name(need.ref, here)) == ("T" if need.wanted else "F")

    def in_effect(self, history: Line, hazard: str) -> bool:
        """Whether the message was confirmed since a turn began or ended last."""
        for event in told(history):
            if isinstance(event, ev.TurnOver | ev.OrderSet):
                return False
            if isinstance(event, ev.Confirmed) and hazard in event.hazards:
                return True
        return False

    def left(
        self, before: Line | None, history: Line, path: str, step: g.Step, arm: g.Arm | None, words: list[str]
    ) -> Iterator[str]:
        """A step that was done: everything on it holds at its own moment, one thing after the other."""
        if arm is None:
            yield f"unset: '{path}' was left by no arm"
            return
        counted = isinstance(step.gate, g.Count)
        if not counted:
            yield from self.entered(before, history, path)
        spot, made = self.spot(path), dict[str, str]()
        happens = [("step", step.id, None), *(("deed", d, None) for d in step.deeds)]
        happens += [("end", r.name, r) for r in step.ends] + [("make", r.name, r) for r in step.makes]
        happens += [("end", r.name, r) for r in arm.ends] + [("make", r.name, r) for r in arm.makes]
        yield from self.happening(before, history, path, spot, happens, made, words)

    def beats(self, history: Line, path: str, used: int, wrong: list[str]) -> list[str]:
        """The beats of a grant, phase by phase, from what held before it was given."""
        spot, words, made = self.spot(path), list(history.words), dict[str, str]()
        assert isinstance(spot.node, g.Step)
        assert isinstance(spot.node.gate, g.Count)
        given: Line | None = history
        while given is not None and not any(isinstance(e, ev.Granted) for e in given.events):
            given = given.before
        start = given.before if given is not None else None
        old = len(words)
        for _ in range(min(used, 2)):
            for phase in spot.node.gate.beat:
                for need in phase.needs:
                    if isinstance(need, g.Holds):
                        name = self.name(need.ref, spot.here)
                        if made.get(name, value(start, name)) != ("T" if need.wanted else "F"):
                            wrong.append(f"needs: a beat at '{path}' without '{need.said}'")
                for duty in self.duties:
                    for i in self.instances(duty.name) if duty.on == "while" else ():
                        if made.get(i, value(start, i)) == "T":
                            wrong += [
                                f"caution: '{h}' not told in a beat of '{path}'"
                                for h in duty.hazards
                                if not self.in_effect(history, h)
                            ]
                happens = [("deed", d, None) for d in phase.deeds]
                happens += [("end", r.name, r) for r in phase.ends] + [("make", r.name, r) for r in phase.makes]
                wrong += self.happening(start, history, path, spot, happens, made, words)
        return words[old:]

    def happening(self, start, history, path, spot, happens, made, words):  # type: ignore[no-untyped-def]
        """One thing after the other: what the duties ask for, what opens and closes, what the rules say."""
        member = f"@{spot.here}" if spot.here else ""
        for on, name, ref in happens:
            instance = self.name(ref, spot.here) if ref is not None else ""
            if on in ("deed", "make", "end"):
                yield from self.duties_of(start, history, path, on, name, made)
            if ref is not None and self.conditions[name].kind == "opening":
                now, new = made.get(instance, self.at_entry(history, path, instance)), "T" if on == "make" else "F"
                if now == new:
                    yield f"opening: '{instance}' is {new} already at '{path}'"
            word = f"{on} {instance}" if ref is not None else f"{on} {name}{member}"
            yield from self.early(history, words, word, spot)
            if on == "make":
                yield from self.together(start, made, instance)
            if ref is not None:
                made[instance] = "T" if on == "make" else "F"
            words.append(word)

    def at_entry(self, history: Line, path: str, instance: str) -> str:
        """The condition as it was when the step was come to (a break inside a step may find it half done)."""
        line: Line | None = history
        while line is not None:
            for at in range(len(line.events) - 1, -1, -1):
                event = line.events[at]
                if isinstance(event, ev.Arrived) and event.path == path:
                    return value(Line(line.events[:at], (), line.before), instance)
            line = line.before
        return value(history, instance)

    def duties_of(self, start, history, path, on, name, made):  # type: ignore[no-untyped-def]
        """What a place, a deed or a change asks for: needs at this moment, messages confirmed at this step."""
        spot = self.spot(path)
        for duty in self.duties:
            if (duty.on, duty.name) != (on, name):
                continue
            if duty.unless is not None and self.subject(history, duty.unless.subject) == duty.unless.value:
                continue
            for need in duty.needs:
                if isinstance(need, g.Holds):
                    instance = self.name(need.ref, spot.here)
                    now = made.get(instance, value(start, instance))
                    if now != ("T" if need.wanted else "F"):
                        yield f"duty: '{on} {name}' at '{path}' without '{need.said}'"
            for hazard in duty.hazards:
                if not self.confirmed(history, path, hazard):
                    yield f"caution: '{hazard}' not confirmed before '{on} {name}' at '{path}'"

    def confirmed(self, history: Line, path: str, hazard: str) -> bool:
        counted = isinstance(getattr(self.spot(path).node, "gate", None), g.Count)
        for event in told(history):
            if isinstance(event, ev.Confirmed) and event.path == path and hazard in event.hazards:
                return True
            if isinstance(event, ev.Arrived) and event.path == path and not counted:
                return False
        return False

    def duty(self, history: Line, on: str, instance: str) -> Iterator[str]:
        """What making safe asks for: the duties on closing an opening."""
        name, _, here = instance.partition("@")
        for duty in self.duties:
            for need in duty.needs if (duty.on, duty.name) == (on, name) else ():
                if isinstance(need, g.Holds) and not self.holds(history, need, here or None):
                    yield f"leave: '{instance}' was made safe without '{need.said}'"

    # ── rules ────────────────────────────────────────────────────────────────────────────────────

    def instances(self, name: str) -> tuple[str, ...]:
        index = self.conditions[name].index
        return (name,) if index is None else tuple(f"{name}@{m}" for m in g.MEMBERS[index])

    def early(self, history: Line, words: list[str], word: str, spot: Spot) -> Iterator[str]:
        """For every occasion there is an earlier one of the other kind, alike in place."""
        for rule in self.procedure.rules:
            if rule.kind == "only_after" and rule.what and rule.other and meant(rule.what, word):
                earlier = [*words, *self.words(history.before)]
                if not any(meant(rule.other, w) and alike(w, word) for w in earlier):
                    yield f"rule: '{word}' before '{rule.said}'"

    def words(self, line: Line | None) -> Iterator[str]:
        while line is not None:
            yield from reversed(line.words)
            line = line.before

    def together(self, start: Line | None, made: dict[str, str], instance: str) -> Iterator[str]:
        """What may not be so together is known not to be so when the one is made."""
        base = instance.partition("@")[0]
        for rule in self.procedure.rules:
            names = {r.name for r in rule.refs}
            if rule.kind not in ("at_most_one", "never_together") or base not in names:
                continue
            for other in (i for n in names for i in self.instances(n) if i != instance):
                apart = other.partition("@")[0] == base or not alike(other, instance)
                if not (rule.kind == "never_together" and apart) and made.get(other, value(start, other)) != "F":
                    yield f"rule: '{instance}' is made with '{other}': {rule.said}"

    def ended(self, history: Line, event: ev.Ended) -> Iterator[str]:
        """The right end, and everything as it must be there."""
        path = next((e.path for e in told(history) if isinstance(e, ev.Arrived)), "")
        kind = "stopped" if path == "safe stop" else getattr(self.spot(path).node, "kind", "")
        if event.kind != kind:
            yield f"end: '{event.kind}' at '{path}'"
        for instance in (i for name in self.conditions for i in self.instances(name)):
            condition, now = self.conditions[instance.partition("@")[0]], value(history, instance)
            if condition.kind != "opening" or not self.touched(history, instance):
                continue
            opened = now != ("T" if condition.normally else "F")
            if kind == "done" and opened and condition.name not in self.procedure.carries:
                yield f"end: '{instance}' is {now} at done"
            if kind == "stopped" and opened and now != "U" and condition.if_left and condition.if_left.kind == "close":
                yield f"end: '{instance}' is open at the stop"
        for rule in self.procedure.rules if kind == "done" else ():
            wanted = "T" if rule.wanted else "F"
            if rule.kind == "at_end" and any(
                value(history, i) != wanted for r in rule.refs for i in self.instances(r.name)
            ):
                yield f"rule: at the end not {rule.said}"
            if rule.kind == "must_follow" and rule.what and rule.other:
                yield from self.unfollowed(history, rule)

    def touched(self, history: Line, instance: str) -> bool:
        return any(instance in changes(e) for e in told(history) if not isinstance(e, ev.Begun))

    def unfollowed(self, history: Line, rule: g.Rule) -> Iterator[str]:
        """For every first occasion there is a later second one, alike in place."""
        assert rule.what is not None
        assert rule.other is not None
        words = list(self.words(history))[::-1]
        for at, word in enumerate(words):
            later = (w for w in words[at + 1 :] if meant(rule.other, w) and alike(w, word))
            if meant(rule.what, word) and not any(later):
                yield f"rule: '{word}' without {rule.said}"


def meant(occasion: g.Occasion, word: str) -> bool:
    """Whether an occasion of a rule is this one."""
    plain, _, member = word.partition("@")
    return plain == f"{occasion.on} {occasion.name}" and occasion.at in (None, "here", member)


def alike(one: str, other: str) -> bool:
    """Whether both lie on one corner or its axle or side, or one of them on none."""
    a, b = one.partition("@")[2], other.partition("@")[2]
    return (
        not a
        or not b
        or a == b
        or b in (g.AXLE_OF.get(a), g.SIDE_OF.get(a))
        or a in (g.AXLE_OF.get(b), g.SIDE_OF.get(b))
    )
