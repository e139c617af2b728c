"""The runs of a folder listed, and one told: each as (text, exit code)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from runner.core.audit import Summary, gates, story, summary
from runner.core.gaterows import on_one_line
from runner.core.record import fingerprint
from runner.edge.choosing import Wanted
from runner.edge.opening import Answer, Opened, Trouble, in_json, opened, opened_run, plain, procedure_of, words


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One record of a folder in short. Where its first line cannot be told, `short` is that of no run at all."""

    path: Path
    short: Summary
    faults: tuple[Trouble, ...]

    @property
    def name(self) -> str:
        """The run's name."""
        return on_one_line(self.path.stem)

    @property
    def when(self) -> str:
        """When the run began; of one that cannot be told, the day on which its file was written last."""
        if self.short.begun:
            return self.short.begun
        try:
            written = datetime.fromtimestamp(self.path.stat().st_mtime, tz=UTC)
        except (OSError, OverflowError, ValueError):
            return ""
        return f"{written:%Y-%m-%d}"


def listed(folder: Path, wanted: Wanted | None = None) -> tuple[tuple[Listed, ...], tuple[str, ...]]:
    """The runs that are meant, oldest first, and a line for each file that cannot be read.

    A record whose first line cannot be told stands among them whatever is asked for: nobody knows that it is not meant.
    """
    found: list[Listed] = []
    troubles: list[str] = []
    for path in sorted(folder.glob("*.jsonl")):
        one = opened(path)
        if isinstance(one, str):
            troubles.append(one)
            continue
        short = summary(one.entries)
        if not one.entries or wanted is None or _meant(wanted, short):
            found.append(Listed(path=path, short=short, faults=one.faults))
    return tuple(sorted(found, key=lambda each: (each.when, each.path.name))), tuple(troubles)


def none_yet(folder: Path, wanted: Wanted | None = None) -> str:
    """What to say where no run is listed: that there is none, and what to do."""
    if wanted is not None and wanted != Wanted() and any(folder.glob("*.jsonl")):
        return f"no such run is recorded in {folder}: ask with fewer filters; 'witnessmark audit' lists all runs"
    there = "no run is recorded in" if folder.is_dir() else "there is no folder"
    where = f"{there} {folder}"
    mend = "begin one with 'witnessmark run', see demonstrations with --demo, or name another folder with --records"
    return f"{where}: {mend}"


def audit_list(folder: Path, as_json: bool, wanted: Wanted | None = None) -> Answer:
    """Every run that is meant in one line each, oldest first; code 1 if a record of the folder cannot be told."""
    if not folder.is_dir():
        return words(none_yet(folder)), 2
    found, troubles = listed(folder, wanted)
    code = 1 if troubles or any(one.faults for one in found) else 0
    if as_json:
        told = [{"run": one.path.stem, **plain(one.short), "faults": [plain(f) for f in one.faults]} for one in found]
        return in_json({"runs": told, "troubles": list(troubles)}), code
    lines = [words(line) for line in (*(_line(one) for one in found), *troubles)]
    return "\n".join(lines) or words(none_yet(folder, wanted)), code


def audit_show(folder: Path, run: str, as_json: bool) -> Answer:
    """One run as a story: its summary, then each act, and each gate with who, when, how long and what was found."""
    found = opened_run(folder, run)
    if isinstance(found, str):
        return words(found), 2
    procedure = procedure_of(found)
    short = summary(found.entries, procedure)
    if as_json:
        rows = [plain(row) for row in gates(found.entries, procedure)]
        faults = [plain(fault) for fault in found.faults]
        told = {"run": found.path.stem, "summary": plain(short), "gates": rows, "faults": faults}
        return in_json(told), 1 if faults else 0
    lines = [*head_lines(found, short), "", *story(found.entries, procedure)]
    lines += [f"{found.path.name}:{f.line}: {f.kind}: {f.text}; what follows is not told" for f in found.faults]
    return "\n".join(words(line) for line in lines), 1 if found.faults else 0


def _meant(wanted: Wanted, short: Summary) -> bool:
    return (
        wanted.car in ("", short.car)
        and wanted.procedure in ("", short.procedure)
        and (not wanted.person or wanted.person in short.people)
        and (not wanted.unfinished or not short.finished or bool(short.open))
        and wanted.covers(short.begun, short.last)
    )


def scars(short: Summary) -> tuple[str, ...]:
    """What a reader of a run must not miss, each with how often."""
    return tuple(
        f"{count} {name if count == 1 else f'{name}s'}"
        for count, name in (
            (len(short.overrides), "override"),
            (len(short.corrections), "correction"),
            (len(short.findings), "finding"),
            (short.fast, "fast confirmation"),
            (short.late, "late entry"),
        )
        if count
    )


def _line(run: Listed) -> str:
    short = run.short
    faults = [f"line {fault.line}: {fault.kind}" for fault in run.faults]
    if not short.lines:
        written = f"last written {run.when}" if run.when else "of an unknown day"
        return "; ".join([f"{run.name}  {written}, nothing of it can be told", *(faults or ["it is empty"])])
    parts = [
        f"{run.name}  {short.begun}  {short.procedure} revision {short.revision}  car {short.car}",
        short.finished or "not finished",
        ", ".join(short.people),
        *(["DEMONSTRATION"] if short.demonstration else []),
        *(["NOT TO BE DRIVEN"] if short.do_not_drive else []),
        *scars(short),
        *faults,
    ]
    return "; ".join(parts)


def head_lines(run: Opened, short: Summary) -> list[str]:
    """The run in short, a line for each thing to know."""
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
