"""The proofs against a walk of every concrete way: nothing broken is missed, and nothing sound is refused."""

from __future__ import annotations

from random import Random

import pytest

from runner.core.graph import Procedure
from runner.verify import Checked, verify
from tests.verify.build import (
    Contract,
    call,
    choice,
    each,
    end,
    fact,
    here,
    opening,
    phase,
    procedure,
    rule,
    step,
    strokes,
)
from tests.verify.walker import Walker

CONDITIONS = [
    fact("a"),
    fact("b"),
    fact("w", index="corner"),
    opening("o", rank=1),
    opening("n", index="corner", rank=2),
]
COMPARED = {"needs", "opening", "end", "rule"}


class Grower:
    """Grows a random procedure; what it writes is mostly sensible, so that many are clean."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.numbers = iter(range(10_000))

    def some(self, names: list[str], chance: float) -> tuple[str, ...]:
        return tuple(n for n in names if self.random.random() < chance)

    def steps(self, count: int, out: list[str], *, block: bool, first: str = "") -> list[object]:
        ids = [f"s{next(self.numbers)}" for _ in range(count)]
        ids[0] = first or ids[0]
        facts = ["a", "b", *(["w"] if block else [])]
        openings = ["n"] if block else ["o"]
        nodes: list[object] = []
        for at, name in enumerate(ids):
            onward = ids[at + 1] if at + 1 < count else self.random.choice(out)
            nodes.append(self.step(name, at, ids, onward, out, facts, openings))
        return nodes

    def step(
        self, name: str, at: int, ids: list[str], onward: str, out: list[str], facts: list[str], opens: list[str]
    ) -> object:
        pick = self.random.random
        makes, ends = list(self.some(facts, 0.35)), []
        if pick() < 0.2:
            (makes if pick() < 0.5 else ends).append(opens[0])
        ends += [f for f in self.some(facts, 0.06) if f not in makes]
        asks = tuple(f if pick() < 0.9 else f"not {f}" for f in self.some(facts, 0.25))
        if opens == ["n"] and pick() < 0.15:
            asks += (self.random.choice(("w@RR", "w@LF")),)
        more: dict[str, object] = {"makes": tuple(makes), "ends": tuple(ends), "asks": asks}
        if pick() < 0.3:
            more["deeds"] = (self.random.choice(("x", "y")),)
        target = self.random.choice([*ids, *out])
        if pick() < 0.15:
            more["cannot"] = target
        way: object = onward
        if pick() < 0.3:
            named = "c" if pick() < 0.5 else None
            gate = choice("yes", "no", name=named)
            way = {"yes": onward, "no": (target, self.some(facts, 0.3), ())} if pick() < 0.7 else {"": onward}
            more |= {"gate": gate, "at_most": (1, self.random.choice([onward, *out]))}
            if pick() < 0.3:
                more["override"] = self.random.choice([onward, *out])
        elif pick() < 0.15 and opens == ["n"]:
            beat = (phase("Open.", makes=("n",)), phase("Close.", ends=("n",), asks=self.some(["a"], 0.3)))
            more |= {
                "gate": strokes(*beat, bound=self.random.choice([onward, *out])),
                "makes": self.some(facts, 0.3),
                "ends": (),
            }
            way = {"clear": onward}
        elif target in ids and ids.index(target) <= at:
            more["at_most"] = (1, onward)
        return step(name, way, **more)  # type: ignore[arg-type]


def grown(seed: int) -> Procedure:
    """A random procedure with a block and a call, most of the time."""
    grow = Grower(seed)
    r = grow.random
    rules = [rule("only_after", "deed x", "deed y")] if r.random() < 0.4 else []
    fragment = procedure(
        *grow.steps(r.randrange(1, 4), ["out"], block=False),
        end("ok", "out"),
        name="help",
        conditions=CONDITIONS,
        contract=Contract(needs=(), exits={"ok": ((), ())}, place=here()),
    )
    order = r.choice(["order", ("RR", "LF")])
    block = each("block", "tail", *grow.steps(r.randrange(1, 4), ["next corner"], block=True), order=order)
    tail = grow.steps(r.randrange(1, 4), ["done"], block=False, first="tail")
    ensure = {"ensure": "a", "skip": "block"} if r.random() < 0.5 else {}
    calls = [call("call", "help", {"ok": "block"}, **ensure)]
    first = grow.steps(r.randrange(1, 4), ["call"], block=False)
    known = ("not o", "none n", *grow.some(["a", "not b"], 0.6))
    return procedure(
        *first, *calls, block, *tail, end(), conditions=CONDITIONS, rules=rules, assumes=known, fragments=[fragment]
    )


@pytest.mark.parametrize("first", range(0, 80, 20))
def test_nothing_broken_is_missed_and_nothing_sound_is_refused(first: int) -> None:
    clean = compared = 0
    for seed in range(first, first + 20):
        made = grown(seed)
        truth = Walker(made).walk()
        if truth is None:
            continue
        verdict = verify(made)
        said = set() if isinstance(verdict, Checked) else {(f.check, f.place) for f in verdict if f.check in COMPARED}
        assert truth - said == set(), f"seed {seed}: missed"
        assert said - truth == set(), f"seed {seed}: refused"
        compared += 1
        clean += not truth
    assert compared >= 16
