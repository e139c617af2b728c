"""Pictures of procedures as SVG, DOT and Mermaid: well formed, whole, nothing overlaps, nothing is interpreted."""

from __future__ import annotations

import re
from collections import Counter
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as Xml

import pygraphviz
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.cli import command
from runner.core.hazard import Word
from runner.edge.diagram import as_dot, as_mermaid, ids
from runner.edge.diagram_svg import NAMESPACE, as_svg
from runner.verify.drawing import Box, Drawing, Line, Row, drawing
from tests.library import NAMES, procedure

SVG = {"s": NAMESPACE}
TEXTS = st.text(st.characters(exclude_categories=["C"]), min_size=1, max_size=60).filter(lambda t: t.strip() == t)


def drawn(name: str) -> Drawing:
    return drawing(procedure(name))


def nasty(text: str) -> Drawing:
    boxes = (
        Box(name="a", kind="step", rows=(Row(kind="caution", text=text, word="DANGER"), Row(kind="do", text=text))),
        Box(name="b", kind="end", rows=(Row(kind="do", text=text),), frame="f"),
    )
    return Drawing(title=text, boxes=boxes, lines=(Line(source="a", target="b", labels=(text,)),), frames={"f": text})


def _boxes(root: Xml.Element) -> dict[str, tuple[float, float, float, float]]:
    found = {}
    for group in root.iterfind(".//s:g[@id]", SVG):
        rect = group.find("s:rect", SVG)
        assert rect is not None
        x, y, width, height = (float(rect.get(k, "nan")) for k in ("x", "y", "width", "height"))
        assert group.get("id") not in found
        found[group.get("id", "")] = (x, y, x + width, y + height)
    return found


@pytest.mark.parametrize("name", NAMES)
def test_each_box_and_line_is_in_the_picture_once_and_no_two_boxes_overlap(name: str) -> None:
    meant = drawn(name)
    root = Xml.fromstring(as_svg(meant))
    names = ids(meant)
    boxes = _boxes(root)
    assert set(boxes) == set(names.values())
    lines = Counter((g.get("data-from"), g.get("data-to")) for g in root.iterfind(".//s:g[@class='line']", SVG))
    assert lines == Counter((names[line.source], names[line.target]) for line in meant.lines)
    for (one, a), (other, b) in combinations(boxes.items(), 2):
        apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        assert apart, f"{one} lies on {other}"
    assert len(root.findall(".//s:g[@class='block']", SVG)) == len(meant.frames)


def test_a_picture_is_whole_on_its_sheet_and_needs_nothing_from_outside() -> None:
    text = as_svg(drawn("tyre-exchange"))
    root = Xml.fromstring(text)
    left, top, width, height = (float(v) for v in root.get("viewBox", "").split())
    for x0, y0, x1, y1 in _boxes(root).values():
        assert left <= x0 < x1 <= left + width
        assert top <= y0 < y1 <= top + height
    assert not re.search(r"href|url\(|@import|<script", text)


def test_a_signal_word_shows_by_its_name_and_by_the_number_and_kind_of_its_borders() -> None:
    words: tuple[Word, ...] = ("DANGER", "WARNING", "CAUTION", "NOTICE")
    boxes = tuple(Box(name=w, kind="step", rows=(Row(kind="caution", text="it falls", word=w),)) for w in words)
    text = as_svg(Drawing(title="", boxes=boxes, lines=(), frames={}))
    looks = {}
    for group in Xml.fromstring(text).iterfind(".//s:g[@id]", SVG):
        word = (group.get("class") or "").split()[2]
        dashes = re.search(rf"\.{word} \.ring{{stroke-dasharray:([^;]*)", text)
        looks[word] = (len(group.findall("s:rect[@class='ring']", SVG)), dashes[1] if dashes else "")
        assert [t.text for t in group.iterfind("s:text", SVG)] == [f"{word}: it falls"]
    assert list(looks) == list(words)
    assert len(set(looks.values())) == 4


@pytest.mark.parametrize("name", NAMES)
def test_dot_is_read_by_another_program_with_the_same_boxes_lines_and_frames(name: str) -> None:
    meant = drawn(name)
    graph = pygraphviz.AGraph(string=as_dot(meant))
    names = ids(meant)
    assert sorted(graph.nodes()) == sorted(names.values())
    assert sorted(graph.edges()) == sorted((names[line.source], names[line.target]) for line in meant.lines)
    frames = {frame: {names[box.name] for box in meant.boxes if box.frame == frame} for frame in meant.frames}
    assert [set(one.nodes()) for one in graph.subgraphs()] == list(frames.values())


