"""A file of answers: what is wrong with it is said at its place, and the shipped ones lead to the end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from runner.cli import command

SHIPPED = Path(__file__).parents[2] / "procedures" / "demo"
NAMES = sorted(p.name.removesuffix(".answers.yaml") for p in SHIPPED.glob("*.answers.yaml"))


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.mark.parametrize("name", NAMES)
def test_the_shipped_answers_lead_to_the_end_and_to_a_record_that_verifies(
    name: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command(["run", name, "--demo", "--answers"]) == 0
    told = capsys.readouterr().out
    assert "DEMONSTRATION" in told
    assert f"{name}: done" in told
    assert command(["audit", "--demo", "verify"]) == 0
    assert "replayed" in capsys.readouterr().out


def test_the_same_answers_leave_the_same_bytes(tmp_path: Path) -> None:
    texts = []
    for turn in ("a", "b"):
        command(["run", "brake-fluid-exchange", "--demo", "--answers", "--records", str(tmp_path / turn)])
        (record,) = (tmp_path / turn).glob("*.jsonl")
        texts.append(record.read_bytes())
    assert texts[0] == texts[1]
    first = json.loads(texts[0].split(b"\n")[0])
    assert first["boot"] == "demo-boot"
    assert all("/" not in name for name in first["act"]["texts"])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("answers: brake-fluid-exchange", "answers: lower", "answers for 'lower', not for 'brake-fluid-exchange'"),
        ("steps:", "steps:\n  no-such-step: x", "no step 'no-such-step' in 'brake-fluid-exchange'"),
        ("steps:", "stepz:", "did you mean 'steps'"),
    ],
)
def test_a_wrong_file_is_said_at_its_place(
    old: str, new: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (SHIPPED / "brake-fluid-exchange.answers.yaml").read_text("utf-8")
    assert old in text
    file = tmp_path / "mine.yaml"
    file.write_text(text.replace(old, new, 1), "utf-8")
    assert command(["run", "brake-fluid-exchange", "--demo", "--answers", str(file)]) != 0
    told = capsys.readouterr().err
    assert words in told
    assert f"{file}:" in told


def test_an_answer_that_is_missing_is_named_with_its_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "mine.yaml"
    file.write_text("answers: brake-fluid-exchange\nsteps: {brake-type: vacuum booster or no booster}\n", "utf-8")
    assert command(["run", "brake-fluid-exchange", "--demo", "--answers", str(file)]) == 1
    told = capsys.readouterr().err
    assert "no answer for the step 'pump-cycle'" in told
    assert "one of no, yes, cannot tell" in told
