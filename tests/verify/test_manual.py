"""Every example of a manual page behaves as the page says."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import dedent

import pytest

from runner.core.finding import Finding
from runner.core.graph import Procedure
from runner.edge.manual import PAGES
from runner.edge.reader import read
from runner.verify import CHECKS, Checked, explain, verify

CASES = Path(__file__).parent / "cases"
HEAD = 'procedure: example\ntitle: Example\nrevision: "1"\npurpose: Something is done.\n'


def judged(text: str) -> tuple[Finding, ...]:
    """What is found in the example, with the vocabulary of the cases."""
    files = {"vocabulary.yaml": (CASES / "vocabulary.yaml").read_bytes(), "example.yaml": (HEAD + text).encode()}
    made = read(files, "example.yaml")
    assert isinstance(made, Procedure), made
    verdict = verify(made)
    return verdict.warnings if isinstance(verdict, Checked) else verdict


def example(page: str, word: str) -> str:
    found = re.search(rf"^{word}:\n(.*?)(?=^\w|\Z)", page, re.MULTILINE | re.DOTALL)
    assert found is not None, f"the page has no '{word}' example"
    return dedent(found[1]).strip("\n") + "\n"


@pytest.mark.parametrize("name", [c.name for c in CHECKS])
def test_the_bad_example_is_found_and_the_good_one_is_proven(name: str) -> None:
    page = explain(name) or ""
    assert name in {f.check for f in judged(example(page, "Bad"))}
    assert [f for f in judged(example(page, "Good")) if f.severity == "error"] == []


def test_an_unknown_check_has_no_page() -> None:
    assert explain("nonsense") is None


@pytest.mark.parametrize("name", PAGES)
def test_the_bad_example_of_a_page_of_the_reader_is_refused_and_the_good_one_is_read(name: str) -> None:
    def taken(text: str) -> Procedure | tuple[Finding, ...]:
        files = {"vocabulary.yaml": (CASES / "vocabulary.yaml").read_bytes(), "example.yaml": (HEAD + text).encode()}
        return read(files, "example.yaml")

    refused = taken(example(PAGES[name], "Bad"))
    assert isinstance(refused, tuple)
    assert {f.check for f in refused} == {name}
    assert isinstance(taken(example(PAGES[name], "Good")), Procedure)
