"""The shape of a file is told in an author's words, at the exact place, for every fault."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from runner.core.finding import Finding, Place, line_of
from runner.edge.shape import check_shape
from runner.edge.text import Node, load

NAME = "brakes.yaml"
STEP = {
    "type": "object",
    "properties": {
        "do": {"type": "string", "minLength": 1},
        "needs": {"type": "array", "items": {"anyOf": [{"type": "string"}, {"$ref": "#/$defs/level"}]}},
        "times": {"type": "integer", "minimum": 1, "maximum": 60},
        "share": {"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1, "multipleOf": 0.1},
        "override": {"type": "boolean"},
        "place": {"enum": ["pedal", "wheel", "under car"]},
        "next": {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]},
        "gate": {
            "oneOf": [
                {
                    "type": "object",
                    "properties": {"kind": {"const": "reading"}, "unit": {"type": "string"}},
                    "required": ["kind", "unit"],
                    "additionalProperties": False,
                },
                {
                    "type": "object",
                    "properties": {"kind": {"const": "choice"}, "of": {"type": "array", "minItems": 2}},
                    "required": ["kind", "of"],
                    "additionalProperties": False,
                },
            ]
        },
        "note": {"type": ["string", "null"]},
        "tools": {"type": "array", "uniqueItems": True, "items": {"type": "string"}},
    },
    "required": ["do"],
    "dependentRequired": {"share": ["times"]},
    "additionalProperties": False,
}
SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "properties": {
        "steps": {
            "type": "object",
            "propertyNames": {"pattern": "^[a-z-]+$", "title": "a step name: small letters and '-'"},
            "additionalProperties": {"$ref": "#/$defs/step"},
        },
        "cautions": {"type": "array", "items": {"type": "string"}},
    },
    "required": ["steps"],
    "additionalProperties": False,
    "$defs": {
        "step": STEP,
        "level": {
            "type": "object",
            "properties": {"level": {"type": "string"}, "at_least": {"type": "string"}},
            "required": ["level", "at_least"],
            "additionalProperties": False,
        },
    },
}


def node(text: str) -> Node:
    root = load(text.encode(), NAME)
    assert not isinstance(root, tuple), "\n".join(map(line_of, root))
    return root


def findings(text: str) -> tuple[Finding, ...]:
    return check_shape(node(text), SCHEMA)


def step(keys: str) -> list[str]:
    """What is said of a step with these keys, without the file's name."""
    return [line_of(each).removeprefix(f"{NAME}:") for each in findings(f"steps:\n  hose: {{do: Push., {keys}}}\n")]


def test_the_test_schema_is_one() -> None:
    Draft202012Validator.check_schema(SCHEMA)


def test_a_file_of_the_right_shape_has_no_finding() -> None:
    assert step("needs: [a, {level: r, at_least: low}], times: 60, share: 0.3, override: true, note: , next: [b]") == []
    assert step("gate: {kind: choice, of: [clear, dark]}, place: under car, next: b, tools: [a, b]") == []


def test_numbers_may_stand_where_a_text_is_expected() -> None:
    assert step("next: 1.10, note: yes") == []


def test_an_unknown_key_is_placed_at_the_key_and_the_nearest_known_one_offered() -> None:
    assert step("need: [a]") == ["2:21: unknown key 'need' in 'hose' [unknown-key]\n  help: did you mean 'needs'?"]


def test_an_unknown_key_without_a_near_one_lists_those_known() -> None:
    (found,) = findings("steps: {}\nzebra: 1\n")
    assert found.help == "the keys known here are 'steps', 'cautions'"


def test_a_missing_key_is_placed_at_its_mapping_and_a_mistyped_one_is_named() -> None:
    (unknown, missing) = sorted(findings("steps: {hose: {Doo: Push.}}\n"), key=lambda each: each.check, reverse=True)
    assert (unknown.check, unknown.help) == ("unknown-key", "did you mean 'do'?")
    assert missing.place == Place(NAME, 1, 15)
    assert missing.text == "'hose' has no key 'do'"
    assert missing.help == "'Doo' is not known here; was 'do' meant?"


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("times: many", "2:28: 'times' must be a whole number, found 'many'"),
        ("times: 6.0", "2:28: 'times' must be a whole number, found '6.0'"),
        ("times: '6'", "2:28: 'times' must be a whole number, found '6'"),
        ("times: 0", "2:28: 'times' must be at least 1, found '0'"),
        ("times: 61", "2:28: 'times' must be at most 60, found '61'"),
        ("times: 2, share: 1.0", "2:38: 'share' must be less than 1, found '1.0'"),
        ("times: 2, share: 0.25", "2:38: 'share' must be a multiple of 0.1, found '0.25'"),
        ("share: 0.1", "2:9: 'hose' with 'share' has no key 'times'"),
        ("override: yes", "2:31: 'override' must be true or false, found 'yes'"),
        ("place: pedals", "2:28: 'place' must be 'pedal' or 'wheel' or 'under car', found 'pedals'"),
        ("next: {a: b}", "2:27: 'next' must be a text or a list, found a mapping with 'a'"),
        ("needs: [[]]", "2:29: entry 1 of 'needs' must be a text or a mapping of keys, found an empty list"),
        ("needs: hose_on", "2:28: 'needs' must be a list, found 'hose_on'"),
        ("needs: ", "2:21: 'needs' must be a list, found nothing"),
        ("needs: [{level: r}]", "2:29: entry 1 of 'needs' has no key 'at_least'"),
        ("needs: [{levle: r, at_least: x}]", "2:29: entry 1 of 'needs' has no key 'level'"),
        ("gate: {kind: reading}", "2:27: 'gate' has no key 'unit'"),
        ("gate: {kind: choice, of: [clear]}", "2:46: 'of' must be a list of at least 2, found a list of 1"),
        ("gate: {kind: choise, of: [a, b]}", "2:34: 'kind' must be 'choice', found 'choise'"),
        ("tools: [rag, pan, rag]", "2:39: 'tools' holds 'rag' twice"),
        ("note: [a]", "2:27: 'note' must be a text or nothing, found a list of 1"),
    ],
)
def test_a_fault_is_told_at_its_place_with_what_was_expected(keys: str, said: str) -> None:
    assert step(keys)[0].startswith(said)


