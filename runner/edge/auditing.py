"""The runs of a folder listed, one told, and records verified: each as (text, exit code).

Exit codes: 0 all is whole, 1 something is at fault, 2 it could not be done. Nothing that a record holds reaches a
terminal as anything but text; JSON is plain ASCII.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import msgspec

from runner.core.act import Begin, Resume
from runner.core.audit import Summary, gates, story, summary
from runner.core.entry import Entry, entries
from runner.core.finding import Finding, clean, line_of, quote
from runner.core.graph import Procedure
from runner.core.record import Record, clock_faults, fingerprint, read
from runner.core.replay import replay
from runner.edge.reader import read as read_procedure

Answer = tuple[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One thing to know of a record: the line (from 1), its kind, and in words what it is and how to mend it."""

    line: int
    kind: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What verifying one record came to. `printed` is the line (from 1) whose fingerprint is on the paper."""

    file: str
    whole: bool
    lines: int
    fingerprint: str
    printed: int | None
    faults: tuple[Trouble, ...]
    warnings: tuple[Trouble, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Opened:
    """A record as far as it can be told, and what is wrong with its lines."""

    path: Path
    record: Record
    entries: tuple[Entry, ...]
    faults: tuple[Trouble, ...]


# ── list and show ────────────────────────────────────────────────────────────────────────────────


def audit_list(folder: Path, as_json: bool) -> Answer:
    """Every run of a folder in one line each, oldest first; code 1 if a record of it cannot be told."""
    if not folder.is_dir():
        return _words(f"{folder}: there is no such folder: name the one that holds the records"), 2
    opened = [_opened(path) for path in sorted(folder.glob("*.jsonl"))]
    troubles = [one for one in opened if isinstance(one, str)]
    found = [(one, summary(one.entries)) for one in opened if isinstance(one, _Opened)]
    found.sort(key=lambda each: (each[1].begun, each[0].path.name))
    code = 1 if troubles or any(one.faults for one, _ in found) else 0
    if as_json:
        listed = [
            {"run": one.path.stem, **_plain(short), "faults": [_plain(f) for f in one.faults]} for one, short in found
        ]
        return _json({"runs": listed, "troubles": troubles}), code
    lines = [_words(line) for line in (*(_listed(one, short) for one, short in found), *troubles)]
    return "\n".join(lines) or _words(f"no run is recorded in {folder}"), code


def audit_show(folder: Path, run: str, as_json: bool) -> Answer:
    """One run as a story: its summary, then each act, and each gate with who, when, how long and what was found."""
    path = folder / f"{run.removesuffix('.jsonl')}.jsonl"
    if path.parent != folder or not path.is_file():
        names = ", ".join(p.stem for p in sorted(folder.glob("*.jsonl"))[:20]) or "none"
        return _words(f"there is no run {quote(run)} in {folder}: the runs are {names}"), 2
    found = _opened(path)
    if isinstance(found, str):
        return _words(found), 2
    begin = found.entries[0].act if found.entries else None
    made = rebuild(begin) if isinstance(begin, Begin) else None
    procedure = made if isinstance(made, Procedure) else None
    short = summary(found.entries)
    if as_json:
        rows = [_plain(row) for row in gates(found.entries, procedure)]
        faults = [_plain(fault) for fault in found.faults]
        told = {"run": found.path.stem, "summary": _plain(short), "gates": rows, "faults": faults}
        return _json(told), 1 if faults else 0
    lines = [*_head(found, short), "", *story(found.entries, procedure)]
    lines += [f"{path.name}:{f.line}: {f.kind}: {f.text}; what follows is not told" for f in found.faults]
    return "\n".join(_words(line) for line in lines), 1 if found.faults else 0


def _listed(run: _Opened, short: Summary) -> str:
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


def _head(run: _Opened, short: Summary) -> list[str]:
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


# ── verify ───────────────────────────────────────────────────────────────────────────────────────


def audit_verify(paths: Sequence[Path], fingerprint: str | None, as_json: bool) -> Answer:
    """Whether each record is whole, follows from its acts, and agrees with the records beside it."""
    if not paths:
        return "there is no record to verify: name a .jsonl file", 2
    if fingerprint is not None and len(paths) > 1:
        return "a fingerprint belongs to one record: name that file alone", 2
    verified = [_verified(path, fingerprint) for path in paths]
    unread = [one for one in verified if isinstance(one, str)]
    told = [one for one in verified if isinstance(one, Verified)]
    code = 2 if unread else 0 if all(one.whole for one in told) else 1
    if as_json:
        return _json({"records": [_plain(one) for one in told], "unread": unread}), code
    lines = [line for one in verified for line in ([one] if isinstance(one, str) else _verdict(one))]
    return "\n".join(_words(line) for line in lines), code


def rebuild(begin: Begin) -> Procedure | tuple[Finding, ...]:
    """The procedure from the texts that the first line of a record holds, or what this program cannot read in them."""
    wanted = f"{begin.procedure}.yaml"
    main = next((name for name in begin.texts if name.rpartition("/")[2] == wanted), wanted)
    return read_procedure({name: text.encode("utf-8", "replace") for name, text in begin.texts.items()}, main)


def _opened(path: Path, typed: str | None = None) -> _Opened | str:
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
    return _Opened(path=path, record=record, entries=tuple(told), faults=tuple(faults))


def _verified(path: Path, typed: str | None) -> Verified | str:
    one = _opened(path, typed)
    if isinstance(one, str):
        return one
    faults = [*one.faults, *_replayed(one.entries), *_linked(path, one.entries)]
    return Verified(
        file=str(path),
        whole=not faults,
        lines=len(one.record.lines),
        fingerprint=fingerprint(one.record.head.hash) if one.record.lines else "",
        printed=one.record.printed,
        faults=tuple(sorted(faults, key=lambda trouble: trouble.line)),
        warnings=tuple(Trouble(line=f.line, kind=f.kind, text=f.text) for f in clock_faults(one.record.lines)),
    )


def _replayed(told: Sequence[Entry]) -> list[Trouble]:
    begin = told[0].act if told else None
    if begin is None:
        return []  # the fault of its first line is told already
    if not isinstance(begin, Begin):
        return [Trouble(line=1, kind="no beginning", text="a record begins with the start of its run")]
    for name, digest in begin.hashes.items():
        if sha256(begin.texts.get(name, "").encode("utf-8", "replace")).hexdigest() != digest:
            return [Trouble(line=1, kind="changed", text=f"the text of {quote(name)} does not fit its own SHA-256")]
    made = rebuild(begin)
    if not isinstance(made, Procedure):
        text = f"the procedure in this line cannot be read: {line_of(made[0])}" if made else "it holds no procedure"
        return [Trouble(line=1, kind="not replayed", text=text)]
    mismatch = replay(made, told)
    if mismatch is None:
        return []
    mend = f"the line was made anew, or witnessmark {begin.version}, which wrote it, judged otherwise"
    return [Trouble(line=mismatch.line, kind="not the engine's", text=f"{mismatch.text}: {mend}")]


def _linked(path: Path, told: Sequence[Entry]) -> list[Trouble]:
    """What the heads of other records, named in begin and resume lines, say against the files beside this one."""
    faults: list[Trouble] = []
    hashes: dict[str, frozenset[str] | None] = {}
    for one in told:
        for name, head in (one.act.heads if isinstance(one.act, Begin | Resume) else {}).items():
            if name not in hashes:
                hashes[name] = _hashes(path.parent, name)
            known = hashes[name]
            where = f"the record {quote(name)}, which this line names,"
            if known is None:
                text = f"{where} is not in this folder: put it back, or look for it in a copy"
                faults.append(Trouble(line=one.line + 1, kind="missing record", text=text))
            elif head not in known:
                text = f"{where} was shortened or rewritten: no line of it has the hash that it ended with then"
                faults.append(Trouble(line=one.line + 1, kind="shortened or rewritten", text=text))
    return faults


def _hashes(folder: Path, name: str) -> frozenset[str] | None:
    if "/" in name or name.startswith(".") or "\0" in name:  # a name from a record is no path
        return None
    try:
        return frozenset(line.hash for line in read((folder / f"{name}.jsonl").read_bytes()).lines)
    except OSError:
        return None


def _verdict(one: Verified) -> list[str]:
    name = one.file
    lines = [f"{name}:{t.line}: {t.kind}: {t.text}" for t in one.faults]
    lines += [f"{name}:{t.line}: warning: {t.kind}: {t.text}" for t in one.warnings]
    if one.whole:
        paper = f"; the paper was printed at line {one.printed}" if one.printed else ""
        lines.append(f"{name}: whole: {one.lines} lines, replayed; fingerprint {one.fingerprint}{paper}")
    else:
        lines.append(f"{name}: AT FAULT: {len(one.faults)}, first at line {one.faults[0].line}")
    return lines


# ── what is printed ──────────────────────────────────────────────────────────────────────────────


def _words(text: str) -> str:
    return clean(text).replace("\n", " ")


def _plain(value: object) -> Mapping[str, object]:
    built: Mapping[str, object] = msgspec.to_builtins(value)
    return built


def _json(value: object) -> str:
    return json.dumps(value, indent=2, ensure_ascii=True)
