"""A YAML syntax error in an author's words: where, what was expected, how to mend it.

The parser's own words are matched here and nowhere else; words that a later version changes still give a
finding at the right place, with those words.
"""

import re

from ruamel.yaml.error import MarkedYAMLError, YAMLError

from runner.core.finding import LINE_END, Finding, Place, quote

_QUOTE = "if it belongs to the text, put the whole text in quotes"

# A part of the parser's words, what is wrong, how to mend it, and whether it is wrong where the item began.
_WORDS: tuple[tuple[str, str, str, bool], ...] = (
    (
        "mapping values are not allowed",
        "a ':' is not expected here",
        f"{_QUOTE}; if a key starts here, check the indentation of this line and of the one above",
        False,
    ),
    (
        "could not find expected ':'",
        "this line is neither 'key: value' nor a continued text",
        "write ': ' after the key, or indent the line deeper than the key whose text it continues",
        True,
    ),
    (
        "sequence entries are not allowed",
        "a list cannot start here",
        "put each '- ' on a line of its own below the key",
        False,
    ),
    ("mapping keys are not allowed", "a '? ' is not expected here", _QUOTE, False),
    (
        "found unexpected end of stream",
        "the quote that opens here is never closed",
        "close it at the end of the text",
        True,
    ),
    (
        "unexpected document separator",
        "the quote that opens here is never closed",
        "close it at the end of the text",
        True,
    ),
    (
        "unknown escape character",
        "this '\\' escape is not known in double quotes",
        "use single quotes, or write '\\\\'",
        False,
    ),
    (
        "expected escape sequence",
        "this '\\' escape is not complete",
        "use single quotes, or write '\\\\'",
        False,
    ),
    (
        "expected ',' or ']'",
        "the list in brackets needs ',' or ']' here",
        "close it, or quote a text that holds brackets",
        False,
    ),
    (
        "expected ',' or '}'",
        "the mapping in braces needs ',' or '}' here",
        "close it, or quote a text that holds brackets or braces",
        False,
    ),
    (
        "expected the node content",
        "a value is missing here",
        "write it, or take the ',' or bracket away",
        False,
    ),
    (
        "block scalar",
        "after '|' or '>' only '+', '-' and one digit may stand",
        "start the text on the next line",
        False,
    ),
    (
        "more indented follow up",
        "the first line of this text is indented less than an empty one above",
        "align its lines",
        False,
    ),
    ("found '}'", "this '}' closes nothing", "delete it, or quote a text that holds braces", False),
    ("found ']'", "this ']' closes nothing", "delete it, or quote a text that holds brackets", False),
    (
        "expected <block end>, but found '<scalar>'",
        "no text is expected here",
        "if a text goes on after its closing quote, quote the whole of it; else check the indentation",
        False,
    ),
    (
        "expected <block end>",
        "this does not line up with what is above it",
        "indent it exactly like the other keys or '- ' of its list",
        False,
    ),
    (
        "<document start>",
        "this stands outside of what the file began with",
        "align it with the first key of the file",
        False,
    ),
    ("scanning an alias", "a text cannot start with '*'", _QUOTE, True),
    ("scanning an anchor", "a text cannot start with '&'", _QUOTE, True),
    ("expected '!'", "a text cannot start with '!'", _QUOTE, True),
    ("expected URI", "a text cannot start with '!'", _QUOTE, True),
    ("tag", "a text cannot start with '!'", _QUOTE, True),
    ("unexpected ':'", "a ':' is not expected here", _QUOTE, False),
)
_CANNOT_START = re.compile(r"found character '(.+)' that cannot start any token")


def explain(error: YAMLError, text: str, name: str) -> Finding:
    """The finding for a syntax error that the parser found in the text of the named file."""
    if not isinstance(error, MarkedYAMLError):
        return _finding(Place(name, 1, 1), f"this is not YAML: {quote(str(error))}", "check that it is the right file")
    problem, context = str(error.problem or ""), str(error.context or "")
    began = _place(error.context_mark, name)
    place = _place(error.problem_mark, name) or began or Place(name, 1, 1)
    lines = LINE_END.split(text)
    line = lines[place.line - 1] if place.line <= len(lines) else ""
    if (indent := line[: len(line) - len(line.lstrip())]) and "\t" in indent:
        return _tabs(place, indent, lines)
    if match := _CANNOT_START.search(problem):
        first = "a tab" if match[1] == "\\t" else f"'{match[1]}'"
        return _finding(place, f"a text cannot start with {first}", _QUOTE)
    words = f"{problem} | {context}"
    for part, wrong, mend, at_start in _WORDS:
        if part in words:
            if at_start and began:
                return _finding(began, wrong, mend)
            return _finding(place, wrong, mend, began)
    return _finding(place, f"this is not YAML: {quote(problem)}", "check the quotes and the indentation here", began)


def _tabs(place: Place, indent: str, lines: list[str]) -> Finding:
    tabbed = [number for number, line in enumerate(lines, 1) if re.match(r" *\t\s*\S", line)]
    others = len([number for number in tabbed if number != place.line])
    also = f", as {others} other line{'s' if others > 1 else ''}" if others else ""
    at = Place(place.file, place.line, indent.index("\t") + 1)
    return _finding(at, f"this line is indented with a tab{also}", "indent with spaces", check="tab")


def _place(mark: object, name: str) -> Place | None:
    line, column = getattr(mark, "line", None), getattr(mark, "column", None)
    return Place(name, line + 1, column + 1) if isinstance(line, int) and isinstance(column, int) else None


def _finding(place: Place, text: str, mend: str, began: Place | None = None, check: str = "syntax") -> Finding:
    related = ((began, "what it stands in starts here"),) if began and began != place else ()
    return Finding(place=place, check=check, text=text, help=mend, related=related)
