"""The nine properties of good data: all hold for an honest run, and each seeded fault hits its own line.

Source: MHRA, 'GXP' Data Integrity Guidance and Definitions (2018): attributable, legible, contemporaneous, original,
accurate; complete, consistent, enduring, available.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest

from runner.core.canonical import canonical
from runner.edge.alcoa import audit_alcoa
from runner.edge.clock import SteppedClock
from runner.edge.signoff import audit_sign
from tests.edge.small import USUAL, Spans, lines, record

ROOT = Path(__file__).resolve().parents[2]
NINE = [
    "attributable", "legible", "contemporaneous", "original", "accurate", "complete", "consistent", "enduring",
    "available",
]  # fmt: skip


def failing(path: Path) -> set[str]:
    told = json.loads(audit_alcoa(path.parent, path.stem, True)[0])["properties"]
    assert [one["name"] for one in told] == NINE
    return {one["name"] for one in told if not one["holds"]}


def test_all_nine_hold_for_an_honest_run_and_say_what_was_counted(tmp_path: Path):
    record(tmp_path)
    text, code = audit_alcoa(tmp_path, "run-1", False)
    assert code == 0
    assert [line.split()[:2] for line in text.splitlines()] == [[name, "yes"] for name in NINE]
    assert "13 of 13 lines name who acted; 1 signatures" in text
    assert "13 acts judged again, 1 readings" in text


def resealed(path: Path, change: Callable[[list[dict[str, object]]], None]) -> None:
    """The record with a change, chained anew from the first line to the last."""
    told = [json.loads(raw) for raw in path.read_bytes().splitlines()]
    change(told)
    before, raws = "0" * 64, []
    for n, one in enumerate(told):
        one.pop("hash")
        one |= {"prev": before, "n": n}
        before = sha256(canonical(one)).hexdigest()
        raws.append(canonical(one | {"hash": before}))
    path.write_bytes(b"\n".join([*raws, b""]))


def edited_signature(told):
    told[-1]["act"]["meaning"] = told[-1]["events"][0]["meaning"] = "approved"


def unknown_act(told):
    told[5]["act"] = {"do": "of another time"}


def other_reading(told):
    told[6]["events"][0]["typed"] = ["9.99"]


def unreadable_procedure(told):
    told[0]["act"]["texts"]["pad-look.yaml"] = "procedure: ["


def of_the_future(told):
    for one in told:
        one["v"] = 2


def test_a_signature_that_was_edited_hits_who_acted(tmp_path: Path):
    path = record(tmp_path, USUAL[:-1])
    clock = SteppedClock(lines(USUAL[:-1])[1][-1].stamp)
    assert audit_sign(tmp_path, "run-1", "performed", "AB", tmp_path / "keys", clock)[1] == 0
    assert failing(path) == set()
    resealed(path, edited_signature)
    assert failing(path) == {"attributable"}


@pytest.mark.parametrize(
    ("change", "hit"),
    [
        (unknown_act, {"legible"}),
        (other_reading, {"accurate"}),
        (of_the_future, {"enduring", "complete"}),
        (unreadable_procedure, {"available"}),
    ],
)
def test_a_fault_that_was_sealed_anew_hits_its_own_line(tmp_path: Path, change, hit: set[str]):
    path = record(tmp_path)
    resealed(path, change)
    assert failing(path) == hit


@pytest.mark.parametrize(
    ("change", "hit"),
    [
        (lambda raws: [raws[0], raws[1].replace(b"Z", b"z", 1), *raws[2:]], {"original"}),
        (lambda raws: [*raws[:4], *raws[5:]], {"complete"}),
        (lambda raws: [*raws[:-1], raws[-1][:30]], {"complete"}),
        (lambda raws: [*raws[:4], raws[5], raws[4], *raws[6:]], {"consistent"}),
        (lambda raws: [*raws[:4], raws[3], *raws[4:]], {"consistent"}),
    ],
    ids=["changed", "removed", "torn", "swapped", "doubled"],
)
def test_a_touched_file_hits_its_own_line(tmp_path: Path, change, hit: set[str]):
    path = record(tmp_path)
    path.write_bytes(b"".join(change(path.read_bytes().splitlines(keepends=True))))
    assert failing(path) == hit


def test_a_clock_that_was_set_hits_what_is_told_of_the_times(tmp_path: Path):
    (tmp_path / "run-1.jsonl").write_bytes(b"".join(lines(clock=Spans([], set_back={7: 3_600}))[0]))
    assert failing(tmp_path / "run-1.jsonl") == {"contemporaneous"}


def test_the_table_of_the_nine_names_tests_that_there_are():
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rows = re.findall(r"^\| (\w+) \| .* \| `(tests/\S+)::(\w+)` \|$", guide, re.MULTILINE)
    assert [name for name, _, _ in rows] == NINE
    for _, file, test in rows:
        assert f"def {test}(" in (ROOT / file).read_text("utf-8"), test
