"""Words, lists, boxes and pictures on A4, as the printed sheet is made of them.

Texts are shown as text: each is escaped before the library sees it, whose paragraphs know a markup of their own.
A sign that the shipped font does not hold is written by its plain letter, else as ``?``.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    Image,
    ListFlowable,
    ListItem,
    Paragraph,
    Table,
)

WIDE = A4[0] - 30 * mm
"""Points from margin to margin."""


class Numbered(Canvas):  # type: ignore[misc]
    """Pages that know how many there are, and say on each what the sheet is not."""

    over = ""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802
        """Keep the page until it is known how many there are."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write all pages, each with its number."""
        for number, page in enumerate(self._kept, 1):
            self.__dict__.update(page)
            self.setFont("Vera", 8)
            self.drawCentredString(A4[0] / 2, 9 * mm, f"page {number} of {len(self._kept)}")
            self.setFont("VeraBd", 10)
            self.drawCentredString(A4[0] / 2, A4[1] - 11 * mm, self.over)
            super().showPage()
        super().save()


def picture(data: bytes) -> Image | None:
    """The picture no higher than two fifths of a page; None if the library can make nothing of it."""
    try:
        made = Image(io.BytesIO(data))
        part = min(WIDE / made.imageWidth, A4[1] * 2 / 5 / made.imageHeight, 1)
        made.drawWidth, made.drawHeight = made.imageWidth * part, made.imageHeight * part
        made._img._image.load()  # else a broken file shows only when the page is made
    except Exception:  # whatever a decoder says of a broken file
        return None
    return made


STYLES = {
    "text": ParagraphStyle("text", fontName="Vera", fontSize=9.5, leading=13, spaceAfter=3, splitLongWords=True),
}
STYLES |= {
    "strong": ParagraphStyle("strong", parent=STYLES["text"], fontName="VeraBd", spaceBefore=4, keepWithNext=True),
    "small": ParagraphStyle("small", parent=STYLES["text"], fontSize=7.5, leading=10, textColor=HexColor("#333333")),
    "large": ParagraphStyle("large", parent=STYLES["text"], fontName="VeraBd", fontSize=11, leading=15, spaceAfter=6),
    "title": ParagraphStyle("title", parent=STYLES["text"], fontName="VeraBd", fontSize=17, leading=21, spaceAfter=6),
    "head": ParagraphStyle(
        "head", parent=STYLES["text"], fontName="VeraBd", fontSize=12, leading=15, spaceBefore=12, spaceAfter=4,
        keepWithNext=True,
    ),
    "stop": ParagraphStyle("stop", parent=STYLES["text"], fontName="VeraBd", fontSize=12, leading=15),
    "letters": ParagraphStyle("letters", parent=STYLES["text"], fontName="Courier-Bold", fontSize=13, leading=17),
}  # fmt: skip


def words(said: str, style: str = "text") -> Paragraph:
    """The text in a style of this module."""
    return Paragraph(escape(known(said)), STYLES[style])


def bullets(items: Iterable[str], otherwise: str = "", style: str = "text") -> Iterator[Flowable]:
    """The texts as a list, or what to say where there are none."""
    texts = list(items)
    if texts:
        entries = [ListItem(words(one, style)) for one in texts]
        yield ListFlowable(
            entries, bulletType="bullet", start="•", bulletFontName="Vera", bulletFontSize=8, leftIndent=12
        )
    elif otherwise:
        yield words(otherwise, style)


def section(title: str, items: Sequence[str], otherwise: str) -> Iterator[Flowable]:
    """A heading and a list under it."""
    yield words(title, "head")
    yield from bullets(items, otherwise)


def boxed(parts: list[Flowable], colour: Any = black) -> Flowable:
    """Some parts with a frame round them, which may go on over the page."""
    box = ("BOX", (0, 0), (-1, -1), 2 if colour is not black else 0.6, colour)
    rows = [[part] for part in parts]
    style = [box, ("LEFTPADDING", (0, 0), (-1, -1), 8)]
    return Table(rows, colWidths=[WIDE], spaceBefore=3, spaceAfter=3, style=style, splitInRow=1)


def named(*pairs: tuple[str, str]) -> Flowable:
    """Values beside their names; those that are empty are left out."""
    rows = [[words(name), words(value, "strong")] for name, value in pairs if value]
    style = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
    ]
    return Table(rows, colWidths=[110, WIDE - 140], style=style, hAlign="LEFT", spaceAfter=6, splitInRow=1)


@lru_cache(maxsize=1)
def fonts() -> frozenset[int]:
    """The shipped fonts, made known to the library; the signs that they hold."""
    folder = Path(reportlab.__file__).parent / "fonts"
    for name in ("Vera", "VeraBd"):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily("Vera", normal="Vera", bold="VeraBd", italic="Vera", boldItalic="VeraBd")
    return frozenset(pdfmetrics.getFont("Vera").face.charToGlyph)


_NEAR = {"→": "->", "μ": "µ", "↔": "<->", "№": "No"}


def known(text: str) -> str:
    """The text in signs that the font holds."""
    signs = fonts()
    return "".join(c if ord(c) in signs else _plain(c, signs) for c in text)


def _plain(sign: str, signs: frozenset[int]) -> str:
    if sign in _NEAR:
        return _NEAR[sign]
    parts = [c for c in unicodedata.normalize("NFKD", sign) if not unicodedata.combining(c)]
    return "".join(parts) if parts and all(ord(c) in signs for c in parts) else "?"
