"""What is handed out: the record to the last byte, tables that a spreadsheet only reads, the sheet."""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from runner.core import act as ac
from runner.core import event as ev
from runner.core.gaterows import gates
from runner.core.record import read
from runner.edge.carfile import Car, new_car, read_car
from runner.edge.exporting import _cell, audit_export
from runner.edge.opening import Opened, opened, procedure_of
from runner.edge.verifying import audit_verify
from tests.edge.small import USUAL, begin, record

FORMULAS = ("=", "+", "-", "@", "\t", "\r", "|", "%")


def export(folder: Path, to: Path, *cars: Path, run: str = "run-1", personal: bool = True) -> tuple[str, int]:
    return audit_export(folder, run, to, cars, personal=personal)


def rows(path: Path) -> list[dict[str, str]]:
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_four_files_are_handed_out_and_the_record_is_the_same_to_the_last_byte(tmp_path: Path):
    path = record(tmp_path)
    text, code = export(tmp_path, tmp_path / "out")
    assert code == 0
    names = ["gates.csv", "handover.html", "readings.csv", "run-1.jsonl"]
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
    record(tmp_path, (*USUAL[:5], ac.Override(reason=formula, initials="=1+1"), ac.Abandon(reason=formula)))
    export(tmp_path, tmp_path / "out")
    for name in ("gates.csv", "readings.csv"):
        for row in rows(tmp_path / "out" / name):
            assert not [value for value in row.values() if value.startswith(FORMULAS)]


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
    assert "4711 km" in sheet


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
