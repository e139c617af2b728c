"""The JSON Schemas of procedures and vocabularies, as they lie in the source tree or in the installed package."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any


def shipped(folder: str) -> Traversable:
    """The folder as it was shipped: beside the package in a source tree, inside it when installed."""
    package = files("runner")
    inside = package / f"_{folder}"
    return inside if inside.is_dir() else package / ".." / folder


@cache
def schema(name: str) -> Mapping[str, Any]:
    """The schema 'procedure' or 'vocabulary'."""
    found: Mapping[str, Any] = json.loads((shipped("schemas") / f"{name}.schema.json").read_text("utf-8"))
    return found
