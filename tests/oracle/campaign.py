"""Many random procedures, each judged by the proofs and walked by the engine; what disagrees is told with its seed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context

from runner.verify import Checked, verify
from tests.oracle.generator import grown
from tests.oracle.plan import Node, Plan, bodies, built, printed, steps
from tests.oracle.run import Broken
from tests.oracle.shrinking import shrunk
from tests.oracle.walker import Walk

JUDGED = frozenset({"needs", "opening", "duty", "caution", "rule", "unset", "level", "end", "restore", "after", "loop"})
"""The proofs whose faults a walk can meet; the others are about how a procedure is written."""
CHUNK = 25


@dataclass
class Tally:
    """What came of some procedures."""

    graphs: int = 0
    clean: int = 0
    rich: int = 0
    cut: int = 0
    sound: int = 0
    outer: int = 0
    outer_cut: int = 0
    decided: int = 0
    alarms: Counter[str] = field(default_factory=Counter)
    broken: list[int] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Both."""
        for name in ("graphs", "clean", "rich", "cut", "sound", "outer", "outer_cut", "decided"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.alarms += other.alarms
        self.broken += other.broken
        self.failures += other.failures

    def __str__(self) -> str:
        share = {
            n: f"{getattr(self, n)} ({getattr(self, n) / max(1, self.graphs):.0%})" for n in ("clean", "rich", "cut")
        }
        return (
            f"{self.graphs} procedures: {share}, {self.outer} with outer acts ({self.outer_cut} cut), sound by the "
            f"walk {self.sound}, refused all the same {dict(self.alarms)}, {self.decided} acts"
        )


def campaign(first: int, last: int, *, processes: int = 2, outer_every: int = 3) -> Tally:
    """The procedures of these seeds."""
    chunks = [(at, min(at + CHUNK, last), outer_every) for at in range(first, last, CHUNK)]
    whole = Tally()
    if processes == 1:
        for chunk in chunks:
            whole.add(tried(chunk))
        return whole
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for tally in pool.map(tried, chunks):
            whole.add(tally)
    return whole


def tried(chunk: tuple[int, int, int]) -> Tally:
    """One chunk of seeds."""
    first, last, outer_every = chunk
    tally = Tally()
    for seed in range(first, last):
        one(tally, grown(seed), outer=seed % outer_every == 0)
    return tally


def one(tally: Tally, plan: Plan, *, outer: bool) -> None:
    """One procedure: what the proofs say of it against what a walk meets."""
    procedure = built(plan)
    verdict = verify(procedure)
    checked = verdict if isinstance(verdict, Checked) else None
    said = judged(verdict)
    tally.graphs += 1
    tally.clean += checked is not None
    tally.rich += checked is not None and rich(plan)
    walk = Walk(procedure, most=600, both=plan.seed % 5 == 0)
    broken = walk.broken()
    tally.decided += walk.decided
    tally.cut += walk.cut
    if broken is not None:
        tally.broken.append(plan.seed)
    if broken is not None and not said:
        tally.failures.append(told(plan, broken, 0))
    if broken is None and not walk.cut:
        tally.sound += 1
        seen = said - {"restore"}  # what a break takes away is met with outer acts alone
        tally.alarms += Counter(seen)
        tally.alarms["procedures"] += bool(seen)
    if outer and checked is not None and broken is None:
        walk = Walk(procedure, checked=checked, outer=1, most=600, share=0.08, both=plan.seed % 5 == 0)
        broken = walk.broken()
        tally.outer += 1
        tally.outer_cut += walk.cut
        tally.decided += walk.decided
        if broken is not None:
            tally.failures.append(told(plan, broken, 1))


def judged(verdict: object) -> frozenset[str]:
    """The proofs that failed, of those that a walk can meet."""
    if isinstance(verdict, Checked):
        return frozenset()
    assert isinstance(verdict, tuple)
    return frozenset(f.check for f in verdict if f.severity == "error") & JUDGED


def disagrees(plan: Plan, outer: int) -> Broken | None:
    """What breaks though the proofs found nothing."""
    procedure = built(plan)
    verdict = verify(procedure)
    if judged(verdict) or (outer and not isinstance(verdict, Checked)):
        return None
    checked = verdict if isinstance(verdict, Checked) else None
    return Walk(procedure, checked=checked, outer=outer, most=3000).broken()


def told(plan: Plan, broken: Broken, outer: int) -> str:
    """The failure with a smaller procedure that fails alike."""
    kind = broken.why.partition(":")[0][:14]
    small = shrunk(plan, lambda p: (b := disagrees(p, outer)) is not None and b.why.startswith(kind), most=120)
    again = disagrees(small, outer) or broken
    acts = "\n".join(again.acts())
    return f"seed {plan.seed}, outer acts {outer}: {broken.why}\n{printed(small)}\n{again.why}\n{acts}\n"


def rich(plan: Plan) -> bool:
    """Whether it has a loop, a level and a call."""
    every = [n for body in bodies(plan) for n in body]
    wet = any(n.get("moves") or n.get("count") for n in steps(plan))
    return wet and any("call" in n for n in every) and any(_loops(body) for body in bodies(plan))


def _loops(body: list[Node]) -> bool:
    """Whether some step of a body can be come to again: a count asked again, or an edge back."""
    place = {n["id"]: at for at, n in enumerate(body)}
    back = any(place.get(w[0], at + 1) <= at for at, n in enumerate(body) for w in n.get("ways", {}).values())
    return back or any("count" in n for n in body)


def missed(seeds: Iterable[int]) -> int | None:
    """The first of these seeds, whose procedures break, that the proofs let pass."""
    for seed in seeds:
        try:
            if not judged(verify(built(grown(seed)))):
                return seed
        except (KeyError, IndexError, StopIteration, AssertionError):
            continue
    return None
