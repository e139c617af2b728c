"""A drawing as SVG: places come from Graphviz by way of its library, the look is drawn here.

Rules of this module
1. Sizes are reckoned from the number of signs, so that a picture is the same on every machine, whatever fonts it has.
2. A signal word shows by its name and by its border: three lines, two, dashes, dots. Colour adds nothing of its own.
"""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as Xml

from runner.core.hazard import Word
from runner.edge.diagram import broken, ids, label_lines, told
from runner.verify.drawing import Box, Drawing, Line, Row

NAMESPACE = "http://www.w3.org/2000/svg"
_SIGN, _ROW, _PAD = 6.7, 15.0, 9.0
_SMALL_SIGN, _SMALL_ROW = 6.0, 12.0
_MARGIN = 12.0
_RINGS: Mapping[Word, int] = {"DANGER": 3, "WARNING": 2, "CAUTION": 1, "NOTICE": 1}
_LOOK = """
text{font:11px Helvetica,Arial,'Liberation Sans',sans-serif;fill:#111;text-anchor:middle}
.title{font-size:18px;font-weight:bold;text-anchor:start}
.frame{fill:#f3f1ea;stroke:#6b675c;stroke-width:1}
.frame-title{font-size:11px;font-style:italic}
.box{fill:#fff;stroke:#222;stroke-width:1}
.call{fill:#e6ecef}
.head,.foot{fill:#dcd7c8}
.begin,.end{fill:#222}
.begin text,.end text{fill:#fff}
.stop{stroke-width:2.4}
.ring{fill:none;stroke:#111;stroke-width:1.6}
.CAUTION .ring{stroke-dasharray:9 4;stroke-width:2.4}
.NOTICE .ring{stroke-dasharray:2 3;stroke-width:1.8}
.strip{fill:#222}
.word{fill:#fff;font-weight:bold}
.do{font-weight:bold}
.gate{font-style:italic}
.rule{stroke:#222;stroke-width:.8}
.way{fill:none;stroke:#222;stroke-width:1.1}
.tip{fill:#222}
.on-way{font-size:10px}
.behind-title{fill:#f3f1ea}
.behind{fill:#fff;fill-opacity:.85}
"""


class NoLayout(Exception):
    """The library that finds the places is not there."""


@dataclass(frozen=True, slots=True)
class _Placed:
    """Left, top, width and height, y down."""

    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        return self.x + self.width / 2


def as_svg(drawing: Drawing) -> str:
    """The drawing as one SVG without outside references. Raises NoLayout without the library pygraphviz."""
    plan = json.loads(_places(_sized(drawing)))
    width, height = (float(v) for v in plan["bb"].split(",")[2:])
    top = 34.0
    sheet = _Sheet(drawing, plan, height + top)
    root = Xml.Element(
        "svg",
        {
            "xmlns": NAMESPACE,
            "viewBox": f"{-_MARGIN:g} {-_MARGIN:g} {_n(width + 2 * _MARGIN)} {_n(height + top + 2 * _MARGIN)}",
            "width": _n(width + 2 * _MARGIN),
            "height": _n(height + top + 2 * _MARGIN),
            "role": "img",
        },
    )
    Xml.SubElement(root, "title").text = drawing.title
    Xml.SubElement(root, "style").text = _LOOK
    Xml.SubElement(
        root,
        "rect",
        {
            "x": _n(-_MARGIN),
            "y": _n(-_MARGIN),
            "width": _n(width + 2 * _MARGIN),
            "height": _n(height + top + 2 * _MARGIN),
            "fill": "#fff",
        },
    )
    _text(root, 0, 14, drawing.title, "title")
    for part in (sheet.frames(), sheet.ways(), sheet.boxes(), sheet.labels(), sheet.titles()):
        root.extend(part)
    Xml.indent(root, " ")
    return Xml.tostring(root, encoding="unicode") + "\n"


def _places(dot: str) -> str:
    try:
        import pygraphviz
    except ImportError as error:
        raise NoLayout from error
    graph = pygraphviz.AGraph(string=dot)
    try:
        graph.layout("dot")
        placed: bytes = graph.draw(format="json0")
    finally:
        graph.close()
    return placed.decode("utf-8")


def _columns(text: str) -> int:
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def _rows(box: Box) -> tuple[tuple[Row, list[str]], ...]:
    return tuple((row, broken(told(row))) for row in box.rows)


