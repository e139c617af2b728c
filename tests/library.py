"""The shipped procedures, read once for all tests that look at every one of them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from runner.core.graph import Procedure
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf

FOLDER = Path(__file__).parents[1] / "procedures"
NAMES = Shelf((FOLDER,)).available(fragments=True)


@cache
def procedure(name: str) -> Procedure:
    """The shipped procedure or fragment of that name."""
    loaded = Shelf((FOLDER,)).load(name)
    assert isinstance(loaded, Loaded)
    made = read(loaded.files, loaded.main)
    assert isinstance(made, Procedure)
    return made
