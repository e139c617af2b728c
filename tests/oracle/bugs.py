"""Faults put into the proofs one at a time, to see that the walks notice each of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from importlib import import_module
from typing import Any

from msgspec import structs

import runner.verify as whole
from runner.core.graph import Call, instance
from runner.verify import duties, fields, levels, loops, rules, station, steps, tracking
from runner.verify.claim import Case, Claim

expand, layout = (import_module(f"runner.verify.{name}") for name in ("expand", "layout"))
"""By name: the package has functions that are called the same."""
Patch = tuple[object, str, Any]
BUGS: dict[str, Callable[[], list[Patch]]] = {}


def bug(make: Callable[[], list[Patch]]) -> Callable[[], list[Patch]]:
    """One of the faults, by its name."""
    BUGS[make.__name__] = make
    return make


@contextmanager
def put_in(name: str) -> Iterator[None]:
    """The proofs with this fault, until it is taken out again."""
    patches = [(owner, attribute, getattr(owner, attribute), new) for owner, attribute, new in BUGS[name]()]
    try:
        for owner, attribute, _, new in patches:
            setattr(owner, attribute, new)
        yield
    finally:
        for owner, attribute, old, _ in patches:
            setattr(owner, attribute, old)


def _without(check: str, keep: Callable[[Claim, Case, Any], bool]) -> list[Patch]:
    """A proof that says only what ``keep`` lets through."""
    made = []
    for proof in whole.CHECKS:
        if proof.name == check and proof.claims is not None:
            own = proof.claims

            def claims(case: Case, at: Any, own: Any = own) -> Any:
                return [c for c in own(case, at) if keep(c, case, at)]

            proof = replace(proof, claims=claims)
        made.append(proof)
    return [(whole, "CHECKS", tuple(made))]


# ── the passes ───────────────────────────────────────────────────────────────────────────────────


def _spread(*, joins: bool, back: bool) -> Any:
    def spread(all_ways: Any, first: int, start: int) -> tuple[int, ...]:
        states = [0] * len(all_ways)
        states[first] = start
        todo = [first]
        while todo:
            at = todo.pop()
            for target, opens, keep, put, down in all_ways[at]:
                x = states[at]
                if (opens and not x & opens) or (not back and target <= at) or (not joins and states[target]):
                    continue
                y = x & keep | put
                for mask in down:
                    y = y & ~mask | (y & mask) >> 1 & mask | y & mask & -mask
                if states[target] | y != states[target]:
                    states[target] |= y
                    todo.append(target)
        return tuple(states)

    return spread


@bug
def a_join_is_dropped() -> list[Patch]:
    return [(whole, "spread", _spread(joins=False, back=True))]


@bug
def the_way_back_is_skipped() -> list[Patch]:
    return [(whole, "spread", _spread(joins=True, back=False))]


@bug
def every_corner_is_taken_for_one() -> list[Patch]:
    def name(self: Any, ref: Any) -> str:
        return instance(self.conditions, ref, "RR" if self.here in ("LF", "RF", "LR") else self.here)

    return [(station.Setting, "name", name)]


@bug
def the_order_of_corners_is_the_first() -> list[Patch]:
    def following(self: Any, node: Any, over: frozenset[str]) -> tuple[str, ...]:
        return tuple(m for m in self._members(node) if m not in over)[:1]

    return [(expand._Layer, "_following", following)]


@bug
def the_last_turn_of_a_block_is_left_out() -> list[Patch]:
    own = expand._Layer._following

    def following(self: Any, node: Any, over: frozenset[str]) -> tuple[str, ...]:
        return own(self, node, over) if len(over) < 1 else ()

    return [(expand._Layer, "_following", following)]


@bug
def the_exits_of_a_call_are_mixed_up() -> list[Patch]:
    own = expand._Layer.exit

    def out(self: Any, frame: Any, name: str, *, calls_only: bool = False) -> int:
        inner = expand._caller(frame) if calls_only else frame
        if inner is not None and isinstance(inner.node, Call):
            name = next((n for n in sorted(inner.node.exits) if n != name), name)
        return int(own(self, frame, name, calls_only=calls_only))

    return [(expand._Layer, "exit", out)]


@bug
def a_shared_set_up_is_never_skipped() -> list[Patch]:
    own = expand._Layer._call

    def call(self: Any, frame: Any, node: Any) -> Any:
        made = own(self, frame, node)
        return structs.replace(made, edges=tuple(structs.replace(e, when=None) for e in made.edges if e.kind != "skip"))

    return [(expand._Layer, "_call", call)]


# ── the edges of a step ──────────────────────────────────────────────────────────────────────────


def _edges(keep: Callable[[Any], bool]) -> list[Patch]:
    own = steps.stations

    def stations(setting: Any, step: Any) -> Any:
        return tuple(structs.replace(s, edges=tuple(e for e in s.edges if keep(e))) for s in own(setting, step))

    return [(expand, "stations", stations)]


@bug
def overrides_are_forgotten() -> list[Patch]:
    return _edges(lambda e: e.kind != "override")


@bug
def what_cannot_be_done_is_forgotten() -> list[Patch]:
    return _edges(lambda e: e.kind != "cannot")


@bug
def bounds_are_forgotten() -> list[Patch]:
    return _edges(lambda e: e.kind != "bound")


@bug
def running_short_is_forgotten() -> list[Patch]:
    return _edges(lambda e: e.kind not in ("short", "full"))


@bug
def what_an_arm_does_is_ignored() -> list[Patch]:
    own = steps._arm

    def arm(setting: Any, step: Any, arm: Any, base: Any, taken: Any, out: Any) -> Any:
        return own(setting, step, replace(arm, makes=(), ends=()), base, taken, out)

    return [(steps, "_arm", arm)]


@bug
def a_step_left_undone_changes_nothing() -> list[Patch]:
    return [(steps, "_lost", lambda setting, step: ())]


@bug
def a_step_left_undone_is_done() -> list[Patch]:
    return [(steps, "_lost", lambda setting, step: tuple(steps._leaving(setting, step)))]


@bug
def what_a_step_ends_is_ignored() -> list[Patch]:
    own = steps._doing
    return [(steps, "_doing", lambda setting, deeds, ends, makes: own(setting, deeds, (), makes))]


# ── what is proven ───────────────────────────────────────────────────────────────────────────────


@bug
def openings_may_be_opened_twice() -> list[Patch]:
    return _without("opening", lambda claim, case, at: False)


@bug
def duties_of_deeds_are_ignored() -> list[Patch]:
    return _without("duty", lambda claim, case, at: not claim.key.startswith("deed"))


@bug
def unless_is_turned_round() -> list[Patch]:
    def unlifted(case: Case, duty: Any) -> Any:
        field = case.layout.fields.get(f"ask {duty.unless.subject}") if duty.unless else None
        return () if field is None else ((field.mask, field.bits(duty.unless.value)),)

    return [(duties, "unlifted", unlifted)]


@bug
def needs_that_something_is_not_so_are_ignored() -> list[Patch]:
    return _without("needs", lambda claim, case, at: not claim.key.endswith("False"))


@bug
def needs_of_a_beat_are_ignored() -> list[Patch]:
    own = steps._phases
    return [(steps, "_phases", lambda *of: (structs.replace(s, asked=()) for s in own(*of)))]


@bug
def a_wait_is_always_started() -> list[Patch]:
    return _without("needs", lambda claim, case, at: "wait" not in claim.text)


@bug
def not_known_counts_as_so_at_the_end() -> list[Patch]:
    def at_end(case: Case, rule: Any) -> Any:
        for claim in own(case, rule):
            field = next(f for f in case.layout.fields.values() if f.mask & claim.bad[0])
            yield structs.replace(
                claim, bad=(claim.bad[0] & ~field.bits("U") or field.bits("F" if rule.wanted else "T"),)
            )

    own = rules._at_end
    return [(rules, "_at_end", at_end)]


@bug
def what_must_follow_is_not_owed() -> list[Patch]:
    return [(rules, "_owed", lambda case, at, rule: ())]


@bug
def only_after_is_met_by_anything() -> list[Patch]:
    return _without("rule", lambda claim, case, at: "too early" not in claim.text)


@bug
def an_earlier_outcome_still_counts() -> list[Patch]:
    own = fields.Layout._came
    return [(fields.Layout, "_came", lambda self, op: (p for p in own(self, op) if p[1] != p[0] & -p[0]))]


@bug
def what_was_overridden_counts_as_done() -> list[Patch]:
    own = station.Setting.come
    return [(station.Setting, "come", lambda self, node, out, place, sure=True: own(self, node, out, place))]


@bug
def two_of_a_kind_may_be_open() -> list[Patch]:
    return [(rules, "_together", lambda case, at, rule: ())]


@bug
def messages_are_taken_as_read() -> list[Patch]:
    return _without("caution", lambda claim, case, at: False)


@bug
def the_end_owes_nothing() -> list[Patch]:
    return _without("end", lambda claim, case, at: False)


@bug
def a_choice_is_taken_as_made() -> list[Patch]:
    return _without("unset", lambda claim, case, at: False)


# ── levels ───────────────────────────────────────────────────────────────────────────────────────


@bug
def a_draw_without_a_guard_is_let_be() -> list[Patch]:
    return [(levels._Levels, "_dry", lambda self, at, station, d, spans: ())]


@bug
def a_beat_draws_nothing() -> list[Patch]:
    return [(tracking, "flowed", lambda d, spans: spans)]


# ── what somebody wrote on purpose to get past the proofs ────────────────────────────────────────


@bug
def a_bound_that_leads_back_is_taken_for_an_end() -> list[Patch]:
    own = loops._tests
    return [(loops, "_tests", lambda case: (test for test in own(case) if not test[-1]))]