_TEXT = r'"[^"<>`\\;#]*(?:(?:#\d+;|<br/>)[^"<>`\\;#]*)*"'
_SHAPES = [rf"\(\({_TEXT}\)\)", rf"\[{_TEXT}\]", rf"\[\[{_TEXT}\]\]", rf">{_TEXT}\]", rf"\(\[{_TEXT}\]\)"]
_SHAPES += [rf"\{{\{{{_TEXT}\}}\}}", rf"\({_TEXT}\)"]
_MERMAID = (
    r"flowchart TD",
    rf"  subgraph f\d+\[{_TEXT}\]",
    r"  end",
    rf"    n\d+(?:{'|'.join(_SHAPES)})(?::::[A-Z]+)?",
    rf"  n\d+ -->(?:\|{_TEXT}\|)? n\d+",
    r"  classDef [A-Z]+ [a-z-]+:[#\w ]+(?:,[a-z-]+:[#\w ]+)*",
)


def _grammatical(text: str) -> None:
    for line in text.splitlines():
        assert any(re.fullmatch(rule, line) for rule in _MERMAID), line


@pytest.mark.parametrize("name", NAMES)
def test_mermaid_has_each_box_and_line_once_in_lines_of_its_grammar(name: str) -> None:
    meant = drawn(name)
    text = as_mermaid(meant)
    _grammatical(text)
    assert Counter(re.findall(r"^    (n\d+)", text, re.MULTILINE)) == Counter(ids(meant).values())
    assert len(re.findall(r"^  n\d+ -->", text, re.MULTILINE)) == len(meant.lines)
    assert text.count("  subgraph ") == text.count("\n  end\n") == len(meant.frames)


@given(TEXTS)
def test_no_text_is_read_as_a_sign_of_any_of_the_languages(text: str) -> None:
    meant = nasty(text)
    mermaid = as_mermaid(meant)
    _grammatical(mermaid)
    title = re.search(r'subgraph f0\["(.*)"\]', mermaid)
    assert title is not None
    assert re.sub(r"#(\d+);", lambda m: chr(int(m[1])), title[1]) == text
    graph = pygraphviz.AGraph(string=as_dot(meant))
    assert graph.nodes() == ["n0", "n1"]
    label = re.sub(r"\\(.)", lambda m: " " if m[1] == "n" else m[1], graph.get_node("n1").attr["label"])
    assert "".join(label.replace("&amp;", "&").split()) == "".join(text.split())
    root = Xml.fromstring(as_svg(meant))
    assert root.findtext("s:title", None, SVG) == text
    tags = {child.tag.partition("}")[2] for child in root.iter()}
    assert tags == {"svg", "title", "style", "rect", "text", "g", "path"}


def test_a_text_that_holds_mark_up_stands_in_the_picture_as_it_was_written() -> None:
    text = '</text><script>"x" & \\ [a](b) #35; %% {c}'
    root = Xml.fromstring(as_svg(nasty(text)))
    assert root.findtext("s:title", None, SVG) == text
    assert "<script" not in as_mermaid(nasty(text))


def test_draw_writes_each_format_to_a_file_or_to_standard_output(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for form, start in (("svg", "<svg"), ("dot", "digraph"), ("mermaid", "flowchart")):
        out = tmp_path / f"lower.{form}"
        assert command(["draw", "lower", "--to", form, "--out", str(out)]) == 0
        assert out.read_text(encoding="utf-8").startswith(start)
        assert command(["draw", "lower", "--to", form]) == 0
        assert capsys.readouterr().out == out.read_text(encoding="utf-8")


def test_what_cannot_be_drawn_is_said_in_one_message(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert command(["draw", "no-such-thing"]) == 2
    assert "no-such-thing" in capsys.readouterr().err
    assert command(["draw", "lower", "--out", str(tmp_path / "none" / "lower.svg")]) == 2
    assert "could not be written" in capsys.readouterr().err
    mine = tmp_path / "mine.yaml"
    mine.write_text("kept")
    assert command(["draw", "lower", "--out", str(mine)]) == 2
    assert mine.read_text() == "kept"
    monkeypatch.setitem(__import__("sys").modules, "pygraphviz", None)
    capsys.readouterr()
    assert command(["draw", "lower"]) == 2
    assert "pip install 'witnessmark[draw]'" in capsys.readouterr().err
    assert command(["draw", "lower", "--to", "mermaid"]) == 0
