"""Somebody with a folder of records and the README answers the set questions, by the commands alone."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.audit_questions.records import make

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


def listed(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = tomllib.loads((HERE / f"{name}s.toml").read_text("utf-8"))[name]
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("records")
    make(made)
    return made


def asked(folder: Path, words: list[str]) -> tuple[list[str], int]:
    given = [word.replace("FOLDER", str(folder)) for word in words]
    command = [sys.executable, "-m", "runner", "audit", "--records", str(folder), *given]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, stdin=subprocess.DEVNULL, timeout=120)
    assert done.stderr == ""
    return done.stdout.splitlines(), done.returncode


def test_there_are_eight_questions_and_an_answer_to_each():
    numbers = list(range(1, 9))
    assert [one["number"] for one in listed("question")] == numbers
    assert [one["number"] for one in listed("answer")] == numbers


@pytest.mark.parametrize("number", range(1, 9))
def test_the_commands_answer_the_question(folder: Path, number: int):
    question, answer = listed("question")[number - 1], listed("answer")[number - 1]
    told = [asked(folder, words) for words in question["commands"]]
    assert [code for _, code in told] == answer["codes"], told
    lines = [line for several, _ in told for line in several]
    for wanted in answer["lines"]:
        assert len([line for line in lines if wanted in line]) == 1, (question["asks"], wanted, lines)
    if answer.get("all"):
        assert len(lines) == len(answer["lines"]), lines
