"""Records on a world that does not play along: every command says in words what is wrong, and changes nothing."""

from __future__ import annotations

import gzip
import json
import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from runner.cli import command
from runner.core import act as ac
from runner.core.canonical import canonical
from runner.core.line import Head, seal
from runner.edge.clock import SteppedClock
from runner.edge.garage import runs
from runner.edge.journal import Journal
from tests.edge.small import USUAL, Spans, lines, record
from tests.rig import Hands, begin

ROOT = Path(__file__).resolve().parents[1]
READING = (
    ["--list"],
    ["show", "bad"],
    ["verify"],
    ["ask", "overrides"],
    ["ask", "unfinished"],
    ["ask", "changed-gate", "pad-look"],
)
"""Every command that reads a folder of records."""

Asked = Callable[..., tuple[str, int]]


@pytest.fixture
def audit(capsys: pytest.CaptureFixture[str]) -> Asked:
    """What ``audit`` says of a folder, and its exit code; nothing but words may come out."""

    def asked(folder: Path, *words: str) -> tuple[str, int]:
        capsys.readouterr()
        code = command(["audit", "--records", str(folder), *words])
        said = capsys.readouterr()
        assert said.err == ""
        assert all(line.isprintable() for line in said.out.splitlines()), said.out
        return said.out, code

    return asked


# ── a drive that is gone ─────────────────────────────────────────────────────────────────────────


def test_a_drive_that_is_pulled_out_takes_no_act_and_the_run_goes_on_when_it_is_back(tmp_path: Path, audit: Asked):
    drive, gone = tmp_path / "drive", tmp_path / "pocket"
    drive.mkdir()
    clock = SteppedClock()
    job, journal = begin(drive, clock)
    hands = Hands(clock, {}, {})
    hands.go_on(job, 5)
    head = job.head
    with journal:
        drive.rename(gone)
        view = job.do(ac.Hold())
        assert view.alert_kind == "not recorded"
        assert "if the folder was removed or unplugged, put it back" in " ".join(view.alert)
        assert (job.head, journal.path.exists()) == (head, False)
        for words in READING:
            text, code = audit(drive, *words)
            assert code == 2, words
            assert str(drive) in text or "no record to verify" in text
        gone.rename(drive)
        job.do(ac.Hold())
        assert job.head.n > head.n
    assert audit(drive, "verify", str(journal.path))[1] == 0


# ── a format of the future ───────────────────────────────────────────────────────────────────────


def newer(folder: Path) -> Path:
    """A record, sealed honestly, in a format that this program does not know."""
    path, before, raws = record(folder, name="bad"), "0" * 64, []
    for raw in path.read_bytes().splitlines():
        told = {**json.loads(raw), "v": 2, "prev": before}
        told.pop("hash")
        before = sha256(canonical(told)).hexdigest()
        raws.append(canonical({**told, "hash": before}))
    path.write_bytes(b"\n".join([*raws, b""]))
    return path


def test_a_newer_format_is_named_as_such_and_left_alone(tmp_path: Path, audit: Asked):
    path = newer(tmp_path)
    record(tmp_path, name="good")
    before = path.read_bytes()
    text, code = audit(tmp_path, "verify")
    assert code == 1
    assert f"{path}:1: newer format: " in text
    assert "good.jsonl: whole" in text
    text, code = audit(tmp_path, "--list")
    assert code == 1
    assert "bad  last written" in text
    assert "line 1: newer format" in text
    _, troubles = runs(tmp_path)
    assert len(troubles) == 1
    with pytest.raises(Exception, match="keep the file as it is"):
        Journal.open(path, by="AB", since="2026-01-01T00:00:00.000Z")
    assert path.read_bytes() == before


# ── what is no record at all ─────────────────────────────────────────────────────────────────────


