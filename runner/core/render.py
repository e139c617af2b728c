"""Findings as people and programs read them: text with the source line, JSON, and SARIF 2.1.0.

Nothing here opens a file: the texts are handed in by the name that stands in a finding's place.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

from runner.core.finding import Finding, Place, Severity, excerpt, line_of

SARIF_SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVELS: Mapping[Severity, str] = {"error": "error", "warning": "warning", "advice": "note"}


def render(findings: Iterable[Finding], texts: Mapping[str, str]) -> str:
    """Each finding with its source line, its path and its help, an empty line between two."""
    return "\n\n".join(_block(f, texts) for f in findings)


def _block(finding: Finding, texts: Mapping[str, str]) -> str:
    first, *rest = line_of(finding).split("\n")
    shown = excerpt(_text(texts, finding.place), finding.place)
    lines = [first, *(f"  {line}" for line in shown.split("\n") if shown), *rest]
    return "\n".join(line.rstrip() for line in lines)


def _text(texts: Mapping[str, str], place: Place) -> str:
    """The text of a file; a procedure keeps its texts by their names without the folder."""
    return texts.get(place.file, texts.get(place.file.replace("\\", "/").rpartition("/")[2], ""))


def as_json(findings: Iterable[Finding]) -> str:
    """One JSON object: the findings in their order, and how many there are of each severity."""
    every = tuple(findings)
    counts = Counter(f.severity for f in every)
    found = [
        {
            "check": f.check,
            "severity": f.severity,
            **_spot(f.place),
            "text": f.text,
            "help": f.help,
            "path": list(f.trail),
            "related": [{**_spot(place), "text": word} for place, word in f.related],
        }
        for f in every
    ]
    return json.dumps({"findings": found, "counts": {k: counts[k] for k in _LEVELS}}, ensure_ascii=False, indent=1)


def _spot(place: Place) -> dict[str, str | int]:
    return {"file": place.file, "line": place.line, "column": place.column}


def as_sarif(findings: Iterable[Finding], manuals: Mapping[str, str], version: str) -> str:
    """A SARIF 2.1.0 log (OASIS); ``manuals`` are the manual pages by the name of the check."""
    every = tuple(findings)
    names = sorted({f.check for f in every} | set(manuals))
    driver = {
        "name": "witnessmark",
        "version": version,
        "rules": [_rule(name, manuals.get(name, "")) for name in names],
    }
    run = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "results": [_result(f, names.index(f.check)) for f in every],
    }
    log = {"$schema": SARIF_SCHEMA, "version": "2.1.0", "runs": [run]}
    return json.dumps(log, ensure_ascii=False, indent=1)


def _rule(name: str, manual: str) -> dict[str, object]:
    first = manual.strip().split("\n")[0] or name
    rule: dict[str, object] = {"id": name, "shortDescription": {"text": first}}
    return rule | ({"fullDescription": {"text": manual.strip()}} if manual.strip() else {})


def _result(finding: Finding, index: int) -> dict[str, object]:
    text = finding.text if not finding.help else f"{finding.text}\n{finding.help}"
    result: dict[str, object] = {
        "ruleId": finding.check,
        "ruleIndex": index,
        "level": _LEVELS[finding.severity],
        "message": {"text": text},
        "locations": [_location(finding.place)],
    }
    if finding.related:
        result["relatedLocations"] = [
            {**_location(place), "id": nth, "message": {"text": word}}
            for nth, (place, word) in enumerate(finding.related)
        ]
    if finding.trail:
        steps = [{"location": {"message": {"text": line}}} for line in finding.trail]
        result["codeFlows"] = [{"threadFlows": [{"locations": steps}]}]
    return result


def _location(place: Place) -> dict[str, object]:
    region = {"startLine": max(1, place.line), "startColumn": max(1, place.column)}
    return {"physicalLocation": {"artifactLocation": {"uri": "".join(_uri(place.file))}, "region": region}}


def _uri(file: str) -> Iterator[str]:
    """A file name as a relative URI reference (RFC 3986)."""
    for char in file.replace("\\", "/"):
        if char.isascii() and (char.isalnum() or char in "-._~/"):
            yield char
        else:
            yield from (f"%{byte:02X}" for byte in char.encode("utf-8", "replace"))
