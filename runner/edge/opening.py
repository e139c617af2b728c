"""A record opened as far as it can be told, and how what is said of it is printed.

Nothing that a record holds reaches a terminal as anything but text; JSON is plain ASCII.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import msgspec

from runner.core.act import Begin
from runner.core.entry import Entry, entries
from runner.core.finding import Finding, clean, quote
from runner.core.graph import Procedure
from runner.core.record import Record, read
from runner.edge.reader import read as read_procedure

Answer = tuple[str, int]
"""What is printed, and the exit code: 0 all is whole, 1 something is at fault, 2 it could not be done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One thing to know of a record: the line (from 1), its kind, and in words what it is and how to mend it."""

    line: int
    kind: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A record as far as it can be told, and what is wrong with its lines."""

    path: Path
    record: Record
    entries: tuple[Entry, ...]
    faults: tuple[Trouble, ...]


def opened(path: Path, typed: str | None = None) -> Opened | str:
    """The record at a path, or in words why there is none; acts that are not known here end what can be told."""
    try:
        record = read(path.read_bytes(), fingerprint=typed)
    except OSError as error:
        return f"{path}: cannot be read: {error.strerror or 'unknown trouble'}"
    fault = record.fault
    faults = [Trouble(line=fault.line, kind=fault.kind, text=fault.text)] if fault else []
    told: list[Entry] = []
    for line in record.lines:
        try:
            told += entries((line,))
        except (msgspec.MsgspecError, ValueError) as error:
            text = f"its act or an event is not known here: {error}: read it with the witnessmark that wrote it"
            faults.append(Trouble(line=line.n + 1, kind="unknown act", text=text))
            break
    return Opened(path=path, record=record, entries=tuple(told), faults=tuple(faults))


def opened_run(folder: Path, run: str) -> Opened | str:
    """The record of that name in a folder, or in words why it cannot be told."""
    path = folder / f"{run.removesuffix('.jsonl')}.jsonl"
    if path.parent != folder or not path.is_file():
        names = ", ".join(p.stem for p in sorted(folder.glob("*.jsonl"))[:20]) or "none"
        return f"there is no run {quote(run)} in {folder}: the runs are {names}"
    return opened(path)


def procedure_of(run: Opened) -> Procedure | None:
    """The procedure that the record itself holds, where it can be read."""
    begin = run.entries[0].act if run.entries else None
    made = rebuild(begin) if isinstance(begin, Begin) else None
    return made if isinstance(made, Procedure) else None


def rebuild(begin: Begin) -> Procedure | tuple[Finding, ...]:
    """The procedure from the texts that the first line of a record holds, or what this program cannot read in them."""
    return _made(begin.procedure, frozenset(begin.texts.items()))


@lru_cache(maxsize=8)
def _made(named: str, texts: frozenset[tuple[str, str]]) -> Procedure | tuple[Finding, ...]:
    """Kept, since reading takes long and many records hold the same texts."""
    wanted = f"{named}.yaml"
    main = next((name for name, _ in sorted(texts) if name.rpartition("/")[2] == wanted), wanted)
    return read_procedure({name: text.encode("utf-8", "replace") for name, text in sorted(texts)}, main)


def words(text: str) -> str:
    """The text on one line, without controls."""
    return clean(text).replace("\n", " ")


def plain(value: object) -> Mapping[str, object]:
    """The fields of a value for JSON."""
    built: Mapping[str, object] = msgspec.to_builtins(value)
    return built


def in_json(value: object) -> str:
    """The value as JSON, plain ASCII."""
    return json.dumps(value, indent=2, ensure_ascii=True)
