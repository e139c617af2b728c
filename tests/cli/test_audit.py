"""The audit at the command line, from a run to what is handed out, on the invented car."""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from runner.cli import command
from runner.edge.verifying import audit_verify

RUN = "brake-fluid-exchange-demonstration-1"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with one demonstration in it."""
    made = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WITNESSMARK_HOME", str(made))
        assert command(["run", "brake-fluid-exchange", "--demo", "--answers"]) == 0
    return made


@pytest.fixture
def audit(home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """What `audit --demo` with these words prints, and its exit code."""
    monkeypatch.setenv("WITNESSMARK_HOME", str(home))

    def asked(*words: str) -> tuple[str, int]:
        code = command(["audit", "--demo", *words])
        return capsys.readouterr().out, code

    return asked


def test_a_demonstration_is_signed_verified_asked_and_handed_out(audit, home: Path, tmp_path: Path):
    text, code = audit("sign", RUN, "--as", "performed")
    assert code == 0
    assert [line.split()[0] for line in text.splitlines()[1:4]] == ["name", "time", "meaning"]
    [key] = (home / "keys").iterdir()
    assert key.stat().st_mode & 0o777 == 0o600
    text, code = audit("verify")
    assert code == 0
    assert ": signed: KS, performed, " in text
    text, code = audit("ask", "instrument", "wrench-big", "--since", "2026-01-01")
    assert code == 0
    assert len(text.splitlines()) == 4
    assert audit("ask", "unfinished") == ("none\n", 0)
    assert RUN in audit("--procedure", "brake-fluid-exchange", "--person", "KS")[0]
    assert RUN not in audit("--until", "2025-12-31")[0]
    text, code = audit("export", RUN, "--to", str(tmp_path / "out"))
    assert code == 0
    assert "DEMONSTRATION" in (tmp_path / "out" / "handover.html").read_text()
    assert "Saltmarsh unit 7" in (tmp_path / "out" / "handover.html").read_text()


def test_a_run_is_told_without_a_name_of_any_file(audit):
    text, code = audit("show", RUN)
    assert code == 0
    assert "came to 'Pull the parking brake on.'" in text
    assert re.findall(r".*(?:[a-z]_[a-z]|[a-z]@[A-Z]{2}).*", text) == []


def test_a_run_starts_without_what_only_the_audit_needs():
    late = {"cryptography", "jinja2", "segno", "duckdb"}
    script = f"import sys, runner.cli.running; print(sorted({late} & sys.modules.keys()))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.slow
def test_a_run_is_signed_at_its_end_with_the_key_of_this_user(tmp_path: Path):
    run = subprocess.Popen(
        [sys.executable, "-m", "runner", "run", "brake-fluid-exchange", "--demo", "--plain"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "WITNESSMARK_HOME": str(tmp_path)},
    )  # fmt: skip
    assert run.stdin is not None
    assert run.stdout is not None
    # The car is so; menu, cannot be done, stop safely, the first reason; end the run; menu, sign as performed, KS.
    for keys in ("", "-", "1", "1", "1", "", "-", "1", "1"):
        while not run.stdout.readline().startswith("keys: "):
            assert run.poll() is None
        time.sleep(1.2)  # what is struck faster than this counts as a key that was held
        run.stdin.write(f"{keys}\n")
        run.stdin.flush()
    told, _ = run.communicate(timeout=60)
    assert "not finished" not in told
    [path] = (tmp_path / "demonstration").glob("*.jsonl")
    verified, code = audit_verify([path], None, False)
    assert code == 0, verified
    assert ": signed: KS, performed, " in verified
    assert ", key " in verified
