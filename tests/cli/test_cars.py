"""The questions that make a car's file, as they stand on a terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from runner.cli import command


def test_every_question_of_the_lead_in_is_broken_at_words_within_forty_columns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(["Tide", "", "1", "", "ab"])
    prompts: list[str] = []

    def typed(prompt: str) -> str:
        prompts.append(prompt)
        if (answer := next(answers, None)) is not None:
            return answer
        if len(prompts) > 60:
            raise EOFError
        return ""

    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setattr("builtins.input", typed)
    assert command(["car", "brake-fluid-exchange", "--folder", str(tmp_path)]) in (0, 2)
    lines = capsys.readouterr().out.splitlines()
    said = " ".join(" ".join(lines).split())
    assert "17 characters, from the plate; empty: cannot be read" in said
    assert [line for line in (*prompts, *lines) if len(line) > 40 and str(tmp_path) not in line] == []
    assert (tmp_path / "tide.yaml").is_file()
