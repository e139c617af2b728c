"""A comparison that finds no bug proves nothing: each bug that is put into the proofs is found by the walker."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from msgspec import structs

from runner.verify import CHECKS, Checked, claim, fields, flow, steps, verify
from runner.verify.expand import _Layer
from runner.verify.fields import Change
from runner.verify.layout import _Maker
from tests.verify.test_walker import COMPARED, grown
from tests.verify.walker import Walker

Patch = pytest.MonkeyPatch


def no_undone(patch: Patch) -> None:
    """Overrides and "cannot" lead nowhere."""
    patch.setattr(steps, "_undone", lambda *_: ())


def kept_when_undone(patch: Patch) -> None:
    """What an overridden step would make stays as it was."""
    patch.setattr(steps, "_lost", lambda *_: ())


def one_order(patch: Patch) -> None:
    """One order of corners stands for all."""
    real = _Layer._following
    patch.setattr(_Layer, "_following", lambda *a: real(*a)[:1])


def no_second_look(patch: Patch) -> None:
    """What comes by a way back is forgotten."""
    real = flow.ways

    def forward(*args: object) -> object:
        made = real(*args)  # type: ignore[arg-type]
        return tuple(tuple(w for w in point if w[0] > at) for at, point in enumerate(made))

    patch.setattr("runner.verify.ways", forward)


def no_ends(patch: Patch) -> None:
    """What a step ends is not taken away."""
    real = fields.Layout.change
    patch.setattr(fields.Layout, "change", lambda s, op: Change(-1, 0) if op.verb == "end" else real(s, op))


def arms_do_nothing(patch: Patch) -> None:
    """What an arm makes is forgotten."""
    real = steps._arm
    patch.setattr(steps, "_arm", lambda s, st, arm, *r: real(s, st, replace(arm, makes=(), ends=()), *r))


def always_skipped(patch: Patch) -> None:
    """An edge that depends on a value is always open."""
    patch.setattr(fields.Layout, "open_to", lambda *_: 0)


def starts_known(patch: Patch) -> None:
    """What is not known at the start counts as false."""
    real = _Maker.add
    patch.setattr(
        _Maker,
        "add",
        lambda s, name, states, *start: real(s, name, states, *(("F",) if start == ("U",) else start)),
    )


def no_bound(patch: Patch) -> None:
    """The edge of a bound is not followed."""
    real = steps._counted
    patch.setattr(
        steps,
        "_counted",
        lambda s, st: tuple(structs.replace(g, edges=g.edges[1:]) for g in real(s, st)),
    )


def needs_on_entry_only_once(patch: Patch) -> None:
    """A claim on a leaving edge is not judged."""
    real = claim.broken
    patch.setattr("runner.verify.broken", lambda *a: (b for b in real(*a) if b.claim.edge < 0))


def phases_are_silent(patch: Patch) -> None:
    """What the phases of a beat change is forgotten."""
    real = steps._phases
    patch.setattr(
        steps,
        "_phases",
        lambda *a: (structs.replace(p, edges=tuple(structs.replace(e, ops=()) for e in p.edges)) for p in real(*a)),
    )


def rules_forget(patch: Patch) -> None:
    """The monitor of a rule never moves."""
    patch.setattr(_Maker, "_watch", lambda *_: None)


def ends_owe_nothing(patch: Patch) -> None:
    """Nothing is owed at the end."""
    patch.setattr("runner.verify.CHECKS", tuple(c for c in CHECKS if c.name != "end"))


BUGS: tuple[Callable[[Patch], None], ...] = (
    no_undone, kept_when_undone, one_order, no_second_look, no_ends, arms_do_nothing, always_skipped, starts_known,
    no_bound, needs_on_entry_only_once, phases_are_silent, rules_forget, ends_owe_nothing,
)  # fmt: skip


@pytest.mark.parametrize("bug", BUGS, ids=lambda b: b.__name__)
def test_a_bug_in_the_proofs_is_found(bug: Callable[[Patch], None], monkeypatch: Patch) -> None:
    bug(monkeypatch)
    assert any(_differs(seed) for seed in range(120)), "no graph shows the bug"


def _differs(seed: int) -> bool:
    made = grown(seed)
    verdict = verify(made)
    said = set() if isinstance(verdict, Checked) else {(f.check, f.place) for f in verdict if f.check in COMPARED}
    truth = Walker(made).walk(10_000)
    return truth is not None and said != truth
