"""Questions across runs: the embedded engine finds what a plain reading of every line finds."""

import json
import sys
from pathlib import Path

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.entry import entries
from runner.core.record import read
from runner.edge.asking import BATCH, QUESTIONS, Hit, _batches, audit_ask
from runner.edge.auditing import audit_list
from runner.edge.carfile import Car, new_car, read_car
from runner.edge.choosing import Wanted, car_reference
from tests.edge.small import FILES, USUAL, Spans, begin, lines, record, typed

HITS = {
    "fast": lambda e: isinstance(e, ev.Confirmed) and e.fast,
    "late": lambda e: isinstance(e, ev.Left) and bool(e.late),
    "overrides": lambda e: isinstance(e, ev.Overridden),
    "corrections": lambda e: isinstance(e, ev.Corrected),
    "close": lambda e: isinstance(e, ev.Taken) and (e.outcome == "cannot tell" or e.label.startswith("conditional")),
    "instrument": lambda e: isinstance(e, ev.Taken) and e.instrument == "outside mike",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six runs: a usual one, one read too fast, two on another car, one of another day, one that stopped midway."""
    made = tmp_path_factory.mktemp("runs")
    record(made, (*USUAL, ac.Correct(line=5, typed=["4.15"], unit="mm", reason="digits swapped")), name="usual")
    (made / "fast.jsonl").write_bytes(b"".join(lines(clock=Spans([20, 20, 20, 20, 20, 20, 1.5]))[0]))
    other = begin(car="fedcba9876543210")
    record(made, (other, *USUAL[1:5], ac.Override(reason="no micrometer", initials="CD")), name="override")
    record(made, (other, *USUAL[1:5], typed("3.005"), ac.Accept(), typed("3.5"), ac.Accept()), name="close")
    early = lines((*USUAL[:5], ac.Abandon(reason="called away")), by="CD", clock=Spans([], set_back={0: 86_400}))[0]
    (made / "early.jsonl").write_bytes(b"".join(early))
    record(made, USUAL[:5], name="midway")
    return made


def asked(folder: Path, question: str, named: str = "", wanted: Wanted | None = None) -> list[dict[str, object]]:
    text, code = audit_ask(folder, question, named, wanted or Wanted(), True)
    assert code == 0, text
    hits: list[dict[str, object]] = json.loads(text)["hits"]
    return hits


def plainly(folder: Path, question: str) -> list[tuple[str, int]]:
    return [
        (path.stem, one.line + 1)
        for path in sorted(folder.glob("*.jsonl"))
        for one in entries(read(path.read_bytes()).lines)
        for event in one.events
        if HITS[question](event)
    ]


@pytest.mark.parametrize("question", HITS)
def test_each_question_finds_what_a_plain_reading_finds(folder: Path, question: str):
    found = [(hit["run"], hit["line"]) for hit in asked(folder, question, "outside mike")]
    assert found == plainly(folder, question) != []


@pytest.mark.parametrize(
    ("question", "text"),
    [
        ("fast", "back: spring; 1.5 s of 4.0 s to read"),
        ("late", "back: done at about 09:15"),
        ("overrides", "measure: reading; no micrometer; CD"),
        ("corrections", "line 6 from '4.51' to '4.15': digits swapped; same path"),
        ("close", "pad: 3.005 mm; limit at least 3 mm; conditional pass; with outside mike"),
        ("instrument", "pad: 3.005 mm; limit at least 3 mm; conditional pass; with outside mike"),
    ],
)
def test_a_hit_says_in_words_what_was_found(folder: Path, question: str, text: str):
    assert text in [hit["text"] for hit in asked(folder, question, "outside mike")]


def test_runs_that_are_not_over_are_told_with_what_is_open(folder: Path):
    told = {hit["run"]: hit["text"] for hit in asked(folder, "unfinished")}
    assert told.keys() == {"early", "midway", "override", "close"}
    assert told["midway"] == "not finished; open: the pads are out"
    assert str(told["early"]).endswith("; open: the pads are out")
    assert {hit["run"] for hit in asked(folder, "unfinished", wanted=Wanted(person="CD"))} == {"early"}


@pytest.mark.parametrize(
    ("wanted", "runs"),
    [
        (Wanted(car="fedcba9876543210"), {"override", "close"}),
        (Wanted(procedure="no-such"), set()),
        (Wanted(person="CD"), {"override", "early"}),
        (Wanted(until="2025-12-31"), {"early"}),
        (Wanted(since="2026-01-01", person="CD"), {"override"}),
        (Wanted(since="2026-01-01", until="2026-01-01", car="0123456789abcdef"), {"usual", "fast", "midway"}),
    ],
)
def test_filters_combine(folder: Path, wanted: Wanted, runs: set[str]):
    told = json.loads(audit_list(folder, True, wanted)[0])
    assert {run["run"] for run in told["runs"]} == runs


def test_questions_take_the_same_filters(folder: Path):
    mike = "outside mike"
    assert {hit["run"] for hit in asked(folder, "instrument", mike, Wanted(car="fedcba9876543210"))} == {"close"}
    assert asked(folder, "instrument", mike, Wanted(person="ZZ")) == []
    assert asked(folder, "instrument", mike, Wanted(since="2026-01-02")) == []
    assert asked(folder, "instrument", "' or true --") == []


def test_a_car_is_named_by_its_file_as_well(tmp_path: Path):
    file = tmp_path / "car.yaml"
    new_car(file, name="Fen heron", vin="111111A15E1111117", steering="left", odometer="", initials="AB")
    car = read_car(file)
    assert isinstance(car, Car)
    assert car_reference(str(file)) == car.reference
    assert car_reference("0123456789abcdef") == "0123456789abcdef"


def test_late_entries_that_come_in_a_burst_are_said_to_be_a_batch():
    def hit(run: str, minute: int) -> Hit:
        return Hit(run=run, line=minute, at=f"2026-01-01T08:{minute:02}:00.000Z", by="AB", text="x")

    told = _batches([hit("a", 0), *(hit("b", 10 + n) for n in range(BATCH)), hit("b", 40), hit("b", 45)])
    assert [one.text for one in told] == ["x", *[f"x; in a batch of {BATCH}"] * BATCH, "x", "x"]


def test_a_revision_with_another_gate_is_told_and_one_with_other_places_is_not(tmp_path: Path):
    texts = {name: data.decode() for name, data in FILES.items()}
    moved = texts | {"pad-look.yaml": "# a remark\n\n" + texts["pad-look.yaml"]}
    changed = texts | {"pad-look.yaml": texts["pad-look.yaml"].replace("number: 2", "number: 4")}
    weaker = changed | {"pad-look.yaml": changed["pad-look.yaml"].replace("[micrometer]", "[micrometer, rule]")}
    for day, one in enumerate((texts, moved, changed, weaker)):
        raws = lines((begin(texts=one, revision=str(day)),), clock=Spans([], set_back={0: -86_400 * day}))[0]
        (tmp_path / f"run-{day}.jsonl").write_bytes(b"".join(raws))
    hits = asked(tmp_path, "changed-gate", "pad-look")
    assert [(hit["run"], hit["text"]) for hit in hits] == [
        ("run-2", "revision 2, since run-1 with 1: the gate of 'pull' changed"),
        ("run-3", "revision 3, since run-2 with 2: the gate of 'measure' changed"),
    ]
    assert asked(tmp_path, "changed-gate", "another") == []


def test_what_cannot_be_read_is_told_and_the_rest_is_answered(tmp_path: Path):
    whole = record(tmp_path, name="whole")
    torn = record(tmp_path, name="torn")
    torn.write_bytes(torn.read_bytes() + b'\n\0\xff\x1b[31m\n[1]\n{"n":tr')
    (tmp_path / "noise.jsonl").write_bytes(b"\0\1\2")
    (tmp_path / "empty.jsonl").write_bytes(b"")
    text, code = audit_ask(tmp_path, "late", "", Wanted(), False)
    assert code == 1
    assert f"{whole.stem}:9  2026-01-01T08:02:40.000Z  AB  back: done at about 09:15" in text.splitlines()
    for name in ("torn", "noise", "empty"):
        assert f"{name}.jsonl: " in text
    assert all(line.isprintable() for line in text.splitlines())


def test_nothing_in_a_record_reaches_the_terminal_but_text(tmp_path: Path):
    hostile = "\x1b]0;x\x07\x9b31m\u202eevil\nline"
    record(tmp_path, (*USUAL[:5], ac.Override(reason=hostile, initials=hostile)))
    text, _ = audit_ask(tmp_path, "overrides", "", Wanted(), False)
    assert len(text.splitlines()) == 1
    assert text.isprintable()


def test_what_cannot_be_asked_is_told_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    assert audit_ask(tmp_path / "no", "late", "", Wanted(), False)[1] == 2
    assert audit_ask(tmp_path, "instrument", "", Wanted(), False) == (
        "'instrument' needs the name of the instrument behind it", 2
    )  # fmt: skip
    assert audit_ask(tmp_path, "late", "", Wanted(), False) == ("none", 0)
    record(tmp_path, name="odd")
    (tmp_path / "odd.jsonl").rename(tmp_path / "o[d]d.jsonl")
    assert "rename the file" in audit_ask(tmp_path, "late", "", Wanted(), False)[0]
    monkeypatch.setitem(sys.modules, "duckdb", None)
    assert audit_ask(tmp_path, "late", "", Wanted(), False) == (
        "questions need the query engine: pip install 'witnessmark[audit]'", 2
    )  # fmt: skip


def test_the_command_line_offers_each_question_there_is():
    from runner.cli import _parser

    for question in QUESTIONS:
        options = _parser().parse_args(["audit", "--car", "x", "ask", question, "name", "--since", "2026-01-31"])
        assert (options.question, options.car, options.since, options.until) == (question, "x", "2026-01-31", "")
    with pytest.raises(SystemExit):
        _parser().parse_args(["audit", "ask", "late", "--since", "31.1.2026"])
