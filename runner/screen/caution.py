"""Safety messages: the word in a band, a border whose shape goes with the word, the key inside the text.

Where the word stands in the border and where the key stands in the text changes with the key, so that two
exposures with different keys never look alike; the wording does not change.
"""

from __future__ import annotations

from typing import Final

from runner.core.hazard import Word
from runner.core.view import CautionView
from runner.screen.ink import EMPTY, Ink, Row, Rows, Span, cells, pad, wrap, wrapped

_INK: Final[dict[Word, Ink]] = {
    "DANGER": "danger", "WARNING": "warning", "CAUTION": "caution", "NOTICE": "notice",
}  # fmt: skip
# left top, top, right top, side, left bottom, bottom, right bottom
_BORDER: Final[dict[Word, str]] = {
    "DANGER": "█▀██" + "█▄█", "WARNING": "╔═╗║╚═╝", "CAUTION": "┏━┓┃┗━┛", "NOTICE": "┌╌┐╎└╌┘",
}  # fmt: skip
ALERT_SIGN: Final = "/!\\ "
_PLACES: Final = 3


def label(word: Word) -> str:
    """The signal word with the safety alert sign, which a notice has not (ANSI Z535.4, 4.14.4)."""
    return word if word == "NOTICE" else ALERT_SIGN + word


def cautions(messages: tuple[CautionView, ...], width: int, *, roomy: bool, later: bool = True) -> Rows:
    """All safety messages of the step: those that are owed whole and framed, the others in the order given."""
    rows: list[Row] = []
    for message in messages:
        if message.state in ("owed", "together"):
            rows += _framed(message, width, closed=roomy or message.state == "owed")
        elif later or message.state != "later":
            rows += _lined(message, width, roomy=roomy)
    return tuple(rows)


def _framed(message: CautionView, width: int, *, closed: bool) -> Rows:
    ink, border = _INK[message.word], _BORDER[message.word]
    variant = int(message.key) - 1 if message.key.isdigit() and message.key != "0" else 0
    inner = width - 4
    top = _top(label(message.word), variant % _PLACES, border, width)
    body = _body(message, variant // _PLACES % _PLACES, inner)
    rows: list[Row] = [((top, ink),)]
    for row in body:
        rows.append(((border[3], ink), (" ", "plain"), *pad(row, inner), (" ", "plain"), (border[3], ink)))
    if closed:
        rows.append(((border[4] + border[5] * (width - 2) + border[6], ink),))
    return tuple(rows)


def _top(word: str, place: int, border: str, width: int) -> str:
    word = f" {word} "
    spare = max(width - 2 - len(word), 0)
    left = (min(2, spare), spare // 2, max(spare - 2, 0))[place]
    return border[0] + border[1] * left + word + border[1] * (spare - left) + border[2]


def _body(message: CautionView, place: int, width: int) -> Rows:
    """Avoidance, hazard, consequence in this order, with the key after one of them."""
    texts = [t for t in (message.avoid, message.hazard, message.consequence) if t]
    if message.state != "owed" or not message.key:
        return _paragraph([(" ".join(texts), "strong")], width)
    wait = f" in {_seconds(message.wait_s)} s" if message.wait_s > 0 else ""
    at = min(place, len(texts) - 1) + 1
    spans: list[Span] = []
    if texts[:at]:
        spans.append((" ".join(texts[:at]), "strong"))
    spans += [("Read it, then press", "plain"), (f"[{message.key}]{wait}.", "key")]
    if texts[at:]:
        spans.append((" ".join(texts[at:]), "strong"))
    return _paragraph(spans, width)


def _seconds(wait_s: float) -> int:
    return int(-(-wait_s // 1))


def _paragraph(spans: list[Span], width: int) -> Rows:
    """Running text of several inks, wrapped between words; a key and its wait stay together."""
    words: list[Span] = []
    for text, ink in spans:
        parts = (text,) if ink == "key" else " ".join(wrap(text, width)).split()
        words += [(part, ink) for part in parts]
    rows: list[Row] = []
    row: Row = EMPTY
    for word, ink in words:
        gap: Row = ((" ", "plain" if ink == "key" else ink),) if row else EMPTY
        if row and cells((*row, *gap, (word, ink))) > width:
            rows.append(row)
            row, gap = EMPTY, EMPTY
        row = (*row, *gap, (word, ink))
    return (*rows, row) if row else tuple(rows)


def _lined(message: CautionView, width: int, *, roomy: bool) -> Rows:
    """A message that owes nothing now: a side bar of the word's shape, its state in words."""
    ink, side = _INK[message.word], _BORDER[message.word][3]
    said = {"confirmed": "read", "in effect": "in effect", "later": "next"}.get(message.state, message.state)
    text = f"{said}: {message.avoid}"
    if roomy and message.state != "later":
        text = " ".join(t for t in (text, message.hazard, message.consequence) if t)
    head = f"{side} {label(message.word)} "
    first, *rest = wrap(text, max(width - len(head) - 1, 8)) or ("",)
    rows: list[Row] = [((head, ink), (" " + first, "plain"))]
    rows += [((side, ink), (" ", "plain"), *row) for row in wrapped(" ".join(rest), width - 2)]
    return tuple(rows)
