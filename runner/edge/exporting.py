"""A run handed out: the record itself, its gates and readings as tables, and the sheet for the car's owner."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import ExitStack, suppress
from hashlib import sha256
from pathlib import Path

from runner.core import event as ev
from runner.core.act import Begin, Resume
from runner.core.entry import Entry
from runner.core.gaterows import GateRow, gates
from runner.core.handover import Handover, Vehicle, handover
from runner.core.measured import Measured, measured
from runner.core.record import fingerprint
from runner.edge.carfile import Car, read_car
from runner.edge.disk import NotRecorded, in_words
from runner.edge.handover import page
from runner.edge.kept_pictures import folder_of
from runner.edge.opening import Answer, Opened, opened, opened_run, procedure_of, words
from runner.edge.verifying import verified

_NUMBER = re.compile(r"[+-]?\d+([.,/]\d+)?", re.ASCII)
_LARGEST = 10_000_000
"""Bytes of a picture above which it is named on the sheet and not shown."""
_FREE_TEXT = (
    ev.Identified, ev.Corrected, ev.Overridden, ev.CannotDo, ev.FindingMade, ev.Settled, ev.Contradicted, ev.Supplied
)  # fmt: skip
GATES = ("run", "line", "at", "who", "seconds", "path", "title", "kind", "value", "unit", "limit", "verdict",
         "instrument", "marks")  # fmt: skip
READINGS = ("run", "line", "at", "who", "path", "name", "what", "typed", "unit", "instrument", "clicks", "taking",
            "dimension", "least and most in SI", "error in SI", "limit", "limit kind", "rule", "outcome", "label",
            "probability", "because", "limit from", "corrected")  # fmt: skip


def audit_export(folder: Path, run: str, to: Path, cars: Iterable[Path], *, personal: bool) -> Answer:
    """The files put into ``to``, which must not hold them yet; what was left out or must be looked at is said.

    Without ``personal`` nothing of the car's own file goes into the sheet and no picture is copied; the record is
    the same to the last byte, so that it still verifies. ``cars`` are the files in which the car is looked for.
    """
    found = opened_run(folder, run)
    if isinstance(found, str):
        return words(found), 2
    procedure = procedure_of(found)
    if procedure is None or not found.entries:
        return words(f"{found.path}: not exported: no procedure can be read from its first line"), 2
    name = found.path.stem
    vehicle = _vehicle(found, cars) if personal else Vehicle()
    faults = tuple(f"line {one.line}: {one.kind}: {one.text}" for one in verified(found).faults)
    said = handover(found.entries, procedure, vehicle)
    pictures = _pictures(found.path, said) if personal else {}
    paper = fingerprint(found.record.head.hash)
    printed = _printed(said, name, paper, faults, pictures)
    rows = gates(found.entries, procedure)
    readings = measured(found.entries, procedure)
    made = {
        "gates.csv": _table(GATES, (_gate(name, row) for row in rows)).encode(),
        "readings.csv": _table(READINGS, (_reading(name, row) for row in readings)).encode(),
        "handover.html": page(said, run=name, fingerprint=paper, faults=faults, pictures=pictures).encode(),
        **({"handover.pdf": printed} if printed is not None else {}),
    }
    try:
        with in_words(to):
            copies = _records(found)
            to.mkdir(mode=0o700, parents=True, exist_ok=True)
            _put(to, {path.name: path.read_bytes() for path in copies} | made)
            folder = folder_of(found.path)
            if personal and folder.is_dir():
                shutil.copytree(folder, to / folder.name)
    except NotRecorded as error:
        return words(f"not exported: {error.why}: {error.mend}"), 2
    code = 1 if faults else 0
    return "\n".join(words(line) for line in _said(to, copies, made, found, faults, personal=personal)), code


def _said(
    to: Path, copies: Sequence[Path], made: Collection[str], found: Opened, faults: Sequence[str], *, personal: bool
) -> Iterable[str]:
    yield from (f"{to / name}" for name in (*(path.name for path in copies), *made))
    if "handover.pdf" not in made:
        yield "no PDF was made of the sheet: pip install 'witnessmark[pdf]', or print handover.html"
    yield from (f"the record is at fault, and the sheet says so: {fault}" for fault in faults)
    typed = _free_texts(found.entries)
    if not personal:
        yield "left out: what the car's own file says of it, and all pictures"
        if typed:
            lines = ", ".join(str(line) for line in typed)
            yield f"texts that people typed stand in the record as they are: read lines {lines} before you hand it out"


def _printed(
    said: Handover, run: str, paper: str, faults: Sequence[str], pictures: Mapping[str, bytes]
) -> bytes | None:
    """The sheet as PDF; None where the library for it is not installed."""
    try:
        from runner.edge.handover_pdf import pdf
    except ImportError:
        return None
    return pdf(said, run=run, fingerprint=paper, faults=faults, pictures=pictures)


def _pictures(record: Path, said: Handover) -> dict[str, bytes]:
    """The pictures that stand on the sheet, by their SHA-256; one that is gone, changed or too large does not."""
    wanted = {one.digest for one in said.pictures}
    files: dict[str, bytes] = {}
    for path in sorted(folder_of(record).glob("*")):
        with suppress(OSError):
            if path.stem in wanted and path.stat().st_size <= _LARGEST:
                data = path.read_bytes()
                files |= {path.stem: data} if sha256(data).hexdigest() == path.stem else {}
    return files


def _free_texts(entries: Sequence[Entry]) -> tuple[int, ...]:
    """The lines (from 1) with a text that a person typed freely, or could have."""
    return tuple(one.line + 1 for one in entries if any(isinstance(event, _FREE_TEXT) for event in one.events))


def _vehicle(found: Opened, cars: Iterable[Path]) -> Vehicle:
    """What the car's own file says, if one of the files is that of this car."""
    begin = found.entries[0].act
    for path in cars:
        car = read_car(path)
        if isinstance(car, Car) and isinstance(begin, Begin) and car.reference == begin.car:
            return Vehicle(name=car.name, vin=car.vin, odometer=car.odometer, steering=car.steering)
    return Vehicle()


