"""The rules of a procedure while it runs: what a step lets happen, and which rule that would break.

Rules of this module
1. What happens at one step happens in this order: the step, its deeds, what it ends, what it makes, then what its
   arm ends and makes; a beat phase by phase.
2. The checker has proven that no rule is ever broken; here the same is asked of the real run, one more time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from runner.core import graph
from runner.core.draft import at, paths
from runner.core.graph import Arm, Count, Each, Found, Occasion, Phase, Procedure, Ref, Rule, Step
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
    newest = max(happened.values(), default=0)
    for nth, deed in enumerate(deeds, newest + 1):
        for at_, rule in enumerate(procedure.rules):
            if rule.kind == "only_after":
                since = _turn_since(procedure, state, at_, deed.word)
                if _too_early(rule, deed.word, happened, since):
                    return rule
            elif deed.value == "T" and _against(procedure, rule, deed.instance, values):
                return rule
        if deed.instance:
            values[deed.instance] = deed.value
        happened[deed.word] = nth
    return None


def too_early(procedure: Procedure, state: State, found: Found) -> Rule | None:
    """The rule for which the step itself comes too early, so that it may not even be begun."""
    if not isinstance(found.node, Step):
        return None
    member = f"@{found.here}" if found.here else ""
    return broken(procedure, state, (Deed(f"step {found.node.id}{member}"),))


def _too_early(rule: Rule, word: str, happened: Mapping[str, int], since: int) -> bool:
    what, other = rule.what, rule.other
    if what is None or other is None or not _meant(what, word):
        return False
    if other.at not in (None, graph.HERE) and not _alike(f"@{other.at}", word):  # that member had its own turn
        since = 0
    return not any(when > since and _meant(other, w) and _paired(other, w, word) for w, when in happened.items())


def _against(procedure: Procedure, rule: Rule, made: str, values: Mapping[str, str]) -> bool:
    """Whether something is true that what is made now may not stand beside.

    The instances of one condition exclude each other under ``at_most_one`` alone; different conditions under
    ``never_together``, on the same member.
    """
    if rule.kind not in ("at_most_one", "never_together"):
        return False
    together = [(ref.name, name) for ref in rule.refs for name in spread(procedure, ref)]
    if all(name != made for _, name in together):
        return False
    base = made.partition("@")[0]
    return any(
        name != made and values.get(name) == "T" and (rule.kind == "at_most_one" or (of != base and _alike(name, made)))
        for of, name in together
    )


def _turn_since(procedure: Procedure, state: State, nth: int, word: str) -> int:
    """Up to where what happened does not count for a rule any more: a rule within one block begins anew each turn."""
    member = word.partition("@")[2]
    since = (state.turned.get(f"{block}/{member}", 0) for block in _blocks(procedure)[nth])
    return max(since, default=0) if member else 0


@lru_cache(maxsize=32)
def _blocks(procedure: Procedure) -> tuple[tuple[str, ...], ...]:
    """For each rule the blocks in which all lies that it speaks of."""
    around: dict[int, set[str]] = {}
    for path in paths(procedure):
        found, within = at(procedure, path), _around(procedure, path)
        step = found.node
        if not isinstance(step, Step):
            continue
        words = {d.word for arm in step.branch.arms for d in of_step(procedure, found, step, arm)}
        words |= {d.word for d in of_beat(procedure, found, step.gate.beat)} if isinstance(step.gate, Count) else set()
        for nth, rule in enumerate(procedure.rules):
            occasions = [o for o in (rule.what, rule.other) if o is not None]
            if any(_meant(o, word) for o in occasions for word in words):
                around[nth] = around.get(nth, within) & within
    return tuple(tuple(sorted(around.get(nth, ()))) for nth in range(len(procedure.rules)))


def _around(procedure: Procedure, path: str) -> set[str]:
    found: set[str] = set()
    above = graph.parent(procedure, path)
    while above is not None:
        if isinstance(at(procedure, above).node, Each):
            found.add(above)
        above = graph.parent(procedure, above)
    return found


def unfollowed(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What had to be followed by something in this run, and was not: in the words of the rules."""
    return tuple(
        f"{rule.said} ({word})"
        for rule in procedure.rules
        if rule.kind == "must_follow" and rule.what is not None and rule.other is not None
        for word, when in state.happened.items()
        if _meant(rule.what, word)
        and not any(
            _meant(rule.other, other) and _paired(rule.other, other, word) and after > when
            for other, after in state.happened.items()
        )
    )


def _meant(occasion: Occasion, word: str) -> bool:
    verb_and_name, _, member = word.partition("@")
    if verb_and_name != f"{occasion.on} {occasion.name}":
        return False
    return occasion.at in (None, graph.HERE, member)


def _paired(occasion: Occasion, one: str, other: str) -> bool:
    """Whether the two belong together: on the same member, save where the occasion names its own."""
    return occasion.at not in (None, graph.HERE) or _alike(one, other)


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