@pytest.mark.parametrize(
    ("keys", "mend"),
    [
        ("override: yes", "write true"),
        ("times: '6'", "take the quotes away"),
        ("place: pedals", "did you mean 'pedal'?"),
        ("gate: {kind: choise, of: [a, b]}", "did you mean 'choice'?"),
        ("needs: hose_on", "write it as a list: [hose_on]"),
        ("needs: ", "write it after the ':' or '-', or take the line out"),
    ],
)
def test_a_fault_says_how_to_mend_it(keys: str, mend: str) -> None:
    assert step(keys)[0].endswith(f"help: {mend}")


def test_a_sentence_that_became_a_mapping_is_given_back_in_quotes() -> None:
    (found,) = findings("steps: {}\ncautions:\n  - Fluid harms paint: rinse\n")
    assert found.place == Place(NAME, 3, 5)
    assert found.help == "the ': ' made a key of it; quote the whole text: \"Fluid harms paint: rinse\""


def test_a_sentence_among_several_forms_is_told_to_be_quoted() -> None:
    found = findings("steps:\n  hose:\n    do: Push.\n    needs:\n      - Caps on: both\n")
    assert any("quote the whole" in each.help for each in found)


def test_a_name_of_the_wrong_form_is_placed_at_the_name() -> None:
    (found,) = findings("steps:\n  Hose 1: {do: Push.}\n")
    assert found.place == Place(NAME, 2, 3)
    assert found.text == "a key in 'steps' must be a step name: small letters and '-', found 'Hose 1'"


def test_a_file_that_is_no_mapping_is_told_so() -> None:
    (found,) = findings("just words\n")
    assert found.text == "the file must be a mapping of keys, found 'just words'"


def test_all_faults_of_a_file_are_reported_in_order_of_place() -> None:
    found = findings("steps:\n  a: {times: x}\n  b: {do: '', place: q}\nzz: 1\n")
    assert [(each.place.line, each.check) for each in found] == [
        (2, "missing-key"),
        (2, "value"),
        (3, "value"),
        (3, "value"),
        (4, "unknown-key"),
    ]


def test_a_thousand_faults_are_two_hundred_and_a_count() -> None:
    letters = "abcdefghij"
    names = [a + b + c for a in letters for b in letters for c in letters]
    root = node("steps:\n" + "".join(f"  {name}: {{do: x, nedes: [a]}}\n" for name in names))
    found = check_shape(root, SCHEMA)
    assert len(found) == 201
    assert found[-1].text == "and 800 more in this file"


def test_a_thousand_steps_without_a_fault_are_told_nothing() -> None:
    letters = "abcdefghij"
    names = [a + b + c for a in letters for b in letters for c in letters]
    root = node("steps:\n" + "".join(f"  {name}: {{do: Push it on., needs: [a], next: b}}\n" for name in names))
    assert check_shape(root, SCHEMA) == ()


SCALARS = st.sampled_from(["a", "'6'", "7", "7.5", "true", "yes", "", "''", "reading", "choice", "-3", "1e5", "٣"])
TREES = st.recursive(
    SCALARS,
    lambda each: (
        st.lists(each, max_size=3).map(lambda items: f"[{', '.join(item or 'x' for item in items)}]")
        | st.dictionaries(
            st.sampled_from(
                [
                    "do",
                    "needs",
                    "times",
                    "share",
                    "gate",
                    "kind",
                    "of",
                    "note",
                    "tools",
                    "next",
                    "level",
                    "zz",
                ]
            ),
            each,
            max_size=4,
        ).map(lambda pairs: "{" + ", ".join(f"{key}: {value}" for key, value in pairs.items()) + "}")
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from(["steps", "cautions", "zz"]), TREES, min_size=1))
def test_any_tree_is_judged_without_a_crash_and_every_finding_lies_in_the_file(tops: dict[str, str]) -> None:
    text = "".join(f"{key}: {value}\n" for key, value in tops.items())
    lines = text.split("\n")
    for found in findings(text):
        assert found.text
        assert found.place.column <= len(lines[found.place.line - 1])


def typed(text: str) -> object:
    """The value of a plain text under the core schema of YAML 1.2, for the texts used below."""
    return {"": None, "true": True, "false": False}.get(text, int(text) if text.lstrip("-").isdigit() else text)


ALLOWED = st.sampled_from([{"type": each} for each in ("string", "integer", "number", "boolean", "null")])
LIMITS = st.sampled_from([{"minimum": 3}, {"maximum": 3}, {"multipleOf": 2}, {"const": 4}, {"enum": [True, None, "a"]}])


@given(
    st.sampled_from(["a", "4", "-1", "true", ""]),
    st.one_of(ALLOWED, LIMITS, st.lists(LIMITS, min_size=1).map(lambda all_of: {"anyOf": all_of})),
)
def test_a_plain_text_is_judged_as_its_yaml_value_would_be_unless_a_text_is_asked_for(
    text: str, schema: dict[str, object]
) -> None:
    wanted = {"properties": {"k": schema}}
    value = text if text and schema == {"type": "string"} else typed(text)
    assert bool(check_shape(node(f"k: {text}"), wanted)) != Draft202012Validator(wanted).is_valid({"k": value})
