"""A run held against the nine properties of good data, each with what was counted for it.

Source of the nine: MHRA, 'GXP' Data Integrity Guidance and Definitions (2018), ALCOA and its four additions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from runner.core import event as ev
from runner.core.act import Begin
from runner.core.audit import gates, summary, tell_safely
from runner.core.entry import Entry
from runner.edge.opening import Answer, Opened, Trouble, in_json, opened_run, plain, procedure_of, words
from runner.edge.verifying import Verified, judged_otherwise, verified

_OF: Mapping[str, tuple[str, ...]] = {
    "attributable": ("signature",),
    "legible": ("unknown act", "binary", "not UTF-8"),
    "contemporaneous": (),
    "original": ("changed", "added", "picture changed"),
    "accurate": ("not the engine's",),
    "complete": ("removed", "torn: crash or cut", "missing record", "shortened or rewritten", "no beginning"),
    "consistent": ("reordered", "doubled"),
    "enduring": ("newer format",),
    "available": ("not replayed",),
}
"""Which kinds of fault speak against which property."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """One of the nine: whether it holds as far as the record itself can show, and what was counted."""

    name: str
    holds: bool
    text: str


def audit_alcoa(folder: Path, run: str, as_json: bool) -> Answer:
    """The nine lines of one run; code 1 if one of them does not hold."""
    found = opened_run(folder, run)
    if isinstance(found, str):
        return words(found), 2
    nine = properties(found)
    code = 0 if all(one.holds for one in nine) else 1
    if as_json:
        return in_json({"run": found.path.stem, "properties": [plain(one) for one in nine]}), code
    lines = [f"{one.name:<17}{'yes' if one.holds else 'NO':<5}{one.text}" for one in nine]
    return "\n".join(words(line) for line in lines), code


def properties(run: Opened) -> tuple[Property, ...]:
    """The nine, in their usual order."""
    checked = verified(run)
    counted = _counted(run, checked)
    made = []
    for name, kinds in _OF.items():
        against = [one for one in checked.faults if one.kind in kinds]
        against += [one for one in checked.warnings if name == "contemporaneous" and one.kind == "clock"]
        holds, text = counted[name]
        said = "; ".join([text, *(f"line {one.line}: {one.kind}" for one in against)])
        made.append(Property(name=name, holds=holds and not against, text=said))
    return tuple(made)


def _counted(run: Opened, checked: Verified) -> dict[str, tuple[bool, str]]:
    told, whole = run.entries, len(run.record.lines)
    short, procedure = summary(told), procedure_of(run)
    named = sum(bool(one.by) for one in told)
    events = [event for one in told for event in one.events]
    dumb = sum(tell_safely(event).startswith("an event that cannot be told") for event in events)
    otherwise = judged_otherwise(checked)
    texts = told[0].act.texts if told and isinstance(told[0].act, Begin) else {}
    passed = len(gates(told, procedure))
    signed = f"{len(short.signatures)} signatures"
    return {
        "attributable": (named == len(told), f"{named} of {len(told)} lines name who acted; {signed}"),
        "legible": (not dumb, f"{len(events) - dumb} of {len(events)} events are told in words"),
        "contemporaneous": (True, f"{whole} lines with a time of their own; {short.late} entered later and marked so"),
        "original": (True, f"{whole} lines fit their hashes"),
        "accurate": (otherwise is None, _judged(told, otherwise)),
        "complete": (bool(told), f"{_kept(short.refused, events)}; {short.finished or 'not finished yet'}"),
        "consistent": (True, f"{whole} lines follow each other in number and hash"),
        "enduring": (True, f"plain text, with {len(texts)} files of the procedure in its first line"),
        "available": (procedure is not None or not told, f"{passed} gates can be listed and handed out"),
    }


def _judged(told: Sequence[Entry], otherwise: Trouble | None) -> str:
    if otherwise is not None:
        return f"{len(told)} acts, not judged again: {otherwise.text}"
    readings = sum(isinstance(event, ev.Taken) for one in told for event in one.events)
    return f"{len(told)} acts judged again, {readings} readings with their errors among them"


def _kept(refused: int, events: Sequence[ev.AnyEvent]) -> str:
    kinds = (ev.Mistaken, ev.Overridden, ev.CannotDo, ev.Corrected, ev.FindingMade)
    other = sum(isinstance(event, kinds) for event in events)
    return f"{refused} refused acts and {other} mistakes, overrides, corrections and findings are kept"
