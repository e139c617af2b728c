"""Records verified: sources are RFC 8785 (canonical form) and FIPS 180-4 (SHA-256), as for the record itself."""

import json
import os
import random
from hashlib import sha256
from pathlib import Path

import pytest
import rfc8785

from runner.core import act as ac
from runner.core.line import Head
from runner.core.record import fingerprint, read
from runner.edge.auditing import audit_list, audit_show
from runner.edge.choosing import Wanted
from runner.edge.verifying import audit_verify
from tests.edge.small import USUAL, Spans, begin, lines, record


def verify(*paths: Path, printed: str | None = None) -> tuple[str, int]:
    return audit_verify(paths, printed, False)


def faults(path: Path) -> list[tuple[int, str]]:
    """Line and kind of each fault, from the JSON."""
    text, _ = audit_verify([path], None, True)
    [one] = json.loads(text)["records"]
    return [(fault["line"], fault["kind"]) for fault in one["faults"]]


def chained(raws: list[bytes]) -> bytes:
    """The lines sealed anew, one after the other, as the owner of the file can."""
    prev, made = Head().hash, []
    for n, raw in enumerate(raws):
        body = {k: v for k, v in json.loads(raw).items() if k != "hash"} | {"n": n, "prev": prev}
        prev = sha256(rfc8785.dumps(body)).hexdigest()
        made.append(rfc8785.dumps(body | {"hash": prev}) + b"\n")
    return b"".join(made)


def edited(raw: bytes, **changes: object) -> bytes:
    return json.dumps(json.loads(raw) | changes).encode()


def test_a_whole_record_is_whole_and_its_fingerprint_is_told(tmp_path: Path):
    path = record(tmp_path)
    text, code = verify(path)
    paper = fingerprint(read(path.read_bytes()).head.hash)
    assert code == 0
    assert text.splitlines()[-1] == f"{path}: whole: 13 lines, replayed; fingerprint {paper}"
    assert chained(path.read_bytes().splitlines()) == path.read_bytes()


def test_a_changed_byte_is_found_at_its_line_wherever_it_is(tmp_path: Path):
    path = record(tmp_path)
    data = path.read_bytes()
    starts = [0, *(n + 1 for n, byte in enumerate(data) if byte == 10)]
    dice = random.Random(2)
    for at in sorted(dice.sample(range(len(data)), 40)):
        path.write_bytes(data[:at] + bytes([data[at] ^ (1 << dice.randrange(8))]) + data[at + 1 :])
        text, code = verify(path)
        line = sum(start <= at for start in starts)
        assert code == 1, at
        assert f"{path}:{line}: " in text.splitlines()[0], at


