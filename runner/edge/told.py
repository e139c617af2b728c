"""What the checker says of the files of a procedure, worked out once for the same bytes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from runner.core.finding import Finding, Place
from runner.edge.kept import bytes_kept, keep_bytes, name_of
from runner.edge.shelf import Loaded
from runner.edge.trees import Trees

MOST_TOLD = 200


@dataclass(frozen=True, slots=True)
class Told:
    """The findings of a procedure, and whether it is proven on every path."""

    findings: tuple[Finding, ...]
    proven: bool


def told(loaded: Loaded, trees: Trees) -> Told:
    """What stands against a procedure: as it was kept beside the trees, else as it is found now."""
    files = (part for name in sorted(loaded.files) for part in (name.encode(), loaded.files[name]))
    key = name_of((b"told", loaded.main.encode(), *files))
    path = trees.folder / f"{key}.told" if trees.folder is not None else None
    known = bytes_kept(path) if path is not None else None
    before = _unpacked(known) if known is not None else None
    if before is not None:
        return before
    found = _found(loaded, trees)
    if path is not None:
        keep_bytes(path, _packed(found), MOST_TOLD)
    return found


def _found(loaded: Loaded, trees: Trees) -> Told:
    # None of this is needed where the answer was kept.
    from runner.core.graph import Procedure
    from runner.edge.reader import advice, read
    from runner.verify import Checked, verify

    remarks = advice(loaded.files)
    procedure = read(loaded.files, loaded.main, trees)
    if not isinstance(procedure, Procedure):
        return Told((*remarks, *procedure), proven=False)
    result = verify(procedure)
    proven = isinstance(result, Checked)
    return Told((*remarks, *(result.warnings if isinstance(result, Checked) else result)), proven)


def _packed(one: Told) -> bytes:
    findings = [
        [_spot(f.place), f.check, f.text, f.help, f.severity, list(f.trail), [[_spot(p), w] for p, w in f.related]]
        for f in one.findings
    ]
    return json.dumps([one.proven, findings]).encode()


def _spot(place: Place) -> list[str | int]:
    return [place.file, place.line, place.column]


def _unpacked(data: bytes) -> Told | None:
    """What was packed; None where the file is torn."""
    try:
        proven, findings = json.loads(data)
        return Told(tuple(map(_finding, findings)), bool(proven))
    except (ValueError, TypeError):
        return None


def _finding(packed: list[Any]) -> Finding:
    spot, check, text, help_, severity, trail, related = packed
    return Finding(
        place=Place(*spot),
        check=check,
        text=text,
        help=help_,
        severity=severity,
        trail=tuple(trail),
        related=tuple((Place(*at), word) for at, word in related),
    )
