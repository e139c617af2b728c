"""``rehearse``: a walk without a record; with ``--all`` the engine walks all that can be crossed."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from pathlib import Path

from runner.cli.beginning import NOTHING, begin
from runner.cli.proving import Ready, for_rehearsal, say
from runner.cli.running import job_of, on_surface
from runner.core.finding import clean, nearest
from runner.core.graph import Procedure, walk
from runner.core.line import Head
from runner.core.wording import says_all
from runner.edge.answers_out import answers_text
from runner.edge.clock import Clock, ShiftedClock, SystemClock
from runner.edge.job import Nowhere
from runner.edge.rehearsal import Coverage, Rehearsed, led_to, rehearse_all
from runner.verify.coverage import Item

_KINDS = (("edge", "edges"), ("outcome", "outcomes"), ("limit", "sides of limits"))


def rehearse(options: argparse.Namespace) -> int:
    """Walk through a procedure on the screen, without a record; said on every screen. Or let the engine walk it."""
    if options.all:
        return _everything(options)
    ready = for_rehearsal(options)
    if isinstance(ready, int):
        return ready
    clock: Clock = SystemClock()
    job = job_of(ready, Nowhere(), clock, record=None, by=ready.car.people[0], notice="")
    act = begin(ready, NOTHING, demonstration=True, rehearsal=True)
    if options.first is None:
        job.do(act)
        return on_surface(options, job, clock)
    spot = led_to(ready.procedure, act, ready.car.people[0], options.first)
    if spot is None:
        say(f"no run of {ready.procedure.name} comes to a step '{clean(options.first)}'" + _meant(ready, options.first))
        return 2
    clock = job.clock = ShiftedClock(clock, spot.clock.now())
    job.state, job.head = spot.state, Head(n=spot.line)
    assumed = says_all(ready.procedure, [(name, True) for name, v in spot.state.conditions.items() if v == "T"])
    job.notice = f"rehearsal from '{options.first}'; assumed: {'; '.join(assumed) or 'nothing'}"
    return on_surface(options, job, clock)


def _meant(ready: Ready, step: str) -> str:
    owners = (ready.procedure, *ready.procedure.fragments.values())
    known = {node.id for owner in owners for node in walk(owner.body)}
    if step in known:
        return ": the values of this car lead past it"
    near = nearest(step, known)
    return f"; did you mean '{near}'?" if near else ""


def _everything(options: argparse.Namespace) -> int:
    """Print what was crossed of all, and what was not and why; 0 where all was crossed."""
    ready = for_rehearsal(options)
    if isinstance(ready, int):
        return ready
    procedure, car = ready.procedure, ready.car
    if procedure.here is not None:
        say(f"{procedure.name} is done for one {procedure.here}: it is rehearsed in the procedures that call it")
        return 2
    first = begin(ready, NOTHING, demonstration=True, salt="demonstration")
    told = rehearse_all(procedure, first, car.people[0])
    files = _kept(procedure, told, options.answers_out) if options.answers_out is not None else ()
    if files is None:
        return 2
    print(_json(procedure, told, files) if options.json else _text(procedure, told, files))
    return 0 if not told.why else 1


def _kept(procedure: Procedure, told: Coverage, folder: Path) -> tuple[str, ...] | None:
    """Each run as a file of answers; None after saying what cannot be written."""
    made: list[str] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for nth, run in enumerate(told.runs, 1):
            path = folder / f"{procedure.name}-{nth:02}.answers.yaml"
            path.write_text(answers_text(procedure, run.given, f"rehearsal {nth}: ends {run.end}"), "utf-8")
            made.append(str(path))
    except OSError as error:
        say(f"{folder}: the answers cannot be kept there: {error.strerror or 'unknown trouble'}")
        return None
    return tuple(made)


def _of(items: frozenset[Item] | set[Item], kind: str) -> int:
    return Counter(item.kind for item in items)[kind]


def _text(procedure: Procedure, told: Coverage, files: tuple[str, ...]) -> str:
    lines = [f"{procedure.name}: {len(told.runs)} runs"]
    lines += [f"{words}: {_of(told.crossed, kind)} of {_of(told.items, kind)} crossed" for kind, words in _KINDS]
    if told.why:
        lines += ["", f"not crossed: {len(told.why)}"]
        lines += [f"  {_named(item)}: {why}" for item, why in sorted(told.why.items())]
    lines += ["", "runs"]
    for nth, run in enumerate(told.runs):
        kept = f"  {files[nth]}" if files else ""
        lines.append(f"  {nth + 1}: {len(run.paths)} steps, ends {run.end}, {len(run.fresh)} crossed first here{kept}")
    return "\n".join(clean(line) for line in lines)


def _named(item: Item) -> str:
    return f"{item.owner}/{item.node}: {item.label}"


def _json(procedure: Procedure, told: Coverage, files: tuple[str, ...]) -> str:
    made = {
        "procedure": procedure.name,
        "coverage": {
            words: {"crossed": _of(told.crossed, kind), "of": _of(told.items, kind)} for kind, words in _KINDS
        },
        "not_crossed": [
            {"procedure": i.owner, "step": i.node, "what": i.label, "kind": i.kind, "why": why}
            for i, why in sorted(told.why.items())
        ],
        "runs": [_run(run, files[nth] if files else "") for nth, run in enumerate(told.runs)],
    }
    return json.dumps(made, ensure_ascii=True, indent=2)


def _run(run: Rehearsed, file: str) -> dict[str, object]:
    return {"steps": list(run.paths), "ends": run.end, "crossed_first": len(run.fresh), "file": file}
