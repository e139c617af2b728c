"""Each case is a procedure with the exact words of what is found in it; an empty answer is a near-miss."""

from __future__ import annotations

from pathlib import Path

import pytest

from runner.core.render import render
from runner.edge.reader import read
from runner.verify import CHECKS, Checked, verify

CASES = Path(__file__).parent / "cases"
NAMES = sorted(p.stem for p in CASES.glob("*-*.yaml"))


def said(name: str) -> str:
    """What is found in the case, as an author reads it."""
    files = {p.name: p.read_bytes() for p in (CASES / "vocabulary.yaml", CASES / f"{name}.yaml")}
    made = read(files, f"{name}.yaml")
    if isinstance(made, tuple):
        return render(made, {k: v.decode() for k, v in files.items()}) + "\n"
    verdict = verify(made)
    found = [f for f in verdict if f.check != "walking"] if not isinstance(verdict, Checked) else []
    return render(found, made.texts) + "\n" if found else ""


@pytest.mark.parametrize("name", NAMES)
def test_a_case_is_answered_in_exactly_these_words(name: str) -> None:
    assert said(name) == (CASES / f"{name}.out").read_text(encoding="utf-8")


def test_every_case_is_named_after_a_check() -> None:
    known = {c.name for c in CHECKS}
    assert {name.partition("-")[0] for name in NAMES} <= known
