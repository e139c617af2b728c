"""``mutate``: put faults into a procedure, one at a time, and see whether the checker finds each."""

from __future__ import annotations

import argparse
import gc
import json
import multiprocessing
import os
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from runner.core.finding import Finding, Place, clean, line_of
from runner.core.graph import Procedure
from runner.edge.shelf import Loaded, Shelf
from runner.edge.site import Site
from runner.edge.workbench import Workbench, bench
from runner.verify import Checked, verify
from runner.verify.likeness import likeness
from runner.verify.mutation import (
    AFTER,
    MOST,
    OPERATOR_LEAST,
    OPERATOR_RATE,
    RATE,
    SEED,
    Fate,
    Judged,
    Mutant,
    Report,
    Score,
    killers,
    report,
    rules_of,
    sample,
)
from runner.verify.quick import Look, look, one_order

FEW = 60
"""Up to so many faults it is not worth starting processes."""


def mutate(options: argparse.Namespace) -> int:
    """Print what the checker makes of every fault; 0 where the rates are as asked."""
    gc.set_threshold(100_000)  # what is made for one fault goes with it, hardly anything of it stands in a circle
    loaded = Shelf().load(options.procedure)
    if not isinstance(loaded, Loaded):
        return _cannot(loaded)
    made = bench(loaded.files, loaded.main)
    if not isinstance(made, Workbench):
        return _cannot(made)
    own = tuple(f for f in findings(made.procedure) if f.severity == "error")
    if own:
        print(f"{made.procedure.name} has {len(own)} errors of its own; they do not count", file=sys.stderr)
    told = tried(made, options.most, options.seed)
    print(_json(made.procedure, told, options.seed) if options.json else _text(made.procedure, told, options.seed))
    return 0 if told.passes else 1


def _cannot(found: tuple[Finding, ...]) -> int:
    for finding in found:
        print(line_of(finding), file=sys.stderr)
    return 2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judge:
    """The sound procedure, what is known of it, and the faults; each fault is judged alone."""

    bench: Workbench
    sites: tuple[Site, ...]
    whole: tuple[Finding, ...]
    quick: Look
    same: str
    rules: Mapping[Place, str]

    def of(self, nth: int) -> Judged:
        """What becomes of one fault."""
        mutant = self.sites[nth].mutant
        changed = self.bench.made(self.sites[nth])
        if not isinstance(changed, Procedure):
            # What is stated to come after a step does not stand without it: the order found it, not a misspelling.
            missed = mutant.operator == "drop step" and all(f.check == "after" for f in changed)
            return Judged(mutant=mutant, fate="killed" if missed else "stillborn", by=(AFTER,) if missed else ())
        now = look(one_order(changed), self.quick.suspected)
        by = killers(self.quick.findings, now.findings, self.rules)
        if not by and mutant.kind != "number":  # a number that one order does not notice, no order does
            by = killers(self.whole, findings(changed), self.rules)
        fate: Fate = "killed" if by else "equivalent" if likeness(changed) == self.same else "survived"
        return Judged(mutant=mutant, fate=fate, by=by)


def findings(procedure: Procedure) -> tuple[Finding, ...]:
    """All that the checker says of a procedure at the desk."""
    result = verify(procedure)
    return result.warnings if isinstance(result, Checked) else result


def judge(made: Workbench) -> _Judge:
    """Who judges the faults of a procedure."""
    sound = made.procedure
    return _Judge(
        bench=made,
        sites=tuple(made.sites()),
        whole=findings(sound),
        quick=look(one_order(sound)),
        same=likeness(sound),
        rules=rules_of(sound),
    )


def tried(made: Workbench, most: int = MOST, seed: int = SEED) -> Report:
    """Every fault, or a sample of them, put in and judged."""
    over = judge(made)
    chosen = sample(tuple(site.mutant for site in over.sites), most, seed)
    return report(_each(over, chosen), len(over.sites), over.rules)


_AT_WORK: list[_Judge] = []
"""In a process of its own: who judges there."""


