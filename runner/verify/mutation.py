"""What the checker makes of faults that were put in: killed, survived, equivalent or stillborn, and the rates.

A fault is of the first order: one thing was taken away, swapped or bent at one place of the author's text.
Stillborn: the reader refuses it. Equivalent: the flat graph that can be reached says the same. Killed: at least one
error of a proof that the sound procedure does not have. The rate is killed / (made - stillborn - equivalent).
Neutral facts (places, deeds) and numbers stand apart: for them there is no second witness in the text.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from typing import Literal

from runner.core.finding import Finding, Place
from runner.core.graph import Procedure, Step, walk

MOST = 5_000
"""Up to so many mutants all are tried; of more a sample, in each operator its share."""
SEED = 20_260
"""The seed of the sample: the same procedure gives the same sample."""
AFTER = "proof 'after'"
"""Who finds a step that is gone and that another one must come after."""
NO_PROOF = frozenset({"wording", "walking", "urgent"})
"""What is said of words, ways and haste: of a mutant it proves nothing."""
RATE, OPERATOR_RATE, OPERATOR_LEAST = Fraction(95, 100), Fraction(80, 100), 5
"""What is asked of a procedure, and of each operator with at least so many mutants."""

Fate = Literal["stillborn", "equivalent", "killed", "survived"]
Kind = Literal["safeguard", "fact", "number"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One fault: what was done, where, and what would find it if nothing does (in the words of the YAML)."""

    operator: str
    kind: Kind
    place: Place
    what: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A mutant, what became of it, and the rules, duties or proofs that found it."""

    mutant: Mutant
    fate: Fate
    by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How many mutants there were of one kind, and how they fared."""

    made: int = 0
    stillborn: int = 0
    equivalent: int = 0
    killed: int = 0
    survived: int = 0

    @property
    def counted(self) -> int:
        """The mutants that the rate is taken over: survivors among them."""
        return self.killed + self.survived

    @property
    def rate(self) -> Fraction:
        """Killed of counted; 1 where there was nothing to kill."""
        return Fraction(self.killed, self.counted) if self.counted else Fraction(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All of it: the whole rate, by operator, the survivors, facts and numbers apart, and who never kills alone."""

    found: int
    tried: int
    score: Score
    operators: Mapping[str, Score]
    facts: Score
    survivors: tuple[Mutant, ...]
    unseen_facts: tuple[Mutant, ...]
    numbers: int
    unseen_numbers: tuple[Mutant, ...]
    sole: Mapping[str, int]
    inert: tuple[str, ...]

    @property
    def passes(self) -> bool:
        """Whether the rates are as asked, on the whole and for each operator."""
        many = [s for s in self.operators.values() if s.counted >= OPERATOR_LEAST]
        return self.score.rate >= RATE and all(s.rate >= OPERATOR_RATE for s in many)


def sample(mutants: Sequence[Mutant], most: int = MOST, seed: int = SEED) -> tuple[int, ...]:
    """Which mutants are tried, by number: all, or of each operator its share, drawn by the seed."""
    if len(mutants) <= most:
        return tuple(range(len(mutants)))
    sizes = Counter(m.operator for m in mutants)
    drawn: list[int] = []
    for operator, size in sizes.items():
        mine = [n for n, m in enumerate(mutants) if m.operator == operator]
        mine.sort(key=lambda n: sha256(f"{seed}|{operator}|{n}".encode()).digest())
        drawn += mine[: max(1, size * most // len(mutants))]
    return tuple(sorted(drawn))


def errors(findings: Iterable[Finding]) -> dict[tuple[object, ...], Finding]:
    """The errors of proofs by what tells them apart; the path that shows one does not."""
    return {(f.check, f.place, f.text): f for f in findings if f.severity == "error" and f.check not in NO_PROOF}


def killers(before: Iterable[Finding], after: Iterable[Finding], rules: Mapping[Place, str]) -> tuple[str, ...]:
    """Who finds something new: a rule or duty by its words, else the proof by its name; () if nobody does."""
    old = errors(before)
    fresh = [f for key, f in errors(after).items() if key not in old]
    return tuple(dict.fromkeys(_owner(f, rules) for f in fresh))


def _owner(finding: Finding, rules: Mapping[Place, str]) -> str:
    places = (finding.place, *(place for place, _ in finding.related))
    return next((rules[p] for p in places if p in rules), f"proof '{finding.check}'")


def rules_of(procedure: Procedure) -> dict[Place, str]:
    """The rules of the procedure and the duties that bear on its own steps, by place, in words."""
    steps = [node for node in walk(procedure.body) if isinstance(node, Step)]
    beats = [p for s in steps for p in getattr(s.gate, "beat", ())]
    arms = [a for s in steps for a in s.branch.arms]
    bears = {("place", s.where) for s in steps}
    bears |= {("deed", d) for one in (*steps, *beats) for d in one.deeds}
    bears |= {("make", r.name) for one in (*steps, *beats, *arms) for r in one.makes}
    bears |= {("end", r.name) for one in (*steps, *beats, *arms) for r in one.ends}
    bears |= {("while", name) for on, name in bears if on == "make"}
    duties = [d for d in procedure.vocabulary.duties if (d.on, d.name) in bears]
    said = {d.place: f"duty on {d.on} {d.name}" for d in duties}
    return said | {r.place: f"rule '{r.said}'" for r in procedure.rules}


def report(judged: Sequence[Judged], found: int, rules: Mapping[Place, str]) -> Report:
    """The rates and lists over all that was tried; ``found`` counts the sites before a sample was drawn."""
    guards = [j for j in judged if j.mutant.kind == "safeguard"]
    facts = [j for j in judged if j.mutant.kind == "fact"]
    numbers = [j for j in judged if j.mutant.kind == "number"]
    # A number counts as protected where one of its two mutants is noticed, be it by the reader.
    noticed = {j.mutant.place for j in numbers if j.fate in ("killed", "stillborn")}
    sole = Counter(j.by[0] for j in guards if len(j.by) == 1)
    return Report(
        found=found,
        tried=len(judged),
        score=_score(guards),
        operators={op: _score(j for j in guards if j.mutant.operator == op) for op in _operators(guards)},
        facts=_score(facts),
        survivors=tuple(j.mutant for j in guards if j.fate == "survived"),
        unseen_facts=tuple(j.mutant for j in facts if j.fate == "survived"),
        numbers=len({j.mutant.place for j in numbers}),
        unseen_numbers=tuple({j.mutant.place: j.mutant for j in numbers if j.mutant.place not in noticed}.values()),
        sole=dict(sole),
        inert=tuple(dict.fromkeys(said for said in rules.values() if not sole.get(said))),
    )


def _operators(judged: Iterable[Judged]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(j.mutant.operator for j in judged))


def _score(judged: Iterable[Judged]) -> Score:
    fates = Counter[str](j.fate for j in judged)
    return Score(
        made=fates.total(),
        stillborn=fates["stillborn"],
        equivalent=fates["equivalent"],
        killed=fates["killed"],
        survived=fates["survived"],
    )
