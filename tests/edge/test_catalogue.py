"""The README and the pictures of the library are what the procedures say today."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from xml.etree import ElementTree as Xml

import pytest
from markdown_it import MarkdownIt

from runner.cli import command
from runner.edge.catalogue import BEGIN, END, PICTURES, cell, readme
from runner.edge.diagram_svg import NAMESPACE, as_svg
from runner.verify.drawing import drawing
from tests.library import FOLDER, NAMES, procedure

MAKE = "it is stale: run 'witnessmark catalogue procedures'"


def test_the_table_of_the_library_is_made_from_the_procedures_of_today() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    made = readme(text, [procedure(name) for name in NAMES])
    assert made == text, MAKE
    assert "defer to the car's own service literature, to local codes and to licensed practice" in text
    assert text.count("nobody with a licence has walked it through") == sum(not procedure(n).is_fragment for n in NAMES)


def test_each_procedure_has_its_picture_and_no_picture_is_left_of_one_that_is_gone() -> None:
    assert {path.stem for path in (FOLDER / PICTURES).iterdir()} == set(NAMES), MAKE


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_says_what_its_procedure_says_today(name: str) -> None:
    kept = (FOLDER / PICTURES / f"{name}.svg").read_text(encoding="utf-8")
    assert _said(kept) == _said(as_svg(drawing(procedure(name)))), MAKE


def _said(svg: str) -> list[tuple[str, ...]]:
    """Texts, and what leads to what: places may differ by a hair from one processor to the next."""
    out = []
    for one in Xml.fromstring(svg).iter():
        if one.tag == f"{{{NAMESPACE}}}text":
            out.append((one.get("class", ""), one.text or ""))
        elif one.get("data-from") is not None:
            out.append((one.get("data-from", ""), one.get("data-to", "")))
    return out


@pytest.mark.parametrize("name", [name for name in NAMES if not procedure(name).is_fragment])
def test_each_procedure_says_how_much_time_is_set_aside_for_it(name: str) -> None:
    row = next(r for r in (FOLDER / "README.md").read_text(encoding="utf-8").split("\n") if r.startswith(f"| [{name}]"))
    assert f"{procedure(name).takes} in all" in row
    assert "not given" not in row


def test_every_link_of_the_readme_leads_to_a_file() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)]+)\)", text)
    assert len(links) == 2 * len(NAMES)
    assert [link for link in links if not (FOLDER / link).is_file()] == []


def test_no_text_of_a_procedure_breaks_out_of_its_cell() -> None:
    text = 'a | b *c* <i>d</i> `e` [f](g) \\ _h_ # & "'
    page = MarkdownIt("commonmark").enable("table").render(f"| x |\n| --- |\n| {cell(text)} |\n")
    (shown,) = re.findall(r"<td>(.*)</td>", page)
    assert re.sub(r"&(amp|lt|gt|quot);", lambda m: {"amp": "&", "lt": "<", "gt": ">", "quot": '"'}[m[1]], shown) == text


def test_catalogue_keeps_what_the_author_wrote_around_the_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("lower.yaml", "vocabulary.yaml"):
        shutil.copy(FOLDER / name, tmp_path)
    page = tmp_path / "README.md"
    page.write_text("mine\n")
    assert command(["catalogue", str(tmp_path)]) == 2
    assert BEGIN in capsys.readouterr().err
    page.write_text(f"above\n{BEGIN}\nold\n{END}\nbelow\n")
    (tmp_path / PICTURES).mkdir()
    (tmp_path / PICTURES / "gone.svg").write_text("")
    assert command(["catalogue", str(tmp_path)]) == 0
    text = page.read_text()
    assert text.startswith(f"above\n{BEGIN}")
    assert text.endswith(f"{END}\nbelow\n")
    assert "[lower](lower.yaml)" in text
    assert "old" not in text
    assert [path.name for path in (tmp_path / PICTURES).iterdir()] == ["lower.svg"]


def test_a_folder_without_a_readme_or_with_a_faulty_procedure_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command(["catalogue", str(tmp_path)]) == 2
    assert "could not be written" in capsys.readouterr().err
    (tmp_path / "bad.yaml").write_text("procedure: bad\n")
    assert command(["catalogue", str(tmp_path)]) == 2
    assert "bad.yaml" in capsys.readouterr().err
