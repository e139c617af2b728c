"""The schemas explain every key to an author's editor, and agree with what the reader knows."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from runner.core.quantity import DIMENSIONS
from runner.edge.schema import schema, shipped
from runner.edge.shape import check_shape
from runner.edge.text import Map, load

KINDS = ("procedure", "vocabulary")


def subschemas(node: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(node, dict):
        yield path, node
        for key, value in node.items():
            yield from subschemas(value, f"{path}/{key}")
    elif isinstance(node, list):
        for number, value in enumerate(node):
            yield from subschemas(value, f"{path}/{number}")


@pytest.mark.parametrize("kind", KINDS)
def test_each_schema_follows_the_standard_that_it_names(kind: str) -> None:
    Draft202012Validator.check_schema(dict(schema(kind)))
    assert schema(kind)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_has_a_description(kind: str) -> None:
    bare = [
        f"{path}/{key}"
        for path, node in subschemas(schema(kind))
        if isinstance(node.get("properties"), dict)
        for key, value in node["properties"].items()
        if not value.get("description")
    ]
    assert bare == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_mapping_of_named_keys_takes_others_unseen(kind: str) -> None:
    loose = [
        path
        for path, node in subschemas(schema(kind))
        if "properties" in node and node.get("type") == "object" and "additionalProperties" not in node
    ]
    assert loose == []


def test_the_quantities_are_those_that_have_units() -> None:
    defs = schema("procedure")["$defs"]
    for entry in ("ask", "reading"):
        assert defs[entry]["properties"]["quantity"]["enum"] == list(DIMENSIONS)


def test_the_schemas_are_shipped_beside_the_procedures() -> None:
    assert {f"{kind}.schema.json" for kind in KINDS} <= {path.name for path in shipped("schemas").iterdir()}
    assert json.loads((shipped("schemas") / "procedure.schema.json").read_text("utf-8")) == schema("procedure")


def test_an_empty_procedure_is_told_every_key_that_it_needs() -> None:
    root = load(b"{}", "x.yaml")
    assert isinstance(root, Map)
    assert [one.text for one in check_shape(root, schema("procedure"))] == [
        f"the file has no key '{key}'" for key in ("procedure", "purpose", "revision", "steps", "title")
    ]
