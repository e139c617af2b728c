"""What is handed out: the record to the last byte, tables that a spreadsheet only reads, the sheet."""

import csv
import json
import re
import struct
import sys
import zlib
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pypdf import PdfReader

from runner.core import act as ac
from runner.core import event as ev
from runner.core.gaterows import gates
from runner.core.graph import Procedure
from runner.core.record import read
from runner.edge.carfile import Car, new_car, read_car
from runner.edge.exporting import _cell, audit_export
from runner.edge.opening import Opened, opened, procedure_of
from runner.edge.reader import read as read_procedure
from runner.edge.verifying import audit_verify
from tests.edge.small import CARD, FILES, PROCEDURE, USUAL, begin, lines, record


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


PICTURE = b"".join(
    (
        b"\x89PNG\r\n\x1a\n",
        _chunk(b"IHDR", struct.pack(">IIBBBBB", 2, 2, 8, 2, 0, 0, 0)),
        _chunk(b"IDAT", zlib.compress(b"\0" + b"\x80\x10\x10" * 2 + b"\0" + b"\x10\x80\x10" * 2)),
        _chunk(b"IEND", b""),
    )
)
"""Four dots (Portable Network Graphics, W3C)."""

FORMULAS = ("=", "+", "-", "@", "\t", "\r", "|", "%")


def export(folder: Path, to: Path, *cars: Path, run: str = "run-1", personal: bool = True) -> tuple[str, int]:
    return audit_export(folder, run, to, cars, personal=personal)