def _each(over: _Judge, chosen: tuple[int, ...]) -> tuple[Judged, ...]:
    """The faults shared out among processes, where there are several cores and many faults."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 1
    if cores < 2 or len(chosen) < FEW or "fork" not in multiprocessing.get_all_start_methods():
        return tuple(over.of(nth) for nth in chosen)
    _AT_WORK[:] = [over]
    with multiprocessing.get_context("fork").Pool(cores) as pool:
        return tuple(pool.map(_one, chosen, chunksize=8))


def _one(nth: int) -> Judged:
    return _AT_WORK[0].of(nth)


def _text(procedure: Procedure, told: Report, seed: int) -> str:
    return "\n".join(clean(line) for line in _lines(procedure, told, seed))


def _lines(procedure: Procedure, told: Report, seed: int) -> Iterator[str]:
    whole = told.score
    drawn = f"a sample of {told.tried:,}, seed {seed}" if told.tried < told.found else f"all tried, seed {seed}"
    yield f"{procedure.name}: {told.found:,} faults at as many places of the text, {drawn}"
    yield f"{_rate(whole)} of {whole.counted} killed ({whole.killed}); {_beside(whole)}"
    yield ""
    yield f"{'operator':<16}{'counted':>8}{'killed':>8}{'rate':>8}"
    for name, score in told.operators.items():
        low = score.counted >= OPERATOR_LEAST and score.rate < OPERATOR_RATE
        rate = _rate(score) if score.counted else "-"
        yield f"{name:<16}{score.counted:>8}{score.killed:>8}{rate:>8}" + ("  below 80 %" if low else "")
    yield from _listed("survivors: nothing protects these safeguards", told.survivors)
    yield from _listed("facts that nothing else says (outside the rate)", told.unseen_facts)
    yield from _listed("numbers that nothing protects (outside the rate)", told.unseen_numbers)
    if told.inert:
        yield ""
        yield "inert: never the only one to find a fault"
        yield from (f"  {said}" for said in told.inert)


def _beside(score: Score) -> str:
    return f"beside them {score.equivalent} that change nothing and {score.stillborn} that cannot be read"


def _rate(score: Score) -> str:
    return f"{100 * score.killed // max(1, score.counted)} %" if score.counted else "100 %"


def _listed(title: str, mutants: tuple[Mutant, ...]) -> Iterator[str]:
    if mutants:
        yield ""
        yield f"{title}: {len(mutants)}"
    for one in mutants:
        yield f"{_where(one.place)}: {one.what} [{one.operator}]"
        yield f"  would be found by: {one.mend}"


def _where(place: Place) -> str:
    return f"{place.file}:{place.line}:{place.column}"


def _json(procedure: Procedure, told: Report, seed: int) -> str:
    whole = told.score
    made = {
        "procedure": procedure.name,
        "seed": seed,
        "found": told.found,
        "tried": told.tried,
        "mutants": whole.counted,
        "killed": whole.killed,
        "rate": round(float(whole.rate), 4),
        "stillborn": whole.stillborn,
        "equivalent": whole.equivalent,
        "asked": {"rate": float(RATE), "operator_rate": float(OPERATOR_RATE), "operator_least": OPERATOR_LEAST},
        "passes": told.passes,
        "operators": {name: _scored(score) for name, score in told.operators.items()},
        "survivors": [_told(one) for one in told.survivors],
        "facts": {**_scored(told.facts), "survivors": [_told(one) for one in told.unseen_facts]},
        "numbers": {"numbers": told.numbers, "unprotected": [_told(one) for one in told.unseen_numbers]},
        "sole_killers": dict(told.sole),
        "inert": list(told.inert),
    }
    return json.dumps(made, ensure_ascii=True, indent=2)


def _scored(score: Score) -> dict[str, object]:
    return {
        "mutants": score.counted,
        "killed": score.killed,
        "rate": round(float(score.rate), 4),
        "stillborn": score.stillborn,
        "equivalent": score.equivalent,
    }


def _told(one: Mutant) -> dict[str, object]:
    place = one.place
    return {
        "operator": one.operator,
        "file": place.file,
        "line": place.line,
        "column": place.column,
        "what": clean(one.what),
        "would_find": clean(one.mend),
    }
