"""The records on a terminal: the same that the commands say, opened from the list on."""

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from runner.cli import reading
from runner.cli.reading import Desk
from runner.core import act as ac
from runner.edge.alcoa import audit_alcoa
from runner.edge.asking import QUESTIONS, audit_ask
from runner.edge.choosing import Wanted
from runner.edge.verifying import audit_verify
from runner.screen.leaf import Item, Leaf
from tests.edge.small import USUAL, begin, record


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("runs")
    record(made, (*USUAL, ac.Correct(line=5, typed=["4.15"], unit="mm", reason="digits swapped")), name="usual")
    other = begin(car="fedcba9876543210")
    record(made, (other, *USUAL[1:5], ac.Override(reason="no micrometer", initials="CD")), name="midway")
    whole = record(made, name="torn-first").read_bytes()
    (made / "torn-first.jsonl").write_bytes(whole[:200])
    os.utime(made / "torn-first.jsonl", (1_000_000_000, 1_000_000_000))
    return made


@pytest.fixture
def desk(folder: Path) -> Desk:
    return Desk(folder, {"fedcba9876543210": "Fen heron"})


def chosen(leaf: Leaf, text: str) -> Leaf:
    [item] = [one for one in leaf.items if text in one.text]
    return item.to()


def by_key(leaf: Leaf, key: str) -> Leaf:
    return dict(leaf.keys)[key].to()


def said(leaf: Leaf) -> str:
    return "\n".join(
        [leaf.title, leaf.about, *(f"{one.text}  {one.note}" for one in leaf.items), *(t for t, _ in leaf.lines)]
    )


def test_the_list_names_every_record_the_torn_one_with_its_file_and_day(desk: Desk):
    text = said(desk.runs(Wanted()))
    assert "pad look: done" in text
    assert "pad look: NOT FINISHED  Fen heron · AB, CD · 1 override" in text
    assert "torn-first: cannot be told  torn: crash or cut; last written 2001-09-09" in text


@pytest.mark.parametrize(
    ("narrow", "value", "runs"),
    [
        ("car", "Fen heron", 1),
        ("procedure", "pad-look", 2),
        ("person", "CD", 1),
        ("since", "2026-01-01", 2),
        ("until", "2026-01-01", 2),
    ],
)
def test_the_list_is_narrowed_by_values_that_occur(desk: Desk, narrow: str, value: str, runs: int):
    listed = chosen(chosen(by_key(desk.runs(Wanted()), "/"), f"{narrow}: any"), value)
    assert f"{narrow} {value}" in listed.about
    assert len([one for one in listed.items if "cannot be told" not in one.text]) == runs


def test_filters_combine_and_are_all_taken_off_again(desk: Desk):
    narrowed = chosen(chosen(by_key(desk.runs(Wanted(car="fedcba9876543210")), "/"), "person"), "AB")
    assert narrowed.about == "car Fen heron, person AB"
    open_ones = chosen(by_key(narrowed, "/"), "unfinished alone: no")
    assert open_ones.about == "car Fen heron, person AB, unfinished"
    assert len(chosen(by_key(open_ones, "/"), "all runs again").items) == 3


def test_a_run_is_told_from_the_gate_that_was_chosen(desk: Desk):
    run = chosen(desk.runs(Wanted()), "pad look: done")
    told = chosen(chosen(run, "gates"), "reading at 'Measure the thinner pad.'")
    assert told.lines[told.at][0].startswith("    7  ")
    assert "corrected from '4.51' to '4.15'" in said(chosen(run, "line by line"))


def test_the_nine_properties_are_the_same_as_by_the_command(desk: Desk, folder: Path):
    run = chosen(desk.runs(Wanted()), "pad look: done")
    assert [line for line, _ in chosen(run, "nine").lines] == audit_alcoa(folder, "usual", False)[0].splitlines()


def test_whether_a_record_is_whole_says_the_same_as_the_command(desk: Desk, folder: Path):
    run = chosen(desk.runs(Wanted()), "pad look: done")
    text, _ = audit_verify([folder / "usual.jsonl"], None, False)
    assert [line for line, _ in chosen(run, "whole").lines] == text.replace(f"{folder}/", "").splitlines()
    letters = text.rpartition("fingerprint ")[2]
    paper = chosen(run, "fingerprint on paper")
    assert paper.typed is not None
    assert "the paper was printed at line" in said(paper.typed(letters.lower()))
    assert "shortened or rewritten" in said(paper.typed("ABCD" * 6))
    assert "torn-first.jsonl: AT FAULT" in said(by_key(desk.runs(Wanted()), "."))


@pytest.mark.parametrize("question", QUESTIONS)
def test_each_question_has_the_answer_of_the_command_and_leads_to_its_line(desk: Desk, folder: Path, question: str):
    leaf = chosen(by_key(desk.runs(Wanted()), "*"), QUESTIONS[question].help)
    named = {"instrument": "outside mike", "changed-gate": "pad-look"}.get(question, "")
    leaf = chosen(leaf, named) if named else leaf
    text, _ = audit_ask(folder, question, named, Wanted(), False)
    hits = [line for line in text.splitlines() if line.split(":")[0] in ("usual", "midway")]
    assert [one.text[16:] for one in leaf.items] == [hit.partition("Z")[2] for hit in hits]
    for item in leaf.items:
        assert isinstance(item, Item)
        assert item.to().title in ("usual", "midway")


def test_without_records_the_screen_says_so_and_what_to_do(tmp_path: Path):
    text = said(Desk(tmp_path, {}).runs(Wanted()))
    assert f"no run is recorded in {tmp_path}: begin one with 'witnessmark run'" in text


def test_on_a_terminal_audit_is_a_screen_elsewhere_a_list(folder: Path):
    env = {**os.environ, "TERM": "xterm-256color", "PYTHONPATH": str(Path(reading.__file__).parents[2])}
    words = [sys.executable, "-m", "runner", "audit", "--records", str(folder)]
    listed = subprocess.run(words, capture_output=True, text=True, env=env, timeout=60, stdin=subprocess.DEVNULL)
    assert listed.stdout.splitlines()[-1].startswith("usual  2026-01-01T08:00:0")
    master, slave = pty.openpty()
    with subprocess.Popen(words, stdin=slave, stdout=slave, stderr=slave, env=env, start_new_session=True) as screen:
        os.close(slave)
        seen = b""
        while b"newest first" not in seen:
            seen += os.read(master, 4096)
        os.write(master, b"-")
        while True:
            try:
                if not os.read(master, 4096):
                    break
            except OSError:
                break
    assert screen.returncode == 0
    os.close(master)
