"""The example in the README is a procedure that passes, and what is printed there of a fault is what is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from runner.cli import command

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
FILES = dict(re.findall(r"```yaml\n# (\S+)\n(.*?)```", README, re.DOTALL))
SAID = re.findall(r"```\n(drain-plug\.yaml:.*?)```", README, re.DOTALL)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path / "home"))
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_the_example_is_proven(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert set(FILES) == {"vocabulary.yaml", "drain-plug.yaml"}
    assert command(["check", "drain-plug.yaml"]) == 0
    assert capsys.readouterr().out == "1 of 1 procedures proven on every path; 0 errors, 0 remarks\n"


def test_what_is_said_without_the_need_is_what_the_readme_shows(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = here / "drain-plug.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace("    needs: [oil_cool]\n", ""), encoding="utf-8")
    assert command(["check", "drain-plug.yaml"]) == 1
    assert capsys.readouterr().out.rpartition("0 of 1")[0] == SAID[0]


def test_its_safeguards_are_missed_and_its_ways_can_all_be_gone(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["mutate", "drain-plug.yaml"]) == 0
    assert "95 % of 20 killed" in capsys.readouterr().out
    assert command(["rehearse", "drain-plug.yaml", "--all", "--demo"]) == 0
    assert "edges: 3 of 3 crossed" in capsys.readouterr().out
