"""The runs of a folder listed, and one told: each as (text, exit code)."""

from __future__ import annotations

from pathlib import Path

from runner.core.audit import Summary, gates, story, summary
from runner.core.record import fingerprint
from runner.edge.choosing import Wanted
from runner.edge.opening import Answer, Opened, in_json, opened, opened_run, plain, procedure_of, words


def audit_list(folder: Path, as_json: bool, wanted: Wanted | None = None) -> Answer:
    """Every run that is meant in one line each, oldest first; code 1 if a record of the folder cannot be told."""
    if not folder.is_dir():
        return words(f"{folder}: there is no such folder: name the one that holds the records"), 2
    all_runs = [opened(path) for path in sorted(folder.glob("*.jsonl"))]
    troubles = [one for one in all_runs if isinstance(one, str)]
    found = [(one, summary(one.entries)) for one in all_runs if isinstance(one, Opened)]
    if wanted is not None:
        found = [(one, short) for one, short in found if _meant(wanted, short)]
    found.sort(key=lambda each: (each[1].begun, each[0].path.name))
    code = 1 if troubles or any(one.faults for one, _ in found) else 0
    if as_json:
        listed = [
            {"run": one.path.stem, **plain(short), "faults": [plain(f) for f in one.faults]} for one, short in found
        ]
        return in_json({"runs": listed, "troubles": troubles}), code
    lines = [words(line) for line in (*(_listed(one, short) for one, short in found), *troubles)]
    which = "no such run" if wanted is not None and wanted != Wanted() else "no run"
    return "\n".join(lines) or words(f"{which} is recorded in {folder}"), code


def audit_show(folder: Path, run: str, as_json: bool) -> Answer:
    """One run as a story: its summary, then each act, and each gate with who, when, how long and what was found."""
    found = opened_run(folder, run)
    if isinstance(found, str):
        return words(found), 2
    procedure = procedure_of(found)
    short = summary(found.entries)
    if as_json:
        rows = [plain(row) for row in gates(found.entries, procedure)]
        faults = [plain(fault) for fault in found.faults]
        told = {"run": found.path.stem, "summary": plain(short), "gates": rows, "faults": faults}
        return in_json(told), 1 if faults else 0
    lines = [*_head(found, short), "", *story(found.entries, procedure)]
    lines += [f"{found.path.name}:{f.line}: {f.kind}: {f.text}; what follows is not told" for f in found.faults]
    return "\n".join(words(line) for line in lines), 1 if found.faults else 0


def _meant(wanted: Wanted, short: Summary) -> bool:
    return (
        wanted.car in ("", short.car)
        and wanted.procedure in ("", short.procedure)
        and (not wanted.person or wanted.person in short.people)
        and wanted.covers(short.begun, short.last)
    )


def _listed(run: Opened, short: Summary) -> str:
    scars = [
        f"{count} {name if count == 1 else f'{name}s'}"
        for count, name in (
            (len(short.overrides), "override"),
            (len(short.corrections), "correction"),
            (len(short.findings), "finding"),
            (short.fast, "fast confirmation"),
            (short.late, "late entry"),
        )
        if count
    ]
    parts = [
        f"{run.path.stem}  {short.begun}  {short.procedure} revision {short.revision}  car {short.car}",
        short.finished or "not finished",
        ", ".join(short.people),
        *(["DEMONSTRATION"] if short.demonstration else []),
        *(["NOT TO BE DRIVEN"] if short.do_not_drive else []),
        *scars,
        *(f"line {fault.line}: {fault.kind}" for fault in run.faults),
    ]
    return "; ".join(parts)


def _head(run: Opened, short: Summary) -> list[str]:
    lines = [
        f"run         {run.path.stem}" + (", DEMONSTRATION" if short.demonstration else ""),
        f"procedure   {short.procedure}, revision {short.revision}",
        f"car         {short.car}",
        f"from        {short.begun} to {short.last}, {short.lines} lines, {short.gates} gates passed",
        f"people      {', '.join(short.people)}",
        f"finished    {short.finished or 'not yet'}" + (", NOT TO BE DRIVEN" if short.do_not_drive else ""),
        f"marks       {short.fast} confirmed too fast, {short.late} entered late, {short.mistaken} mistaken answers,"
        f" {short.refused} refused, {short.breaks} breaks",
        f"fingerprint {fingerprint(run.record.head.hash)}",
    ]
    for name, several in (
        ("override", short.overrides),
        ("correction", short.corrections),
        ("not done", short.not_as_written),
        ("car differs", short.contradictions),
        ("finding", short.findings),
        ("owed", short.owed),
        ("open", short.open),
        ("signature", short.signatures),
    ):
        lines += [f"{name:<11} {one}" for one in several]
    return lines
