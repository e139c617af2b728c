"""Whether records are whole, follow from their acts, and agree with those beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from runner.core.act import Begin, Resume
from runner.core.entry import Entry
from runner.core.finding import line_of, quote
from runner.core.graph import Procedure
from runner.core.record import clock_faults, fingerprint, read
from runner.core.replay import mismatches
from runner.edge import VERSION
from runner.edge.judging import excused
from runner.edge.kept_pictures import pictured
from runner.edge.opening import Answer, Opened, Trouble, in_json, opened, plain, rebuild, words
from runner.edge.signing import signatures

JUDGED_OTHERWISE = "judged otherwise"
NOT_JUDGED = 3
"""The exit code where nothing is at fault, and something was judged by a version that only itself can replay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What verifying one record came to. `printed` is the line (from 1) whose fingerprint is on the paper.

    One that another version judged otherwise is neither at fault nor whole: only that version can tell.
    """

    file: str
    whole: bool
    lines: int
    fingerprint: str
    printed: int | None
    faults: tuple[Trouble, ...]
    warnings: tuple[Trouble, ...]
    signatures: tuple[Trouble, ...]


def audit_verify(paths: Sequence[Path], fingerprint: str | None, as_json: bool) -> Answer:
    """Whether each record is whole, follows from its acts, and agrees with the records beside it."""
    if not paths:
        return "there is no record to verify: name a .jsonl file", 2
    if fingerprint is not None and len(paths) > 1:
        return "a fingerprint belongs to one record: name that file alone", 2
    verified = [_verified(path, fingerprint) for path in paths]
    unread = [one for one in verified if isinstance(one, str)]
    told = [one for one in verified if isinstance(one, Verified)]
    judged = 0 if all(one.whole for one in told) else NOT_JUDGED
    code = 2 if unread else 1 if any(one.faults for one in told) else judged
    if as_json:
        return in_json({"records": [plain(one) for one in told], "unread": unread}), code
    lines = [line for one in verified for line in ([one] if isinstance(one, str) else _verdict(one))]
    return "\n".join(words(line) for line in lines), code


def verified(one: Opened) -> Verified:
    """What verifying a record came to; its line in the files beside it is looked for, too."""
    wrong, signed = signatures(one.record.lines, one.entries)
    unlike, remarks = _replayed(one.entries)
    changed, missing = pictured(one.path, one.entries)
    faults = [*one.faults, *unlike, *wrong, *_linked(one.path, one.entries), *changed]
    clock = [Trouble(line=f.line, kind=f.kind, text=f.text) for f in clock_faults(one.record.lines)]
    return Verified(
        file=str(one.path),
        whole=not faults and not remarks,
        lines=len(one.record.lines),
        fingerprint=fingerprint(one.record.head.hash) if one.record.lines else "",
        printed=one.record.printed,
        faults=tuple(sorted(faults, key=lambda trouble: trouble.line)),
        warnings=tuple(sorted((*clock, *remarks, *missing), key=lambda trouble: trouble.line)),
        signatures=signed,
    )


def judged_otherwise(one: Verified) -> Trouble | None:
    """What tells that another version of the program judged this record, and that this one would judge otherwise."""
    return next((trouble for trouble in one.warnings if trouble.kind == JUDGED_OTHERWISE), None)


def _verified(path: Path, typed: str | None) -> Verified | str:
    one = opened(path, typed)
    return one if isinstance(one, str) else verified(one)


def _replayed(told: Sequence[Entry]) -> tuple[list[Trouble], list[Trouble]]:
    """What is wrong with what the engine makes of the acts, and what only another version of it makes of them."""
    begin = told[0].act if told else None
    if begin is None:
        return [], []  # the fault of its first line is told already
    if not isinstance(begin, Begin):
        return [Trouble(line=1, kind="no beginning", text="a record begins with the start of its run")], []
    for name, digest in begin.hashes.items():
        if sha256(begin.texts.get(name, "").encode("utf-8", "replace")).hexdigest() != digest:
            return [Trouble(line=1, kind="changed", text=f"the text of {quote(name)} does not fit its own SHA-256")], []
    made = rebuild(begin)
    if not isinstance(made, Procedure):
        text = f"the procedure in this line cannot be read: {line_of(made[0])}" if made else "it holds no procedure"
        if why := excused(begin.version):
            return [], [_otherwise(1, why, text)]
        return [Trouble(line=1, kind="not replayed", text=text)], []
    judges = _judges(told)
    remarks: list[Trouble] = []
    for mismatch in mismatches(made, told):
        judge = judges[mismatch.line - 1]
        why = excused(judge)
        if why is None:
            as_here = "" if judge == VERSION else f" (it says witnessmark {quote(judge)}, and none judged otherwise)"
            text = f"{mismatch.text}: the line was made anew, by hand or by another program{as_here}"
            return [Trouble(line=mismatch.line, kind="not the engine's", text=text)], remarks
        if not remarks:
            remarks.append(_otherwise(mismatch.line, why, f"replay differs at line {mismatch.line}: {mismatch.text}"))
    return [], remarks


def _judges(told: Sequence[Entry]) -> list[str]:
    """The version of the program that judged each line: that of the start, or of the last time it was resumed."""
    judge, found = "", []
    for one in told:
        judge = (one.act.version if isinstance(one.act, Begin | Resume) else "") or judge
        found.append(judge)
    return found


def _otherwise(line: int, why: str, text: str) -> Trouble:
    said = f"{why}: {text}; only that version can tell whether that is so"
    return Trouble(line=line, kind=JUDGED_OTHERWISE, text=said)


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
    lines += [f"{name}:{t.line}: {t.kind}: {t.text}" for t in one.signatures]
    paper = f"fingerprint {one.fingerprint}" + (f"; the paper was printed at line {one.printed}" if one.printed else "")
    if one.whole:
        lines.append(f"{name}: whole: {one.lines} lines, replayed; {paper}")
    elif not one.faults:
        lines.append(f"{name}: NOT JUDGED: {one.lines} lines hang together, verify them with that version; {paper}")
    else:
        lines.append(f"{name}: AT FAULT: {len(one.faults)}, first at line {one.faults[0].line}")
    return lines
