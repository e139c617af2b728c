"""A drawing as text for two common languages of graphs: DOT and Mermaid. Every text is quoted for its language."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from textwrap import wrap

from runner.core.hazard import Word
from runner.verify.drawing import Box, Drawing, Kind, Line, Row

_WIDE = 34
_LABEL = 26
BORDERS: Mapping[Word, str] = {
    "DANGER": "peripheries=3, penwidth=2.6",
    "WARNING": "peripheries=2, penwidth=2",
    "CAUTION": 'penwidth=2.6, style="dashed"',
    "NOTICE": 'penwidth=1.6, style="dotted"',
}
_SHAPES: Mapping[Kind, str] = {
    "begin": "circle",
    "step": "box",
    "call": "box3d",
    "head": "cds",
    "foot": "cds",
    "end": "oval",
    "stop": "octagon",
    "mark": "cds",
}
_CLASSES: Mapping[Word, str] = {
    "DANGER": "stroke-width:6px,stroke:#000",
    "WARNING": "stroke-width:4px,stroke:#000",
    "CAUTION": "stroke-width:3px,stroke-dasharray:9 4,stroke:#000",
    "NOTICE": "stroke-width:2px,stroke-dasharray:2 3,stroke:#000",
}
_MERMAID: Mapping[Kind, tuple[str, str]] = {
    "begin": ("((", "))"),
    "step": ("[", "]"),
    "call": ("[[", "]]"),
    "head": (">", "]"),
    "foot": (">", "]"),
    "end": ("([", "])"),
    "stop": ("{{", "}}"),
    "mark": ("(", ")"),
}


def told(row: Row) -> str:
    """A row as one text: the signal word before its hazard."""
    return f"{row.word}: {row.text}" if row.word is not None else row.text


def broken(text: str, columns: int = _WIDE) -> list[str]:
    """A text in lines of at most so many columns; a sign that fills two columns counts as two."""
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return wrap(text, max(8, columns * len(text) // max(1, len(text) + wide))) or [""]


def label_lines(line: Line) -> list[str]:
    """The outcomes of a line, one below the other."""
    return [part for label in line.labels for part in broken(label, _LABEL)]


def ids(drawing: Drawing) -> Mapping[str, str]:
    """A name for every box that each language takes as it stands, by the name of the box."""
    return {box.name: f"n{number}" for number, box in enumerate(drawing.boxes)}


def as_dot(drawing: Drawing) -> str:
    """The drawing as DOT, for any program that reads it."""
    return "\n".join(_dot(drawing)) + "\n"


def _dot(drawing: Drawing) -> Iterator[str]:
    name = ids(drawing)
    yield "digraph procedure {"
    yield f"  label={quoted(drawing.title)}; labelloc=t; fontname=Helvetica;"
    yield "  node [fontname=Helvetica, fontsize=11, margin=0.12]; edge [fontname=Helvetica, fontsize=9];"
    for frame in ("", *drawing.frames):
        pad = "  "
        if frame:
            number = list(drawing.frames).index(frame)
            yield f"  subgraph cluster_{number} {{"
            yield f"    label={quoted(drawing.frames[frame])}; style=rounded;"
            pad = "    "
        for box in drawing.boxes:
            if box.frame == frame:
                yield f"{pad}{name[box.name]} [label={quoted(_lines(box))}, {_look(box)}];"
        if frame:
            yield "  }"
    for line in drawing.lines:
        label = f" [label={quoted(chr(10).join(label_lines(line)))}]" if line.labels else ""
        yield f"  {name[line.source]} -> {name[line.target]}{label};"
    yield "}"


def _look(box: Box) -> str:
    border = f", {BORDERS[box.word]}" if box.word is not None else ""
    return f"shape={_SHAPES[box.kind]}{border}"


def _lines(box: Box) -> str:
    return "\n".join(line for row in box.rows for line in broken(told(row)))


def quoted(text: str) -> str:
    """A text as a string of DOT, lines centred: backslash, quote and the sign that begins an entity are escaped."""
    return '"' + text.replace("&", "&amp;").replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def as_mermaid(drawing: Drawing) -> str:
    """The drawing as a flowchart of Mermaid."""
    return "\n".join(_mermaid(drawing)) + "\n"


def _mermaid(drawing: Drawing) -> Iterator[str]:
    name = ids(drawing)
    yield "flowchart TD"
    for frame in ("", *drawing.frames):
        if frame:
            yield f"  subgraph f{list(drawing.frames).index(frame)}[{_entity(drawing.frames[frame])}]"
        for box in drawing.boxes:
            if box.frame == frame:
                left, right = _MERMAID[box.kind]
                text = "<br/>".join(_escaped(told(row)) for row in box.rows)
                yield f'    {name[box.name]}{left}"{text}"{right}' + (f":::{box.word}" if box.word else "")
        if frame:
            yield "  end"
    for line in drawing.lines:
        label = f'|"{"<br/>".join(map(_escaped, line.labels))}"|' if line.labels else ""
        yield f"  {name[line.source]} -->{label} {name[line.target]}"
    for word, look in _CLASSES.items():
        yield f"  classDef {word} {look}"


def _entity(text: str) -> str:
    return f'"{_escaped(text)}"'


def _escaped(text: str) -> str:
    """A text within quotes of Mermaid: all that it or a browser would read as a sign is a numbered entity."""
    return "".join(c if c.isalnum() or c in " .,:?!()+-=/'%°‹›" else f"#{ord(c)};" for c in text)
