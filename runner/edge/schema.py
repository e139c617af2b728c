"""What ships with the program: the schemas of procedures and vocabularies, and where the library lies."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any


def shipped(folder: str) -> Path:
    """The folder as it was shipped: inside the package when installed, beside it in a source tree."""
    package = Path(str(files("runner")))
    inside = package / f"_{folder}"
    return inside if inside.is_dir() else package.parent / folder


@cache
def schema(name: str) -> Mapping[str, Any]:
    """The schema 'procedure' or 'vocabulary'."""
    found: Mapping[str, Any] = json.loads((shipped("schemas") / f"{name}.schema.json").read_text("utf-8"))
    return found
