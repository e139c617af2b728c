"""The rules of a procedure while it runs: what a step lets happen, and which rule that would break.

Rules of this module
1. What happens at one step happens in this order: the step, its deeds, what it ends, what it makes, then what its
   arm ends and makes; a beat phase by phase.
2. The checker has proven that no rule is ever broken; here the same is asked of the real run, one more time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from runner.core import graph
from runner.core.graph import Arm, Found, Occasion, Phase, Procedure, Ref, Rule, Step
from runner.core.state import State


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that takes place: its word (``make cap_off``, ``deed pedal_rise@RR``), and what it changes."""

    word: str
    instance: str = ""
    value: str = ""


def of_step(procedure: Procedure, found: Found, step: Step, arm: Arm) -> tuple[Deed, ...]:
    """What leaving a step by an arm lets happen, in its order."""
    off = tuple(_fitted(step, part) for how, part in step.slides if how != "on")
    on = tuple(_fitted(step, part) for how, part in step.slides if how == "on")
    member = f"@{found.here}" if found.here else ""
    return (
        Deed(f"step {step.id}{member}"),
        *_doing(procedure, found, step.deeds, (*step.ends, *off), (*step.makes, *on)),
        *_doing(procedure, found, (), arm.ends, arm.makes),
    )


def of_beat(procedure: Procedure, found: Found, beat: tuple[Phase, ...]) -> tuple[Deed, ...]:
    """What the phases of a beat let happen, one after the other."""
    return tuple(d for p in beat for d in _doing(procedure, found, p.deeds, p.ends, p.makes))


def _fitted(step: Step, part: str) -> Ref:
    return Ref(name=f"fitted_{part}", at=None, place=step.place)


def _doing(
    procedure: Procedure, found: Found, deeds: tuple[str, ...], ends: tuple[Ref, ...], makes: tuple[Ref, ...]
) -> Iterator[Deed]:
    member = f"@{found.here}" if found.here else ""
    yield from (Deed(f"deed {d}{member}") for d in deeds)
    for refs, verb, value in ((ends, "end", "F"), (makes, "make", "T")):
        for ref in refs:
            name = graph.instance(procedure.conditions, ref, found.here)
            yield Deed(f"{verb} {name}", name, value)


def changes(deeds: Iterable[Deed]) -> dict[str, str]:
    """The conditions as they are after it."""
    return {d.instance: d.value for d in deeds if d.instance}


def watched(procedure: Procedure, deeds: Iterable[Deed]) -> list[str]:
    """The words that are kept: every deed, and what a rule looks for."""
    occasions = [o for r in procedure.rules for o in (r.what, r.other) if o is not None]
    kept = (d.word for d in deeds if d.word.startswith("deed ") or any(_meant(o, d.word) for o in occasions))
    return list(dict.fromkeys(kept))


def broken(procedure: Procedure, state: State, deeds: Sequence[Deed]) -> Rule | None:
    """The first rule that this would break, one deed after the other."""
    if not procedure.rules:
        return None
    happened, values = dict(state.happened), dict(state.conditions)
    for deed in deeds:
        if deed.instance:
            values[deed.instance] = deed.value
        for rule in procedure.rules:
            if _breaks(procedure, rule, deed, happened, values):
                return rule
        happened[deed.word] = 0
    return None


def _breaks(
    procedure: Procedure, rule: Rule, deed: Deed, happened: Mapping[str, int], values: Mapping[str, str]
) -> bool:
    if rule.kind == "only_after" and rule.what is not None and rule.other is not None:
        if not _meant(rule.what, deed.word):
            return False
        return not any(_meant(rule.other, word) and _alike(word, deed.word) for word in happened)
    if rule.kind in ("at_most_one", "never_together") and deed.value == "T":
        together = [i for r in rule.refs for i in spread(procedure, r)]
        limit = 1 if rule.kind == "at_most_one" else len(rule.refs) - 1
        # What is not known may be so: it is looked at before, as the checker has proven it to be known.
        return deed.instance in together and sum(values.get(i, "U") != "F" for i in together) > limit
    return False


def unfollowed(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What had to be followed by something in this run, and was not: in the words of the rules."""
    return tuple(
        f"{rule.said} ({word})"
        for rule in procedure.rules
        if rule.kind == "must_follow" and rule.what is not None and rule.other is not None
        for word, when in state.happened.items()
        if _meant(rule.what, word)
        and not any(
            _meant(rule.other, other) and _alike(other, word) and after > when
            for other, after in state.happened.items()
        )
    )


def _meant(occasion: Occasion, word: str) -> bool:
    verb_and_name, _, member = word.partition("@")
    if verb_and_name != f"{occasion.on} {occasion.name}":
        return False
    return occasion.at in (None, graph.HERE, member)


def _alike(one: str, other: str) -> bool:
    """Whether both are of one place on the car; what has no index is everywhere."""
    a, b = one.partition("@")[2], other.partition("@")[2]
    if not a or not b or a == b:
        return True
    return b in (graph.AXLE_OF.get(a), graph.SIDE_OF.get(a)) or a in (graph.AXLE_OF.get(b), graph.SIDE_OF.get(b))


def spread(procedure: Procedure, ref: Ref) -> tuple[str, ...]:
    """Every instance that a reference of a rule means."""
    index = procedure.conditions[ref.name].index
    if index is None:
        return (ref.name,)
    if ref.at not in (None, graph.HERE):
        return (f"{ref.name}@{ref.at}",)
    return tuple(f"{ref.name}@{m}" for m in graph.MEMBERS[index])
