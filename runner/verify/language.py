"""A step is one short command.

Exact, so an error: at most 20 words, the first of them an approved verb (after a condition and its comma, if there
is one); a safety message has its hazard, its
consequence and how to avoid it. Advice: one action a step, what to do rather than what to leave out, notes of at most
25 words, no pointing elsewhere, no one-time act inside a safety message. (ASD-STE100 rules 5.1 to 5.3 and 6.3,
NUREG-0899, ANSI Z535.6; common practice of technical writing.)

Bad:
    steps:
      first: {do: The can is shaken., place: wheel, next: end}
      end: {end: done, say: It is done.}

Good:
    steps:
      first: {do: Shake the can., place: wheel, next: end}
      end: {end: done, say: It is done.}

Source: ASD-STE100 rules 5.1 to 5.3, NUREG-0899, ANSI Z535.6
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from runner.core.finding import Finding, Place, Severity, quote
from runner.core.graph import Count, Step, walk
from runner.core.hazard import Caution
from runner.verify.claim import Case
from runner.verify.verbs import ALSO_PLAIN, CONDITIONS, ONE_TIME, VERBS

MOST_WORDS = 20
MOST_NOTE = 25
_WORD = re.compile(r"[^\s]*\w[^\s]*")
_SECOND = re.compile(r"(?:\band\b|\bthen\b|;|\.\s)\s*(?:then\s+)?(\w+)", re.IGNORECASE)
_LEAVING_OUT = re.compile(r"\b(except|all but|do not|don't|never)\b", re.IGNORECASE)
_ELSEWHERE = re.compile(r"\b(see (?:step|page|section)|refer to|as in step|as above|as before)\b", re.IGNORECASE)


def findings(case: Case) -> Iterator[Finding]:
    """What is wrong with the wording of steps, phases and safety messages."""
    told: set[str] = set()
    for node in walk(case.procedure.body):
        if isinstance(node, Step):
            phases = node.gate.beat if isinstance(node.gate, Count) else ()
            for said, place in ((node.do, node.place), *((p.do, p.place) for p in phases)):
                yield from _command(said, place)
            yield from _note(node)
            for caution in node.cautions:
                if caution.name not in told:
                    told.add(caution.name)
                    yield from _message(caution)


def _command(said: str, place: Place) -> Iterator[Finding]:
    words = _WORD.findall(said)
    first = words[0].strip("'\".,;:").casefold() if words else ""
    if first in CONDITIONS and "," in said:
        after = _WORD.findall(said.partition(",")[2])
        first = after[0].casefold() if after else ""
    if len(words) > MOST_WORDS:
        yield _said(place, f"this has {len(words)} words, more than {MOST_WORDS}", "make two steps of it", "error")
    if first not in VERBS:
        text = f"{quote(words[0] if words else '')} is no approved verb to begin a step with"
        yield _said(place, text, "begin with the command: 'Turn ..', 'Read ..', 'Hold ..'", "error")
    second = [w for w in _SECOND.findall(said) if w.casefold() in VERBS - ALSO_PLAIN]
    if second:
        yield _said(place, f"this asks for a second action: {quote(second[0])}", "make a step of its own for it")
    if found := _LEAVING_OUT.search(said):
        yield _said(place, f"{quote(found[0])} says what to leave out", "say what to do")
    if found := _ELSEWHERE.search(said):
        yield _said(place, f"{quote(found[0])} sends the reader elsewhere", "write it here")


def _note(step: Step) -> Iterator[Finding]:
    for text in (step.note, step.why):
        for sentence in re.split(r"(?<=[.!?])\s+", text):
            if len(_WORD.findall(sentence)) > MOST_NOTE:
                yield _said(step.place, f"a note has a sentence of more than {MOST_NOTE} words", "cut it in two")


def _message(caution: Caution) -> Iterator[Finding]:
    for field, text in (("hazard", caution.hazard), ("consequence", caution.consequence), ("avoid", caution.avoid)):
        if not text.strip():
            text = f"the safety message '{caution.name}' says no '{field}'"
            yield _said(caution.place, text, f"write its '{field}'", "error")
    first = _WORD.findall(caution.avoid)[:1]
    if first and first[0].casefold() in ONE_TIME:
        text = f"the safety message '{caution.name}' holds an act: {quote(first[0])}"
        yield _said(caution.place, text, "make a step of its own for it, before this one")


def _said(place: Place, text: str, mend: str, severity: Severity = "advice") -> Finding:
    return Finding(place=place, check="wording", text=text, help=mend, severity=severity)
