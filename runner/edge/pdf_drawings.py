"""The pictures of the printed sheet: values against limits, levels over strokes, the time line, the car, a QR code.

Each is drawn from the same parts from 0 to 1 as the picture in the browser.
"""

from __future__ import annotations

from collections.abc import Sequence

import segno
from reportlab.graphics.shapes import Circle, Drawing, Line, Path, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import HexColor, black, white

from runner.core.course import LevelCurve, Stretch
from runner.core.measured import Bar

BLUE, GREEN, GREY, PALE = (HexColor(text) for text in ("#456b8c", "#9cc7a4", "#555555", "#eeeeee"))
_SMALL = 6.5


def bar(one: Bar, font: str, width: float = 235) -> Drawing:
    """A value on its scale: the stretches that pass, their edges, the value and how far it can be off."""
    made = Drawing(width, 30)
    made.add(Rect(0, 12, width, 9, fillColor=PALE, strokeColor=GREY, strokeWidth=0.6))
    for first, last in one.passes:
        made.add(Rect(first * width, 12, max(last - first, 0.004) * width, 9, fillColor=GREEN, strokeColor=None))
        for edge in (first, *((last,) if last < 1 else ())):
            made.add(Line(edge * width, 9, edge * width, 24, strokeColor=black, strokeWidth=1.4))
    made.add(Line(one.least * width, 16.5, one.most * width, 16.5, strokeColor=black, strokeWidth=1))
    for end in (one.least, one.most):
        made.add(Line(end * width, 13.5, end * width, 19.5, strokeColor=black, strokeWidth=1))
    at = (one.low + one.high) / 2 * width
    made.add(Polygon([at, 16, at - 4.5, 25, at + 4.5, 25], fillColor=black, strokeColor=None))
    made.add(String(0, 2, one.start, fontName=font, fontSize=_SMALL))
    made.add(String(width, 2, one.end, fontName=font, fontSize=_SMALL, textAnchor="end"))
    return made


def time_line(stretches: Sequence[Stretch], begun: str, ended: str, font: str, width: float = 380) -> Drawing:
    """The work with its pauses, which are drawn open and dashed."""
    made = Drawing(width, 40)
    for one in stretches:
        pause = {"fillColor": white, "strokeColor": BLUE, "strokeDashArray": [3, 2]}
        made.add(
            Rect(
                one.left * width,
                22,
                one.width * width,
                15,
                **(pause if one.pause else {"fillColor": BLUE, "strokeColor": None}),
            )
        )
    made.add(String(0, 12, begun, fontName=font, fontSize=_SMALL))
    made.add(String(width, 2, ended, fontName=font, fontSize=_SMALL, textAnchor="end"))
    return made


def level(curve: LevelCurve, font: str, width: float = 380, height: float = 150) -> Drawing:
    """A level over the strokes: from the least to the most that it can have been, and its marks."""
    made = Drawing(width, height + 14)
    left, low, tall = 60, 14, height - 6
    made.add(PolyLine([left, height + 10, left, low, width, low], strokeColor=black, strokeWidth=0.8))
    for name, at in curve.marks:
        y = low + at * tall
        made.add(Line(left, y, width, y, strokeColor=GREY, strokeDashArray=[4, 3], strokeWidth=0.6))
        made.add(String(left - 4, y - 2, name, fontName=font, fontSize=_SMALL, textAnchor="end"))
    whole = max(curve.strokes, 1)
    places = [(left + 6 + one.strokes / whole * (width - left - 10), one) for one in curve.points]
    for x, one in places:
        made.add(Line(x, low + one.least * tall, x, low + one.most * tall + 1, strokeColor=BLUE, strokeWidth=2.4))
    middle = [part for x, one in places for part in (x, low + (one.least + one.most) / 2 * tall)]
    made.add(PolyLine(middle, strokeColor=black, strokeWidth=0.7))
    made.add(String(left, 3, "0 strokes", fontName=font, fontSize=_SMALL))
    made.add(String(width, 3, f"{curve.strokes} strokes", fontName=font, fontSize=_SMALL, textAnchor="end"))
    return made


def car(steering: str, font: str) -> Drawing:
    """The car from above, front at the top; the steering wheel on its side where that is known."""
    made = Drawing(80, 160)
    body = Path(fillColor=HexColor("#f3f3f3"), strokeColor=black, strokeWidth=1.4)
    body.moveTo(20, 144)
    body.curveTo(32, 158, 48, 158, 60, 144)
    body.lineTo(64, 112)
    body.lineTo(64, 40)
    body.curveTo(63, 12, 52, 8, 40, 8)
    body.curveTo(28, 8, 17, 12, 16, 40)
    body.lineTo(16, 112)
    body.closePath()
    made.add(body)
    made.add(Polygon([25, 105, 55, 105, 52, 88, 28, 88], fillColor=white, strokeColor=black, strokeWidth=1))
    made.add(Polygon([28, 46, 52, 46, 55, 32, 25, 32], fillColor=white, strokeColor=black, strokeWidth=1))
    for x in (8, 62):
        for y in (106, 26):
            made.add(Rect(x, y, 10, 24, rx=2, ry=2, fillColor=HexColor("#333333"), strokeColor=None))
    if steering in ("left", "right"):
        made.add(Circle(32 if steering == "left" else 48, 80, 5.5, fillColor=None, strokeColor=black, strokeWidth=1.4))
    for y, words in ((128, "front"), (14, "rear")):
        made.add(String(40, y, words, fontName=font, fontSize=8, textAnchor="middle"))
    return made


def qr(text: str, size: float = 105) -> Drawing:
    """The text as a QR code (ISO/IEC 18004) with its quiet border."""
    rows = [bytes(row) for row in segno.make(text, error="m", micro=False).matrix_iter(border=4)]
    module = size / len(rows)
    made = Drawing(size, size)
    made.add(Rect(0, 0, size, size, fillColor=white, strokeColor=None))
    for y, row in enumerate(rows):
        for x, dark in enumerate(row):
            if dark:
                top = size - (y + 1) * module
                made.add(Rect(x * module, top, module * 1.01, module * 1.01, fillColor=black, strokeColor=None))
    return made