def rows(path: Path) -> list[dict[str, str]]:
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_five_files_are_handed_out_and_the_record_is_the_same_to_the_last_byte(tmp_path: Path):
    path = record(tmp_path)
    text, code = export(tmp_path, tmp_path / "out")
    assert code == 0
    names = ["gates.csv", "handover.html", "handover.pdf", "readings.csv", "run-1.jsonl"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == names
    assert sorted(Path(line).name for line in text.splitlines()) == names
    assert (tmp_path / "out" / "run-1.jsonl").read_bytes() == path.read_bytes()
    assert audit_verify([tmp_path / "out" / "run-1.jsonl"], None, False)[1] == 0


def test_the_table_of_gates_says_what_the_record_says(tmp_path: Path):
    path = record(tmp_path)
    export(tmp_path, tmp_path / "out")
    found = opened(path)
    assert isinstance(found, Opened)
    told = gates(found.entries, procedure_of(found))
    table = rows(tmp_path / "out" / "gates.csv")
    assert len(table) == len(told) > 5
    for one, row in zip(table, told, strict=True):
        for name in ("path", "title", "kind", "who", "at", "value", "unit", "limit", "verdict", "instrument"):
            assert one[name].removeprefix("'") == getattr(row, name)
        assert (one["line"], one["seconds"]) == (str(row.line), "" if row.seconds is None else str(row.seconds))


def test_the_table_of_readings_says_what_the_record_says(tmp_path: Path):
    path = record(tmp_path)
    export(tmp_path, tmp_path / "out")
    events = [e for line in path.read_bytes().splitlines() for e in json.loads(line)["events"] if e["ev"] == "taken"]
    table = rows(tmp_path / "out" / "readings.csv")
    assert len(table) == len(events) == 1
    for one, event in zip(table, events, strict=True):
        for name in ("unit", "instrument", "dimension", "limit", "rule", "outcome", "label", "probability", "because"):
            assert one[name] == event[name]
        assert one["limit kind"] == event["limit_kind"]
        assert one["typed"] == "; ".join(event["typed"])
        assert one["least and most in SI"] == "; ".join(" ".join(pair) for pair in event["values"])
        assert one["error in SI"] == event["twice_u"]


@given(st.text())
@example("=1+1")
@example("\t@x")
def test_no_cell_is_a_formula_and_none_loses_its_text(text: str):
    cell = _cell(text)
    assert cell.removeprefix("'") == text.removeprefix("'")
    try:
        float(text)
    except ValueError:
        assert not cell.startswith(("=", "+", "-", "@", "|", "%"))


@pytest.mark.parametrize("text", ["-3.5", "+4", "-0,25", "110", "-1/2"])
def test_a_number_stays_a_number(text: str):
    assert _cell(text) == text


def test_texts_of_people_reach_no_spreadsheet_as_a_formula(tmp_path: Path):
    formula = '=HYPERLINK("http://example.invalid","x")'
    start = begin(instruments={formula: CARD})
    reading = ac.Enter(typed=["4.51"], unit="mm", instrument=formula)
    acts = (start, *USUAL[1:5], reading, ac.Accept(), *USUAL[7:9])
    record_of = b"".join(lines((*acts, ac.Abandon(reason=formula)), by="=1+1")[0])
    (tmp_path / "=run.jsonl").write_bytes(record_of)
    export(tmp_path, tmp_path / "out", run="=run")
    for name, columns in (("gates.csv", {"run", "who", "instrument"}), ("readings.csv", {"run", "who", "instrument"})):
        table = rows(tmp_path / "out" / name)
        assert not [value for row in table for value in row.values() if value.startswith(FORMULAS)]
        kept = {column for row in table for column, value in row.items() if value.startswith("'=")}
        assert kept >= columns, "the text itself is still there"


def car_and_record(tmp_path: Path) -> Path:
    file = tmp_path / "car.yaml"
    new_car(file, name="Fen heron", vin="111111A15E1111117", steering="right", odometer="4711 km", initials="AB")
    car = read_car(file)
    assert isinstance(car, Car)
    record(tmp_path, (begin(car=car.reference), *USUAL[1:]))
    return file


def test_the_sheet_names_the_car_where_its_file_is_at_hand(tmp_path: Path):
    file = car_and_record(tmp_path)
    export(tmp_path, tmp_path / "out", tmp_path / "no.yaml", file)
    sheet = (tmp_path / "out" / "handover.html").read_text()
    assert "Fen heron" in sheet
    assert "111111A15E1111117" in sheet
    assert "4711\u00a0km" in sheet


def test_without_personal_data_nothing_of_the_cars_file_is_handed_out_and_the_copy_verifies(tmp_path: Path):
    file = car_and_record(tmp_path)
    pictures = tmp_path / "run-1.pictures"
    pictures.mkdir()
    (pictures / "a.jpg").write_bytes(b"picture")
    text, code = export(tmp_path, tmp_path / "out", file, personal=False)
    assert code == 0
    for path in (tmp_path / "out").iterdir():
        data = path.read_bytes()
        for secret in (b"Fen heron", b"111111A15E1111117", b"4711"):
            assert secret not in data, path
    assert not (tmp_path / "out" / pictures.name).exists()
    assert "stand in the record as they are: read lines 11 before" in text
    assert audit_verify([tmp_path / "out" / "run-1.jsonl"], None, False)[1] == 0
    export(tmp_path, tmp_path / "own", file)
    assert (tmp_path / "own" / pictures.name / "a.jpg").read_bytes() == b"picture"


def photographed(folder: Path, picture: bytes) -> Path:
    """A run in which the pads were photographed."""
    text = PROCEDURE.replace(
        'identify: {as: batch, what: number of the pads, pattern: "[A-Z0-9-]{3,20}"}',
        "photo: {as: batch, what: the pads}",
    )
    files = FILES | {"pad-look.yaml": text.encode()}
    made = read_procedure(files, "pad-look.yaml")
    assert isinstance(made, Procedure), made
    digest = sha256(picture).hexdigest()
    start = begin(texts={name: data.decode() for name, data in files.items()})
    acts = (start, *USUAL[1:9], ac.Enter(typed=[digest]), *USUAL[10:])
    path = folder / "run-1.jsonl"
    path.write_bytes(b"".join(lines(acts, made=made)[0]))
    kept = folder / "run-1.pictures"
    kept.mkdir()
    (kept / f"{digest}.png").write_bytes(picture)
    return kept / f"{digest}.png"


def images(folder: Path) -> tuple[str, list[object]]:
    """The picture in the page, and those on the paper."""
    found = re.search(r'<img class="picture" src="([^"]*)"', (folder / "handover.html").read_text())
    return found[1] if found else "", [
        one for sheet in PdfReader(folder / "handover.pdf").pages for one in sheet.images
    ]


def test_a_picture_stands_on_the_sheet_in_the_browser_and_on_paper(tmp_path: Path):
    photographed(tmp_path, PICTURE)
    assert export(tmp_path, tmp_path / "out")[1] == 0
    source, printed = images(tmp_path / "out")
    assert source == f"data:image/png;base64,{b64encode(PICTURE).decode()}"
    assert len(printed) == 1


@pytest.mark.parametrize("change", ["other", "gone", "personal"])
def test_a_picture_that_is_not_the_one_that_was_taken_is_named_and_not_shown(tmp_path: Path, change: str):
    kept = photographed(tmp_path, PICTURE)
    if change == "other":
        kept.write_bytes(PICTURE + b"x")
    elif change == "gone":
        kept.unlink()
    export(tmp_path, tmp_path / "out", personal=change != "personal")
    assert images(tmp_path / "out") == ("", [])
    words = "The picture itself is not at hand, or is not the one that was taken."
    assert words in (tmp_path / "out" / "handover.html").read_text()


def test_a_broken_picture_does_not_keep_the_sheet_from_being_made(tmp_path: Path):
    photographed(tmp_path, b"\x89PNG\r\n\x1a\n broken")
    assert export(tmp_path, tmp_path / "out")[1] == 0
    assert images(tmp_path / "out")[1] == []


def test_without_its_library_the_paper_is_left_out_and_the_rest_is_handed_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    record(tmp_path)
    monkeypatch.setitem(sys.modules, "runner.edge.handover_pdf", None)  # as where an import fails
    text, code = export(tmp_path, tmp_path / "out")
    assert code == 0
    assert "pip install 'witnessmark[pdf]'" in text
    assert not (tmp_path / "out" / "handover.pdf").exists()


def test_the_records_that_a_record_names_go_with_it(tmp_path: Path):
    first = record(tmp_path, name="run-0")
    head = read(first.read_bytes()).head.hash
    record(tmp_path, (begin(heads={"run-0": head, "../run-0": head}), *USUAL[1:]))
    record(tmp_path, name="other")
    export(tmp_path, tmp_path / "out")
    assert sorted(p.stem for p in (tmp_path / "out").glob("*.jsonl")) == ["run-0", "run-1"]


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path):
    record(tmp_path)
    out = tmp_path / "out"
    out.mkdir()
    (out / "readings.csv").write_text("mine")
    text, code = export(tmp_path, out)
    assert code == 2
    assert "readings.csv: there is a file of that name already: name another folder" in text
    assert [p.name for p in out.iterdir()] == ["readings.csv"]


