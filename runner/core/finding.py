"""What is wrong, where, and how to mend it: the form of every message to an author.

Nothing here interprets text: whatever a person wrote is cleaned when it comes in and shown escaped.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

Severity = Literal["error", "warning", "advice"]

_GRAVITY: dict[Severity, int] = {"error": 0, "warning": 1, "advice": 2}
LINE_END = re.compile(r"\r\n|\r|\n")
# Controls, and what changes or hides neighbouring text: bidi controls (UAX #9), zero-width and invisible
# operators, soft hyphen, language tags. Newline is kept, since a text may have paragraphs.
_CONTROLS = r"\x00-\x09\x0b-\x1f\x7f-\x9f"
_INVISIBLE = "\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\U000e0000-\U000e007f"
_HOSTILE = re.compile(f"[{_CONTROLS}{_INVISIBLE}]")
_ODD = re.compile(f"[{_CONTROLS}\n{_INVISIBLE}\ud800-\udfff]")
_SURROGATE = re.compile("[\ud800-\udfff]")
_TAB = 4
_WINDOW = 100


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in a file; line and column count characters from 1."""

    file: str
    line: int
    column: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing to mend: where, by which check, in words that start in lower case.

    `trail` is the path that shows it, one step title an entry; `related` are further places with a word each.
    """

    place: Place
    check: str
    text: str
    help: str = ""
    severity: Severity = "error"
    trail: tuple[str, ...] = ()
    related: tuple[tuple[Place, str], ...] = ()


def clean(text: str) -> str:
    """The text without controls, bidi controls and invisible characters.

    Line ends become newline, a tab becomes a space, a lone surrogate becomes U+FFFD.
    """
    if text.isascii() and text.isprintable():
        return text
    lines = LINE_END.sub("\n", text.replace("\u2028", "\n").replace("\u2029", "\n"))
    return _SURROGATE.sub("\ufffd", _HOSTILE.sub("", lines.replace("\t", " ")))


def quote(text: str, limit: int = 60) -> str:
    """The text in quotes on one line, cut in the middle when it is longer than the limit."""
    # The cut first: a text may be megabytes, and only its two ends are shown.
    ends = text if len(text) <= 4 * limit else text[: 2 * limit] + text[-2 * limit :]
    line = " ".join(clean(ends).split())
    if len(line) > limit:
        half = (limit - 1) // 2
        line = f"{line[:half]}…{line[-half:]}"
    return f"'{line}'"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, or None; case, '-', '_' and space count as alike."""
    if len(word) > _WINDOW:
        return None
    folded: dict[str, str] = {}
    for each in known:
        folded.setdefault(_folded(each), each)
    close = get_close_matches(_folded(word), folded, n=1, cutoff=0.65)
    return folded[close[0]] if close else None


def line_of(finding: Finding) -> str:
    """`file:line:col: text [check]`, with the other places, the trail and the help on lines below it.

    A finding that is no error says so before its text.
    """
    rank = "" if finding.severity == "error" else f"{finding.severity}: "
    lines = [f"{_where(finding.place)}: {rank}{_one(finding.text)} [{finding.check}]"]
    lines += [f"  {_where(place)}: {_one(word)}" for place, word in finding.related]
    lines += [f"  {number}. {_one(step)}" for number, step in enumerate(finding.trail, 1)]
    lines += [f"  help: {_one(finding.help)}"] if finding.help else []
    return "\n".join(lines)


def listed(findings: Iterable[Finding], limit: int = 200) -> tuple[Finding, ...]:
    """The findings in order of place, each once; past the limit of a file one that counts the rest."""
    kept: list[Finding] = []
    files: dict[str, int] = {}
    rest: dict[str, list[Finding]] = {}
    for finding in sorted(dict.fromkeys(findings), key=_order):
        files[finding.place.file] = files.get(finding.place.file, 0) + 1
        left = kept if files[finding.place.file] <= limit else rest.setdefault(finding.place.file, [])
        left.append(finding)
    for left in rest.values():
        severity = min((each.severity for each in left), key=_GRAVITY.__getitem__)
        text = f"and {len(left)} more in this file"
        kept.append(Finding(place=left[0].place, check="more", text=text, severity=severity))
    return tuple(sorted(kept, key=_order))


def excerpt(source_text: str, place: Place) -> str:
    """The line of the source at the place, and a caret under its column; empty when there is no such line.

    Controls and invisible characters are shown as <U+202E>, tabs expanded, a long line cut to a window.
    """
    lines = LINE_END.split(source_text.removeprefix("\ufeff"))
    if not 1 <= place.line <= len(lines):
        return ""
    line, at = lines[place.line - 1], max(place.column - 1, 0)
    start = max(0, at - _WINDOW // 2) if len(line) > _WINDOW else 0
    window = line[start : start + _WINDOW]
    shown, caret = "…" if start else "", 0
    for index, char in enumerate(window):
        if start + index == at:
            caret = _width(shown)
        shown += _visible(char, _width(shown))
    if at >= start + len(window):
        caret = _width(shown)
    after = "…" if start + _WINDOW < len(line) else ""
    gutter = f"{place.line} | "
    return f"{gutter}{shown}{after}\n{' ' * (len(gutter) - 2)}| {' ' * caret}^"


def _visible(char: str, column: int) -> str:
    if char == "\t":
        return " " * (_TAB - column % _TAB)
    return f"<U+{ord(char):04X}>" if _ODD.match(char) else char


def _width(text: str) -> int:
    """Terminal cells that the text takes (Unicode Standard Annex #11)."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in text
    )


def _folded(word: str) -> str:
    return word.casefold().replace("-", " ").replace("_", " ")


def _one(text: str) -> str:
    return " ".join(clean(text).split("\n"))


def _where(place: Place) -> str:
    return f"{_one(place.file)}:{place.line}:{place.column}"


def _order(finding: Finding) -> tuple[Place, int, str, str]:
    return finding.place, _GRAVITY[finding.severity], finding.check, finding.text