def test_a_removed_a_doubled_and_a_reordered_line_are_named(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines(keepends=True)
    for broken, expected in (
        ([*raws[:4], *raws[5:]], (5, "removed")),
        ([*raws[:4], raws[5], raws[4], *raws[6:]], (5, "reordered")),
        ([*raws[:5], raws[4], *raws[5:]], (6, "doubled")),
    ):
        path.write_bytes(b"".join(broken))
        assert faults(path) == [expected]
        assert verify(path)[1] == 1


def test_a_torn_tail_is_named_as_crash_or_cut(tmp_path: Path):
    path = record(tmp_path)
    path.write_bytes(path.read_bytes()[:-5])
    assert faults(path) == [(13, "torn: crash or cut")]
    text, code = verify(path)
    assert code == 1
    assert text.splitlines()[-1] == f"{path}: AT FAULT: 1, first at line 13"


def test_events_that_were_edited_and_sealed_anew_are_found_by_replay(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines()
    events = json.loads(raws[6])["events"]
    events[0]["typed"] = ["9.99"]
    path.write_bytes(chained([*raws[:6], edited(raws[6], events=events), *raws[7:]]))
    assert read(path.read_bytes()).fault is None
    assert faults(path) == [(7, "not the engine's")]
    first = verify(path)[0].splitlines()[0]
    assert first.startswith(f"{path}:7: not the engine's: the engine does not give these events: 'typed' of 'taken' is")


def test_an_act_that_was_taken_out_and_the_rest_sealed_anew_is_found_by_replay(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines()
    path.write_bytes(chained([*raws[:3], *raws[4:]]))  # without the confirmation of the warning
    assert read(path.read_bytes()).fault is None
    assert faults(path) == [(4, "not the engine's")]


def test_a_procedure_that_was_changed_in_the_record_is_found(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines()
    act = json.loads(raws[0])["act"]
    act["texts"]["pad-look.yaml"] = act["texts"]["pad-look.yaml"].replace("number: 2", "number: 1")
    path.write_bytes(chained([edited(raws[0], act=act), *raws[1:]]))
    assert faults(path) == [(5, "not the engine's")]
    act["hashes"] = {"pad-look.yaml": sha256(b"the text as it was").hexdigest()}
    path.write_bytes(chained([edited(raws[0], act=act), *raws[1:]]))
    assert faults(path) == [(1, "changed")]


def test_a_procedure_that_cannot_be_read_is_told_with_its_place(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines()
    act = json.loads(raws[0])["act"]
    act["texts"]["pad-look.yaml"] = "procedure: [\n"
    path.write_bytes(chained([edited(raws[0], act=act), *raws[1:]]))
    text, code = verify(path)
    assert code == 1
    assert f"{path}:1: not replayed: the procedure in this line cannot be read: pad-look.yaml:" in text


def test_a_clock_that_was_set_back_is_reported_and_is_no_fault(tmp_path: Path):
    path = tmp_path / "run.jsonl"
    path.write_bytes(b"".join(lines(clock=Spans([], set_back={7: 3600}))[0]))
    text, code = verify(path)
    assert code == 0
    assert f"{path}:8: warning: clock: the clock was set back: the time of day moved by -3580 s since line 7" in text


def test_a_shortened_record_shows_against_the_paper(tmp_path: Path):
    path = record(tmp_path)
    whole = read(path.read_bytes())
    paper = fingerprint(whole.head.hash).lower().replace("-", " ")
    assert verify(path, printed=paper)[0].endswith("; the paper was printed at line 13")
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    assert verify(path)[1] == 0
    text, code = verify(path, printed=paper)
    assert code == 1
    assert "shortened or rewritten" in text


def test_a_missing_record_of_the_car_is_named_by_the_others(tmp_path: Path):
    first = record(tmp_path, name="run-0")
    head = read(first.read_bytes()).head.hash
    second = record(tmp_path, (begin(heads={"run-0": head}), *USUAL[1:]))
    assert verify(first, second)[1] == 0
    first.unlink()
    text, code = verify(second)
    assert code == 1
    assert f"{second}:1: missing record: the record 'run-0', which this line names, is not in this folder" in text


def test_a_record_that_was_shortened_shows_at_the_next_one_of_the_car(tmp_path: Path):
    first = record(tmp_path, name="run-0")
    head = read(first.read_bytes()).head.hash
    second = record(tmp_path, (*USUAL[:3], ac.Hold(), ac.Resume(clean=True, heads={"run-0": head})))
    assert verify(first, second)[1] == 0
    first.write_bytes(b"".join(first.read_bytes().splitlines(keepends=True)[:-2]))
    assert verify(first)[1] == 0
    assert faults(second) == [(5, "shortened or rewritten")]


def test_a_name_in_a_record_never_leads_to_a_file_elsewhere(tmp_path: Path):
    head = read(record(tmp_path, name="other").read_bytes()).head.hash
    inner = tmp_path / "inner"
    (inner / "deep").mkdir(parents=True)
    record(inner / "deep", name="other")
    heads = {"../other": head, "deep/other": head, str(tmp_path / "other"): head, "a\0b": head}
    path = record(inner, (begin(heads=heads), *USUAL[1:3]))
    assert faults(path) == [(1, "missing record")] * 4


def test_what_cannot_be_read_gives_code_two_and_the_rest_is_verified(tmp_path: Path):
    path = record(tmp_path)
    text, code = verify(path, tmp_path / "no.jsonl")
    assert code == 2
    assert f"{path}: whole" in text
    assert "no.jsonl: cannot be read: No such file or directory" in text
    assert verify() == ("there is no record to verify: name a .jsonl file", 2)
    assert verify(path, path, printed="ABCD")[1] == 2


@pytest.mark.parametrize("data", [b"", b"\0\0\0\0\0", b"{}\n", b"\x1b[31mred\n", "Maß\n".encode("latin-1")])
def test_a_file_that_is_no_record_is_a_fault_in_words(tmp_path: Path, data: bytes):
    path = tmp_path / "run.jsonl"
    path.write_bytes(data)
    text, code = verify(path)
    assert code == 1
    assert text.isascii()
    assert all(line.isprintable() for line in text.splitlines())
    assert audit_show(tmp_path, "run", False)[1] == 1
    assert audit_list(tmp_path, False)[1] == 1


def test_an_act_of_a_newer_program_is_named_and_what_stands_before_it_is_told(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines()
    path.write_bytes(chained([*raws[:5], edited(raws[5], act={"do": "telepathy"}), *raws[6:]]))
    assert faults(path) == [(6, "unknown act")]
    text, code = audit_show(tmp_path, "run-1", False)
    assert code == 1
    assert "answered '2' to 'How many pads lie on the bench?'" in text


def test_records_that_no_engine_wrote_crash_nothing(tmp_path: Path):
    path = record(tmp_path)
    raws = path.read_bytes().splitlines()
    wild = [
        [{"ev": "level is", "level": "x", "enclosure": ["one", "two"], "why": "", "by_look": False}],
        [{"ev": "restated", "name": "pad", "nth": 9, "values": [], "outcome": ""}],
        [{"ev": "granted", "path": "p", "beats": 1, "levels": {}, "touched": {}, "seconds": "x"}],
        [],
    ]
    for events in wild:
        path.write_bytes(chained([*raws[:5], edited(raws[5], events=events), *raws[6:]]))
        assert (6, "not the engine's") in faults(path)
        assert audit_list(tmp_path, False)[1] == 0
        assert audit_show(tmp_path, "run-1", False)[1] == 0
        assert audit_show(tmp_path, "run-1", True)[1] == 0


def test_runs_are_listed_oldest_first_with_what_a_reader_must_not_miss(tmp_path: Path):
    record(tmp_path, (*USUAL[:5], ac.Override(reason="no micrometer", initials="CD")), "run-a")
    early = b"".join(lines((begin(demonstration=True), *USUAL[1:]), clock=Spans([], set_back={0: 86_400}))[0])
    (tmp_path / "run-b.jsonl").write_bytes(early)
    text, code = audit_list(tmp_path, False)
    assert code == 0
    what = "pad-look revision 3  car 0123456789abcdef"
    assert text.splitlines() == [
        f"run-b  2025-12-31T08:00:00.000Z  {what}; done; AB; DEMONSTRATION; 1 late entry",
        f"run-a  2026-01-01T08:00:00.000Z  {what}; not finished; AB, CD; 1 override",
    ]
    listed = json.loads(audit_list(tmp_path, True)[0])
    assert [run["run"] for run in listed["runs"]] == ["run-b", "run-a"]
    assert listed["runs"][1]["overrides"] == ["line 6: OVERRIDDEN at measure: reading; no micrometer; CD"]


def test_an_empty_folder_and_a_missing_one_are_told_apart(tmp_path: Path):
    text, code = audit_list(tmp_path, False)
    assert (code, text.startswith(f"no run is recorded in {tmp_path}: begin one with 'witnessmark run'")) == (0, True)
    text, code = audit_list(tmp_path / "no", False)
    assert (code, text.startswith(f"there is no folder {tmp_path / 'no'}: begin one with")) == (2, True)


def test_a_record_without_a_first_line_is_listed_with_its_file_and_the_day_it_was_written(tmp_path: Path):
    path = record(tmp_path)
    path.write_bytes(path.read_bytes()[:100])
    (tmp_path / "empty.jsonl").touch()
    for name in (path, tmp_path / "empty.jsonl"):
        os.utime(name, (1_000_000_000, 1_000_000_000))
    for wanted in (None, Wanted(car="another")):
        text, code = audit_list(tmp_path, False, wanted)
        assert text.splitlines() == [
            "empty  last written 2001-09-09, nothing of it can be told; line 1: torn: crash or cut",
            "run-1  last written 2001-09-09, nothing of it can be told; line 1: torn: crash or cut",
        ]
        assert code == 1


def test_one_run_is_told_with_its_gates(tmp_path: Path):
    record(tmp_path)
    text, code = audit_show(tmp_path, "run-1", False)
    assert code == 0
    assert "finished    done" in text
    assert "= reading at 'Measure the thinner pad.' after 40.0 s; 4.51 mm; limit at least 3 mm" in text
    told = json.loads(audit_show(tmp_path, "run-1", True)[0])
    assert [gate["kind"] for gate in told["gates"]].count("safety message") == 2
    assert told["summary"]["finished"] == "done"


@pytest.mark.parametrize("name", ["no", "../run-1", "", "/etc/passwd", "a\0b", "\x1b[31m"])
def test_a_run_that_is_not_there_is_told_with_those_that_are(tmp_path: Path, name: str):
    inner = tmp_path / "inner"
    inner.mkdir()
    record(tmp_path)
    record(inner, name="run-9")
    text, code = audit_show(inner, name, False)
    assert code == 2
    assert text.endswith("the runs are run-9")
    assert text.isprintable()


def test_nothing_in_a_record_reaches_the_terminal_but_text(tmp_path: Path):
    hostile = "\x1b]0;x\x07\x9b31m\u202eevil\nline"
    acts = (
        begin(procedure=hostile, version=hostile, heads={hostile: hostile}, hashes={hostile: hostile}),
        *USUAL[1:5],
        ac.Note(what=hostile, where=hostile, severity="unsafe"),
        ac.Abandon(reason=hostile),
    )
    path = record(tmp_path, acts)
    for answer in (audit_list(tmp_path, False), audit_show(tmp_path, "run-1", False), verify(path)):
        assert all(line.isprintable() for line in answer[0].splitlines()), ascii(answer[0])
    for answer in (audit_list(tmp_path, True), audit_show(tmp_path, "run-1", True), audit_verify([path], None, True)):
        assert answer[0].isascii()
        assert all(line.isprintable() for line in answer[0].splitlines())
        json.loads(answer[0])