def _records(found: Opened) -> tuple[Path, ...]:
    """The record, and those of the car that it names, without which it cannot be verified."""
    wanted, todo = {found.path.name: found.path}, [found]
    while todo:
        one = todo.pop()
        acts = (line.act for line in one.entries)
        for name in {name for act in acts if isinstance(act, Begin | Resume) for name in act.heads}:
            path = found.path.parent / f"{name}.jsonl"
            if path.name not in wanted and path.parent == found.path.parent and "\0" not in name and path.is_file():
                wanted[path.name] = path
                beside = opened(path)
                todo += [beside] if isinstance(beside, Opened) else []
    return tuple(wanted.values())


def _put(to: Path, files: dict[str, bytes]) -> None:
    """All of the files, or none: one that is there already is never written over."""
    there = [name for name in files if (to / name).exists()]
    if there:
        raise NotRecorded(f"{to / there[0]}: there is a file of that name already", "name another folder")
    with ExitStack() as undo:
        for name, data in files.items():
            with open(to / name, "xb") as file:
                undo.callback((to / name).unlink, missing_ok=True)
                file.write(data)
        undo.pop_all()


# ── tables ───────────────────────────────────────────────────────────────────────────────────────


def _table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """RFC 4180, with nothing in it that a spreadsheet takes for a formula."""
    out = io.StringIO(newline="")
    table = csv.writer(out)
    table.writerow(head)
    table.writerows([_cell(value) for value in row] for row in rows)
    return out.getvalue()


def _cell(value: object) -> str:
    text = "" if value is None else str(value)
    harmless = not text.lstrip().startswith(("=", "+", "-", "@", "|", "%")) or _NUMBER.fullmatch(text)
    return text if harmless else f"'{text}"


def _gate(run: str, row: GateRow) -> tuple[object, ...]:
    return (run, row.line, row.at, row.who, row.seconds, row.path, row.title, row.kind, row.value, row.unit,
            row.limit, row.verdict, row.instrument, "; ".join(row.marks))  # fmt: skip


def _reading(run: str, row: Measured) -> tuple[object, ...]:
    values = "; ".join(f"{least} {most}" for least, most in row.values)
    return (run, row.line, row.at, row.who, row.path, row.name, row.what, "; ".join(row.typed), row.unit,
            row.instrument, row.clicks, row.repeat + 1, row.dimension, values, row.error, row.limit,
            row.limit_kind, row.rule, row.outcome, row.label, row.probability, row.because,
            "; ".join(row.sources), row.corrected)  # fmt: skip