def _box_size(box: Box) -> tuple[float, float]:
    rows = _rows(box)
    columns = max(_columns(line) for _, lines in rows for line in lines)
    rings = 4.0 * (_RINGS[box.word] - 1) if box.word is not None else 0.0
    lines = sum(len(lines) for _, lines in rows)
    return columns * _SIGN + 2 * (_PAD + rings), lines * _ROW + 2 * (_PAD + rings) + 5 * (len(rows) - 1)


def _sized(drawing: Drawing) -> str:
    """The drawing as DOT for the layout alone: sizes instead of texts."""
    name = ids(drawing)
    out = ["digraph g {", "graph [ranksep=0.28, nodesep=0.3, margin=0];", 'node [shape=box, fixedsize=true, label=""];']
    for number, (frame, title) in enumerate({"": "", **dict(drawing.frames)}.items()):
        if frame:
            out.append(f"subgraph cluster_{number} {{ margin=12; label={_blank(_columns(title) * 6.2, 16)};")
        for box in drawing.boxes:
            if box.frame == frame:
                width, height = _box_size(box)
                out.append(f"{name[box.name]} [width={width / 72:.4f}, height={height / 72:.4f}];")
        if frame:
            out.append("}")
    reached = {line.target for line in drawing.lines}
    last = " ".join(f"{name[box.name]};" for box in drawing.boxes if box.kind == "end" and box.name not in reached)
    out.append(f"{{ rank=sink; {last} }}")
    for line in drawing.lines:
        lines = label_lines(line)
        size = max(map(_columns, lines), default=0) * _SMALL_SIGN + 6
        label = f" [label={_blank(size, len(lines) * _SMALL_ROW + 2)}]" if lines else ""
        out.append(f"{name[line.source]} -> {name[line.target]}{label};")
    return "\n".join([*out, "}"])


def _blank(width: float, height: float) -> str:
    """A label of a set size, in the mark-up of DOT for tables; it holds no text of anybody."""
    size = f'fixedsize="true" width="{math.ceil(width)}" height="{math.ceil(height)}"'
    return f'<<table border="0" cellborder="0" cellspacing="0" cellpadding="0" {size}><tr><td></td></tr></table>>'


class _Sheet:
    """What is drawn where, from the plan of the layout."""

    def __init__(self, drawing: Drawing, plan: Mapping[str, Any], height: float) -> None:
        self.drawing = drawing
        self.height = height
        self.name = ids(drawing)
        self.objects = {one["name"]: one for one in plan.get("objects", ())}
        self.number = {one["_gvid"]: one["name"] for one in plan.get("objects", ())}
        self.edges = {(self.number[e["tail"]], self.number[e["head"]]): e for e in plan.get("edges", ())}

    def at(self, text: str) -> tuple[float, float]:
        x, y = (float(v) for v in text.split(","))
        return x, self.height - y

    def box_at(self, box: Box) -> _Placed:
        x, y = self.at(self.objects[self.name[box.name]]["pos"])
        width, height = _box_size(box)
        return _Placed(x - width / 2, y - height / 2, width, height)

    def frames(self) -> Iterator[Xml.Element]:
        for number in range(1, len(self.drawing.frames) + 1):
            plan = self.objects[f"cluster_{number}"]
            x0, y0, x1, y1 = (float(v) for v in plan["bb"].split(","))
            group = Xml.Element("g", {"class": "block"})
            _rect(group, _Placed(x0, self.height - y1, x1 - x0, y1 - y0), "frame", 8)
            yield group

    def titles(self) -> Iterator[Xml.Element]:
        for number, title in enumerate(self.drawing.frames.values(), 1):
            x, y = self.at(self.objects[f"cluster_{number}"]["lp"])
            group = Xml.Element("g", {"class": "block-title"})
            width = _columns(title) * 5.4
            _rect(group, _Placed(x - width / 2, y - 7, width, 14), "behind-title", 2)
            _text(group, x, y + 4, title, "frame-title")
            yield group

    def boxes(self) -> Iterator[Xml.Element]:
        for box in self.drawing.boxes:
            yield _drawn(box, self.box_at(box), self.name[box.name])

    def _edge(self, line: Line) -> Mapping[str, Any]:
        edge: Mapping[str, Any] = self.edges[self.name[line.source], self.name[line.target]]
        return edge

    def ways(self) -> Iterator[Xml.Element]:
        for line in self.drawing.lines:
            words = self._edge(line)["pos"].split()
            tip = self.at(words[0][2:])
            points = [self.at(word) for word in words[1:]]
            start, rest = points[0], points[1:]
            path = f"M{_n(start[0])} {_n(start[1])}C" + " ".join(f"{_n(x)} {_n(y)}" for x, y in rest)
            group = Xml.Element(
                "g", {"class": "line", "data-from": self.name[line.source], "data-to": self.name[line.target]}
            )
            Xml.SubElement(group, "path", {"class": "way", "d": path})
            Xml.SubElement(group, "path", {"class": "tip", "d": _arrow(points[-1], tip)})
            yield group

    def labels(self) -> Iterator[Xml.Element]:
        for line in self.drawing.lines:
            lines = label_lines(line)
            if not lines:
                continue
            x, y = self.at(self._edge(line)["lp"])
            width = max(map(_columns, lines)) * _SMALL_SIGN
            height = len(lines) * _SMALL_ROW
            group = Xml.Element("g", {"class": "outcome"})
            _rect(group, _Placed(x - width / 2, y - height / 2, width, height), "behind", 2)
            for row, text in enumerate(lines):
                _text(group, x, y - height / 2 + (row + 0.78) * _SMALL_ROW, text, "on-way")
            yield group