def garbage() -> Iterator[tuple[str, bytes]]:
    whole = b"".join(lines()[0])
    yield "random", random.Random(5).randbytes(5_000)
    yield "zeros", bytes(5_000)
    yield "packed", gzip.compress(whole)
    yield "utf-16", whole.decode().encode("utf-16")
    yield "one long line", b"a" * 3_000_000
    yield "deep", b'{"act":' + b"[" * 50_000 + b"]" * 50_000 + b"}\n"
    yield "escapes", b'{"act":{"do":"\x1b[2J\x1b]0;x\x07"}}\n' * 3
    yield "garbage after good lines", b"".join(lines()[0][:5]) + random.Random(6).randbytes(300)
    yield "lines cut in half", b"".join(raw[: len(raw) // 2] + b"\n" for raw in lines()[0])
    yield "nothing", b""


@pytest.mark.parametrize(("name", "data"), list(garbage()), ids=[name for name, _ in garbage()])
def test_what_is_no_record_is_told_in_words_and_the_rest_is_answered(
    tmp_path: Path, audit: Asked, name: str, data: bytes
):
    bad = tmp_path / "bad.jsonl"
    bad.write_bytes(data)
    record(tmp_path, (*USUAL[:5], ac.Override(reason="none fits", initials="CD")), name="good")
    for words in READING:
        if name.startswith("garbage after") and words[1:2] == ["changed-gate"]:
            continue  # its first line is good, and tells the procedure
        text, code = audit(tmp_path, *words)
        assert code in (1, 2), (name, words)
        assert "bad" in text
    assert "good:6" in audit(tmp_path, "ask", "overrides")[0]
    assert "good.jsonl: whole" in audit(tmp_path, "verify")[0]
    text, code = audit(tmp_path, "export", "bad", "--to", str(tmp_path / "out"))
    assert code in (1, 2)
    assert bad.read_bytes() == data


def test_what_has_the_name_of_a_record_and_is_no_file_is_told_in_words(tmp_path: Path, audit: Asked):
    (tmp_path / "bad.jsonl").mkdir()
    (tmp_path / "loose.jsonl").symlink_to(tmp_path / "nowhere")
    record(tmp_path, name="good")
    for words in (["--list"], ["verify"], ["ask", "unfinished"]):
        text, code = audit(tmp_path, *words)
        assert code in (1, 2), words
        assert "bad.jsonl: cannot be read" in text
        assert "loose.jsonl: cannot be read" in text
    assert runs(tmp_path)[1] != ()


# ── a record that another process writes ─────────────────────────────────────────────────────────

HOLDER = """
import sys
from pathlib import Path
from runner.edge.journal import Journal
journal = Journal.open(Path(sys.argv[1]), by="CD", since="2026-01-01T00:00:00.000Z")
assert isinstance(journal, Journal), journal
print("held", flush=True)
sys.stdin.read()
"""


def test_a_record_that_another_process_holds_is_read_and_not_written(tmp_path: Path, audit: Asked, monkeypatch):
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path / "home"))
    path = record(tmp_path, USUAL[:-1], name="bad")
    before = path.read_bytes()
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        for words in READING:
            assert audit(tmp_path, *words)[1] == 0, words
        text, code = audit(tmp_path, "sign", "bad", "--as", "performed")
        assert code == 2
        assert "not signed: this run is open: CD since 2026-01-01" in text
        assert path.read_bytes() == before
        holder.communicate(b"")
    assert audit(tmp_path, "sign", "bad", "--as", "performed")[1] == 0


# ── a clock that was set back ────────────────────────────────────────────────────────────────────


def test_a_clock_set_back_an_hour_is_told_and_no_span_over_it_is_made_up(tmp_path: Path, audit: Asked):
    raws, _ = lines(clock=Spans([], set_back={5: 3_600}))
    (tmp_path / "bad.jsonl").write_bytes(b"".join(raws))
    text, code = audit(tmp_path, "verify")
    assert code == 0
    assert "bad.jsonl:6: warning: clock: the clock was set back: the time of day moved by -3580 s" in text
    text, _ = audit(tmp_path, "show", "bad")
    assert "reading at 'Measure the thinner pad.' after an unknown time; 4.51 mm" in text
    assert text.count("after an unknown time") == 1


# ── a very long record ───────────────────────────────────────────────────────────────────────────


@pytest.mark.slow
def test_a_record_of_a_million_lines_is_read_whole_and_its_one_wrong_line_is_named(tmp_path: Path, audit: Asked):
    count = 1_000_000
    head, raws = Head(), []
    first, told = lines(USUAL[:1])
    raws.append(first[0])
    head = head.after(first[0])
    stamp = told[0].stamp
    act, events = ac.Tick(), ()
    for _ in range(count - 1):
        raws.append(seal(head, stamp, "AB", act, events))
        head = head.after(raws[-1])
    path = tmp_path / "bad.jsonl"
    wrong = raws[-2].replace(b'"by":"AB"', b'"by":"AC"')
    path.write_bytes(b"".join([*raws[:-2], wrong, raws[-1]]))
    del raws
    text, code = audit(tmp_path, "--list")
    assert code == 1
    assert f"not finished; AB; line {count - 1}: changed" in text
