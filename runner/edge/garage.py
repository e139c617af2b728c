"""The records of one car, and the state of the car that they fold to.

The car is the fold of all its records in the order in which they began; each begin and resume line names the
heads of the others, so that a record that is missing shows.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from runner.core import act as ac
from runner.core.act import Begin
from runner.core.entry import Entry, entries, folded
from runner.core.rational import to_text
from runner.core.record import Record, read
from runner.core.replay import UNHEARD_OF
from runner.core.state import State


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One record of a folder, read: where it is, what began it, and the state it folds to."""

    path: Path
    record: Record
    entries: tuple[Entry, ...]
    state: State
    begin: Begin

    @property
    def name(self) -> str:
        """The run's name: that of its file."""
        return self.path.stem

    @property
    def unfinished(self) -> bool:
        """Whether it can still be resumed."""
        return self.state.phase != "ended"


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """The car as a new run takes it over. Texts and numbers as the begin line holds them."""

    conditions: Mapping[str, str]
    levels: Mapping[str, list[str]]
    waits: Mapping[str, dict[str, str | int]]
    claims: Mapping[str, str]
    heads: Mapping[str, str]
    unfinished: tuple[Run, ...]
    warnings: tuple[str, ...]


def runs(folder: Path) -> tuple[tuple[Run, ...], tuple[str, ...]]:
    """Every record of a folder that can be understood, oldest first, and a line for each that cannot."""
    found: list[Run] = []
    troubles: list[str] = []
    with _uncollected():
        for path in sorted(folder.glob("*.jsonl")) if folder.is_dir() else ():
            one = run_of(path)
            if isinstance(one, Run):
                found.append(one)
            else:
                troubles.append(one)
    return tuple(sorted(found, key=lambda r: (r.entries[0].stamp.at, r.name))), tuple(troubles)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without the search for cycles, which records have none of: it would take half of the time.

    What was read is not searched later either, so that no key waits for it.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if was:
            gc.enable()


def run_of(path: Path) -> Run | str:
    """The record at a path, or in words why it cannot be told as a run."""
    try:
        record = read(path.read_bytes())
    except OSError as error:
        return f"{path}: cannot be read: {error.strerror or 'unknown trouble'}"
    if not record.lines:
        return f"{path}: no whole line in it: {record.fault.text if record.fault else 'empty'}"
    try:
        told = entries(record.lines)
        state = folded(told)
    except UNHEARD_OF as error:
        return f"{path}: written by a newer program, or not by this one: {error}"
    begin = told[0].act
    if not isinstance(begin, Begin):
        return f"{path}:1: a record begins with the start of its run"
    return Run(path=path, record=record, entries=told, state=state, begin=begin)


def take_over(all_runs: tuple[Run, ...], car: str, leaving_out: str = "", *, demonstration: bool) -> Taken:
    """What is known of the car from its records, ``leaving_out`` the run that is being resumed.

    Work and demonstrations never mix: what was only shown was not done.
    """
    conditions: dict[str, str] = {}
    levels: dict[str, list[str]] = {}
    waits: dict[str, dict[str, str | int]] = {}
    claims: dict[str, str] = {}
    heads: dict[str, str] = {}
    warnings: list[str] = []
    unfinished: list[Run] = []
    present = {r.name for r in all_runs}
    for run in all_runs:
        if run.begin.car != car or run.state.rehearsal or run.begin.demonstration is not demonstration:
            continue
        for missing in sorted(_named(run) - present):
            warnings.append(f"{run.path.name} names the record '{missing}', which is not in this folder")
        if run.name == leaving_out:
            continue
        state = run.state
        conditions |= {c: v for c, v in state.conditions.items() if v != "U" or c in state.since}
        for name, known in state.levels.items():
            levels.pop(name, None)
            if known is not None:
                levels[name] = [to_text(known[0]), to_text(known[1])]
        waits |= {name: {"at": s.at, "mono": s.mono, "boot": s.boot} for name, s in state.waits.items()}
        heads[run.name] = run.record.head.hash
        if run.unfinished:
            unfinished.append(run)
            claims |= dict.fromkeys((c for c, v in state.conditions.items() if v == "T"), run.name)
    return Taken(
        conditions=conditions,
        levels=levels,
        waits=waits,
        claims=claims,
        heads=heads,
        unfinished=tuple(unfinished),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _named(run: Run) -> set[str]:
    return {name for one in run.entries if isinstance(one.act, ac.Begin | ac.Resume) for name in one.act.heads}