def _drawn(box: Box, at: _Placed, name: str) -> Xml.Element:
    group = Xml.Element("g", {"class": f"node {box.kind} {box.word or ''}".strip(), "id": name})
    radius = {"end": at.height / 2, "begin": at.height / 2, "stop": 0.0, "call": 0.0, "mark": 16.0}.get(box.kind, 5.0)
    outer = _rect(group, at, f"box {box.kind}", min(radius, 22))
    rings = _RINGS[box.word] if box.word is not None else 0
    if rings:
        outer.set("style", "stroke:none")
    for ring in range(rings):
        gap = 4.0 * ring
        _rect(group, _Placed(at.x + gap, at.y + gap, at.width - 2 * gap, at.height - 2 * gap), "ring", 5)
    if box.kind == "call":
        for x in (at.x + 4, at.x + at.width - 4):
            _stroke(group, x, at.y, x, at.y + at.height)
    inset = 4.0 * max(0, rings - 1) + _PAD
    y = at.y + inset
    for number, (row, lines) in enumerate(_rows(box)):
        if row.word is not None:
            strip = _Placed(at.x + inset - 4, y - 1, at.width - 2 * inset + 8, len(lines) * _ROW + 2)
            _rect(group, strip, "strip", 2)
        elif number and row.kind == "gate":
            _stroke(group, at.x + inset, y - 2.5, at.x + at.width - inset, y - 2.5)
        for line in lines:
            _text(group, at.middle, y + 11, line, "word" if row.word is not None else row.kind)
            y += _ROW
        y += 5
    return group


def _rect(parent: Xml.Element, at: _Placed, look: str, radius: float) -> Xml.Element:
    sides = {"x": at.x, "y": at.y, "width": at.width, "height": at.height, "rx": radius}
    return Xml.SubElement(parent, "rect", {"class": look, **{k: _n(v) for k, v in sides.items()}})


def _stroke(parent: Xml.Element, x1: float, y1: float, x2: float, y2: float) -> None:
    Xml.SubElement(parent, "path", {"class": "rule", "d": f"M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}"})


def _text(parent: Xml.Element, x: float, y: float, text: str, look: str) -> None:
    Xml.SubElement(parent, "text", {"class": look, "x": _n(x), "y": _n(y)}).text = text


def _arrow(end: tuple[float, float], tip: tuple[float, float]) -> str:
    angle = math.atan2(tip[1] - end[1], tip[0] - end[0])
    wings = [(end[0] - side * 3.2 * math.sin(angle), end[1] + side * 3.2 * math.cos(angle)) for side in (1, -1)]
    return f"M{_n(tip[0])} {_n(tip[1])}" + "".join(f"L{_n(x)} {_n(y)}" for x, y in wings) + "Z"


def _n(value: float) -> str:
    return f"{round(value, 1):g}"