def test_what_cannot_be_exported_is_told_in_words(tmp_path: Path):
    record(tmp_path)
    assert export(tmp_path, tmp_path / "out", run="no")[1] == 2
    (tmp_path / "empty.jsonl").write_bytes(b"")
    assert export(tmp_path, tmp_path / "out", run="empty")[1] == 2
    (tmp_path / "file").write_text("")
    text, code = export(tmp_path, tmp_path / "file" / "out")
    assert code == 2
    assert "not exported" in text


def test_every_event_with_a_text_of_a_person_is_named_for_reading(tmp_path: Path):
    acts = (*USUAL[:5], ac.Note(what="of Ms Tern", where="RR", severity="fail"), ac.Abandon(reason="Ms Tern called"))
    path = record(tmp_path, acts)
    text, _ = export(tmp_path, tmp_path / "out", personal=False)
    found = opened(path)
    assert isinstance(found, Opened)
    [noted] = [one.line + 1 for one in found.entries if any(isinstance(e, ev.FindingMade) for e in one.events)][:1]
    assert f"read lines {noted}" in text


def test_a_record_that_is_at_fault_says_so_on_its_sheet(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*raws[:8], *raws[9:]]))
    text, code = export(tmp_path, tmp_path / "out")
    assert code == 1
    assert "the record is at fault, and the sheet says so: line 9: removed" in text
    sheet = (tmp_path / "out" / "handover.html").read_text()
    assert "Do not rely on this sheet: the record behind it is at fault." in sheet
    assert "line 9: removed" in sheet
    assert audit_verify([tmp_path / "out" / "run-1.jsonl"], None, False)[1] == 1
